"""Regular solids in regular solids, and their least boxes: published values and closed forms."""

import numpy as np
import pytest
from regular import PHI, SOLIDS
from scipy.optimize import minimize

import blockfit as bf
from blockfit.geometry.turns import from_quaternions
from blockfit.search.proof.questions import Question

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
@pytest.mark.slow
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


@pytest.mark.parametrize("name", [inner for inner, outer in PUBLISHED if outer == "cube"])
def test_regular_solids_in_a_box_that_is_a_cube(name):
    fit = bf.largest(bf.Figure.from_points(SOLIDS[name] * 100), bf.Block.box(100, 100, 100), gap=1e-6)
    assert fit.scale == pytest.approx(PUBLISHED[name, "cube"], rel=1e-9)
    assert fit.scale <= fit.scale_bound <= fit.scale * (1 + 1e-6)
