"""The response over time, against an integration that knows only the modes and the acceleration."""

from __future__ import annotations

import io
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.files import read_rig, rig_from_text
from rigcheck.motion.profiles import profile
from rigcheck.studies.check import check
from rigcheck.studies.history import history_csv, response_history
from rigcheck.studies.reading.prop import read_prop
from rigcheck.units import registry

DESK_SET = Path(__file__).parents[2] / "shared" / "shots" / "desk-set.toml"
SLIDE = '[[prop.move]]\nslide = "120 mm"\nalong = "up"\nduration = "0.5 s"\nprofile = "{law}"\n'
ROLL = '[[prop.move]]\nroll = "90 deg"\nabout = "toward"\nduration = "0.7 s"\nprofile = "cycloidal"\n'
RIG = """
[camera]
field_width = "420 mm"
image_width = 3840
frame_rate = "50 fps"
[[prop]]
name = "inkwell"
mass = "120 g"
shape = "box"
size = ["50 mm", "40 mm", "60 mm"]
centre_of_mass = ["4 mm", "-3 mm", "12 mm"]
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "170 mm"
"""


def shot_with(moves: str):
    return rig_from_text(RIG + moves)


@pytest.mark.parametrize("law", ["trapezoidal", "cycloidal"])
def test_course_is_that_of_the_equation_of_motion(law):
    shot = shot_with(SLIDE.format(law=law))
    found = response_history(shot)
    task = read_prop(shot, shot.prop[0]).task
    still = task.evaluate()
    dynamics, zeta = still.dynamics, float(still.rig.damping_ratio[0])
    omega, shape = dynamics.angular_frequency[0], dynamics.shape[0, :3]
    drive = dynamics.participation[0, :, 1]
    course = profile(law)

    def acceleration(time: float) -> float:
        return 0.12 * float(course.acceleration(np.array([time / 0.5]))[0]) / 0.25 if time < 0.5 else 0.0

    low = omega < 2 * np.pi * 300  # what is faster follows at once to 1e-4

    def slope(time, state):
        place, rate = np.split(state, 2)
        push = -drive[low] * acceleration(time)
        return np.concatenate([rate, push - 2 * zeta * omega[low] * rate - omega[low] ** 2 * place])

    edges = [0.0, *(0.5 * edge for edge in course.boundaries[1:]), 0.9]
    state = np.zeros(2 * int(low.sum()))
    follow = dynamics.follow[0, :3, 1] - shape[:, low] @ (drive[low] / omega[low] ** 2)
    for start, stop in pairwise(edges):
        times = np.linspace(start, stop, 9)
        solution = solve_ivp(slope, (start, stop), state, t_eval=times, rtol=1e-9, atol=1e-13, max_step=1e-3)
        inside = slice(1, -1)
        wanted = shape[:, low] @ solution.y[: int(low.sum()), inside]
        wanted = wanted - follow[:, None] * [acceleration(time) for time in times[inside]]
        # Between the samples (24 in a period of the fastest mode that rings) it is read off a straight line.
        assert (
            pytest.approx(1e3 * wanted, abs=0.02 * float(found.distance_mm.max()))
            == found.at(times[inside]).T
        )
        state = solution.y[:, -1]


@pytest.mark.parametrize("moves", [SLIDE.format(law="harmonic"), ROLL, SLIDE.format(law="s-curve") + ROLL])
def test_peak_and_wobble_are_those_of_the_check(moves):
    shot = shot_with(moves)
    found = response_history(shot)
    motion = check(shot).props[0].motion
    on_the_way = found.time_s <= found.end_s
    assert found.distance_mm[on_the_way].max() == pytest.approx(motion.peak_deviation.m_as("mm"), rel=2e-3)
    lowest = check(shot).props[0].modes[0].frequency.m_as("Hz")
    rings = (found.time_s >= found.end_s) & (found.time_s <= found.end_s + 2 / lowest)
    places = found.displacement_px[rings]
    widest = np.linalg.norm(places[:, None] - places[None], axis=-1).max()
    assert widest == pytest.approx(motion.residual_wobble_px, rel=0.01)


