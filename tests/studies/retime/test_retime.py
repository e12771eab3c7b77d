"""Retiming: what is claimed has to be what `check` says of the changed file."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from rigcheck.errors import ArgumentError, OutputError, UnitError, UnknownNameError
from rigcheck.files import rig_from_text
from rigcheck.motion.profiles import PROFILE_NAMES
from rigcheck.studies.check import check
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Status
from rigcheck.studies.retime.keys_export import export_keys
from rigcheck.studies.retime.study import retime

CAMERA = '[camera]\nfield_width = "420 mm"\nimage_width = 3840\nframe_rate = "50 fps"\n'
SLIDE = '[[prop.move]]\nslide = "220 mm"\nduration = "{duration!r} s"\nprofile = "{profile}"\n'
TWO_SLIDES = """
[[prop.move]]
slide = "8 in"
start = "0.5 s"
duration = "2 s"
profile = "harmonic"
[[prop.move]]
slide = "100 mm"
along = "right"
start = "1 s"
duration = "2.5 s"
profile = "harmonic"
"""
ROLL = """
[[prop.move]]
slide = "100 mm"
duration = "{duration!r} s"
profile = "{profile}"
[[prop.move]]
roll = "90 deg"
duration = "{duration!r} s"
profile = "{profile}"
"""


def rig(
    moves: str,
    *,
    modulus: float = 200.0,
    head: str = CAMERA,
    folder: Path | None = None,
    damping: float = 0.003,
    section: str = 'diameter = "3 mm"',
):
    """A level wire with a point mass, so light that its first pair of modes is all that moves the prop."""
    modulus = float(modulus)
    text = f"""
{head}
[analysis]
gravity_stiffness = false
[[material]]
name = "own"
density = "6 kg/m^3"
youngs_modulus = "{modulus!r} GPa"
shear_modulus = "{0.4 * modulus!r} GPa"
yield_strength = "2000 MPa"
damping_ratio = {damping!r}
[[prop]]
name = "inkwell"
mass = "200 g"
[[prop.support]]
material = "own"
{section}
length = "150 mm"
root_stiffness = "rigid"
{moves}
"""
    return rig_from_text(text, folder=folder)


def slide(duration: float, profile: str = "trapezoidal") -> str:
    return SLIDE.format(duration=duration, profile=profile)


def wobble(moves: str, **kwargs) -> float:
    """The wobble of a changed file in pixels, or in mm without a camera, by the way that `check` takes.

    `check` itself also looks for cures, which takes long for a file that fails.
    """
    shot = rig(moves, **kwargs)
    task = read_prop(shot, shot.prop[0]).task
    motion = task.move(task.evaluate())
    return float(motion.residual[0] * 1e3 if motion.residual_px is None else motion.residual_px[0])


@pytest.mark.parametrize("head", [CAMERA, ""])
def test_the_way_taken_here_is_that_of_check(head):
    moves = slide(4.0, "cycloidal")
    motion = check(rig(moves, head=head)).props[0].motion
    said = motion.residual_wobble_px if head else motion.residual_wobble.m_as("mm")
    assert wobble(moves, head=head) == pytest.approx(said, rel=1e-12)


@pytest.fixture(scope="module")
def planned():
    """The trapezoidal plan of 1.5 s, which still swings visibly."""
    return retime(rig(slide(1.5))).props[0]


# -- profiles -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_times_of_each_profile_are_what_check_says_of_the_changed_file(planned, name):
    """To rounding: both go through the same engine; first and always lie on the limit to within a millisecond."""
    row = next(row for row in planned.profiles if row.profile == name)
    assert row.planned == (name == "trapezoidal")
    assert row.wobble == pytest.approx(wobble(slide(1.5, name)), rel=2e-3, abs=1e-6)
    for timing in (row.first, row.always, row.sure):
        assert timing.moves[0].profile == name
        assert timing.moves[0].duration_s == timing.duration_s == pytest.approx(round(timing.duration_s, 3))
        assert timing.wobble == pytest.approx(wobble(slide(timing.duration_s, name)), rel=1e-6)
        assert timing.wobble <= planned.limit
    assert row.first.duration_s <= row.always.duration_s < row.sure.duration_s
    # A few milliseconds less, and it is not still; and nothing shorter than the first is.
    for timing in (row.first, row.always):
        assert wobble(slide(timing.duration_s - 3e-3, name)) > planned.limit
    for share in np.linspace(0.2, 0.99, 12):
        assert wobble(slide(float(share) * row.first.duration_s, name)) > planned.limit
    for share in np.linspace(1.0, 2.5, 25):
        assert wobble(slide(float(share) * row.always.duration_s, name)) <= planned.limit * (1 + 1e-3)


@pytest.mark.parametrize("name", ["trapezoidal", "polynomial-4567"])
def test_sure_times_hold_with_another_stiffness(planned, name):
    """Frequencies go with the root of Young's modulus: 0.81 and 1.21 of it are 10 % each way."""
    row = next(row for row in planned.profiles if row.profile == name)
    found = [
        wobble(slide(row.sure.duration_s, name), modulus=200 * factor**2)
        for factor in np.linspace(0.9, 1.1, 21)
    ]
    assert max(found) <= planned.limit * (1 + 1e-3)
    # 41 errors were tried for the claim, 21 of them here.
    assert max(found) <= row.sure.wobble_off * (1 + 1e-3)
    assert max(found) == pytest.approx(row.sure.wobble_off, rel=0.05)


