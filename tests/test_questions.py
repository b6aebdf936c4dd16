"""Every question, in every stance, in every kind of convex block: the table in DEVELOPERS.md, cell by cell."""

import re

import numpy as np
import pytest
import trimesh
from conftest import HERE, SHARED, cuboid, needs_meshes
from hypothesis import given, settings
from hypothesis import strategies as st
from regular import SOLIDS
from scipy.optimize import differential_evolution, minimize

import blockfit as bf
from blockfit.geometry.polytope import corners_of
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.questions import Question
from blockfit.search.proof.support import hull_of
from blockfit.solids.standing import standings

PHI = (1 + 5**0.5) / 2
WEDGE = bf.Block.convex(
    [[0, 0, 0], [900, 0, 0], [0, 800, 0], [900, 800, 0], [0, 0, 1500], [900, 0, 1500], [0, 300, 1500], [900, 300, 1500]]
)
CORNER_OFF = bf.Block.from_planes(
    [[0, -1, 0], [0, 1, 0], [-1, 0, 0], [1, 0, 0], [0, 0, -1], [0, 0, 1], [1, -1, 1]], [0, 700, 0, 900, 0, 1500, 1900]
)
BLOCKS = {"box": bf.Block.box(900, 700, 1500), "wedge": WEDGE, "corner off": CORNER_OFF}
STANCES = {
    "free": bf.Stance.free(),
    "upright": bf.Stance.upright(60),
    "leaning": bf.Stance.leaning(20, 100),
    "fixed": bf.Stance.fixed(),
}
FIGURE = bf.Figure.from_points(np.random.default_rng(11).normal(size=(25, 3)) * [70, 60, 150])


def allowed(stance, count=300):
    """Rotations drawn within a stance: a turn, then a lean."""
    random = np.random.default_rng(4)
    if stance.is_free:
        return from_quaternions(random.normal(size=(count, 4)))
    half_turn = np.radians(random.uniform(-stance.turn, stance.turn, count)) / 2
    half_lean, towards = np.radians(random.uniform(0, stance.tilt, count)) / 2, random.uniform(0, 2 * np.pi, count)
    zero = np.zeros(count)
    lean = from_quaternions(
        np.stack([np.cos(half_lean), np.sin(half_lean) * np.cos(towards), np.sin(half_lean) * np.sin(towards), zero], 1)
    )
    return lean @ from_quaternions(np.stack([np.cos(half_turn), zero, zero, np.sin(half_turn)], 1))


def loads(block, seek):
    return np.ones(len(block.names)) if seek == "cover" else np.maximum(block.normals[:, 1], 0)


@pytest.mark.parametrize("kind", BLOCKS)
@pytest.mark.parametrize("name", STANCES)
def test_largest(kind, name):
    block, stance = BLOCKS[kind], STANCES[name]
    fit = bf.largest(FIGURE, block, cover=10, stance=stance)
    assert fit.verdict is bf.Verdict.FITS
    assert fit.gap <= 1e-3 + 1e-12
    question = Question(block.normals, block.sound_mm - 10, np.zeros(len(block.names)))
    points = hull_of(FIGURE).points
    assert max(question.value(points, r) for r in allowed(stance)) <= fit.scale_bound
    placed = fit.placement.apply(FIGURE.vertices)
    assert (placed @ block.normals.T <= block.sound_mm - 10 + 1e-9 * max(block.size_mm)).all()
    assert stance.allows(fit.placement.rotation, 1e-6)


