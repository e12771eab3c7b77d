"""Lines pull and never push: which go slack, what the rest then carries, and what the check says of it."""

from dataclasses import replace

import numpy as np
import pytest
from check_parts import figure, finding
from line_rigs import Line, line_file, shot_on_lines, task_on_lines

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.evaluate import evaluate, listed_modes
from rigcheck.studies.lines import lines as lines_part
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import stack
from rigcheck.studies.slack import _is_stretched, can_slacken, line_pull, may_push
from rigcheck.studies.work import work_on

GRAVITY = 9.80665
WEIGHT = 0.06 * GRAVITY
E, DENSITY = 2.5e9, 1140.0
ABOVE = Line(root=(0, 800, 0), tip=(0, 0, 0))
BELOW = Line(root=(0, -400, 0), tip=(0, -40, 0))
TEN = {"diameter": "0.3 mm"}
STIFF = E * np.pi / 4 * 3e-4**2


def at_rest(lines, **given):
    task = task_on_lines(lines, **TEN, **given)
    return evaluate(task.rig, task.settings)


def told(lines, **given):
    """What the check says of the lines."""
    shot = shot_on_lines(lines, **TEN, **given)
    return finding(lines_part(work_on(shot, shot.prop[0])), "line-slack")


def pulled(line, tension):
    return replace(line, tension=tension)


def test_a_line_from_below_does_not_push():
    both, alone = at_rest([ABOVE, BELOW]), at_rest([ABOVE])
    np.testing.assert_array_equal(both.slack, [[False, True]])
    assert both.solved[0]
    # It moves as if the second line were not there, but for half that line's weight (1.4e-4 N of 0.59 N).
    np.testing.assert_allclose(both.displacement, alone.displacement, rtol=4e-4, atol=1e-9)
    np.testing.assert_allclose(listed_modes(both)[0][:5], listed_modes(alone)[0][:5], rtol=1e-3)
    assert line_pull(both)[0, 1] == 0
    half = DENSITY * np.pi / 4 * 3e-4**2 * 0.36 * GRAVITY / 2
    assert both.tip_force[0][0, 1] == pytest.approx(-WEIGHT - half, rel=1e-6)
    np.testing.assert_array_equal(both.root_force[1], 0)


def test_a_line_pulled_hard_enough_stays_taut_and_one_pulled_too_softly_does_not():
    # Vertical line of stiffness EA / L above and below, both pulled to T: the weight raises the upper to
    # T + W k1 / (k1 + k2) and lowers the other to T - W k2 / (k1 + k2), which is where it goes slack (statics).
    upper, lower = STIFF / 0.8, STIFF / 0.36
    least = WEIGHT * lower / (upper + lower)
    taut = at_rest([pulled(ABOVE, 1.05 * least), pulled(BELOW, 1.05 * least)])
    assert not taut.slack.any()
    assert taut.sag[0] == pytest.approx(WEIGHT / (upper + lower), rel=2e-3)
    assert line_pull(taut)[0, 1] == pytest.approx(0.05 * least, abs=5e-4)  # the lines' own weight
    soft = 0.5 * least
    slack = at_rest([pulled(ABOVE, soft), pulled(BELOW, soft)])
    np.testing.assert_array_equal(slack.slack, [[False, True]])
    # Alone, the upper one carries the weight; it was at the pull `soft` where the prop was to be.
    assert slack.sag[0] == pytest.approx((WEIGHT - soft) / upper, rel=2e-3)
    assert line_pull(slack)[0, 0] == pytest.approx(WEIGHT, rel=1e-3)


def test_the_sag_is_continuous_where_a_line_goes_slack():
    upper, lower = STIFF / 0.8, STIFF / 0.36
    least = WEIGHT * lower / (upper + lower)
    sags = []
    for share in (0.9999, 1.0001):
        outcome = at_rest([pulled(ABOVE, share * least), pulled(BELOW, share * least)])
        sags.append(outcome.sag[0])
    assert sags[0] == pytest.approx(sags[1], rel=2e-3)


def test_three_lines_with_the_centre_of_mass_outside_hang_from_two():
    three = [
        Line(root=(-30, 800, 20), tip=(-20, 0, 20)),
        Line(root=(30, 800, 20), tip=(20, 0, 20)),
        Line(root=(0, 800, -30), tip=(0, 0, -20)),
    ]
    outcome = at_rest(three, centre=(0.0, -20.0, 30.0))
    np.testing.assert_array_equal(outcome.slack, [[False, False, True]])
    assert outcome.solved[0]
    assert outcome.large[0]
    # The prop turns about the two tips until its centre hangs 22.4 mm below and 0 mm beside them: by atan(10 / 20)
    # of the way, less the little that clamped ends resist.
    assert np.rad2deg(outcome.rotation[0, 0]) == pytest.approx(np.rad2deg(np.arctan2(10, 20)), rel=0.1)
    inside = at_rest(three, centre=(0.0, -20.0, 5.0))
    assert not inside.slack.any()