def test_without_a_camera_a_tenth_of_a_millimetre_counts(planned):
    found = retime(rig(slide(1.5), head="")).props[0]
    assert (found.unit, found.limit) == ("mm", pytest.approx(0.1))
    assert planned.unit == "px"
    assert found.plan.wobble == pytest.approx(wobble(slide(1.5), head=""), rel=1e-9)
    assert found.plan.wobble == pytest.approx(planned.plan.wobble * 420 / 3840, rel=1e-9)
    assert any("0.1 mm" in text for text in found.assumptions)


def test_several_slides_keep_their_proportions():
    found = retime(rig(TWO_SLIDES, head="")).props[0]
    row = next(row for row in found.profiles if row.profile == "harmonic")
    first, second = row.sure.moves
    share = second.duration_s / 2.5
    assert first.start_s == 0.5
    assert first.duration_s == pytest.approx(
        2 * share, abs=1e-4
    )  # times are typed to a tenth of a millisecond
    assert second.start_s == pytest.approx(0.5 + 0.5 * share, abs=1e-4)
    assert row.sure.duration_s == pytest.approx(3 * share, abs=2e-4)
    changed = TWO_SLIDES
    for old, new in (("2 s", first.duration_s), ("2.5 s", second.duration_s), ("1 s", second.start_s)):
        changed = changed.replace(f'"{old}"', f'"{new!r} s"')
    assert wobble(changed, head="") == pytest.approx(row.sure.wobble, rel=1e-6)
    assert "stretched together" in found.notes[0]


def test_a_limit_that_cannot_be_exceeded_needs_no_time():
    found = retime(rig(slide(1.5), head=CAMERA + "[limits]\nwobble = 9000\n")).props[0]
    assert {row.first for row in found.profiles} == {None}
    assert all("Still at any time" in row.says for row in found.profiles)


def test_a_limit_too_fine_is_said_so():
    found = retime(rig(slide(1.5), head=CAMERA + "[limits]\nwobble = 1e-14\n", damping=0.0)).props[0]
    row = found.profiles[0]
    assert (row.first, row.always, row.sure) == (None, None, None)
    assert "too fine" in row.says


def test_a_value_in_a_wrong_unit_is_asked_about_and_never_a_plain_pass():
    stout = rig(SLIDE.format(duration=2.0, profile="harmonic"), section='diameter = "3 m"')
    found = retime(stout).props[0]
    assert found.status is Status.CAUTION
    assert any("is the unit of its size right?" in note for note in found.notes)
    assert found.recommendation.says.startswith("Look first at the value asked about below.")


def test_two_modes_at_right_angles_are_not_simply_added():
    """A strip swings up-down and left-right at once; where the sum of both exceeds the limit, the path may not."""
    moves = slide(1.5) + "along = [1, 1, 0]\n"
    strip = 'width = "4 mm"\nthickness = "2.5 mm"'
    row = next(row for row in retime(rig(moves, section=strip)).props[0].profiles if row.planned)

    def at(time: float) -> float:
        return wobble(moves.replace("1.5 s", f"{time!r} s"), section=strip)

    for timing in (row.first, row.always):
        assert timing.wobble == pytest.approx(at(timing.duration_s), rel=1e-6)
        assert at(timing.duration_s - 2e-3) > 1.0
    scanned = [time for time in np.linspace(0.25, 1.0, 50) if at(float(time) * row.first.duration_s) <= 1.0]
    assert scanned == [1.0]


