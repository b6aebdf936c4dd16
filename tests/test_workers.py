"""A second process that helps: the same answers, whatever becomes of it."""

import os
import signal
import time

import pytest

import blockfit as bf
from blockfit.errors import BadValueError
from blockfit.workers import Helper


def _asked_where(patience_s: float) -> int:
    time.sleep(patience_s)
    return os.getpid()


def _refused() -> None:
    raise BadValueError("no such face")


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core has no second process")
def test_what_is_handed_over_is_done_elsewhere_and_meanwhile():
    with Helper(jobs=2) as helper:
        first, second = helper.hand(_asked_where, 0.2), helper.hand(_asked_where, 0.0)
        assert first() == second() != os.getpid()


def test_alone_it_waits_its_turn():
    with Helper(jobs=1) as helper:
        asked = helper.hand(_asked_where, 0.0)
    assert asked() == os.getpid()


def test_where_no_process_may_be_started_it_is_done_here(monkeypatch):
    def refused(**options):
        raise PermissionError("no semaphores here")

    monkeypatch.setattr("joblib.externals.loky.ProcessPoolExecutor", refused)
    with Helper(jobs=2) as helper:
        assert helper.hand(_asked_where, 0.0)() == os.getpid()


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_goes_wrong_there_goes_wrong_here(jobs):
    with Helper(jobs) as helper:
        asked = helper.hand(_refused)
        with pytest.raises(BadValueError, match="no such face"):
            asked()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal")
def test_a_helper_that_is_killed_is_made_up_for():
    with Helper(jobs=2) as helper:
        other = helper.hand(_asked_where, 0.0)()
        asked = helper.hand(_asked_where, 0.0 if other == os.getpid() else 30.0)
        if other != os.getpid():
            time.sleep(0.3)
            os.kill(other, signal.SIGKILL)
            asked = helper.hand(_asked_where, 0.0)
        assert asked() == os.getpid()


def test_none_is_left_behind_by_a_fault():
    found: list[int] = []

    def fail() -> None:
        with Helper(jobs=2) as helper:
            found.append(helper.hand(_asked_where, 0.0)())
            helper.hand(_asked_where, 60.0)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    (other,) = found
    if other != os.getpid():
        with pytest.raises(ProcessLookupError):
            os.kill(other, 0)


@pytest.mark.parametrize("jobs", [0, 1000])
def test_a_count_that_makes_no_sense_is_refused(jobs):
    with pytest.raises(BadValueError, match="jobs"):
        Helper(jobs)


@pytest.mark.slow
@pytest.mark.in_full  # the helper knows of nothing else
def test_a_survey_by_two_says_the_same_to_the_last_digit(usual_fit):
    steps = [], []
    alone, helped = (bf.survey(usual_fit, jobs=jobs, progress=steps[jobs - 1].append) for jobs in (1, 2))
    assert steps[0] == steps[1]
    assert "trying other stances" in steps[1]
    assert len(alone.gains) == len(helped.gains) == 3
    assert all(other.figure is usual_fit.figure for _, other in helped.gains)
    assert alone.text(detail="all") == helped.text(detail="all")
    assert alone.record() == helped.record()
