"""A proof that no placement is better than claimed, as plain numbers that anyone can check in exact arithmetic.

The file is a zip of arrays (numpy's open ``.npy`` format, one for each field of `Certificate`; read it with
``numpy.load``). All lengths are mm; every 64-bit number stands for exactly the binary fraction that it is, so that
nothing below is rounded. What follows is all that a checker has to know.

**The claim.** The block is ``{x : n_j·x <= o_j − k_j}`` with ``normals`` n (f, 3), ``offsets_mm`` o and ``skin_mm``
k. It may be stood in w *ways*, each a rotation W that takes the block's frame to that of the way; then ``cover_mm``
(w, f) is the stone c_j asked of each face. The figure's vertices p are turned by a rotation R that the *stance*
allows, scaled by s, and moved by x, in the frame of the way. Every vertex must satisfy, with the figure's
``margin_mm`` τ, the conditions called *rows*: ``(W n_j)·(s R p + x) + s τ + a·t <= b``.

| question | s | t | rows 0 … f−1: b, a | rows f … 2f−1: b, a |
|---|---|---|---|---|
| ``largest`` | sought | 0 | o − k − c, 0 | none |
| ``cover`` | ``scale`` | sought | o − k − c, 0 | o − k, 1; of faces with c > 0, or of all if there is none |
| ``setback`` | ``scale`` | sought | o − k − c, the y of W n or 0 if that is below 0 | none |
| ``short`` | ``scale`` | sought | o − k − c, 1 | none |

*No placement has what is sought above* ``bound``, in any of the ways: not a larger scale (up to ``most``), not a
larger least cover, not more room behind, and, where the figure cannot fit, none with less missing on every face than
−``bound``. ``value`` is reached: by the placement in way ``placed`` with quaternion ``turn`` (4,) and ``shift_mm``
(3,); NaN where no placement is claimed, as where one holds only to rounding. A quaternion w, x, y, z of any length
stands for the rotation of the unit quaternion along it; ``ways`` (w, 4) are the W, and W n of the face ``down`` (w,)
points straight down, to 1e-9.

**Rotations.** With |q|² R = a quadratic form of q, the number |q|² n·R p is ``qᵀ K(n, p) q`` where, for N = p nᵀ with
trace T: K_00 = T, K_0i = N_jk − N_kj for (i, j, k) = (1, 2, 3), (2, 3, 1), (3, 1, 2), and K_ij = N_ij + N_ji − T
δ_ij. (Expand n·R p = (w² − v·v) n·p + 2 (v·n)(v·p) + 2 w v·(p × n) for q = (w, v).)

The stance allows a tilt up to ``stance[0]`` = θ and a turn up to ``stance[1]`` = ψ degrees either way, that is ``qᵀ
G_1 q >= 0`` and ``qᵀ G_2 q >= 0`` with G_1 = diag(1, 0, 0, 1) − cos²(θ/2) I (where θ < 180) and G_2 = diag(sin²(ψ/2),
0, 0, −cos²(ψ/2)) (where ψ < 180). Proof: the tilt's cosine R_22 is 2 (w² + z²)/|q|² − 1, and the turn is twice the
angle of (w, z), taken to lie within a right angle by the sign of q. A checker rounds the two constants so that more
is allowed.

**Cells.** A cell is a box of (t, y_1, y_2), and holds the rotations of ``q = g h (1 + t k)(1 + y_1 i + y_2 j) f``
with g the way's row of ``frames`` (w, 4). The *charts* (h, f) = (1, 1), (1, i), (k, 1), (k, i), in this order, over
[−1, 1]³ hold every rotation. Proof: in the frame of g, write q = w + x i + y j + z k. If w² + z² >= x² + y², then (w
− z k) q is (w² + z²) plus something in the plane of i and j of length sqrt((w² + z²)(x² + y²)) at most; so q is (w +
z k) times 1 + y_1 i + y_2 j. If not, take this for −q i, whose parts are exchanged. And w + z k is a multiple of 1 +
t k, or of k (1 + t k) = k − t, with |t| <= 1.

Less is enough for three stances. *Upright* (θ = 0): only y_1 = y_2 = 0, in charts (1, 1) and (k, 1), with g = 1. *No
turn* (ψ = 0): with g = 1, only t = 0 in the chart (1, 1), where q has w = 1 and z = t. *A box, any rotation*: where
every W n_j is an axis and θ = ψ = 180, the chart (1, 1) alone, with g = (1, 0, 0, 0), (1, 1, 1, 1) or (1, −1, −1,
−1). Proof: the rows of different axes do not share a coordinate of x, so that they can be satisfied if for each axis
the figure's width s (max − min) along it has room between the two faces' rows; half turns of the block leave widths
as they are, and so does h = k, while i (1 + t k)(1 + y_1 i + y_2 j) is (1 − t k)(1 + y_1 i − y_2 j) i, so that f = i
is the half turn i of the block before other t and y. Such g take axes to axes.

``nodes`` is a tree for every way and chart, one after the other, from the root on, the lower half before the upper:
0, 1 or 2 halves the box in t, y_1 or y_2; 3 is a cell that the next entry of ``leaves`` settles, by the number of a
statement. So the cells cover all boxes by construction, and the leaves have only to be counted.

**Statements.** Statement i has the contacts ``starts[i] <= m < starts[i + 1]``: row ``rows[m]`` (of face j), the
vertex ``points[which[m]]`` = p, which is vertex ``vertices[which[m]]`` of the figure, and ``weights[m]`` = λ >= 0;
and ``limits[i]`` = μ_1, μ_2 >= 0. Let S be ``bound`` for ``largest``, else ``scale``; B be 0 for ``largest``, else
``bound``; and p_0 = ``points[0]``. With ``F = Σ λ [S K(W n_j, p − p_0) + (S τ + a B − b + n_j·z) I] − ρ |Σ λ n_j|_1 I
− μ_1 G_1 − μ_2 G_2``, z = ``centre`` (3,), the statement settles a cell where qᵀ F q > 0 for all its q. Proof: let
some placement with R in the cell have more than ``bound``, and y be the place of p_0, in the block's own frame. Add λ
times the rows at their vertices; y comes in as (Σ λ n_j)·(y − z) >= −ρ |Σ λ n_j|_1, and t only grows the left side,
as a >= 0. The sum says that qᵀ (F + Σ μ G) q <= 0 for ``cover`` and its like, while qᵀ G q >= 0. For ``largest`` it
says s A <= b_0 with A = Σ λ (n·R (p − p_0) + τ) and b_0 = Σ λ (b − n_j·z) + ρ |Σ λ n_j|_1, and qᵀ F q > 0 says S A >
b_0: if b_0 >= 0, then A > 0 and s A > b_0 for s > S. If b_0 < 0, not even y has a place: such a statement settles
every cell.

ρ bounds the coordinates of y − z: ``spans`` (6, f) are weights >= 0 with Σ_j spans_kj n_j near e_k, for e the three
axes and their opposites; d_k is the sum of the absolute parts of the difference. As n_j·(y − z) <= e_j = o_j − n_j·z
+ 2 max(0, −B), each ±(y − z)_k is at most Σ spans_kj e_j + d_k max |y − z|, so ρ = max(0, max_k Σ spans_kj e_j) / (1
− max_k d_k).

**Positive on a cell.** q is affine in each of t, y_1, y_2 apart, so it is a mean of its eight corners c with weights
Π (1 − u_i or u_i). So qᵀ F q is a sum of c_αᵀ F c_β times weights that depend on α + β in {0, 1, 2}³ only: it is
above 0 if, for each of these 27, the sum of c_αᵀ F c_β over all α + β is above 0. (These are its Bernstein
coefficients.)
"""

