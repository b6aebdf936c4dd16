"""Values of any numeric, list or path type are taken in where they mean what is asked."""

from collections import deque
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from conftest import KNEELING, cuboid

import blockfit as bf
from blockfit.errors import BadValueError
from blockfit.kinds import kinds_checked


@kinds_checked
def told(
    count: int = 1, share: float = 0.5, flag: bool = False, several: tuple[int, ...] | list[int] = ()
) -> tuple[int, float, bool, list[int]]:
    return count, share, flag, list(several)


WHOLE = [20, 20.0, np.int64(20), np.float32(20), np.array(20), np.array(20.0), Fraction(20), Decimal(20)]


@pytest.mark.parametrize("value", WHOLE, ids=lambda v: type(v).__name__)
def test_whole_numbers_of_any_type_are_plain_ones(value):
    count, share, _, _ = told(count=value, share=value)
    assert (type(count), count) == (int, 20)
    assert isinstance(share, int | float)
    assert share == 20
    assert told(several=[value, value])[3] == [20, 20]


@pytest.mark.parametrize("value", [1, np.int64(1), np.bool_(True), True])
def test_flags(value):
    assert told(flag=value)[2]


NO_COUNT = [Decimal("sNaN"), Decimal("NaN"), np.array("a"), np.array(["a"]), 20.5, "20"]


@pytest.mark.parametrize("value", NO_COUNT, ids=repr)
def test_what_is_no_whole_number_is_refused(value):
    with pytest.raises(BadValueError, match="count"):
        told(count=value)


def test_a_number_beyond_all_doubles_is_checked_by_its_range():
    figure, block = cuboid(100, 100, 200), bf.Block.box(600, 200, 300, stone="marble")
    fit = bf.largest(figure, block, scales=(0, 1), stance=bf.Stance.fixed())
    assert told(count=10**400)[0] == 10**400
    with pytest.raises(BadValueError, match="most_cuts"):
        bf.offcuts(fit, most_cuts=10**400)


def test_lists_of_any_kind():
    for some in (deque([1, 2]), (k for k in (1, 2)), {1: 0, 2: 0}.keys(), np.array([1, 2])):
        assert told(several=some)[3] == [1, 2]


class Place:
    """What the standard library takes for a path."""

    def __init__(self, path):
        self.path = path

    def __fspath__(self):
        return str(self.path)


def test_a_path_of_any_kind(tmp_path):
    assert len(bf.read_figure(Place(KNEELING), unit="m").faces) == 6912
    figure, block = cuboid(100, 100, 200), bf.Block.box(300, 200, 300)
    bf.largest(figure, block).save(Place(tmp_path / "job.blockfit"))
    assert (tmp_path / "job.blockfit").exists()


@pytest.mark.thorough
def test_numbers_of_numpy_where_a_number_is_asked():
    assert bf.Stance.upright(np.int64(30)) == bf.Stance.upright(30)
    assert bf.Method("saw", kerf_mm=np.int64(11)).kerf_mm == 11
    figure, block = cuboid(100, 100, 200), bf.Block.box(600, 200, 300, stone="marble")
    fit = bf.largest(figure, block, scales=(0.1, 1), stance=bf.Stance.fixed())
    assert bf.thin_stone(fit, jerk=np.int64(2), rupture=(Decimal(5), Decimal(9))).jerk == 2
    both = bf.share_block([figure, figure], block, scales=[0.5, 0.5], covers=np.array([5, 5]))
    assert len(both.fits) == 2
