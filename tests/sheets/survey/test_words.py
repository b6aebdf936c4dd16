"""Words and numbers at the edge: each one clear value."""

import json
import math

import numpy as np

import blockfit as bf
from blockfit.facts.results import plain
from blockfit.facts.systems import METRIC
from blockfit.geometry.turns import about, turn_deg
from blockfit.sheets.words import standing_words
from blockfit.waste.reach.places import approach_words


def test_words_for_how_it_stands():
    lean_right = bf.Placement(1, about(1, 10), [0, 0, 0])  # up leans towards +x
    assert standing_words(lean_right).startswith("leaned 10.0° to the right")
    lean_front = bf.Placement(1, about(0, 10), [0, 0, 0])  # and here towards −y
    assert standing_words(lean_front).startswith("leaned 10.0° to the front")
    assert standing_words(bf.Placement(1, about(2, 25), [0, 0, 0])).endswith(
        "turned 25.0° counter-clockwise seen from above"
    )


def test_words_at_the_edge():
    assert (METRIC.length(math.inf), METRIC.length(-math.inf)) == ("no limit", "none")
    assert approach_words(np.array([0, 0, 1.0])) == "from below"
    head_down = bf.Placement(1, about(0, 180), [0, 0, 0])
    assert "beyond the level" in standing_words(head_down)
    assert turn_deg(about(0, 180)) == 0  # upside down any turn describes it


def test_json_holds_no_numpy_and_no_infinity():
    told = plain(
        {"whole": np.int64(3), "true": np.bool_(True), "none": np.inf, "row": np.arange(2.0), "pair": (1, "a")}
    )
    assert json.dumps(told) == '{"whole": 3, "true": true, "none": null, "row": [0.0, 1.0], "pair": [1, "a"]}'
