"""What the tests share: figures, solids, fits made once a session, and how random tests are drawn.

The second pair of hands in `tests/hands` takes nothing from here but where the files lie."""

import importlib
import os
import sys
from contextlib import contextmanager, nullcontext
from functools import cache
from pathlib import Path
from types import ModuleType

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, settings
from scipy.spatial import ConvexHull

import blockfit as bf
from blockfit.__main__ import main
from blockfit.geometry.turns import from_quaternions
from blockfit.intake.scan import repaired
from blockfit.waste import placed
from blockfit.waste.offcuts import together

settings.register_profile(
    "ci", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ci")

_DRAWN = {"all": True}


def pytest_addoption(parser):
    parser.addoption("--every-case", action="store_true", help="Random tests draw as many cases as with slow tests.")


def pytest_configure(config):
    _DRAWN["all"] = config.option.every_case or "not slow" not in config.option.markexpr


def examples(quick: int, every: int) -> settings:
    """How many cases a random test draws: fewer where slow tests are left out, unless every case is asked for."""
    return settings(max_examples=every if _DRAWN["all"] else quick)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes():
    """Of several processes each works with one thread: more would wait for one another."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")


# What plans of offcuts keep must hold for any plan, and what columns show at any pitch: here the search makes a tenth
# of its changes, and columns stand twice as far apart, but in tests marked `in_full`, whose rule is how much is saved
# or how fine an answer is, or that processes agree (workers know nothing of this).
HURRIED = {(together, "_ROUNDS"): 200, (together, "_MORE"): 40, (placed, "_COLUMNS"): 200, (placed, "_THROUGH"): 10}
_IN_FULL = {(module, name): getattr(module, name) for module, name in HURRIED}


def _set(values):
    for (module, name), value in values.items():
        assert hasattr(module, name)
        setattr(module, name, value)


_set(HURRIED)


@contextmanager
def in_full():
    """Answers are as fine as users have them meanwhile."""
    _set(_IN_FULL)
    try:
        yield
    finally:
        _set(HURRIED)


@pytest.fixture(autouse=True)
def _in_full_where_asked(request):
    with in_full() if request.node.get_closest_marker("in_full") else nullcontext():
        yield


HERE = Path(__file__).parent
SHARED = Path(os.environ.get("BLOCKFIT_MESHES", HERE.parent.parent / "shared" / "meshes"))
KNEELING = str(HERE / "data" / "kneeling.stl")


def needs_meshes(test):
    """Marks a test that reads a real scan: it is slow, and skipped where the folder of scans is not."""
    skipped = pytest.mark.skipif(not SHARED.is_dir(), reason="the folder of real scans is not here")
    return pytest.mark.slow(skipped(test))


def slow_after(quick: int, cases):
    """Parameters of which the first so many are tried always, the rest where slow tests are."""
    return [pytest.param(case, marks=[pytest.mark.slow] if k >= quick else []) for k, case in enumerate(cases)]


FIXED = bf.Stance.fixed()
BARE = {"bottom": 0, "other": 0}
UPRIGHT = bf.Stance.upright(30)


# ---- running and refusing ----


def run(capsys, *arguments):
    """The command line's exit code, and what it wrote to stdout and stderr."""
    code = 0
    try:
        main(list(arguments))
    except SystemExit as stop:
        code = int(stop.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


def inked_share(file: Path) -> float:
    """The share of a picture's pixels that are darker than a light grey."""
    from matplotlib.image import imread

    return float((imread(file)[..., :3].mean(axis=2) < 0.8).mean())


def benchmark(name: str) -> ModuleType:
    """A module of `benchmarks/`, as a run of it there would find it."""
    sys.path.insert(0, str(HERE.parent / "benchmarks"))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(HERE.parent / "benchmarks"))


def assert_refused(ask, words):
    """What is asked wrongly ends in an error of ours, in one line that holds the words."""
    assert words
    with pytest.raises(bf.BlockfitError) as caught:
        ask()
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# ---- figures ----


def corners(width: float, depth: float, height: float) -> np.ndarray:
    """The eight corners of a box with its lower front left corner at the origin."""
    return np.array([[x, y, z] for x in (0, width) for y in (0, depth) for z in (0, height)], float)


def cuboid(width: float, depth: float, height: float, at: tuple[float, float, float] = (0, 0, 0)) -> bf.Figure:
    """A box of twelve faces with its lower front left corner at ``at``."""
    faces = [
        [0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1],
        [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3],
    ]  # fmt: skip
    return bf.Figure(corners(width, depth, height) + at, faces)


def joined(*figures: bf.Figure) -> bf.Figure:
    """Several surfaces in one."""
    starts = np.cumsum([0] + [len(f.vertices) for f in figures])
    vertices = np.concatenate([f.vertices for f in figures])
    return bf.Figure(vertices, np.concatenate([f.faces + s for f, s in zip(figures, starts, strict=False)]))


def united(*figures: bf.Figure) -> bf.Figure:
    """One solid of several that overlap."""
    mesh = joined(*figures)
    vertices, faces, _ = repaired(mesh.vertices, mesh.faces)
    return bf.Figure(vertices, faces)


def ball(radius: float, detail: int = 4) -> bf.Figure:
    """A ball around the origin, by trimesh."""
    return figure_of(trimesh.creation.icosphere(subdivisions=detail, radius=radius))


def torus(major: float, minor: float) -> bf.Figure:
    """A ring lying flat around the origin, by trimesh."""
    return figure_of(trimesh.creation.torus(major, minor, major_sections=96, minor_sections=48))


def cross() -> bf.Figure:
    """An upright cross, 200 thick: four equal empty corners."""
    return united(cuboid(200, 200, 1000, at=(400, 0, 0)), cuboid(1000, 200, 200, at=(0, 0, 400)))


def mushroom() -> bf.Figure:
    """A cap of 300 x 300 x 100 on a stem of 100 x 100 x 300."""
    return united(cuboid(100, 100, 300, at=(100, 100, 0)), cuboid(300, 300, 100, at=(0, 0, 300)))


def rotations_within(stance: bf.Stance, count: int = 300) -> np.ndarray:
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


# ---- blocks ----

BOX = bf.Block.box(900, 700, 1600)
WEDGE = bf.Block.convex(
    [[0, 0, 0], [900, 0, 0], [0, 800, 0], [900, 800, 0], [0, 0, 1500], [900, 0, 1500], [0, 300, 1500], [900, 300, 1500]]
)
SLOPING = bf.Block.convex([[0, 0, 0], [600, 0, 0], [0, 400, 0], [600, 400, 0], [0, 0, 500], [600, 0, 500]])


def random_yard(count: int, seed: int = 0) -> list[bf.Block]:
    random = np.random.default_rng(seed)
    return [
        bf.Block.box(
            *random.uniform(500, 1800, 3), stone="marble", name=f"B{k}", price=float(random.uniform(500, 5000))
        )
        for k in range(count)
    ]


# ---- solids straight from manifold3d, to check against ----


def box(low, high) -> manifold3d.Manifold:
    """A box from one corner to the other."""
    sides = [float(b - a) for a, b in zip(low, high, strict=True)]
    return manifold3d.Manifold.cube(sides).translate(list(map(float, low)))


def rod(radius: float, low: float, high: float, at=(0, 0)) -> manifold3d.Manifold:
    """An upright rod of 128 sides."""
    return manifold3d.Manifold.cylinder(high - low, radius, radius, 128).translate([*at, low])


def union(*parts: manifold3d.Manifold) -> manifold3d.Manifold:
    return manifold3d.Manifold.batch_boolean(list(parts), manifold3d.OpType.Add)


def arrays(solid: manifold3d.Manifold) -> tuple[np.ndarray, np.ndarray]:
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties, float)[:, :3], np.array(mesh.tri_verts, np.int64)