def test_the_order_of_the_lines_changes_nothing():
    some = [ABOVE, BELOW, Line(root=(0, 500, 300), tip=(0, 0, 15))]
    first, second = at_rest(some), at_rest(some[::-1])
    np.testing.assert_array_equal(first.slack[0], second.slack[0, ::-1])
    np.testing.assert_allclose(first.displacement, second.displacement, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(first.natural_frequency[0, :6], second.natural_frequency[0, :6], rtol=1e-5)


def test_company_changes_nothing():
    tensions = (0.1, 1.0, 3.0)
    tasks = [task_on_lines([pulled(ABOVE, one), pulled(BELOW, one)], **TEN) for one in tensions]
    alone = [evaluate(task.rig, task.settings) for task in tasks]
    together = evaluate(stack([task.rig for task in tasks]), tasks[0].settings)
    np.testing.assert_array_equal(together.slack, np.concatenate([one.slack for one in alone]))
    np.testing.assert_array_equal(together.slack[:, 1], [True, False, False])
    for name in ("displacement", "rotation", "tip_displacement", "strength_factor", "peak_stress"):
        wanted = np.concatenate([getattr(one, name) for one in alone])
        np.testing.assert_allclose(getattr(together, name), wanted, rtol=1e-9, atol=1e-12)
    for place, one in enumerate(alone):
        count = one.natural_frequency.shape[1]
        np.testing.assert_allclose(
            together.natural_frequency[place, :count], one.natural_frequency[0], rtol=1e-9
        )


def test_a_taut_wire_may_push_a_little_before_it_goes_limp():
    text = line_file([pulled(ABOVE, 1.0), pulled(BELOW, 1.0)], material="music-wire", diameter="0.5 mm")
    shot = rig_from_text(text)
    support = read_prop(shot, shot.prop[0]).task.rig.supports[1]
    assert can_slacken(support)
    # Euler's load between hinges: pi^2 EI / L^2.
    wanted = np.pi**2 * support.material.youngs_modulus * np.pi / 64 * 5e-4**4 / 0.36**2
    np.testing.assert_allclose(may_push(support), wanted, rtol=1e-12)


def test_nothing_holds_a_prop_on_lines_from_below():
    result = check(shot_on_lines([BELOW], **TEN)).props[0]
    assert result.static is None
    assert result.verdict is Status.FAIL
    assert "Nothing holds it" in finding(result, "line-slack").says


def test_a_prop_that_swings_away_until_others_come_taut_is_not_solved():
    # The second line would have to push; let go, the prop swings past its root and comes taut on the other side.
    lines = [Line(root=(-300, 800, 0), tip=(0, 0, 0)), Line(root=(-100, 0, 0), tip=(0, 0, 0))]
    outcome = at_rest(lines, body="", centre=(0.0, 0.0, 0.0))
    assert not outcome.solved[0]
    result = check(shot_on_lines(lines, body="", centre=(0.0, 0.0, 0.0), **TEN)).props[0]
    assert result.static is None
    assert finding(result, "line-slack").says.startswith("The lines do not hold it where it is drawn")


def test_a_pulled_line_is_shorter_than_it_is_drawn():
    # Pulled to 10 N, the lower line is 5.6 % shorter without load, and taut wherever it has to be longer than that.
    lower = replace(BELOW, tension=10.0)
    upper = replace(ABOVE, tension=10.0)
    outcome = at_rest([upper, lower])
    assert not outcome.slack.any()
    support = outcome.rig.supports[1]
    length = float(support.free_length[0])
    # At the length it has without load, and just beyond.
    for share, taut in ((0.999, False), (1.001, True)):
        drop = length - share * length / (1 + 10.0 / STIFF)
        place = np.array([[0.0, -drop, 0.0]])
        moved = replace(outcome, displacement=place, rotation=np.zeros((1, 3)), large=np.array([True]))
        assert bool(_is_stretched(moved)[0, 1]) is taut


def test_the_check_names_the_slack_line_and_gives_a_pull_that_keeps_it_taut():
    slack = told([pulled(ABOVE, 0.2), pulled(BELOW, 0.2)])
    assert slack.status is Status.CAUTION
    assert slack.says.startswith("Line 2 is slack: it would have to push.")
    words = slack.advice[0].split()
    assert words[:4] == ["Pull", "the", "lines", "to"]
    tension = float(words[4])
    assert told([pulled(ABOVE, tension), pulled(BELOW, tension)]).status is Status.PASS


MOVE = '[[prop.move]]\nslide = "100 mm"\nalong = "up"\nduration = "{} s"\n'


def test_the_move_can_slacken_a_line_and_a_longer_one_does_not():
    lines = [pulled(ABOVE, 0.55), pulled(BELOW, 0.55)]
    quick = told(lines, move=MOVE.format(0.25))
    assert quick.status is Status.CAUTION
    assert quick.says.startswith("The move can slacken line 2")
    longer = float(quick.advice[0].split("about ")[1].split()[0]) * 0.25
    assert told(lines, move=MOVE.format(longer * 1.2)).status is Status.PASS


def test_pull_and_what_the_knots_hold_stand_in_the_details():
    shot = shot_on_lines([ABOVE], **TEN)
    part = lines_part(work_on(shot, shot.prop[0]))
    assert figure(part, "line 1 pulls") == "0.589 N at rest"
    # 600 MPa over the section, halved by the knots (both as in stock).
    (note,) = [item.note for item in part.figures]
    assert note == f"it holds {0.5 * 600e6 * np.pi / 4 * 3e-4**2:.3g} N, its knots counted"