@pytest.mark.parametrize("seek", ["cover", "setback"])
@pytest.mark.parametrize("kind", BLOCKS)
@pytest.mark.parametrize("name", STANCES)
def test_safest(kind, name, seek):
    block, stance = BLOCKS[kind], STANCES[name]
    fit = bf.safest(FIGURE, block, scale=0.8, cover=10, stance=stance, seek=seek)
    assert fit.verdict is bf.Verdict.FITS
    question = Question(block.normals, block.sound_mm - 10, loads(block, seek), scale=0.8)
    points = hull_of(FIGURE).points
    best = max(question.value(points, r) for r in allowed(stance))
    assert best <= (fit.cover_bound_mm - 10 if seek == "cover" else fit.setback_bound_mm)
    reached = fit.cover_mm - 10 if seek == "cover" else bf.setback(fit).back_mm
    assert reached >= best - fit.gap_mm - 1e-6
    placed = fit.placement.apply(FIGURE.vertices)
    assert (placed @ block.normals.T <= block.sound_mm - 10 + 1e-9 * max(block.size_mm)).all()


@pytest.mark.parametrize("name", STANCES)
def test_smallest_block(name):
    stance = STANCES[name]
    size = bf.smallest_block(FIGURE, cover=10, stance=stance)
    widths = np.ptp(allowed(stance) @ FIGURE.vertices.T, axis=2) + 20
    assert size.volume_bound_m3 <= size.volume_m3 <= widths.prod(axis=1).min() * 1e-9 + 1e-15
    assert size.volume_m3 - size.volume_bound_m3 <= 1e-3 * size.volume_m3
    assert bf.stone_cover(size.fit).least_mm == pytest.approx(10, abs=1e-6)
    assert stance.allows(size.fit.placement.rotation, 1e-6)


def test_the_table_names_every_pair():
    text = (HERE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(
        r"^\| (`largest`|`safest`, cover|`safest`, setback|`smallest_block`) \|(.*)\|$", text, re.MULTILINE
    )
    assert len(rows) == 4
    assert all(len([cell for cell in row[1].split("|") if cell.strip()]) == len(STANCES) for row in rows)


# M. Firsching, Experimental Mathematics 24(1), 2015, Tables 1 and 2 (the nine read in the source).
PUBLISHED = {
    ("cube", "tetrahedron"): 1 / (1 + 2 * 3**0.5 / 3 + 6**0.5 / 2),
    ("octahedron", "tetrahedron"): 0.5,
    ("icosahedron", "tetrahedron"): 1 / (PHI**2 * 2**0.5),
    ("tetrahedron", "cube"): 2**0.5,
    ("octahedron", "cube"): 3 * 2**0.5 / 4,
    ("dodecahedron", "cube"): (1 - 10**0.5 / 2 + 2**0.5 / 2 + 5**0.5) / (2**0.5 * PHI**3),
    ("icosahedron", "cube"): 1 / PHI,
    ("cube", "octahedron"): 2 - 2**0.5,
    ("icosahedron", "octahedron"): 2**0.5 / PHI**2,
}
OTHERS = [(a, b) for a in SOLIDS for b in SOLIDS if a != b and (a, b) not in PUBLISHED]


@pytest.mark.parametrize(("inner", "outer"), PUBLISHED)
def test_regular_in_regular_as_published(inner, outer):
    block = bf.Block.convex(SOLIDS[outer] * 100)
    fit = bf.largest(bf.Figure.from_points(SOLIDS[inner] * 100), block, gap=1e-6, max_cells=2_000_000)
    assert fit.scale == pytest.approx(PUBLISHED[inner, outer], rel=1e-9)
    assert fit.gap <= 1e-6


@pytest.mark.parametrize(("inner", "outer"), OTHERS)
def test_regular_in_regular_by_an_independent_search(inner, outer):
    """The other eleven pairs, against scipy: many starts on the closed form, none may pass the bound or the best."""
    block = bf.Block.convex(SOLIDS[outer] * 100)
    fit = bf.largest(bf.Figure.from_points(SOLIDS[inner] * 100), block, max_cells=600_000)
    assert fit.gap <= 1e-3
    question = Question(block.normals, block.offsets_mm, np.zeros(len(block.names)))
    points = SOLIDS[inner] * 100
    random = np.random.default_rng(0)
    best = 0.0
    for start in random.normal(size=(6, 4)):
        found = minimize(
            lambda q: -question.value(points, from_quaternions(q)),
            start,
            method="Nelder-Mead",
            options={"xatol": 1e-10},
        )
        best = max(best, -float(found.fun))
    assert best <= fit.scale * (1 + 1e-9)
    assert best <= fit.scale_bound


def test_two_of_the_eleven_in_closed_form():
    # A cube in a dodecahedron has its edges as diagonals of pentagons: φ times theirs (Euclid XIII.17). A
    # tetrahedron in that cube is √2 larger again.
    block = bf.Block.convex(SOLIDS["dodecahedron"] * 100)
    assert bf.largest(bf.Figure.from_points(SOLIDS["cube"] * 100), block).scale == pytest.approx(PHI, rel=1e-9)
    tetrahedron = bf.largest(bf.Figure.from_points(SOLIDS["tetrahedron"] * 100), block)
    assert tetrahedron.scale == pytest.approx(PHI * 2**0.5, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "volume"),
    [
        ("tetrahedron", 2**-1.5),  # Wikipedia, "Minimum bounding box algorithms", citing O'Rourke 1985
        ("octahedron", 16 * 2**0.5 / 27),
        ("dodecahedron", 8 + 18 * 5**0.5 / 5),
        ("icosahedron", PHI**3),
    ],
)
def test_least_boxes_of_regular_solids(name, volume):
    size = bf.smallest_block(bf.Figure.from_points(SOLIDS[name] * 1000), cover=0)
    assert size.volume_m3 == pytest.approx(volume, rel=1e-9)
    assert size.volume_bound_m3 >= volume * (1 - 1e-3)


