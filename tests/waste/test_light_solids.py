"""Surfaces of very many faces are taken lighter, and the volumes hold."""

import pytest
from conftest import BRICK_BLOCK, ball

import blockfit as bf
from blockfit.waste.placed import light_solid

FINE = ball(100, 6)


def test_the_surface_of_millions_is_taken_lighter():
    fine = FINE
    assert len(fine.faces) > 60_000
    assert len(light_solid(fine, 4.0)[0].faces) < len(fine.faces)
    assert light_solid(fine, 0.5) == (fine, 0.0)  # resolved so finely, the difference could show


@pytest.mark.slow
def test_the_volumes_of_what_is_taken_lighter_hold():
    fine = FINE
    fit = bf.largest(fine, BRICK_BLOCK, stance=bf.Stance.fixed())
    cut = bf.undercuts(fit)
    assert cut.front_m3 + cut.beside_m3 + cut.trapped_m3 + cut.rear_m3 + fit.solid().volume_m3 == pytest.approx(
        BRICK_BLOCK.volume_m3, rel=2e-3
    )
    deep = bf.largest(fine, bf.Block.box(220, 500, 220, stone="marble"), stance=bf.Stance.fixed(), scales=(0, 1))
    (piece,) = bf.offcuts(deep, clearance=5, kerf=0, most_pieces=1).pieces
    (sawn,) = piece.cuts
    behind = (sawn.offset_mm - 5 - (deep.solid().vertices @ sawn.normal).max()) / sawn.normal[1]
    assert behind - 0.5 <= piece.setback_mm <= behind + 1e-6
