"""A tree of cells over the charts, halved until one statement settles each, and then made smaller."""

from dataclasses import dataclass

import numpy as np

from blockfit.geometry.arrays import Array, Flags, Ints
from blockfit.geometry.turns import from_quaternions
from blockfit.search.witness.forms import Charts, coefficients, corners_of_cells
from blockfit.search.witness.statements import COEFFICIENT_ROUNDING, LEAST_MARGIN, Statement, Target, combined, look

__all__ = ["Tree", "grown"]

_BATCH = 1024
_LEAF = 3
_LEARNT = 8  # cells a round whose dependencies are taken in, where they are not all listed
_LEAST_SIDE = 2.0**-55


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    low: Array
    high: Array
    chart: Ints

    def __len__(self) -> int:
        return len(self.chart)

    def pick(self, which: Ints | Flags) -> "_Cells":
        return _Cells(self.low[which], self.high[which], self.chart[which])

    def corners(self, charts: Charts) -> Array:
        return corners_of_cells(self.low, self.high, charts[self.chart])


@dataclass(frozen=True, slots=True, eq=False)
class Tree:
    """``nodes`` in the certificate's order and a statement for each leaf; ``raw`` leaves before it was made smaller."""

    nodes: list[int]
    leaves: list[Statement]
    raw: int


@dataclass(slots=True)
class _Level:
    """The cells of one depth: which axis each is halved in (3: a leaf), its statement, and where its children begin."""

    cells: _Cells
    axis: Ints
    statements: list[Statement | None]
    child: Ints


def grown(aim: Target, charts: Charts, sides: Array, most: int) -> Tree | None:
    """Return a tree that settles every cell, or None if it would take more than ``most`` leaves.

    The charts' parameters go as far as ``sides`` (c, 3) to either side of 0. Cells are halved where the statement that
    comes nearest to settling them varies most.
    """
    cells, levels, leaves = _Cells(-sides, sides, np.arange(len(charts))), [], 0
    while len(cells):
        levels.append(_settled(aim, charts, cells))
        open_ones = levels[-1].axis != _LEAF
        leaves += int((~open_ones).sum())
        cells = _halves(cells.pick(open_ones), levels[-1].axis[open_ones])
        lengths = cells.high - cells.low
        if leaves + len(cells) > most or bool(((lengths > 0) & (lengths < _LEAST_SIDE)).any()):
            return None
    for above, below in zip(levels[-2::-1], levels[:0:-1], strict=True):
        _join(aim, charts, above, below)
    return _in_order(levels, leaves)


def _settled(aim: Target, charts: Charts, cells: _Cells) -> _Level:
    axis, statements = [], []
    for k in range(0, len(cells), _BATCH):
        some = cells.pick(np.arange(k, min(k + _BATCH, len(cells))))
        corners = some.corners(charts)
        looked = look(aim, corners, some.high - some.low)
        for j in looked.hopeful:
            looked.statements[j] = combined(aim, corners[j])
        statements += looked.statements
        settled = np.array([statement is not None for statement in looked.statements])
        axis.append(np.where(settled, _LEAF, looked.axis))
        is_all = aim.question.is_listed and len(aim.used) == len(aim.all_points)
        missed = np.flatnonzero(~settled)
        if not is_all and len(missed):
            chosen = missed[:: max(1, len(missed) // _LEARNT)]
            aim.learn(from_quaternions(corners[chosen].sum(axis=1)))
    every = np.concatenate(axis)
    child = 2 * (np.cumsum(every != _LEAF) - 1)
    return _Level(cells, every, statements, child)


def _halves(cells: _Cells, axis: Ints) -> _Cells:
    """Return the halves of cells, the lower before the upper."""
    every = np.arange(len(cells))
    low, high = np.repeat(cells.low, 2, axis=0), np.repeat(cells.high, 2, axis=0)
    middle = (cells.low + cells.high)[every, axis] / 2
    high[2 * every, axis] = low[2 * every + 1, axis] = middle
    return _Cells(low, high, np.repeat(cells.chart, 2))


def _join(aim: Target, charts: Charts, above: _Level, below: _Level) -> None:
    """Make leaves of cells whose halves are leaves, and which the statement of either settles whole."""
    halved = np.flatnonzero(above.axis != _LEAF)
    pairs = [(k, below.statements[above.child[k]], below.statements[above.child[k] + 1]) for k in halved]
    both = [(k, one, other) for k, one, other in pairs if one is not None and other is not None]
    for start in range(0, len(both), _BATCH):
        some = both[start : start + _BATCH]
        corners = above.cells.pick(np.array([k for k, _, _ in some])).corners(charts)
        forms = np.array([[one.form, other.form] for _, one, other in some])
        least = coefficients(corners, forms).min(axis=2)
        margins = np.array([[aim.margin if len(s.rows) else LEAST_MARGIN for s in pair[1:]] for pair in some])
        margins += COEFFICIENT_ROUNDING * np.array(
            [[s.limits.sum() if len(s.rows) else 0.0 for s in pair[1:]] for pair in some]
        )
        for (k, *halves), good in zip(some, least > margins, strict=True):
            if good.any():
                above.axis[k], above.statements[k] = _LEAF, halves[int(good.argmax())]


def _in_order(levels: list[_Level], raw: int) -> Tree:
    """Return the nodes from each root on, the lower half before the upper."""
    nodes: list[int] = []
    leaves: list[Statement] = []
    for root in range(len(levels[0].cells)):
        waiting = [(0, root)]
        while waiting:
            depth, k = waiting.pop()
            level = levels[depth]
            axis = int(level.axis[k])
            nodes.append(axis)
            if axis != _LEAF:
                waiting += [(depth + 1, int(level.child[k]) + 1), (depth + 1, int(level.child[k]))]
                continue
            statement = level.statements[k]
            assert statement is not None
            leaves.append(statement)
    return Tree(nodes, leaves, raw)
