"""Checks a certificate in exact arithmetic; flint's one home. Shares no code with the search that wrote it.

Every number is the binary fraction that its bits say, every sum and product exact; two cosines of the stance are
rounded so that more is allowed. Why what is checked proves the claim: `blockfit.certificates.certificate`."""

from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from blockfit.certificates.certificate import Certificate, Verified, read_certificate
from blockfit.errors import MissingExtraError
from blockfit.geometry.arrays import Array
from blockfit.kinds import kinds_checked
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure

__all__ = ["verify"]

_UNIT = 1 << 60  # a cell can be halved so often along an axis
_CORNERS = list(product((0, 1), repeat=3))
_PAIRS = [tuple(a + b for a, b in zip(*pair, strict=True)) for pair in product(_CORNERS, repeat=2)]
_GROUPS = [[k for k, pair in enumerate(_PAIRS) if pair == total] for total in product((0, 1, 2), repeat=3)]
_AS_WANTED = 1 - 1e-9  # of the most that was wanted: a placement is drawn in by its rounding
_ONE, _I, _J, _K = (1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0, 0, 0, 1)
_DOUBT = 1e-15  # of the sum of sizes: more than four roundings of 1.2e-16
_UNDERFLOW = 1e-290  # and for products that are too small for doubles


@kinds_checked
def verify(certificate: Certificate | str | Path, figure: Figure, block: Block) -> Verified:
    """Check a certificate, or the file that holds one, of a figure in a block as it was given to the search.

    Needs the extra ``verify``; raises `MissingExtraError` without it, `UnreadableFileError` for a file that holds none.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> figure, block = bf.Figure.from_points(corners), bf.Block.box(300, 200, 250)
    >>> fit = bf.largest(figure, block, stance=bf.Stance.upright(), certificate=True)
    >>> bf.verify(fit.certificate, figure, block).valid
    True
    """
    try:
        import flint
    except ImportError as error:
        raise MissingExtraError("python-flint is needed to verify: install 'blockfit[verify]'") from error
    proof = certificate if isinstance(certificate, Certificate) else read_certificate(certificate)
    try:
        _need((fault := proof.fault(figure, block)) is None, str(fault))
        cells = _Exact(proof, flint).check(figure.vertices)
    except _Fails as failure:
        return Verified(False, proof.bound, 0, str(failure))
    return Verified(True, proof.bound, cells, proof.claim())


class _Fails(Exception):
    """The first thing that does not hold."""


def _need(holds: Any, reason: str) -> None:
    if not holds:
        raise _Fails(reason)


def _shown(number: Any) -> str:
    """Return a number as a message shows it, however large it is."""
    try:
        return f"{float(number):.3g}"
    except OverflowError:
        return "a number with hundreds of digits"