import io
import math
import zipfile
import zlib
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from blockfit.errors import UnreadableFileError, shown_name
from blockfit.geometry.arrays import Array, Ints
from blockfit.kinds import kinds_checked
from blockfit.solids.block import Block
from blockfit.solids.figure import Figure
from blockfit.writing import whole

__all__ = ["QUESTIONS", "Certificate", "Verified", "read_certificate"]

QUESTIONS = ("largest", "cover", "setback", "short")
_FORM = "blockfit certificate 1"
_MOST_BYTES = 1 << 30  # of one array, before anything is unpacked

_PACKED = {"vertices": "<u4", "down": "<u2", "nodes": "|u1", "leaves": "<u4", "starts": "<u4", "rows": "<u2"} | {
    "which": "<u4"
}


@dataclass(frozen=True, eq=False, repr=False)
class Certificate:
    """What is claimed, and the statements that prove it; the fields are explained in this module's docstring.

    Lengths are mm. What it proves holds in exact arithmetic: `verify` checks it, and `save` writes it.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> block = bf.Block.box(300, 200, 250)
    >>> proof = bf.largest(cube, block, stance=bf.Stance.upright(), certificate=True).certificate
    >>> proof.question, round(proof.bound, 6), round(proof.value, 6), proof.cells == len(proof.leaves)
    ('largest', 2.0, 2.0, True)
    """

    question: str
    scale: float
    bound: float
    value: float
    most: float
    stance: Array
    margin_mm: float
    normals: Array
    offsets_mm: Array
    skin_mm: Array
    cover_mm: Array
    ways: Array
    down: Ints
    placed: int
    turn: Array
    shift_mm: Array
    vertices: Ints
    points: Array
    centre: Array
    spans: Array
    frames: Array
    nodes: Ints
    leaves: Ints
    starts: Ints
    rows: Ints
    which: Ints
    weights: Array
    limits: Array
    form: str = field(default=_FORM)

    def __post_init__(self) -> None:
        """Copy the arrays in and freeze them."""
        for each in fields(self):
            if each.type in (Array, Ints):
                array = np.array(getattr(self, each.name), dtype=np.float64 if each.type is Array else np.int64)
                array.flags.writeable = False
                object.__setattr__(self, each.name, array)

    def __repr__(self) -> str:
        """Return the question, the bound and how many cells prove it."""
        return f"Certificate({self.question}: {self.bound!r}, {len(self.leaves):,} cells)"

    @property
    def cells(self) -> int:
        """How many cells cover the rotations."""
        return len(self.leaves)

    def claim(self) -> str:
        """Return what is claimed, in words: the question with its stance, cover and ways, and the bound."""
        tilt, turn = self.stance.tolist()
        low, high = float(self.cover_mm.min()), float(self.cover_mm.max())
        cover = f"cover {low!r} mm" if low == high else f"cover {low!r} to {high!r} mm by face"
        asked = f"leaned up to {tilt:g}° and turned up to {turn:g}° either way, {cover}"
        if not np.array_equal(self.ways, [[1, 0, 0, 0]]):
            asked += f", the block stood in {len(self.ways)} ways"
        if self.question == "largest":
            if self.bound >= self.most:
                return f"{asked}: scales above {self.most!r} were not asked about; nothing is proved of them"
            wanted = "" if self.most == np.inf else f" (no more than {self.most!r} was wanted)"
            return f"{asked}: no placement exceeds the scale {self.bound!r}{wanted}"
        asked += f", at scale {self.scale!r}"
        if self.question == "short":
            return f"{asked}: it cannot fit; any placement lacks {-self.bound!r} mm or more on some face"
        what = "least cover" if self.question == "cover" else "setback"
        return f"{asked}: no placement has more {what} than {self.bound!r} mm"

    @kinds_checked
    def fault(self, figure: Figure, block: Block) -> str | None:
        """Return why, without any arithmetic, it is no proof about a figure and a block as given; None if it may be."""
        fault = self._list_fault()
        if fault is not None:
            return fault
        for mine in ("normals", "offsets_mm", "skin_mm"):
            if not np.array_equal(getattr(self, mine), getattr(block, mine)):
                return "the planes are not those of the block"
        if (self.vertices >= len(figure.vertices)).any():
            return "a vertex is named that the figure does not have"
        moved = np.flatnonzero((figure.vertices[self.vertices] != self.points).any(axis=1))
        if len(moved):
            return f"point {moved[0]} is not the figure's vertex {self.vertices[moved[0]]}"
        if self.margin_mm != figure.margin_mm:
            return "the margin is not the figure's"
        return None if self.question in QUESTIONS else "the question is none that is known"

    def _list_fault(self) -> str | None:
        """Return what is wrong with its lists themselves: lengths, values that are no numbers, or out of range."""
        (w, f), m, s = self.cover_mm.shape if self.cover_mm.ndim == 2 else (0, 0), len(self.rows), len(self.limits)
        shapes = {"stance": (2,), "cover_mm": (w, f), "ways": (w, 4), "down": (w,), "turn": (4,), "shift_mm": (3,)}
        shapes |= {"normals": (f, 3), "offsets_mm": (f,), "skin_mm": (f,), "centre": (3,), "spans": (6, f)}
        shapes |= {"frames": (w, 4), "starts": (s + 1,), "rows": (m,), "which": (m,), "weights": (m,), "limits": (s, 2)}
        shapes |= {"vertices": (len(self.points),), "points": (len(self.points), 3)}
        for name, shape in shapes.items():
            if getattr(self, name).shape != shape:
                return f"{name} has the wrong shape"
        for each in fields(self):
            value = getattr(self, each.name)
            if (
                (each.name != "value" or not np.isnan(value))
                and each.name != "most"
                and each.type is not str
                and not np.isfinite(value).all()
            ):
                return f"{each.name} has values that are no numbers"
        least = {"cover_mm", "skin_mm", "margin_mm", "weights", "limits", "spans", "down", "rows", "which", "leaves"}
        below = [name for name in sorted(least | {"vertices", "starts"}) if np.min(getattr(self, name), initial=0) < 0]
        if below:
            return f"{below[0]} has a value below 0"
        if self.starts[0] != 0 or self.starts[-1] != m or (np.diff(self.starts) < 0).any():
            return "starts do not rise from 0 to the number of contacts"
        if self.stance.min() < 0 or self.stance.max() > 180:
            return "the stance has no such limits"
        if self.which.max(initial=0) >= len(self.points) or self.down.max(initial=0) >= f:
            return "a point or a face is named that is not there"
        return None if w and len(self.points) else "there is no way to stand the block, or no point"

    @kinds_checked
    def save(self, path: str | Path) -> Path:
        """Write the certificate to a file, which appears whole or not at all, and return its path.

        Any name will do; ``.proof`` is usual. Raises `UnreadableFileError` where nothing can be written.
        """
        file = Path(path)
        with whole(file) as beside:
            beside.write_bytes(self.as_bytes())
        return file

    def as_bytes(self) -> bytes:
        """Return what `save` writes; the same certificate gives the same bytes."""
        whole = io.BytesIO()
        with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as package:
            for each in fields(self):
                body = io.BytesIO()
                value = np.asarray(getattr(self, each.name))
                np.save(body, value.astype(_PACKED.get(each.name, value.dtype)), allow_pickle=False)
                package.writestr(zipfile.ZipInfo(f"{each.name}.npy"), body.getvalue(), zipfile.ZIP_DEFLATED, 9)
        return whole.getvalue()


