"""What a move does to a settled batch: superposition, bounds, and that company and the clock change nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigcheck.files import rig_from_text
from rigcheck.motion.profiles import PROFILE_NAMES, profile
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.rigs import stack
from rigcheck.studies.task import Task

RIG = """
[camera]
field_width = "420 mm"
image_width = 3840
[[material]]
name = "own"
density = "7850 kg/m^3"
youngs_modulus = "200 GPa"
shear_modulus = "77 GPa"
yield_strength = "900 MPa"
damping_ratio = {damping}
[[prop]]
name = "inkwell"
mass = "120 g"
shape = "box"
size = ["50 mm", "40 mm", "60 mm"]
centre_of_mass = ["4 mm", "-3 mm", "12 mm"]
[[prop.support]]
material = "own"
diameter = "{diameter}"
length = "{length}"
root_stiffness = "rigid"
{moves}
"""


def slide(
    stroke: float = 100, duration: float = 0.6, start: float = 0.0, along: str = '"up"', law: str = "harmonic"
) -> str:
    return (
        f'[[prop.move]]\nslide = "{stroke!r} mm"\nduration = "{duration!r} s"\nstart = "{start!r} s"\n'
        f'along = {along}\nprofile = "{law}"\n'
    )


def push(acceleration: float, duration: float | None = None, along: str = '"up"') -> str:
    more = "" if duration is None else f'duration = "{duration!r} s"\n'
    return f'[[prop.move]]\nacceleration = "{acceleration!r} m/s^2"\nalong = {along}\n{more}'


def task(moves: str, *, diameter: str = "3 mm", length: str = "170 mm", damping: float = 0.01) -> Task:
    text = RIG.format(moves=moves, diameter=diameter, length=length, damping=damping)
    shot = rig_from_text(text)
    return read_prop(shot, shot.prop[0]).task


def moved(moves: str, **rig) -> MotionOutcome:
    one = task(moves, **rig)
    motion = one.move(one.evaluate())
    assert motion is not None
    return motion


FIGURES = ("peak_deviation", "residual", "residual_px", "swing_stress", "ringing_stress", "strength_factor")


def assert_alike(one: MotionOutcome, other: MotionOutcome, rel: float, *figures: str) -> None:
    for name in figures or FIGURES:
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=rel), name


def test_no_move_is_none():
    still = task("")
    assert still.move(still.evaluate()) is None


def test_twice_the_stroke_is_twice_everything():
    once, twice = moved(slide(100)), moved(slide(200))
    for name in ("peak_deviation", "residual", "residual_px", "swing_stress", "ringing_stress"):
        assert getattr(twice, name) == pytest.approx(2 * getattr(once, name), rel=1e-9), name


def test_two_halves_at_the_same_time_are_one_slide():
    assert_alike(moved(slide(50) + slide(50)), moved(slide(100)), 1e-9)


def test_slides_along_two_axes_are_one_along_the_diagonal():
    """As vectors; stresses are bounds that add magnitudes, so they agree only where one axis moves."""
    apart = moved(slide(60) + slide(80, along='"right"'))
    whole = moved(slide(100, along="[0.8, 0.6, 0.0]"))
    assert_alike(apart, whole, 1e-7, "peak_deviation", "residual", "residual_px")


@pytest.mark.parametrize("damping", [0.0, 0.02])
def test_a_bound_takes_the_place_of_a_wobble_where_it_tells(damping):
    """Of an upright move and one across, whose modes never quite line up: on its side of what is asked about."""
    one = task(slide(100) + slide(60, along='"right"'), damping=damping)
    still = one.evaluate()
    told = one.move(still)
    wobble = float(told.residual_px[0])
    for asked, bound in (
        (3.0 * wobble, "above"),
        (1.0001 * wobble, ""),
        (0.9999 * wobble, ""),
        (0.3 * wobble, "below"),
    ):
        found = one.move(still, unseen=asked)
        assert (found.residual_px[0] > asked) == (wobble > asked)
        if bound == "above":
            assert found.residual_px[0] > 1.001 * wobble
            assert found.residual[0] > told.residual[0]
        elif bound == "below":
            assert 0.5 * wobble < found.residual_px[0] < wobble
            assert found.residual[0] < told.residual[0]
        else:
            assert found.residual_px[0] == wobble
        assert_alike(found, told, 1e-12, "peak_deviation", "swing_stress", "strength_factor")


def test_twice_the_swing_of_one_mode_is_its_wobble():
    single = task(push(0.4, 1.0), damping=0.0)
    still = single.evaluate()
    assert_alike(single.move(still, unseen=np.inf), single.move(still), 2e-2, "residual", "residual_px")


def test_the_clock_does_not_matter():
    assert_alike(moved(slide(start=0.0)), moved(slide(start=7.5)), 1e-7)


def test_a_slide_there_and_back_at_once_is_nothing():
    nothing = moved(slide(100) + slide(-100))
    assert nothing.residual == pytest.approx(0, abs=1e-12)
    assert nothing.peak_deviation == pytest.approx(0, abs=1e-12)


def test_what_rings_after_an_early_move_has_decayed_when_a_later_one_ends():
    """A faint late slide opens the residual window later: the early swing has fallen by exp(-zeta omega t)."""
    alone = moved(slide(100, duration=0.4), damping=0.03)
    late = moved(slide(100, duration=0.4) + slide(1e-3, duration=0.4, start=2.0), damping=0.03)
    lowest = alone.angular_frequency[0, 0]
    decay = np.exp(-0.03 * lowest * 2.0)
    # the window opens at another phase of the swing: within its decay over half a period, exp(pi 0.03)
    assert late.residual[0] / alone.residual[0] == pytest.approx(decay, rel=0.1)
    assert decay < 0.2


def test_slow_moves_follow_and_leave_nothing():
    """A cycloidal move of 60 periods: the residual falls with the cube of its length (spectrum, from memory)."""
    quick, slow = (moved(slide(law="cycloidal", duration=time), damping=0.0) for time in (2.0, 8.0))
    assert slow.residual[0] < quick.residual[0] / 20
    # at the top of the acceleration, 2 pi S/T^2, the prop hangs back by its static share of it
    one = task(slide(law="cycloidal", duration=8.0))
    follow = one.evaluate().dynamics.follow[0, :3, 1]
    wanted = 2 * np.pi * 0.1 / 8.0**2 * np.linalg.norm(follow)
    assert moved(slide(law="cycloidal", duration=8.0)).peak_deviation[0] == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize("law", PROFILE_NAMES)
def test_a_push_is_a_bound_on_every_slide_of_its_acceleration(law):
    """Whatever the profile and the time, a move that speeds up once and slows down once stays inside."""
    shape = profile(law)
    for duration in (0.13, 0.31, 0.77):
        stroke = 0.8 / (shape.peak_acceleration / duration**2)
        known = moved(slide(stroke * 1e3, duration, law=law))
        bound = moved(push(0.8))
        assert known.peak_deviation[0] <= bound.peak_deviation[0] * (1 + 1e-9)
        assert known.residual[0] <= bound.residual[0] * (1 + 1e-9)
        within = moved(push(0.8, duration))
        assert known.peak_deviation[0] <= within.peak_deviation[0] * (1 + 1e-9)
        assert known.residual[0] <= within.residual[0] * (1 + 1e-9)
        assert within.peak_deviation[0] <= bound.peak_deviation[0] * (1 + 1e-9)


def test_pushes_add_up_in_proportion():
    for name in ("peak_deviation", "residual", "residual_px", "swing_stress"):
        assert getattr(moved(push(1.6)), name) == pytest.approx(2 * getattr(moved(push(0.8)), name), rel=1e-9)
    assert_alike(moved(push(0.4) + push(0.4)), moved(push(0.8)), 1e-9)


@settings(max_examples=8)
@given(
    sizes=st.lists(st.sampled_from(["2 mm", "2.5 mm", "3 mm", "4 mm"]), min_size=2, max_size=3),
    durations=st.lists(st.sampled_from([0.3, 0.55, 0.9]), min_size=3, max_size=3),
)
def test_a_variant_does_not_depend_on_its_company(sizes, durations):
    tasks = [
        task(slide(duration=time, law="trapezoidal"), diameter=size)
        for size, time in zip(sizes, durations, strict=False)
    ]
    joined = replace(
        tasks[0],
        rig=stack([one.rig for one in tasks]),
        travels=stack([one.travels for one in tasks]),
        pushes=stack([one.pushes for one in tasks]),
    )
    together = joined.move(joined.evaluate())
    for place, one in enumerate(tasks):
        alone = one.move(one.evaluate())
        for name in ("residual", "residual_px", "swing_stress", "strength_factor"):
            assert getattr(together, name)[place] == pytest.approx(getattr(alone, name)[0], rel=1e-9), name


def test_without_the_course_everything_but_the_deviation_is_the_same():
    one = task(slide(law="cycloidal"))
    still = one.evaluate()
    long, short = one.move(still), one.move(still, course=False)
    assert short.peak_deviation is None
    for name in ("residual", "residual_px", "swing_stress", "ringing_stress", "strength_factor"):
        assert getattr(short, name) == pytest.approx(getattr(long, name), rel=1e-9)


def test_moving_strength_is_no_more_than_settled():
    one = task(slide(duration=0.2))
    still = one.evaluate()
    assert one.move(still).strength_factor[0] < still.strength_factor[0]


def test_more_damping_leaves_less_of_the_worst_move():
    worst = [moved(push(0.8), damping=damping) for damping in (0.0, 0.01, 0.05)]
    assert worst[0].residual[0] > worst[1].residual[0] > worst[2].residual[0]
    assert worst[0].peak_deviation[0] > worst[1].peak_deviation[0] > worst[2].peak_deviation[0]


# -- rolls ----------------------------------------------------------------------------------------------

HANGING = """
[[prop]]
name = "inkwell"
mass = "100 g"
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "150 mm"
root_stiffness = "rigid"
[[prop.move]]
roll = "{angle} deg"
about = "{axis}"
duration = "30 s"
profile = "polynomial-4567"
"""


def rolled(angle: float, axis: str) -> MotionOutcome:
    shot = rig_from_text(HANGING.format(angle=angle, axis=axis))
    one = read_prop(shot, shot.prop[0]).task
    motion = one.move(one.evaluate())
    assert motion is not None
    return motion


def test_slow_roll_about_the_wire_swings_the_sag_around():
    """Half a turn carries the sag from above the axis to below it: twice the sag off the path, and none left.

    The course is told from the settled place at the end, with the wire level all the while (derived here).
    """
    shot = rig_from_text(HANGING.format(angle=180, axis="toward"))
    sag = read_prop(shot, shot.prop[0]).task.evaluate().sag[0]
    motion = rolled(180, "toward")
    assert motion.peak_deviation[0] == pytest.approx(2 * sag, rel=0.01)
    assert motion.residual[0] < 1e-3 * sag


def test_whole_turn_comes_back():
    motion = rolled(360, "toward")
    shot = rig_from_text(HANGING.format(angle=360, axis="toward"))
    sag = read_prop(shot, shot.prop[0]).task.evaluate().sag[0]
    assert motion.peak_deviation[0] == pytest.approx(2 * sag, rel=0.01)


def test_turntable_with_the_wire_on_its_axis_does_not_shake_it():
    """About "up" through the root gravity stays as it is; so slow a turn throws the prop out by next to nothing."""
    motion = rolled(90, "up")
    shot = rig_from_text(HANGING.format(angle=90, axis="up"))
    sag = read_prop(shot, shot.prop[0]).task.evaluate().sag[0]
    assert motion.peak_deviation[0] < 0.01 * sag


ROLLED = ("residual", "swing_stress", "ringing_stress", "strength_factor")


def rolled_task(diameter: str, duration: float) -> Task:
    text = HANGING.format(angle=90, axis="toward").replace("3 mm", diameter).replace("30 s", f"{duration} s")
    shot = rig_from_text(text)
    return read_prop(shot, shot.prop[0]).task


@pytest.mark.parametrize("duration", [0.5, 20.0])
def test_a_rolled_variant_does_not_depend_on_its_company(duration):
    """Stiff ones ring many times as fast as limp ones and need samples as much closer."""
    tasks = [rolled_task(size, duration) for size in ("1.5 mm", "3 mm", "6 mm")]
    joined = replace(
        tasks[0], rig=stack([one.rig for one in tasks]), travels=stack([one.travels for one in tasks])
    )
    together = joined.move(joined.evaluate(), course=False)
    for place, one in enumerate(tasks):
        alone = one.move(one.evaluate())
        for name in ROLLED:
            assert getattr(together, name)[place] == pytest.approx(getattr(alone, name)[0], rel=1e-9), name


@pytest.mark.parametrize("duration", [0.3, 2.0])
def test_samples_of_a_roll_are_close_enough(duration, monkeypatch):
    """Against samples eight times as close; a mode too fast for them counts at its worst phase."""
    one = rolled_task("4 mm", duration)
    still = one.evaluate()
    usual = one.move(still, course=False)
    monkeypatch.setattr("rigcheck.studies.responding._LEAST_IN_STRETCH", 32_768)
    monkeypatch.setattr("rigcheck.studies.responding._MOST_IN_STRETCH", 65_536)
    close = one.move(still, course=False)
    for name in ROLLED:
        wanted = getattr(close, name)[0]
        assert getattr(usual, name)[0] == pytest.approx(wanted, rel=2e-3, abs=1e-9 * still.peak_stress[0]), (
            name
        )