def test_it_starts_at_rest_and_time_rises():
    found = response_history(shot_with(SLIDE.format(law="cycloidal")))
    assert found.start_s == 0.0
    assert found.end_s == 0.5
    assert found.distance_mm[0] == 0.0
    assert (np.diff(found.time_s) > 0).all()
    assert np.diff(found.frame_s) == pytest.approx(0.02)
    assert found.frame_s[-1] <= found.time_s[-1]


def test_a_roll_starts_where_gravity_points_another_way():
    found = response_history(shot_with(ROLL))
    shot = shot_with(ROLL)
    still = read_prop(shot, shot.prop[0]).task.evaluate()
    # A quarter turn away its weight pulls aside: off by the sag and as much aside, to first order.
    sag = 1e3 * still.sag[0]
    assert abs(found.displacement_mm[0, 1]) == pytest.approx(sag, rel=0.05)
    assert found.distance_mm[0] > 1.3 * sag


def test_asked_time_after_the_move():
    shot = shot_with(SLIDE.format(law="harmonic"))
    second = registry().Quantity(2.0, "s")
    assert response_history(shot, after=second).time_s[-1] == pytest.approx(2.5)
    assert response_history(shot, after=0 * second).time_s[-1] == pytest.approx(0.5)
    with pytest.raises(ArgumentError, match="negative"):
        response_history(shot, after=-second)
    with pytest.raises(ValidityError, match="shorter time"):
        response_history(shot, after=1e6 * second)


@pytest.mark.parametrize(
    ("moves", "reason"),
    [
        ("", "no move is given"),
        ('[[prop.move]]\nacceleration = "1 m/s^2"\nalong = "up"\n', "only the peak acceleration"),
        (
            SLIDE.format(law="harmonic") + '[[prop.move]]\nacceleration = "1 m/s^2"\nalong = "up"\n',
            "of one of the moves",
        ),
        # Ten days of frames would fill the memory.
        (
            SLIDE.format(law="harmonic").replace("0.5 s", "864000 s"),
            "frames would be listed, 1,000,000 are allowed",
        ),
    ],
)
def test_no_course_is_said(moves, reason):
    with pytest.raises(ValidityError, match=reason):
        response_history(shot_with(moves))


def test_the_table_holds_the_course():
    shot = read_rig(DESK_SET)
    with pytest.raises(ArgumentError, match="say which one"):
        response_history(shot)
    found = response_history(shot, prop="notebook")
    table = np.genfromtxt(io.StringIO(history_csv(found)), delimiter=",", names=True)
    assert table.dtype.names == ("time_s", "right_mm", "up_mm", "toward_mm", "right_px", "up_px")
    assert table["time_s"] == pytest.approx(found.time_s, rel=1e-8)
    assert table["right_px"] == pytest.approx(found.displacement_px[:, 0], rel=1e-5)


def test_shares_of_the_modes_add_up_and_name_the_one_that_moves():
    notebook = next(prop for prop in check(read_rig(DESK_SET)).props if prop.name == "notebook")
    for name in ("wobble_share", "lag_share"):
        shares = [getattr(mode, name) for mode in notebook.modes]
        assert 0.99 < sum(shares) <= 1 + 1e-12
        assert notebook.modes[int(np.argmax(shares))].kind == "sway left-right"  # it slides left


def test_shares_of_a_pair_of_equal_frequency_follow_the_direction_shown():
    # A round wire without a prop's size sways up-down and left-right at one frequency.
    rig = """
[[prop]]
name = "bead"
mass = "20 g"
[[prop.support]]
material = "music-wire"
diameter = "2 mm"
length = "200 mm"
[[prop.move]]
slide = "100 mm"
along = [1, 2, 0]
duration = "0.5 s"
"""
    modes = check(rig_from_text(rig)).props[0].modes
    assert modes[0].frequency.m_as("Hz") == pytest.approx(modes[1].frequency.m_as("Hz"), rel=1e-9)
    by_kind = {mode.kind: mode for mode in modes[:2]}
    up, across = by_kind["sway up-down"], by_kind["sway left-right"]
    # Twice as far up as right, so two thirds and one third of what the pair has.
    assert up.wobble_share == pytest.approx(2 * across.wobble_share, rel=1e-6)
    assert up.lag_share == pytest.approx(2 * across.lag_share, rel=1e-6)
    assert up.wobble_share + across.wobble_share > 0.99


def test_without_a_move_nothing_has_a_share():
    assert all(mode.wobble_share is None for mode in check(shot_with("")).props[0].modes)
