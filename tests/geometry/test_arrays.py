"""Rows that are alike, against numpy's own answer."""

import numpy as np

from blockfit.geometry.arrays import all_differ, distinct_rows


def test_rows_told_apart_by_one_number():
    rows = np.random.default_rng(3).integers(-3, 3, (5000, 3))
    for kind in (np.int64, np.float64):
        found, which = distinct_rows(rows.astype(kind))
        known, places = np.unique(rows.astype(kind), axis=0, return_inverse=True)
        assert np.array_equal(found, known)
        assert np.array_equal(which, places.ravel())
    zeros = np.array([[0.0, 1.0], [-0.0, 1.0]])
    assert len(distinct_rows(zeros)[0]) == 1
    assert not all_differ(rows)
    assert all_differ(np.arange(30).reshape(-1, 3))


def test_rows_that_mix_alike_are_compared_in_full(monkeypatch):
    monkeypatch.setattr("blockfit.geometry.arrays._mixed", lambda rows: np.zeros(len(rows), np.uint64))
    found, which = distinct_rows(np.array([[1.0, 2.0], [0.0, 5.0], [1.0, 2.0]]))
    assert (found.tolist(), which.tolist()) == ([[0.0, 5.0], [1.0, 2.0]], [1, 0, 1])