# -- nulls ----------------------------------------------------------------------------------------------


def test_nulls_lie_near_the_plan_and_their_errors_are_those_of_another_stiffness(planned):
    assert len(planned.nulls) == 6
    before = [null for null in planned.nulls if null.duration_s < 1.5]
    assert len(before) == 3
    null = before[-1]
    moves = slide(null.duration_s)
    assert null.wobble == pytest.approx(wobble(moves), rel=2e-3)
    assert null.low == pytest.approx(wobble(moves, modulus=200 * 0.81), rel=2e-3)
    assert null.high == pytest.approx(wobble(moves, modulus=200 * 1.21), rel=2e-3)
    assert null.worst >= max(null.low, null.high)
    assert null.wobble < 0.3 * null.worst


def test_the_curve_goes_through_what_check_says(planned):
    times, found = np.array(planned.curve.duration_s), np.array(planned.curve.wobble)
    assert times[0] == pytest.approx(1.5 / 4)
    assert times[-1] >= 3.0
    for index in (10, 200, -1):
        assert found[index] == pytest.approx(wobble(slide(float(times[index]))), rel=2e-3)


# -- rolls, keys and unknown moves ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def rolling():
    return retime(rig(ROLL.format(duration=1.5, profile="cycloidal"))).props[0]


def test_rolls_are_stretched_with_the_slides_but_not_shaped(rolling):
    """The search samples the turning load at 12 to a period of the mode, `check` at 48: 1 % of the wobble."""
    found = rolling
    assert found.shaped == ()
    assert any("not shaped: a roll turns" in note for note in found.notes)
    row = next(row for row in found.profiles if row.profile == "cycloidal")
    assert row.wobble == pytest.approx(found.plan.wobble, rel=1e-2)
    for timing in (row.first, row.sure):
        assert len({move.duration_s for move in timing.moves}) == 1
        moves = ROLL.format(duration=timing.moves[0].duration_s, profile="cycloidal")
        assert timing.wobble == pytest.approx(wobble(moves), rel=1e-6)
        assert timing.wobble <= found.limit
    for share in np.linspace(1.0, 1.6, 13):
        moves = ROLL.format(duration=float(share) * row.always.duration_s, profile="cycloidal")
        assert wobble(moves) <= found.limit * 1.01


def test_the_search_of_turning_moves_starts_at_rest():
    """A roll through next to nothing changes nothing, though trapezoidal moves begin with a jump."""
    turning = (
        ROLL.format(duration=1.5, profile="trapezoidal")
        .replace("90 deg", "1e-6 deg")
        .replace("100 mm", "220 mm")
    )
    found, plain = (retime(rig(moves), profile="trapezoidal").props[0] for moves in (turning, slide(1.5)))
    for with_roll, without in zip(found.profiles, plain.profiles, strict=True):
        assert with_roll.wobble == pytest.approx(without.wobble, rel=2e-2, abs=2e-3)


TURN = """
[[prop.move]]
roll = "90 deg"
duration = "{duration!r} s"
profile = "cycloidal"
through = ["0 mm", "-40 mm", "0 mm"]
"""


def test_a_softer_rig_sags_more_as_it_turns():
    """Gravity is no gentler with a softer support: frequencies 10 % off are those of another Young's modulus."""
    found = retime(rig(TURN.format(duration=0.9)), profile="cycloidal").props[0]
    errors = np.linspace(0.9, 1.1, 11)
    for timing in (found.plan, next(row.sure for row in found.profiles if row.profile == "cycloidal")):
        moves = TURN.format(duration=timing.duration_s)
        worst = max(wobble(moves, modulus=200 * error**2) for error in errors)
        assert worst <= timing.wobble_off * 1.01
        assert worst == pytest.approx(timing.wobble_off, rel=0.05)
    assert timing.wobble_off <= found.limit
    for null in found.nulls[:2]:
        moves = TURN.format(duration=null.duration_s)
        assert null.low == pytest.approx(wobble(moves, modulus=200 * 0.81), rel=0.02)
        assert null.high == pytest.approx(wobble(moves, modulus=200 * 1.21), rel=0.02)


