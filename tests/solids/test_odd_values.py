"""Numbers and words that nobody would write, drawn at random: an answer or an error in words."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import blockfit as bf

odd = st.one_of(
    st.floats(), st.integers(-10, 10), st.sampled_from([0, -1, 1e-300, 1e300, "", "3", "nan mm", None, "1e9 m"])
)


@given(st.lists(odd, min_size=3, max_size=3), odd, odd)
@settings(max_examples=300)
def test_odd_sizes_and_options(sizes, skin, cover):
    try:
        block = bf.Block.box(*sizes, skin=skin)
        bf.largest(
            bf.Figure.from_points(np.eye(3) * 100), block, cover=cover, stance=bf.Stance.upright(10), max_cells=500
        )
    except bf.BlockfitError as error:
        _has_words(error)


@given(st.lists(st.tuples(odd, odd, odd), min_size=0, max_size=6), st.lists(st.tuples(odd, odd, odd), max_size=4))
@settings(max_examples=200)
def test_odd_arrays(vertices, faces):
    try:
        bf.Figure(vertices, faces)
    except bf.BlockfitError as error:
        _has_words(error)


def _has_words(error):
    assert str(error).strip()
