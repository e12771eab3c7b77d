"""Clean-up arithmetic, checked by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import ArgumentError
from rigcheck.picture.cleanup import time_by_area, time_by_frames, weigh


def test_by_frames_and_by_area():
    assert time_by_frames(120, time_per_frame=6 * 60.0) == pytest.approx(
        12 * 3600.0
    )  # 120 times 6 min is 12 h
    areas = np.array([[500_000.0, 1_500_000.0], [0.0, 0.0]])
    assert time_by_area(areas, time_per_megapixel=3600.0) == pytest.approx([7200.0, 0.0])


@given(st.floats(0.0, 1e6), st.floats(0.0, 1e6))
def test_weighing_is_even_at_the_break_even_rate(cleanup, rerig):
    choice = weigh(cleanup, rerig)
    assert choice.saving == cleanup - rerig
    assert choice.quicker == ("equal" if cleanup == rerig else "clean up" if cleanup < rerig else "rig again")
    if cleanup > 1e-3:
        assert weigh(cleanup * choice.break_even, rerig).saving == pytest.approx(0.0, abs=1e-9 * (1 + rerig))


def test_nothing_to_clean_up():
    choice = weigh(0.0, 600.0)
    assert choice.quicker == "clean up"
    assert choice.break_even == np.inf


def test_errors():
    with pytest.raises(ArgumentError, match="time_per_frame: given 0 s"):
        time_by_frames(10, time_per_frame=0.0)
    with pytest.raises(ArgumentError, match="frames: given -1 frames"):
        time_by_frames(-1, time_per_frame=1.0)
    with pytest.raises(ArgumentError, match="give the area of each frame"):
        time_by_area(5.0, time_per_megapixel=1.0)
    with pytest.raises(ArgumentError, match="area_px: given -2 px"):
        time_by_area([-2.0], time_per_megapixel=1.0)
    with pytest.raises(ArgumentError, match="rerig_time: given nan s"):
        weigh(1.0, np.nan)