def test_a_least_box_is_never_above_trimeshs_nor_random_starts(kneeling):
    points = hull_of(kneeling).points
    size = bf.smallest_block(bf.Figure.from_points(points), cover=0)
    _, sides = trimesh.bounds.oriented_bounds(points)
    assert size.volume_m3 <= np.prod(sides) * 1e-9 * (1 + 1e-9)
    random = np.random.default_rng(8)
    starts = from_quaternions(random.normal(size=(1000, 4)))
    volumes = np.ptp(starts @ points.T, axis=2).prod(axis=1)
    for start in starts[np.argsort(volumes)[:5]]:  # the most promising, polished by scipy
        found = minimize(
            lambda v, start=start: np.ptp(from_quaternions(np.array([1, *v])) @ start @ points.T, axis=1).prod() * 1e-9,
            np.zeros(3),
            method="Nelder-Mead",
        )
        assert size.volume_m3 <= found.fun * (1 + 1e-9)
    # O'Rourke 1985: a least box has two adjacent faces that each hold an edge of the hull: two points or more.
    touching = [
        (np.abs(size.fit.placement.apply(points) @ n - b) < 1e-3).sum() for n, b in zip(*_faces(size), strict=True)
    ]
    assert sum(count >= 2 for count in touching) >= 2


def _faces(size):
    return size.fit.block.normals, size.fit.block.offsets_mm


def test_smallest_block_in_steps_within_limits_and_by_cost():
    figure = cuboid(310, 205, 700)
    size = bf.smallest_block(figure, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(), step="2 in")
    assert (size.width_mm, size.depth_mm, size.height_mm) == pytest.approx((355.6, 254, 762))
    turned = bf.smallest_block(figure, cover=20, stance=bf.Stance.upright(), most=(260, 400, 800), stone="granite")
    assert abs(turned.fit.placement.turn_deg) == pytest.approx(90)
    assert turned.mass_kg == pytest.approx(turned.volume_m3 * 2700)
    none = bf.smallest_block(figure, cover=20, stance=bf.Stance.upright(), most=(200, 400, 800))
    assert none.verdict is bf.Verdict.CANNOT_FIT
    assert none.fit is None
    # Width is dear: the figure turns its narrow side to it, though any turn costs the same volume.
    dear = bf.smallest_block(figure, cover=0, stance=bf.Stance.upright(), by=lambda w, d, h: 10 * w + d + h)
    assert dear.width_mm == pytest.approx(205)
    priced = bf.smallest_block(figure, cover=0, by="price", price_per_m3=2000)
    assert priced.cost == pytest.approx(priced.volume_m3 * 2000)
    for wrong in ({"by": "colour"}, {"by": "weight"}, {"by": "price"}, {"scale": 0}, {"gap": -1}, {"step": -1}):
        with pytest.raises(bf.BadValueError):
            bf.smallest_block(figure, **wrong)


