"""The checker and a second one, in plain fractions and from the description alone, say the same."""

from dataclasses import replace

import numpy as np
import pytest
from second_checker import proves

import blockfit as bf

FIGURE = bf.Figure.from_points(np.random.default_rng(5).normal(size=(12, 3)).round(1) * [60, 50, 110])
BOX = bf.Block.box(700, 500, 900, skin=5)
CORNER_OFF = bf.Block.from_planes(np.vstack([np.eye(3), -np.eye(3), [[0, 0.6, 0.8]]]), [700, 500, 900, 0, 0, 0, 900])
STANCES = [bf.Stance.fixed(), bf.Stance.upright(90), bf.Stance.upright(), bf.Stance.free(), bf.Stance.leaning(60, 90)]


def as_loaded(certificate):
    return {name: np.asarray(getattr(certificate, name)) for name in certificate.__dataclass_fields__}


@pytest.mark.parametrize("block", [BOX, CORNER_OFF], ids=["box", "corner off"])
@pytest.mark.parametrize("stance", STANCES, ids=str)
def test_both_agree(block, stance, tmp_path):
    fit = bf.largest(FIGURE, block, cover=10, stance=stance, gap=0.03, certificate=True)
    certificate = fit.certificate
    exactly = all((certificate.weights[a:b] @ block.normals[certificate.rows[a:b]] == 0).all()
                  for a, b in zip(certificate.starts, certificate.starts[1:], strict=False))  # fmt: skip
    assert bf.verify(certificate, FIGURE, block).valid
    if exactly:
        assert proves(np.load(certificate_file(certificate, tmp_path)))
    # The scale that is reached cannot be out of reach: both must see that the cells do not prove so much.
    lower = replace(certificate, bound=certificate.value * (1 - 1e-9), value=np.nan)
    assert not bf.verify(lower, FIGURE, block).valid
    assert not proves(as_loaded(lower))


def certificate_file(certificate, folder):
    """The certificate as a plain zip of arrays, which needs nothing of blockfit to be read."""
    path = certificate.save(folder / "small.proof")
    return path


@pytest.mark.parametrize("cell", range(4))
def test_both_miss_a_cell(cell):
    certificate = bf.largest(FIGURE, BOX, stance=bf.Stance.upright(), gap=0.03, certificate=True).certificate
    other = replace(certificate, leaves=np.delete(certificate.leaves, cell))
    assert not bf.verify(other, FIGURE, BOX).valid
    with pytest.raises((StopIteration, AssertionError)):
        assert proves(as_loaded(other))
