"""Frames in which a support shows, counted without going through each."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.studies.hiding import HIDDEN_AREA, _counted, _thinned


@pytest.mark.parametrize("seed", range(40))
def test_counting_is_what_going_through_every_frame_gives(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 4000))
    looked = np.unique(np.append(rng.integers(0, count, int(rng.integers(1, 30))), [0, count - 1]))
    areas = (
        HIDDEN_AREA * rng.choice([0.0, 0.3, 1.0, 1.7, 40.0], looked.size) * rng.uniform(0.9, 1.1, looked.size)
    )
    every = np.interp(np.arange(count), looked, areas)
    frames, total = _counted(looked, areas)
    assert frames == int((every >= HIDDEN_AREA).sum())
    assert total == pytest.approx(every[every >= HIDDEN_AREA].sum(), rel=1e-12)


def test_a_year_of_frames_is_counted_too():
    year = 365 * 86_400 * 50
    frames, total = _counted(np.array([0, year]), np.array([0.0, 2 * HIDDEN_AREA]))
    assert frames == year // 2 + 1
    assert total == pytest.approx(0.75 * HIDDEN_AREA * year, rel=1e-8)


def test_frames_between_are_all_looked_at_until_they_are_too_many():
    starts, stops = np.array([3, 20, 31]), np.array([7, 20, 34])
    np.testing.assert_array_equal(_thinned(starts, stops), [3, 4, 5, 6, 31, 32, 33])
    many = _thinned(np.array([1, 10**9]), np.array([10**8, 10**9 + 10**8]))
    assert 1_900 < many.size < 4_100
    assert many[0] == 1
    assert many[-1] > 10**9 + 0.99 * 10**8
    assert _thinned(starts[:0], stops[:0]).size == 0