class _Exact:
    """The certificate's numbers as exact fractions, and the checks on them."""

    def __init__(self, proof: Certificate, flint: Any) -> None:
        self.proof, self.flint, self.zero, self.largest = proof, flint, flint.fmpq(0), proof.question == "largest"
        self.bound, self.scale, self.slack = map(self.exact, (proof.bound, proof.scale, proof.margin_mm))
        _need(self.bound >= 0 if self.largest else self.scale > 0, "scale or bound is below 0")
        _need(proof.question != "short" or self.bound < 0, "nothing is missing, so it may fit")
        self.sound = [self.exact(o) - self.exact(k) for o, k in zip(proof.offsets_mm, proof.skin_mm, strict=True)]
        self.normals, self.points, self.centre = map(self.exact, (proof.normals, proof.points, proof.centre))
        _need(all(_dot(n, n) < 4 for n in self.normals), "a normal is not of length 1")
        self.limits = [self.stance_form(which) for which in range(2)]
        self.forms: dict[tuple[int, int, int], Any] = {}

    def exact(self, value: Any) -> Any:
        """Return floats, or arrays of them, as exact fractions."""
        if isinstance(value, np.ndarray):
            return [self.exact(each) for each in value]
        return self.flint.fmpq(*float(value).as_integer_ratio())

    def stance_form(self, which: int) -> Any:
        """Return the diagonal of G, rounded so that more is allowed; 0 where there is no limit."""
        angle = float(self.proof.stance[which])
        with self.flint.ctx.workprec(200):
            half = self.flint.arb(self.exact(angle)) / 360 * self.flint.arb.pi()
            digits, power = (half.cos() ** 2).lower().man_exp()
        cos = max(self.zero, self.flint.fmpq(digits) * self.flint.fmpq(2) ** int(power))
        if angle >= 180:  # no limit
            return [self.zero] * 4
        return [1 - cos, -cos, -cos, 1 - cos] if which == 0 else [1 - cos, self.zero, self.zero, -cos]

    def check(self, vertices: Array) -> int:
        """Check everything, and return how many cells there are."""
        proof = self.proof
        self.reach = self.reach_of_block()
        ways = [self.turned(way) for way in range(len(proof.ways))]
        if not np.isnan(proof.value):
            _need(0 <= proof.placed < len(ways), "the placement stands in no way of the block")
            self.check_placement(ways[proof.placed], vertices)
        if self.largest and proof.bound >= proof.most:
            # No more was wanted: then a placement as large as that is all there is to prove.
            _need(
                proof.value >= _AS_WANTED * proof.most,
                "nothing is proved: there are no cells, and no placement as large",
            )
            return 0
        nodes, leaves, count = iter(proof.nodes.tolist()), iter(proof.leaves.tolist()), 0
        for way, normals in enumerate(ways):
            for chart, (h, f) in enumerate(self.charts(way, normals)):
                left = _product(self.exact(proof.frames[way]), h)
                columns = [_product(left, _product(unit, f)) for unit in (_ONE, _I, _J, _K)]
                matrix = self.flint.fmpq_mat(4, 4, [part for column in columns for part in column])  # transposed
                for low, high in self.boxes(nodes, way, chart):
                    which = next(leaves, len(proof.limits))
                    _need(which < len(proof.limits), f"cell {count} has no statement")
                    if (key := (way, chart, which)) not in self.forms:
                        self.forms[key] = self.form(way, normals, which, matrix)
                    least = self.least(self.forms[key], low, high)
                    if not least > 0:
                        raise _Fails(f"statement {which} leaves {_shown(least)}, not above 0, on cell {count}")
                    count += 1
        _need(next(nodes, None) is None and next(leaves, None) is None, "there are more cells than the trees hold")
        return count

    def reach_of_block(self) -> Any:
        """Return ρ, which bounds the coordinates of the place of the first point, from the block's centre."""
        most, off, offsets = self.zero, self.zero, self.exact(self.proof.offsets_mm)
        more = 2 * max(self.zero, -self.bound)
        room = [o - _dot(n, self.centre) + more for o, n in zip(offsets, self.normals, strict=True)]
        for k, weights in enumerate(self.exact(self.proof.spans)):
            towards = [_dot(weights, [n[i] for n in self.normals]) for i in range(3)]
            towards[k % 3] -= 1 if k < 3 else -1
            off, most = max(off, sum(map(abs, towards))), max(most, _dot(weights, room))
        _need(off < 1, "spans do not close the block")
        return most / (1 - off)

    def turned(self, way: int) -> Any:
        """Return the normals in the frame of a way, having checked that its face is down."""
        rotation = _rotation(self.exact(self.proof.ways[way]))
        normals = [[_dot(row, n) for row in rotation] for n in self.normals]
        x, y, z = normals[int(self.proof.down[way])]
        is_down = max(abs(x), abs(y), abs(z + 1)) * 10**9 < 1
        _need(is_down or tuple(self.proof.ways[way]) == _ONE, "the face named is not down")
        return normals

    def row(self, way: int, normals: Any, row: int) -> tuple[Any, Any, int]:
        """Return b and a of a row, and its face."""
        cover, face, question = self.proof.cover_mm[way], row % len(normals), self.proof.question
        if row >= len(normals):
            counted = question == "cover" and (cover[face] > 0 or not cover.any())
            _need(row < 2 * len(normals) and counted, f"row {row} is not among those of the question")
            return self.sound[face], self.zero + 1, face
        load = {"setback": max(self.zero, normals[face][1]), "short": self.zero + 1}.get(question, self.zero)
        return self.sound[face] - self.exact(cover[face]), load, face

    def check_placement(self, normals: Any, vertices: Array) -> None:
        """Check every vertex in every row: in floating point with its error, and exactly where that does not tell."""
        proof, cover, count = self.proof, self.proof.cover_mm[self.proof.placed], len(normals)
        q, value, shift = map(self.exact, (proof.turn, proof.value, proof.shift_mm))
        _need(min(_dot(g, [x * x for x in q]) for g in self.limits) >= 0, "the placement is outside the stance")
        scale, gain = (value, self.zero) if self.largest else (self.scale, value)
        _need(scale > 0 and value <= self.bound, "the value is above its bound")
        bare = [count + face for face in range(count) if cover[face] > 0 or not cover.any()]
        for row in [*range(count), *(bare if proof.question == "cover" else [])]:
            b, a, face = self.row(proof.placed, normals, row)
            along = [scale * _dot(normals[face], column) for column in zip(*_rotation(q), strict=True)]
            rest = b - a * gain - scale * self.slack - _dot(normals[face], shift)
            try:
                *near, level = (int(part.p) / int(part.q) for part in [*along, rest])
            except OverflowError as error:
                raise _Fails(f"the placement's numbers are too large in row {row}") from error
            # Four roundings of 1.2e-16 to each of three products, and one to the rest: less than is allowed for here.
            doubt = _DOUBT * (np.abs(vertices) @ np.abs(np.array(near)) + abs(level)) + _UNDERFLOW
            for k in np.flatnonzero(vertices @ near > level - doubt):
                over = _dot(along, self.exact(vertices[k])) - rest
                if not over <= 0:
                    raise _Fails(f"the placement misses row {row} at vertex {k} by {_shown(over)} mm")

    def charts(self, way: int, normals: Any) -> list[tuple[Any, Any]]:
        """Return the half turns h and f of the charts that hold every rotation in question."""
        frame, is_upright = tuple(self.proof.frames[way]), self.proof.stance[0] == 0
        _need(frame == _ONE or (any(frame) and not is_upright), "a frame is no rotation, or not its own where upright")
        is_box = all(sum(part != 0 for part in normal) == 1 for normal in normals)
        if is_box and self.proof.stance.min() >= 180 and frame in (_ONE, (1, 1, 1, 1), (1, -1, -1, -1)):
            return [(_ONE, _ONE)]  # and such frames take axes to axes
        return [(h, f) for h in (_ONE, _K) for f in ((_ONE,) if is_upright else (_ONE, _I))]

    def boxes(self, nodes: Iterator[int], way: int, chart: int) -> Iterator[tuple[list[int], list[int]]]:
        """Yield the ends of the boxes at a tree's leaves, in units of 2^−60."""
        tilt, turn = self.proof.stance
        no_turn = chart == 0 and turn == 0 and tuple(self.proof.frames[way]) == _ONE
        ends = [0 if no_turn else _UNIT, *[0 if tilt == 0 else _UNIT] * 2]
        open_boxes = [([-end for end in ends], ends)]
        while open_boxes:
            low, high = open_boxes.pop()
            axis = next(nodes, -1)
            _need(0 <= axis <= 3, "a tree ends too soon, or has a node that is none")
            if axis == 3:
                yield low, high
            else:
                above, below = list(low), list(high)
                above[axis] = below[axis] = (low[axis] + high[axis]) // 2
                _need(low[axis] < above[axis] < high[axis], "a cell is halved more often than can be")
                open_boxes += [(above, high), (low, below)]

    def least(self, form: Any, low: list[int], high: list[int]) -> Any:
        """Return the least coefficient of a form on a box."""
        if form is None:
            return 1
        corners: list[int] = []
        for corner in _CORNERS:
            t, a, b = (ends[up] for ends, up in zip(zip(low, high, strict=True), corner, strict=True))
            corners += [_UNIT * _UNIT, a * _UNIT - t * b, b * _UNIT + t * a, t * _UNIT]
        q = self.flint.fmpz_mat(8, 4, corners)
        products = (q * form * q.transpose()).entries()
        return min(sum(products[k] for k in group) for group in _GROUPS)

    def form(self, way: int, normals: Any, which: int, matrix: Any) -> Any:
        """Return a multiple of F of a statement, on a chart; None if its rows alone leave no place for any point."""
        proof, zero, left = self.proof, self.zero, [self.zero] * 3
        scale, gain = (self.bound, zero) if self.largest else (self.scale, self.bound)
        n, plain, room = [[zero] * 3] * 3, zero, zero
        for m in range(int(proof.starts[which]), int(proof.starts[which + 1])):
            b, a, face = self.row(way, normals, int(proof.rows[m]))
            weight, point = self.exact(proof.weights[m]), self.points[int(proof.which[m])]
            here = weight * (b - _dot(self.normals[face], self.centre))
            room, plain = room + here, plain + weight * (scale * self.slack + a * gain) - here
            left = [old + weight * part for old, part in zip(left, self.normals[face], strict=True)]
            arm = [weight * scale * (end - start) for end, start in zip(point, self.points[0], strict=True)]
            n = [[n[r][c] + arm[r] * normals[face][c] for c in range(3)] for r in range(3)]
        lost = self.reach * sum(map(abs, left))
        if self.largest and room + lost < 0:
            return None
        trace = n[0][0] + n[1][1] + n[2][2]
        form = [[trace, n[1][2] - n[2][1], n[2][0] - n[0][2], n[0][1] - n[1][0]]]
        form += [[form[0][r + 1], *(n[r][c] + n[c][r] for c in range(3))] for r in range(3)]
        for r in range(4):
            taken = _dot(self.exact(proof.limits[which]), [limit[r] for limit in self.limits])
            form[r][r] += plain - lost - taken - (trace if r else zero)
        whole = self.flint.fmpq_mat(4, 4, [part for line in form for part in line])
        return (matrix * whole * matrix.transpose()).numer_denom()[0]


def _dot(first: Any, second: Any) -> Any:
    return sum(a * b for a, b in zip(first, second, strict=True))


def _product(p: Any, q: Any) -> Any:
    """Return the product of two quaternions."""
    (a, b, c, d), (w, x, y, z) = p, q
    vector = [a * x + b * w + c * z - d * y, a * y - b * z + c * w + d * x, a * z + b * y - c * x + d * w]
    return [a * w - b * x - c * y - d * z, *vector]


def _rotation(q: Any) -> Any:
    """Return the rows of the rotation of a quaternion of any length."""
    _need(any(q), "a quaternion of length 0 is no rotation")
    back = [part / _dot(q, q) for part in (q[0], -q[1], -q[2], -q[3])]
    return list(zip(*[_product(_product(q, unit), back)[1:] for unit in (_I, _J, _K)], strict=True))