def test_a_block_on_its_side(kneeling):
    lying = bf.Block.box(1600, 700, 900, bed="x", skin={"front": 10})
    stance, cover = bf.Stance.upright(30), {"bottom": 0, "other": 20}
    down = bf.largest(kneeling, lying, cover=cover, stance=stance)
    up = bf.largest(kneeling, lying, cover=cover, stance=stance, stands_on="any")
    assert up.scale > 1.3 * down.scale
    assert up.stands_on == "left"
    assert up.block.size_mm == (700, 900, 1600)
    assert up.block.bed == "z"
    assert up.block.volume_m3 == pytest.approx(lying.volume_m3)
    assert up.scale_bound >= up.scale
    # The front's skin went with the stone.
    assert sorted(up.block.skin_mm) == sorted(lying.skin_mm)
    assert up.block_turn @ lying.normals[lying.names.index("left")] == pytest.approx([0, 0, -1])
    level = bf.largest(kneeling, lying, cover=cover, stance=stance, stands_on="any", layers="level")
    assert level.scale == up.scale
    upright = bf.largest(kneeling, lying, cover=cover, stance=stance, stands_on="any", layers="upright")
    assert upright.block.bed in ("x", "y")
    assert upright.scale < level.scale
    with pytest.raises(bf.BadValueError, match="no way to stand"):
        bf.largest(kneeling, lying, stands_on="bottom", layers="level")
    with pytest.raises(bf.BadValueError, match="not known"):
        bf.largest(kneeling, bf.Block.box(9, 9, 9), layers="level")
    with pytest.raises(bf.BadValueError, match="stands_on"):
        bf.largest(kneeling, lying, stands_on="lid")


def test_standing_a_wedge_on_every_face_keeps_its_stone():
    ways = standings(WEDGE, "any")
    assert len(ways) == len(WEDGE.names)
    for way in ways:
        assert way.block.volume_m3 == pytest.approx(WEDGE.volume_m3)
        assert "bottom" in way.block.names
        assert way.block.corners_mm.min(axis=0) == pytest.approx(WEDGE.corners_mm.min(axis=0), abs=1e-6)