@dataclass(frozen=True, slots=True)
class Verified:
    """Whether a certificate holds; the ``bound`` that it proves, by how many ``cells``; and the ``reason``.

    If valid, the reason is what is proved, in words: a proof of another question than yours is as valid. If not, it
    is the first thing that does not hold, and by how much.

    ``bound`` is a scale, or mm, as the certificate's question has it. Exact: no rounding is left in it.

    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> block = bf.Block.box(300, 200, 250)
    >>> proof = bf.largest(cube, block, stance=bf.Stance.upright(), certificate=True).certificate
    >>> bf.verify(proof, cube, block).valid
    True
    >>> other = bf.verify(proof, cube, bf.Block.box(300, 200, 260))
    >>> other.valid, other.reason
    (False, 'the planes are not those of the block')
    """

    valid: bool
    bound: float
    cells: int
    reason: str


@kinds_checked
def read_certificate(path: str | Path) -> Certificate:
    """Return the certificate in a file. Raises `UnreadableFileError` for a file that holds none.

    Nothing in the file is run, and whether it proves anything is not looked at here: that is for `verify`. Every number
    comes back to the last bit.

    >>> import pathlib, tempfile
    >>> import blockfit as bf
    >>> corners = [[x, y, z] for x in (0, 100) for y in (0, 100) for z in (0, 100)]
    >>> cube = bf.Figure.from_points(corners)
    >>> block = bf.Block.box(300, 200, 250)
    >>> proof = bf.largest(cube, block, stance=bf.Stance.upright(), certificate=True).certificate
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     again = bf.read_certificate(proof.save(pathlib.Path(folder) / "cube.proof"))
    >>> again.bound == proof.bound, again.cells == proof.cells
    (True, True)
    """
    file = Path(path)
    try:
        if not file.is_file():
            raise UnreadableFileError(f"{shown_name(file)} is no file")
        with zipfile.ZipFile(file) as package:
            if sum(part.file_size for part in package.infolist()) > _MOST_BYTES:
                raise UnreadableFileError(f"{shown_name(file)} holds more than a certificate can")
            read = {each.name: _array(package, f"{each.name}.npy") for each in fields(Certificate)}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error, RuntimeError) as error:
        if isinstance(error, UnreadableFileError):
            raise
        raise UnreadableFileError(f"{shown_name(file)} is no certificate, or cut short: {error}") from error
    if str(read["form"]) != _FORM:
        raise UnreadableFileError(f"{shown_name(file)} is of the form {str(read['form'])[:40]!r}, not {_FORM!r}")
    return _taken_in(read, file)


def _array(package: zipfile.ZipFile, name: str) -> npt.NDArray[Any]:
    """Return an array; one that says it is larger than its part of the file is refused before room is made for it."""
    body = io.BytesIO(package.read(name))
    version = np.lib.format.read_magic(body)
    reader = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
    shape, _, kind = reader(body)
    if math.prod(shape) * kind.itemsize > len(body.getvalue()):
        raise ValueError(f"{name} is cut short")
    body.seek(0)
    return np.asarray(np.load(body, allow_pickle=False))


def _taken_in(read: dict[str, npt.NDArray[Any]], file: Path) -> Certificate:
    """Return the certificate, its scalars plain numbers and its arrays of the kinds that they must be."""
    taken: dict[str, Any] = {}
    for each in fields(Certificate):
        value = read[each.name]
        kinds = "U" if each.type is str else "f" if each.type in (float, Array) else "iu"
        if value.dtype.kind not in kinds or (each.type in (float, int, str) and value.shape != ()):
            raise UnreadableFileError(f"{shown_name(file)}: {each.name} is of the wrong kind")
        taken[each.name] = value if each.type in (Array, Ints) else value.item()
    return Certificate(**taken)