def test_nothing_is_called_sure_beyond_what_was_tried():
    """Short rolls that need up to four times their time, which is as far as times are tried."""
    missing = 0
    for length in np.geomspace(0.1, 0.6, 5).tolist():
        for row in retime(rig(TURN.format(duration=length)), profile="cycloidal").props[0].profiles:
            if row.sure is not None:
                assert row.sure.wobble_off <= 1.0
                assert row.sure.duration_s * 1.1 <= 4 * length + 2e-3
            elif row.always is not None:
                missing += 1
                assert row.says == f"Sure only beyond {4 * length:.3g} s, the longest time tried, if at all."
    assert missing > 0


def test_thousands_of_keys_of_a_roll_are_the_same_move(tmp_path):
    """More keys on the same curve change nothing but the reconstruction's own error, (spacing)^2/12."""
    found = []
    for count in (65, 2049):
        times = np.linspace(0, 0.8, count)
        values = 90 * (times / 0.8 - np.sin(2 * np.pi * times / 0.8) / (2 * np.pi))
        moves = keys_file(
            tmp_path, "\n".join(f"{t:.9g},{v:.12g}" for t, v in zip(times, values, strict=True))
        )
        moves = moves.replace('slide = "mm"', 'roll = "deg"')
        found.append(retime(rig(moves, folder=tmp_path)).props[0])
    few, many = found
    assert many.plan.wobble == pytest.approx(few.plan.wobble, rel=0.01)
    assert many.profiles[0].sure.duration_s == pytest.approx(few.profiles[0].sure.duration_s, abs=0.003)


def keys_file(folder: Path, text: str) -> str:
    (folder / "keys.csv").write_text(text, encoding="utf-8")
    return '[[prop.move]]\nslide = "mm"\nkeys = "keys.csv"\n'


def test_keys_are_stretched_and_shaped_but_have_no_profile(tmp_path):
    times = np.linspace(0, 1.2, 49)
    values = 220 * (1 - np.cos(np.pi * times / 1.2)) / 2
    moves = keys_file(tmp_path, "\n".join(f"{t:.6g},{v:.9g}" for t, v in zip(times, values, strict=True)))
    shot = rig(moves, folder=tmp_path)
    found = retime(shot, profile="cycloidal").props[0]
    assert [row.profile for row in found.profiles] == ["as planned"]
    assert any("no profile to change" in note for note in found.notes)
    assert found.plan.wobble == pytest.approx(wobble(moves, folder=tmp_path), rel=1e-6)
    row = found.profiles[0]
    share = row.sure.duration_s / 1.2
    keys_file(tmp_path, "\n".join(f"{t * share:.9g},{v:.9g}" for t, v in zip(times, values, strict=True)))
    assert wobble(moves, folder=tmp_path) == pytest.approx(row.sure.wobble, rel=1e-4)
    assert found.shaped[0].timing.wobble < 1e-3 * found.plan.wobble


def test_rolls_with_keys_are_stretched_too(tmp_path):
    """Keys of a turn of 90 degrees; stretched in the file they do what is claimed."""
    times = np.linspace(0, 0.8, 33)
    values = 90 * (times / 0.8 - np.sin(2 * np.pi * times / 0.8) / (2 * np.pi))
    moves = keys_file(tmp_path, "\n".join(f"{t:.6g},{v:.9g}" for t, v in zip(times, values, strict=True)))
    moves = moves.replace('slide = "mm"', 'roll = "deg"\nthrough = ["0 mm", "-20 mm", "0 mm"]')
    row = retime(rig(moves, folder=tmp_path)).props[0].profiles[0]
    assert row.wobble == pytest.approx(wobble(moves, folder=tmp_path), rel=1e-2)
    share = row.sure.duration_s / 0.8
    assert share != pytest.approx(1.0)
    keys_file(tmp_path, "\n".join(f"{t * share:.9g},{v:.9g}" for t, v in zip(times, values, strict=True)))
    assert wobble(moves, folder=tmp_path) == pytest.approx(row.sure.wobble, rel=1e-4)


