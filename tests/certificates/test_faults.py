"""Deliberate faults, one kind at a time and anywhere: the checker catches every one."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from certificate_cases import random_figure
from conftest import examples
from hypothesis import given
from hypothesis import strategies as st

import blockfit as bf

FIGURE = random_figure(np.random.default_rng(3))
BLOCK = bf.Block.from_planes(np.vstack([np.eye(3), -np.eye(3), [[0.1, 0.6, 0.8]]]), [700, 500, 900, 0, 0, 0, 900])
COVER = {"left": 30, "other": 10}


@cache
def certificate(which):
    asked = {"cover": COVER, "gap": 1e-3, "certificate": True}
    leaning = bf.Stance.leaning(25, 60)
    if which == "largest":
        return bf.largest(FIGURE, BLOCK, stance=leaning, **asked).certificate
    scale = 0.6 * certificate("largest").value
    if which == "cover":
        return bf.safest(FIGURE, BLOCK, scale=scale, stance=leaning, **asked).certificate
    if which == "setback":
        return bf.safest(FIGURE, BLOCK, scale=scale, stance=bf.Stance.upright(60), seek="setback", **asked).certificate
    return bf.safest(FIGURE, BLOCK, scale=2.5 * scale, stance=leaning, **asked).certificate


def changed(array, at, by):
    array = np.array(array)
    array.reshape(-1)[at % array.size] = by(array.reshape(-1)[at % array.size])
    return array


def contacts(c):
    """Contacts that carry weight in statements that cells use: what is bent elsewhere may prove as much as before."""
    used = np.isin(np.repeat(np.arange(len(c.limits)), np.diff(c.starts)), c.leaves)
    return np.flatnonzero(used & (c.weights > 1e-3))


def one_of(array, at):
    return int(array[at % len(array)])


def split_nodes(c):
    return np.flatnonzero(c.nodes < 3)


def below_value(c):
    return replace(c, bound=float(np.nextafter(c.value, -np.inf)))


def unreachable(c):
    """A value a billionth above what the placement reaches, and the bound above that."""
    by = 1e-9 * max(1.0, abs(c.value))
    return replace(c, value=c.value + by, bound=max(c.bound, c.value + 2 * by))


FAULTS = {
    "a cell left out": lambda c, k: replace(c, leaves=np.delete(c.leaves, k % len(c.leaves))),
    "a cell too many": lambda c, k: replace(c, leaves=np.append(c.leaves, c.leaves[k % len(c.leaves)])),
    "a leaf left out with its node": lambda c, k: replace(
        c,
        leaves=np.delete(c.leaves, k % len(c.leaves)),
        nodes=np.delete(c.nodes, one_of(np.flatnonzero(c.nodes == 3), k)),
    ),
    "the last node left out": lambda c, k: replace(c, nodes=c.nodes[:-1]),
    "a halving that is none": lambda c, k: replace(c, nodes=changed(c.nodes, one_of(split_nodes(c), k), lambda _: 3)),
    "a leaf that is halved": lambda c, k: replace(
        c, nodes=changed(c.nodes, one_of(np.flatnonzero(c.nodes == 3), k), lambda _: 0)
    ),
    "a node of no kind": lambda c, k: replace(c, nodes=changed(c.nodes, k, lambda _: 4)),
    "no cells at all": lambda c, k: replace(c, nodes=c.nodes[:0], leaves=c.leaves[:0]),
    "a statement that is not there": lambda c, k: replace(c, leaves=changed(c.leaves, k, lambda _: len(c.limits))),
    "a statement of number −1": lambda c, k: replace(c, leaves=changed(c.leaves, k, lambda _: -1)),
    "a bound below the value": lambda c, k: below_value(c),
    "a bound a billionth below the value, which is not claimed": lambda c, k: replace(
        c, bound=c.value - 1e-9 * abs(c.value), value=np.nan
    ),
    "a value a billionth too high": lambda c, k: unreachable(c),
    "a shift bent": lambda c, k: replace(c, shift_mm=c.shift_mm + np.eye(3)[k % 3] * (-1) ** k * 500),
    "a turn out of the stance": lambda c, k: replace(c, turn=np.array([0.1, 0, 0, 1.0])),
    "a turn of length 0": lambda c, k: replace(c, turn=np.zeros(4)),
    "a placement in another way": lambda c, k: replace(c, placed=1),
    "a stance widened": lambda c, k: replace(c, stance=np.minimum(c.stance + np.array([0, 90]), 180)),
    "no stance at all": lambda c, k: replace(c, stance=np.array([180.0, 180.0])),
    "a stance past its end": lambda c, k: replace(c, stance=c.stance + np.array([0, 400])),
    "a point moved": lambda c, k: replace(c, points=changed(c.points, k, lambda x: np.nextafter(x, np.inf))),
    "a point of another vertex": lambda c, k: replace(c, vertices=changed(c.vertices, k, lambda v: (v + 1) % 9 + 100)),
    "a point that is not there": lambda c, k: replace(c, which=changed(c.which, k, lambda _: len(c.points))),
    "a plane moved": lambda c, k: replace(c, offsets_mm=changed(c.offsets_mm, k, lambda x: x - 1e-9)),
    "a plane turned": lambda c, k: replace(c, normals=changed(c.normals, k, lambda x: x + 1e-15)),
    "more skin": lambda c, k: replace(c, skin_mm=changed(c.skin_mm, k, lambda x: x + 1e-9)),
    "a cover below 0": lambda c, k: replace(c, cover_mm=changed(c.cover_mm, k, lambda x: -1.0)),
    "a margin that is not the figure's": lambda c, k: replace(c, margin_mm=c.margin_mm + 1.0),
    "a weight below 0": lambda c, k: replace(c, weights=changed(c.weights, k, lambda x: -x)),
    "a weight that is no number": lambda c, k: replace(c, weights=changed(c.weights, k, lambda _: np.nan)),
    "a dependency bent": lambda c, k: replace(c, weights=changed(c.weights, one_of(contacts(c), k), lambda x: 40 * x)),
    "a multiplier below 0": lambda c, k: replace(c, limits=changed(c.limits, k, lambda x: -x - 1.0)),
    "a row that is not there": lambda c, k: replace(c, rows=changed(c.rows, one_of(contacts(c), k), lambda _: 2 * 7)),
    "a row of another face": lambda c, k: replace(
        c, rows=changed(c.rows, one_of(contacts(c), k), lambda r: (r + 1) % 7 + r // 7 * 7)
    ),
    "spans that do not close": lambda c, k: replace(c, spans=np.zeros_like(c.spans)),
    "spans below 0": lambda c, k: replace(c, spans=changed(c.spans, k, lambda _: -1.0)),
    "a frame of length 0": lambda c, k: replace(c, frames=np.zeros_like(c.frames)),
    "another question": lambda c, k: replace(c, question="smallest"),
    "starts out of order": lambda c, k: replace(c, starts=c.starts[::-1]),
    "a list cut short": lambda c, k: replace(c, weights=c.weights[:-1]),
    "a face down that is not": lambda c, k: replace(c, ways=np.array([[1.0, 0.5, 0.0, 0.0]])),
    "no way to stand": lambda c, k: replace(
        c, ways=c.ways[:0], down=c.down[:0], frames=c.frames[:0], cover_mm=c.cover_mm[:0]
    ),
}


@pytest.mark.thorough
def test_there_are_kinds_enough():
    assert len(FAULTS) >= 30
    assert all(bf.verify(certificate(which), FIGURE, BLOCK).valid for which in ("largest", "cover", "setback", "short"))
    assert all(np.isfinite(certificate(which).value) for which in ("largest", "cover", "setback", "short"))


@pytest.mark.parametrize("kind", FAULTS)
@given(st.sampled_from(["largest", "cover", "setback", "short"]), st.integers(0, 10**6))
@examples(10, 40)
def test_every_fault_is_caught(kind, which, at):
    sound = certificate(which)
    found = bf.verify(FAULTS[kind](sound, at), FIGURE, BLOCK)
    assert not found.valid, (which, at)
    assert found.reason


@given(st.sampled_from(["largest", "cover", "setback", "short"]), st.integers(0, 10**6), st.floats(0.05, 0.95))
@examples(10, 40)
def test_a_bound_that_could_not_hold_is_never_proved(which, at, share):
    """Whatever cells, statements and stance are said: a bound below what is reached is a lie."""
    sound = certificate(which)
    lower = sound.value - share * abs(sound.value)
    bent = replace(sound, bound=lower, value=np.nan, weights=changed(sound.weights, at, lambda x: x * (1 + share)))
    assert not bf.verify(bent, FIGURE, BLOCK).valid


def test_another_figure_or_block_is_not_the_one_proved():
    sound = certificate("largest")
    larger = bf.Figure.from_points(FIGURE.vertices * 1.001, FIGURE.margin_mm)
    assert not bf.verify(sound, larger, BLOCK).valid
    assert not bf.verify(sound, FIGURE, bf.Block.box(700, 500, 900)).valid


def test_no_certificate_answers_another_question_than_its_own():
    """A bound above 0 is no proof that a figure cannot fit; nothing is proved of scales that were not asked about."""
    cover, faces = certificate("cover"), len(BLOCK.normals)
    assert cover.bound > 0
    assert not bf.verify(replace(cover, question="short", rows=cover.rows % faces), FIGURE, BLOCK).valid
    for one in ("largest", "cover", "setback", "short"):
        for other in {"largest", "cover", "setback", "short"} - {one}:
            lying = replace(certificate(one), question=other)
            found = bf.verify(lying, FIGURE, BLOCK)
            assert not (found.valid and other in ("short", "largest")), (one, other)
    few = bf.largest(FIGURE, BLOCK, scales=(0, 1e-3), cover=COVER, certificate=True).certificate
    found = bf.verify(few, FIGURE, BLOCK)
    assert found.valid
    assert "nothing is proved of them" in found.reason


def test_numbers_beyond_all_measure_are_refused_not_crashed_on():
    corners = [[x, y, z] for x in (0, 100) for y in (0, 130) for z in (0, 170)]
    figure, block = bf.Figure.from_points([*corners, [50, 50, 220]]), bf.Block.box(300, 250, 400)
    good = bf.largest(figure, block, cover=10, stance=bf.Stance.upright(30), certificate=True).certificate
    weights = good.weights.copy()
    weights[0] = 1e-308
    for name, value in (("weights", weights), ("value", 1e308), ("bound", -1e308)):
        found = bf.verify(replace(good, **{name: value}), figure, block)
        assert (found.valid, bool(found.reason)) == (False, True), name


def test_a_certificate_of_nothing_is_not_valid():
    """Nothing wanted, no placement, no cells: it proves nothing of a bound."""
    figure, block = bf.Figure.from_points([*np.eye(3).tolist(), [0, 0, 0]]), bf.Block.box(300, 250, 400)
    good = bf.largest(figure, block, stance=bf.Stance.fixed(), certificate=True).certificate
    assert not bf.verify(replace(good, most=1e-308, bound=0.001, value=float("nan")), figure, block).valid
    for value in (float("nan"), 0.0005):
        assert not bf.verify(replace(good, most=0.01, bound=0.02, value=value), figure, block).valid