def test_many_faces():
    random = np.random.default_rng(3)
    normals = random.normal(size=(60, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    block = bf.Block.from_planes(normals, 600 + 60 * random.random(60))
    assert len(block.names) > 40
    fit = bf.largest(FIGURE, block, cover=10)
    assert fit.gap <= 1e-3
    question = Question(block.normals, block.sound_mm - 10, np.zeros(len(block.names)))
    points = hull_of(FIGURE).points
    assert not question.is_listed
    assert max(question.value(points, r) for r in allowed(bf.Stance.free(), 60)) <= fit.scale_bound
    safe = bf.safest(FIGURE, block, scale=fit.scale * 0.9, cover=10)
    assert safe.verdict is bf.Verdict.FITS
    tight = bf.largest(FIGURE, block, cover=700)
    assert tight.verdict is bf.Verdict.CANNOT_FIT
    assert tight.short_mm > 0


@pytest.mark.parametrize("shape", ["flat", "rod", "point", "needle", "ball", "prism", "many"])
def test_odd_hulls_neither_blow_up_nor_stall(shape):
    random = np.random.default_rng(6)
    around = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    points = {
        "flat": random.normal(size=(80, 3)) * [200, 0, 300],
        "rod": np.array([[0, 0, 0], [0, 0, 500.0]]),
        "point": np.array([[1, 2, 3.0]]),
        "needle": random.normal(size=(60, 3)) * [2, 2, 600],
        "ball": _sphere(300) * 200,
        "prism": np.array([[100 * np.cos(a), 100 * np.sin(a), z] for a in around for z in (0, 300)]),
        "many": _sphere(10_000) * [150, 200, 300] * random.uniform(0.99, 1, (10_000, 1)),
    }[shape]
    fit = bf.largest(bf.Figure.from_points(points), BLOCKS["box"], max_cells=60_000, scales=(0, 1000))
    assert fit.verdict is bf.Verdict.FITS
    assert fit.scale <= fit.scale_bound <= fit.scale * 1.05
    assert fit.cells <= 90_000


def _sphere(count):
    from blockfit.geometry.turns import spread_directions

    return spread_directions(count)


def test_a_flat_relief_by_hand():
    # A plate of 400 x 300 without thickness in a 900 x 700 x 1500 box: its hull has no volume. Across the box's
    # largest face, 700... the best it can do is at least the upright answer, 1500/400 and 900/300.
    plate = bf.Figure.from_points([[0, 0, 0], [400, 0, 0], [0, 0, 300], [400, 0, 300]])
    upright = bf.largest(plate, BLOCKS["box"], stance=bf.Stance.fixed())
    assert upright.scale == pytest.approx(900 / 400)
    assert bf.largest(plate, BLOCKS["box"]).scale >= 3


def test_the_trace_runs_down_to_the_answer(kneeling):
    fit = bf.largest(kneeling, BLOCKS["box"])
    cells, best, bound = fit.trace.T
    assert (np.diff(cells) > 0).all()
    assert (np.diff(best) >= 0).all()
    assert bound[-1] == pytest.approx(fit.scale_bound)
    assert (bound >= best).all()


@given(st.integers(0, 5000))
@settings(max_examples=20)
def test_random_convex_blocks_keep_their_promises(seed):
    random = np.random.default_rng(seed)
    block = bf.Block.convex(random.normal(size=(int(random.integers(5, 12)), 3)) * [400, 300, 600])
    points = random.normal(size=(10, 3)) * [50, 60, 90]
    fit = bf.largest(bf.Figure.from_points(points), block, cover=2, gap=1e-2)
    if fit.placement is None:
        return
    placed = fit.placement.apply(points)
    assert (placed @ block.normals.T <= block.sound_mm - 2 + 1e-9 * max(block.size_mm)).all()
    question = Question(block.normals, block.sound_mm - 2, np.zeros(len(block.names)))
    hull = hull_of(bf.Figure.from_points(points)).points
    assert max(question.value(hull, r) for r in allowed(bf.Stance.free(), 100)) <= fit.scale_bound * (1 + 1e-12)
    corners, _ = corners_of(block.normals, block.offsets_mm)
    assert (corners @ block.normals.T <= block.offsets_mm + 1e-6).all()


@needs_meshes
@pytest.mark.parametrize(
    ("name", "unit", "ratio"),
    [("kneeling_arm_raised.stl", "m", 1), ("striding.stl", "m", 1), ("putto_scan.ply", "mm", 5), ("cat.obj", "m", 0.3)],
)
def test_real_figures_never_fall_below_a_general_optimiser(name, unit, ratio):
    points = hull_of(bf.read_figure(SHARED / name, unit=unit, ratio=ratio)).points
    figure = bf.Figure.from_points(points)
    for dims in ((900, 700, 1600), (600, 600, 1200), (1500, 500, 900), (1000, 1000, 1000), (700, 1400, 800)):
        fit = bf.largest(figure, bf.Block.box(*dims))
        rival = differential_evolution(
            lambda v, dims=dims: (
                -(np.array(dims) / np.ptp(points @ from_quaternions(np.array([1, *v])).T, axis=0)).min()
            ),
            [(-1, 1)] * 3,
            seed=2,
        )
        assert fit.scale >= -rival.fun * (1 - 1e-9)
