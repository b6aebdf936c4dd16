"""Ctrl-C on the command line: one line and status 130 within a second, from the first moment on.

Importing the package takes a while, and Python would answer an interrupt in it by pages of imports. Only a process
that runs the command line is touched; to a program that imports the library Ctrl-C stays what it is."""

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import NoReturn

__all__ = ["interrupts_end_us", "is_command"]

_PATIENCE_S = 0.5  # for what is being cleaned up; then the process ends whatever it is doing


def is_command() -> bool:
    """Tell whether this process was started as ``blockfit`` or ``python -m blockfit``.

    >>> from blockfit.interrupts import is_command
    >>> is_command()
    False
    """
    words = list(sys.orig_argv[1:])
    by_module = [k for k, word in enumerate(words[:-1]) if word == "-m"]
    if by_module:
        return words[by_module[0] + 1] == "blockfit"
    return bool(sys.argv) and Path(sys.argv[0]).stem == "blockfit" and Path(sys.argv[0]).suffix in ("", ".exe")


def _end_at_once(number: int, frame: FrameType | None) -> None:
    os.write(2, b"blockfit: stopped\n")
    _end()


def _is_importing(frame: FrameType | None) -> bool:
    """Tell whether an import is under way in a frame: nothing has been written yet that could be left half done."""
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False


def _end() -> NoReturn:
    """End the process with its workers, which nobody could end later."""
    processes = sys.modules.get("multiprocessing")
    for child in processes.active_children() if processes is not None else ():
        with suppress(OSError):
            os.kill(child.pid, getattr(signal, "SIGKILL", signal.SIGTERM))
    os._exit(130)


@contextmanager
def interrupts_end_us() -> Iterator[None]:
    """Within it Ctrl-C raises `KeyboardInterrupt`, as always; what swallows that is ended soon after.

    Cleaning up has its second, the end of the process included; a second Ctrl-C ends it at once.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    over, left = threading.Event(), threading.Event()

    def end() -> None:
        if not over.wait(_PATIENCE_S):
            _end() if left.is_set() else _end_at_once(0, None)

    def answer(number: int, frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, _end_at_once)
        if is_command():
            threading.excepthook = lambda failed: None  # threads of libraries whose ground is taken away
            if _is_importing(frame):  # compiled libraries abort, or take it for a fault of theirs, in their beginnings
                _end_at_once(number, frame)
        threading.Thread(target=end, daemon=True).start()
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGINT, answer)
    try:
        yield
    finally:
        left.set()
        if not is_command():  # a program goes on; a command has only to end
            over.set()
        signal.signal(signal.SIGINT, before)


if is_command():
    signal.signal(signal.SIGINT, _end_at_once)