def test_an_unknown_move_is_added_at_its_worst_and_not_retimed():
    push = '[[prop.move]]\nacceleration = "{} m/s^2"\n'
    quiet = slide(1.5, "polynomial-4567")
    little, much = push.format(0.02), push.format(1.0)
    found = retime(rig(quiet + little)).props[0]
    alone = wobble(little)
    assert found.plan.wobble == pytest.approx(wobble(quiet) + alone, rel=1e-6)
    row = next(row for row in found.profiles if row.profile == "polynomial-4567")
    assert row.always.wobble == pytest.approx(found.limit, rel=0.05)
    assert row.always.wobble > alone
    assert any("not retimed" in note for note in found.notes)
    loud = retime(rig(quiet + much)).props[0]
    assert loud.recommendation.kind == "none"
    assert "Give its slide and duration" in loud.recommendation.says
    only = retime(rig(much)).props[0]
    assert (only.status, only.plan) == (Status.SKIPPED, None)
    assert "peak acceleration" in only.recommendation.says


def test_nothing_to_time_is_said_so():
    still = retime(rig("")).props[0]
    assert still.status is Status.SKIPPED
    assert still.recommendation.says == "No move is given."
    folding = rig_from_text(
        '[[prop]]\nname = "pen"\nmass = "500 g"\n[[prop.support]]\nmaterial = "music-wire"\ndiameter = "1 mm"\n'
        'length = "600 mm"\nfrom = "below"\n[[prop.move]]\nslide = "10 mm"\nduration = "1 s"\n'
        '[analysis]\ndisplacement = "linear"\n'
    )
    folded = retime(folding)
    assert folded.props[0].status is Status.SKIPPED
    assert "folds" in folded.props[0].recommendation.says
    assert folded.verdict is Status.CAUTION


# -- shaping --------------------------------------------------------------------------------------------


def test_shaping_takes_in_the_modes_that_matter():
    """A strip is stiffer across than flat: a slanting slide swings it in two modes, and both are shaped."""
    light = retime(rig(slide(1.5))).props[0]
    assert [mode.matters for mode in light.modes] == [True]
    assert light.modes[0].direction == "up-down"
    assert light.modes[0].share == pytest.approx(1.0, abs=1e-3)
    aside = slide(1.5) + "along = [1, 1, 0]\n"
    assert retime(rig(aside)).props[0].modes[0].direction == "slanting right and up"
    two = retime(rig(aside, section='width = "4 mm"\nthickness = "2.5 mm"')).props[0]
    shaped = [mode for mode in two.modes if mode.matters]
    assert len(shaped) == 2
    assert len(two.shaped[0].times_s) == 4
    assert len(two.shaped[1].times_s) == 9
    assert {mode.direction for mode in shaped} == {"up-down", "left-right"}
    half_periods = sum(0.5 / mode.frequency_Hz for mode in shaped)  # damping 0.003 lengthens them by 5e-6
    assert two.shaped[0].added_s == pytest.approx(half_periods, rel=1e-5)
    assert two.shaped[1].added_s == pytest.approx(2 * half_periods, rel=1e-5)
    assert two.shaped[0].residual_share < 1e-6


def test_shaped_figures_off_frequency_are_those_of_another_stiffness(planned, tmp_path):
    """The shaped keys of the planned rig, moved on rigs whose frequencies are off."""
    shot = rig(slide(1.5))
    exported = export_keys(shot, planned, tmp_path / "keys.csv", rate="2000 fps")
    move = next(move for move in planned.shaped if move.name == exported.shaped)
    moves = '[[prop.move]]\nslide = "mm"\nkeys = "keys.csv"\n'
    for factor, claimed in ((0.9, move.low), (1.1, move.high)):
        found = wobble(moves, modulus=200 * factor**2, folder=tmp_path)
        assert found == pytest.approx(claimed, rel=2e-2)  # the spline rounds the trapezoid's corners off
    down, up = move.forgives
    for factor in (1 + down, 1 + up):
        assert wobble(moves, modulus=200 * factor**2, folder=tmp_path) <= 1.02 * planned.limit


def test_the_quickest_shaped_move_is_sure(planned):
    for move in planned.shaped:
        assert move.quickest.wobble_off <= planned.limit
        assert move.quickest.duration_s > move.added_s
    assert planned.shaped[1].quickest.duration_s < planned.shaped[0].quickest.duration_s
    always = next(row.sure for row in planned.profiles if row.planned)
    assert planned.shaped[0].quickest.duration_s < always.duration_s