def solid_of(figure: bf.Figure | trimesh.Trimesh) -> manifold3d.Manifold:
    """A figure, or a mesh of trimesh, as manifold3d's solid."""
    mesh = manifold3d.Mesh64(np.array(figure.vertices, float), np.array(figure.faces, np.uint64))
    solid = manifold3d.Manifold(mesh)
    assert solid.status() == manifold3d.Error.NoError
    return solid


def figure_of(solid: manifold3d.Manifold | trimesh.Trimesh, **more) -> bf.Figure:
    """A solid of manifold3d, or a mesh of trimesh, as a figure."""
    if isinstance(solid, trimesh.Trimesh):
        return bf.Figure(solid.vertices, solid.faces, **more)
    return bf.Figure(*arrays(solid), **more)


def middle_of(solid: manifold3d.Manifold) -> tuple[float, np.ndarray]:
    """Volume and centre of gravity by tetrahedra from a far corner: not blockfit's own sum."""
    vertices, faces = arrays(solid)
    apex = vertices.min(axis=0) - 7
    a, b, c = (vertices[faces[:, k]] - apex for k in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6
    return float(volumes.sum()), apex + (volumes[:, None] * (a + b + c) / 4).sum(axis=0) / volumes.sum()


def margin_of(solid: manifold3d.Manifold, flat: float) -> float:
    """How far inside its base the plumb line falls, by scipy's hull of what lies within ``flat`` of the floor."""
    vertices, _ = arrays(solid)
    _, middle = middle_of(solid)
    base = vertices[vertices[:, 2] <= vertices[:, 2].min() + flat][:, :2]
    hull = ConvexHull(base)
    return -float((hull.equations[:, :2] @ middle[:2] + hull.equations[:, 2]).max())


# ---- fits ----


def around(figure: bf.Figure, margin: float = 50.0, stone: str | None = "marble") -> bf.Fit:
    """The figure as it stands, in a box that is larger by ``margin`` on every side."""
    width, depth, height = (side + 2 * margin for side in figure.size_mm)
    block = bf.Block.box(width, depth, height, stone=stone)
    return bf.safest(figure, block, stance=FIXED, cover=margin * (1 - 1e-9))


def upright_slab(depth: float = 600) -> bf.Fit:
    """A slab at the front of a deeper block: all the stone behind it is reserve."""
    block = bf.Block.box(400, depth, 600, stone="marble")
    return bf.largest(cuboid(400, 100, 600), block, stance=FIXED, scales=(0, 1))


def fit_in_marble(body: manifold3d.Manifold, pad: float = 20) -> bf.Fit:
    """A solid on the floor of a block of marble, ``pad`` from its sides, its top at the block's."""
    low, high = arrays(body)[0].min(axis=0), arrays(body)[0].max(axis=0)
    size = high - low
    block = bf.Block.box(size[0] + 2 * pad, size[1] + 2 * pad, size[2], stone="marble")
    return bf.safest(figure_of(body), block, stance=FIXED, cover=BARE)


BRICK = cuboid(200, 100, 50)
BRICK_BLOCK = bf.Block.box(300, 200, 250, stone="marble")
CRACK = bf.Flaw.ball((150, 100, 125), 10)


@cache
def brick_fit() -> bf.Fit:
    return bf.largest(BRICK, BRICK_BLOCK, stance=FIXED)


@cache
def no_room() -> bf.Fit:
    """A fit without a placement: the cover alone is more than the block holds."""
    return bf.largest(BRICK, BRICK_BLOCK, cover=400, stance=FIXED)


@pytest.fixture(scope="session")
def kneeling() -> bf.Figure:
    """A kneeling figure on a plinth, arm raised: CC0, 6,912 faces."""
    return bf.read_figure(KNEELING, unit="m")


@pytest.fixture(scope="session")
def usual_fit(kneeling) -> bf.Fit:
    """The kneeling figure as the command line asks for it: upright, on the bottom, 20 mm of cover."""
    block = bf.Block.box(900, 700, 1600, stone="marble")
    return bf.largest(kneeling, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.upright(30))


@pytest.fixture(scope="session")
def usual_survey(usual_fit) -> bf.Survey:
    """With a hoist that does not carry it, and a door."""
    return bf.survey(usual_fit, alternatives=False, limits={"hoist_kg": "600 lb", "openings": [(650, 2000)]})


@pytest.fixture(scope="session")
def usual_plan(usual_fit) -> bf.OffcutPlan:
    return bf.offcuts(usual_fit, clearance=20, kerf=10, lift_limit_kg=400)


@pytest.fixture(scope="session")
def leaned_fit(kneeling) -> bf.Fit:
    """The kneeling figure as a maquette at 1:4, leaned and turned in its block."""
    hand = tuple(kneeling.vertices[kneeling.vertices[:, 2].argmax()])
    figure = bf.Figure(kneeling.vertices, kneeling.faces, ratio=4.0, landmarks={"left hand": hand})
    block = bf.Block.box(900, 800, 1600, stone="marble")
    return bf.largest(figure, block, cover={"bottom": 0, "other": 20}, stance=bf.Stance.leaning(12, turn=30))


@pytest.fixture(scope="session")
def page_survey(kneeling) -> bf.Survey:
    """A survey whose names would break a page that does not escape them."""
    figure = bf.Figure(
        kneeling.vertices,
        kneeling.faces,
        name="<img src=x onerror=alert(1)> & co",
        landmarks={"hand </script>": tuple(kneeling.vertices[kneeling.vertices[:, 2].argmax()])},
    )
    block = bf.Block.box(900, 800, 1300, stone="marble", name='A-3 "<b>"')
    asked = {"bottom": 0, "other": 20}
    fit = bf.safest(figure, block, scale=0.5, cover=asked, stance=bf.Stance.upright(30), seek="setback")
    with in_full():  # its length is judged
        return bf.survey(fit, lift_limit_kg=300, reserve=40, alternatives=False)


@pytest.fixture(scope="session")
def survey_page(page_survey, tmp_path_factory) -> Path:
    file = tmp_path_factory.mktemp("page") / "survey.html"
    page_survey.save(file)
    return file
