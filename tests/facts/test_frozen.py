"""Frozen means frozen: what a result, a figure or a fit holds cannot be changed behind its back."""

import pickle
from dataclasses import fields

import numpy as np
import pytest

import blockfit as bf
from blockfit.facts.results import Result


def held_by(value):
    for one in fields(value):
        yield one.name, getattr(value, one.name)


@pytest.mark.thorough
def test_results_refuse_every_change(usual_fit):
    results = [bf.stone_cover(usual_fit), bf.setback(usual_fit), bf.weights(usual_fit), usual_fit]
    results += [bf.undercuts(usual_fit, pitch=30), bf.setting(usual_fit)]
    seen = 0
    for result in results:
        for name, held in held_by(result):
            if isinstance(held, dict):
                seen += 1
                with pytest.raises(TypeError, match="never changes"):
                    held["front"] = 1.0
            elif isinstance(held, np.ndarray):
                seen += 1
                with pytest.raises(ValueError, match="read-only"):
                    held[...] = 0
            with pytest.raises((AttributeError, TypeError)):
                setattr(result, name, None)
    assert seen >= 8


def test_landmarks_and_stones_refuse_every_change():
    figure = bf.Figure.from_points(np.eye(3), landmarks={"nose": (0, 0, 1)})
    with pytest.raises(TypeError):
        figure.landmarks["nose"] = (0.0, 0.0, 0.0)  # type: ignore[index]
    with pytest.raises(TypeError):
        bf.STONES.clear()  # type: ignore[attr-defined]
    assert pickle.loads(pickle.dumps(figure)).landmarks == figure.landmarks
    assert issubclass(bf.Cover, Result)