# -- what to do -----------------------------------------------------------------------------------------


def test_a_smoother_profile_is_the_first_thing_to_try(planned):
    advice = planned.recommendation
    assert (planned.status, advice.kind) == (Status.FAIL, "profile")
    name = advice.timing.moves[0].profile
    assert f'profile = "{name}"' in advice.says
    assert advice.timing.duration_s == 1.5
    assert advice.timing.wobble == pytest.approx(wobble(slide(1.5, name)), rel=1e-9)
    assert f"{planned.plan.wobble:.3g} to" in advice.says


def test_a_still_move_is_kept_with_the_time_it_could_take():
    found = retime(rig(slide(4.0, "polynomial-4567"))).props[0]
    assert (found.status, found.recommendation.kind) == (Status.PASS, "keep")
    quickest = min(row.sure.duration_s for row in found.profiles)
    assert f"{quickest:.4g} s" in found.recommendation.says


def test_with_a_profile_of_ones_own_the_choice_is_longer_or_shaped():
    found = retime(rig(slide(1.5)), profile="harmonic").props[0]
    assert found.profile == "harmonic"
    assert found.plan.wobble == pytest.approx(wobble(slide(1.5, "harmonic")), rel=1e-9)
    assert found.recommendation.kind == "shape"
    assert "impulses" in found.recommendation.says
    assert found.recommendation.timing.wobble_off <= found.limit
    # Rolls cannot be shaped: there the move gets longer.
    moves = ROLL.format(duration=0.5, profile="cycloidal")
    rolling = retime(rig(moves), profile="cycloidal").props[0]
    assert rolling.recommendation.kind == "longer"
    added = rolling.recommendation.timing.duration_s - 0.5
    assert f"{added:.3g} s longer" in rolling.recommendation.says
    new = ROLL.format(duration=rolling.recommendation.timing.moves[0].duration_s, profile="cycloidal")
    assert wobble(new) == pytest.approx(rolling.recommendation.timing.wobble, rel=1e-6)


def test_overhead_and_weak_supports_never_pass():
    over = retime(rig(slide(4.0, "polynomial-4567"), head=CAMERA + '[limits]\nhazard = "overhead"\n'))
    assert over.props[0].plan.wobble < 0.1
    assert over.props[0].plan.status is Status.CAUTION
    assert over.verdict is Status.CAUTION
    assert any("never passes" in text for text in over.cautions)
    soft = rig_from_text(
        '[[prop]]\nname = "crane"\nmass = "60 g"\n[[prop.support]]\nmaterial = "aluminium-1100-o"\n'
        'diameter = "1.5 mm"\nlength = "150 mm"\n' + slide(9.0, "polynomial-4567")
    )
    weak = retime(soft)
    assert weak.props[0].plan.status is Status.PASS
    assert weak.props[0].plan.strength_status is Status.FAIL
    assert weak.verdict is Status.FAIL
    assert "not strong enough" in weak.props[0].recommendation.says


def test_one_prop_can_be_picked_and_progress_is_told():
    steps = []
    result = retime(rig(slide(1.0)), prop="inkwell", progress=lambda *step: steps.append(step))
    assert [prop.name for prop in result.props] == ["inkwell"]
    assert [done for _, done, _ in steps] == list(range(8))
    assert {(name, total) for name, _, total in steps} == {("inkwell", 8)}
    with pytest.raises(UnknownNameError, match="no prop is called"):
        retime(rig(slide(1.0)), prop="inkwel")
    with pytest.raises(UnknownNameError, match='profile: "smooth" is not known; choose one of trapezoidal'):
        retime(rig(slide(1.0)), profile="smooth")
    with pytest.raises(UnknownNameError, match='Did you mean "cycloidal"'):
        retime(rig(slide(1.0)), profile="cyclodal")


# -- export ---------------------------------------------------------------------------------------------


