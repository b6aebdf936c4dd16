"""Work on all cores, or on a cluster by joblib's own backend; joblib's one home.

Workers end with their parent, however it ends; Ctrl-C reaches the parent alone, which ends them."""

import os
import pickle
import signal
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from itertools import chain, islice
from typing import Any, TypeVar

from blockfit.errors import BadValueError, BlockfitError

__all__ = ["Helper", "WorkerLostError", "in_order"]

Task = TypeVar("Task")
Result = TypeVar("Result")

_MOST_JOBS = 512
_LOOK_S = 0.3  # how often a worker looks whether its parent is still there


class WorkerLostError(BlockfitError, RuntimeError):
    """A worker process was killed from outside, such as for want of memory; ``tasks`` are those not answered."""

    def __init__(self, tasks: list[Any]) -> None:
        """Keep what was under way."""
        super().__init__("a worker process was killed, perhaps for want of memory")
        self.tasks = tasks


def in_order(work: Callable[[Task], Result], tasks: Iterator[Task], jobs: int | None) -> Iterator[tuple[Task, Result]]:
    """Yield every task with its result, in order, worked on by joblib as it is configured.

    ``jobs`` is how many processes, all cores where it is ``None`` and joblib is not configured otherwise. Raises
    `WorkerLostError`; closing the iterator ends the workers' tasks.
    """
    from concurrent.futures.process import BrokenProcessPool

    from joblib import Parallel, delayed, effective_n_jobs
    from joblib.parallel import get_active_backend

    _check_jobs(jobs)
    backend, configured = get_active_backend()
    count = jobs if jobs is not None else (configured if configured not in (None, 1) else -1)
    if jobs is None and type(backend).__name__ == "DaskDistributedBackend":
        count = None
    local = type(backend).__name__ == "LokyBackend"
    if local:  # no more workers than tasks
        first = list(islice(tasks, effective_n_jobs(count)))
        count, tasks = max(1, len(first)), chain(first, tasks)
    under_way: list[Task] = []

    def noted() -> Iterator[Task]:
        for task in tasks:
            under_way.append(task)
            yield task

    several = local and count != 1
    more = {"initializer": _watch, "initargs": (os.getpid(),)} if several else {}
    with _children_quiet() if several else nullcontext(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*worker stopped while some jobs were given.*")
        results = Parallel(n_jobs=count, return_as="generator", pre_dispatch="3*n_jobs", **more)(
            delayed(work)(task) for task in noted()
        )
    try:
        for result in results:
            yield under_way.pop(0), result
    except BrokenProcessPool as error:
        raise WorkerLostError(list(under_way)) from error
    finally:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # joblib says that not all was asked for: it was meant
            results.close()


class Helper:
    """Another process that works on something meanwhile, if there is one: else what is handed over waits its turn here.

    >>> from blockfit.workers import Helper
    >>> with Helper(jobs=1) as helper:
    ...     asked = helper.hand(pow, 2, 10)
    >>> asked()
    1024
    """

    def __init__(self, jobs: int) -> None:
        """Begin with nothing handed over; ``jobs`` of 1 is no other process."""
        _check_jobs(jobs)
        self._is_wanted = jobs != 1 and (os.cpu_count() or 1) > 1
        self._pool: Any = None

    def __enter__(self) -> "Helper":
        """Start the process."""
        if self._is_wanted:
            from joblib.externals.loky import ProcessPoolExecutor

            with _children_quiet(), suppress(OSError, ImportError):  # where none may be started, it is done here
                pool = ProcessPoolExecutor(max_workers=1, initializer=_watch, initargs=(os.getpid(),))
                self._number = pool.submit(os.getpid)  # it starts now, not with the first work
                self._pool = pool
        return self

    def __exit__(self, *failed: object) -> None:
        """End the process, in the middle of its work if there was a fault."""
        if self._pool is not None:
            if failed[0] is not None:
                with suppress(OSError, RuntimeError):  # gone already, or broken
                    os.kill(self._number.result(), getattr(signal, "SIGKILL", signal.SIGTERM))
            self._pool.shutdown(wait=True)

    def hand(self, work: Callable[..., Result], *given: Any, **named: Any) -> Callable[[], Result]:
        """Return what waits for ``work(*given, **named)``, the same to the last digit wherever it is done.

        A process that is killed from outside is made up for here.
        """
        if self._pool is None:
            return lambda: work(*given, **named)
        from concurrent.futures.process import BrokenProcessPool

        with _children_quiet():
            # As bytes: what a pool holds on to at an interrupt, solids among it, would be reported as leaked.
            answer = self._pool.submit(_unpacked, pickle.dumps((work, given, named)))

        def wait() -> Result:
            try:
                found: Result = answer.result()
            except BrokenProcessPool:
                return work(*given, **named)
            return found

        return wait


def _unpacked(packed: bytes) -> Any:
    """Do, in a helper, what was handed over."""
    work, given, named = pickle.loads(packed)
    return work(*given, **named)


def _check_jobs(jobs: int | None) -> None:
    if jobs is not None and not (jobs and abs(jobs) <= _MOST_JOBS):
        raise BadValueError(f"jobs={jobs!r} must be 1 to {_MOST_JOBS} processes, or -1 for all cores")


def _watch(parent: int) -> None:
    """Begin, in a worker, to look after its parent."""
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    """End this process once its parent is gone: nobody waits for its answers."""
    while os.getppid() == parent:
        time.sleep(_LOOK_S)
    os._exit(1)


@contextmanager
def _children_quiet() -> Iterator[None]:
    """Hold Ctrl-C back while workers start: they inherit that, and are ended by their parent and not by the key.

    Their warnings, which would reach the terminal among the rows, are switched off in the same way.
    """
    if not hasattr(signal, "pthread_sigmask") or threading.current_thread() is not threading.main_thread():
        yield
        return
    from multiprocessing import resource_tracker

    from joblib.externals.loky.backend import resource_tracker as tracker

    known = os.environ.get("PYTHONWARNINGS")
    os.environ["PYTHONWARNINGS"] = "ignore"
    try:
        for helper in (tracker, resource_tracker):  # they let Ctrl-C through again once they run: so run them before
            helper.ensure_running()
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
    finally:
        del os.environ["PYTHONWARNINGS"]
        if known is not None:
            os.environ["PYTHONWARNINGS"] = known