def test_exported_keys_reproduce_what_is_claimed(planned, tmp_path):
    """The file that is written, named in the rig file and checked: the same number, to the reader's rounding."""
    shot = rig(slide(1.5))
    path = tmp_path / "shaped.csv"
    exported = export_keys(shot, planned, path, rate="200 fps")
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    assert rows[0] == ["time_s", "value"]
    table = np.array(rows[1:], dtype=float)
    assert len(table) == exported.keys
    assert table[0].tolist() == [0.0, 0.0]
    assert np.diff(table[:, 0]) == pytest.approx(1 / 200, abs=1e-9)
    assert table[-1, 1] == pytest.approx(220.0, abs=1e-9)
    assert 0 <= table[-1, 0] - (1.5 + planned.shaped[0].added_s * (exported.shaped == "two-impulse")) < 0.2
    moves = '[[prop.move]]\nslide = "mm"\nkeys = "shaped.csv"\n'
    assert wobble(moves, folder=tmp_path) == pytest.approx(exported.wobble, rel=1e-9)
    assert exported.planned == next(
        move.timing.wobble for move in planned.shaped if move.name == exported.shaped
    )
    assert exported.rows[0].startswith('slide = "mm", keys = "shaped.csv"')


def test_the_frame_rate_is_the_default_and_too_few_keys_are_warned_of(planned, tmp_path):
    """A frequency of 9 Hz leaves 5.6 keys a period at 50 fps; at 10 keys a second there is no telling."""
    exported = export_keys(rig(slide(1.5)), planned, tmp_path / "a.csv")
    assert exported.rate_Hz == 50.0
    coarse = export_keys(rig(slide(1.5)), planned, tmp_path / "b.csv", rate="12 fps")
    assert coarse.wobble > planned.limit
    assert coarse.status is Status.FAIL
    assert "Give a higher --rate" in coarse.says
    with pytest.raises(ArgumentError, match="no frame_rate"):
        export_keys(rig(slide(1.5), head=""), planned, tmp_path / "c.csv")
    with pytest.raises(ArgumentError, match="Give a higher --rate"):
        export_keys(rig(slide(1.5)), planned, tmp_path / "c.csv", rate="1 fps")
    with pytest.raises(ArgumentError, match="Give a lower --rate"):
        export_keys(rig(slide(1.5)), planned, tmp_path / "c.csv", rate="2000 kHz")
    with pytest.raises(UnitError):
        export_keys(rig(slide(1.5)), planned, tmp_path / "c.csv", rate="50")
    assert not (tmp_path / "c.csv").exists()


def test_a_file_that_is_there_is_not_replaced_unasked(planned, tmp_path):
    path = tmp_path / "keys.csv"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="there already"):
        export_keys(rig(slide(1.5)), planned, path)
    assert path.read_text(encoding="utf-8") == "mine"
    export_keys(rig(slide(1.5)), planned, path, overwrite=True)
    assert path.read_text(encoding="utf-8").startswith("time_s,value\n")


def test_several_slides_are_exported_each_in_its_own_unit_and_file(tmp_path):
    shot = rig(TWO_SLIDES)
    found = retime(shot).props[0]
    exported = export_keys(shot, found, tmp_path / "keys.csv", rate="400 fps")
    assert [file.name for file in exported.files] == ["keys-1.csv", "keys-2.csv"]
    assert exported.rows[0].startswith('slide = "in"')
    ends = [float(file.read_text(encoding="utf-8").split()[-1].split(",")[1]) for file in exported.files]
    assert ends == pytest.approx([8.0, 100.0])
    moves = (
        '[[prop.move]]\nslide = "in"\nstart = "0.5 s"\nkeys = "keys-1.csv"\n'
        '[[prop.move]]\nslide = "mm"\nalong = "right"\nstart = "1 s"\nkeys = "keys-2.csv"\n'
    )
    assert wobble(moves, folder=tmp_path) == pytest.approx(exported.wobble, rel=1e-9)
    assert exported.wobble < 0.05 * found.plan.wobble
    with pytest.raises(OutputError, match="nothing was written"):
        export_keys(shot, found, tmp_path / "keys.csv", rate="400 fps")


def test_what_is_not_shaped_cannot_be_exported(rolling, tmp_path):
    shot = rig(ROLL.format(duration=1.5, profile="cycloidal"))
    with pytest.raises(ArgumentError, match="no shaped move to write: Rolls are retimed"):
        export_keys(shot, rolling, tmp_path / "keys.csv")
    push = rig('[[prop.move]]\nacceleration = "1 m/s^2"\n')
    with pytest.raises(ArgumentError, match="no shaped move"):
        export_keys(push, retime(push).props[0], tmp_path / "keys.csv")
