"""A rolling rig where its weight pulls another way, against the same rig drawn in that pose and left at rest."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.history import response_history
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Status
from rigcheck.studies.rolled_poses import settled_poses

RIG = """
[[material]]
name = "own"
density = "7850 kg/m^3"
youngs_modulus = "200 GPa"
shear_modulus = "77 GPa"
yield_strength = "{strength}"
[[prop]]
name = "inkwell"
mass = "{mass}"
[[prop.support]]
material = "own"
diameter = "{diameter}"
length = "{length}"
from = "{root}"
root_stiffness = "rigid"
"""
ROLL = '[[prop.move]]\nroll = "{roll}"\nabout = "{about}"\nduration = "{duration}"\nprofile = "cycloidal"\n'


def rig(
    *,
    mass="60 g",
    diameter="2 mm",
    length="200 mm",
    root="behind",
    roll="",
    about="toward",
    duration="8 s",
    strength="1500 MPa",
):
    text = RIG.format(mass=mass, diameter=diameter, length=length, root=root, strength=strength)
    moves = ROLL.format(roll=roll, about=about, duration=duration) if roll else ""
    return rig_from_text(text + moves)


def poses_of(shot):
    task = read_prop(shot, shot.prop[0]).task
    return settled_poses(task.evaluate(), task.travels)


def rest(shot):
    task = read_prop(shot, shot.prop[0]).task
    return task.evaluate()


def finding(result, name):
    return next((found for found in result.props[0].findings if found.id == name), None)


@pytest.mark.parametrize(("mass", "large"), [("20 g", False), ("150 g", True)])
def test_about_its_own_axis_a_round_wire_sags_alike_all_the_way(mass, large):
    """Rolled about itself, a level wire settles by the same amount in each pose, the way its weight pulls."""
    shot = rig(mass=mass, diameter="1.5 mm", roll="180 deg", about="toward")
    still = rest(shot)
    assert bool(still.large[0]) is large
    poses = poses_of(shot)
    assert poses.displacement[-1] == pytest.approx(still.displacement[0], abs=1e-9)
    assert np.linalg.norm(poses.displacement, axis=1) == pytest.approx(
        np.linalg.norm(still.displacement[0]), rel=1e-6
    )
    assert poses.displacement[0] == pytest.approx(still.displacement[0] * [1, -1, 1], abs=1e-8)
    assert poses.turned[0] == pytest.approx(np.pi)
    assert poses.lowest == pytest.approx(still.natural_frequency[0, 0], rel=1e-4)
    # What the moves take is the slope at the end: good for the small sag only.
    assert (poses.off > 0.05) is large


@pytest.mark.parametrize("root", ["above", "behind"])
def test_poses_are_those_of_the_rig_drawn_the_other_way_up(root):
    """Half a turn about right: what came from above comes from below, from behind from the front."""
    other = {"above": "below", "behind": "front"}[root]
    shot = rig(root=root, roll="180 deg", about="right", mass="40 g")
    poses, drawn = poses_of(shot), rest(rig(root=other, mass="40 g"))
    flipped = drawn.displacement[0] * [1, -1, -1]
    assert poses.displacement[0] == pytest.approx(flipped, abs=1e-6 * np.linalg.norm(flipped) + 1e-12)
    assert poses.lowest[0] == pytest.approx(drawn.natural_frequency[0, 0], rel=1e-6)
    if root == "above":
        assert poses.buckling_factor[0] == pytest.approx(drawn.buckling_factor[0], rel=1e-6)
        assert np.isinf(poses.buckling_factor[-1])


def test_half_way_a_hanging_wire_lies_level():
    """A quarter of a turn short of hanging: the sag is that of a level wire, toward where it falls."""
    shot = rig(root="above", roll="180 deg", about="right", mass="40 g")
    poses = poses_of(shot)
    middle = len(poses.times) // 2
    assert poses.turned[middle] == pytest.approx(np.pi / 2)
    level = rest(rig(root="behind", mass="40 g"))
    assert np.linalg.norm(poses.displacement[middle]) == pytest.approx(
        np.linalg.norm(level.displacement[0]), rel=1e-6
    )


def test_a_rig_that_only_hangs_at_the_end_folds_on_the_way():
    """Hanging it is sound; upside down at the start a slender wire stands, and its weight is over Euler's load."""
    shot = rig(root="above", roll="180 deg", about="right", mass="1 kg", diameter="1.5 mm", length="300 mm")
    result = check(shot)
    # Euler: pi^2 E I / 4 L^2 for a mast with the weight on top.
    load = np.pi**2 * 200e9 * np.pi / 64 * 1.5e-3**4 / (4 * 0.3**2)
    assert load < 9.80665
    found = finding(result, "roll-sag")
    assert found.status is Status.FAIL
    assert "folds on the way" in found.says
    share = load / (9.80665 * (1 + 0.3 * 7850 * np.pi / 4 * 1.5e-3**2 * 0.3))  # as in the next test
    assert f"the support buckles under {100 * share:.0f} % of the weight" in found.says
    assert result.verdict is Status.FAIL


def test_what_is_over_its_buckling_load_is_not_followed_to_where_it_falls(monkeypatch):
    """Half a second each, and it fails in any case: by its factor on the way, or by that at the end."""

    def never(*_, **__):
        raise AssertionError("solved for large displacement")

    folds = rig(root="above", roll="180 deg", about="right", mass="1 kg", diameter="1.5 mm", length="300 mm")
    with monkeypatch.context() as patch:
        patch.setattr("rigcheck.mechanics.large.settle_large", never)
        assert finding(check(folds), "roll-sag").status is Status.FAIL
    off_axis = 'centre_of_mass = ["2 mm", "0 mm", "0 mm"]\n[[prop.support]]'
    text = RIG.format(mass="480 g", diameter="2 mm", length="300 mm", root="below", strength="5000 MPa")
    text += ROLL.format(roll="20 deg", about="toward", duration="8 s")
    fallen = check(rig_from_text(text.replace("[[prop.support]]", off_axis)))
    assert finding(fallen, "buckling").status is Status.FAIL
    assert finding(fallen, "roll-sag").status is Status.SKIPPED
    assert "over its buckling load at the end" in finding(fallen, "roll-sag").says


def test_near_to_folding_on_the_way_is_told():
    shot = rig(root="above", roll="180 deg", about="right", mass="0.2 kg", diameter="2 mm", length="300 mm")
    found = finding(check(shot), "roll-buckling")
    load = np.pi**2 * 200e9 * np.pi / 64 * 2e-3**4 / (4 * 0.3**2)
    assert 1 < load / (0.2 * 9.80665) < 3
    assert found.status is Status.FAIL
    # Its own weight takes a little more: about a third of it counts as on top.
    wire = 7850 * np.pi / 4 * 2e-3**2 * 0.3
    assert found.value == pytest.approx(load / ((0.2 + 0.3 * wire) * 9.80665), rel=0.02)


def test_a_frequency_that_changes_as_the_weight_turns_is_told():
    slender = rig(
        root="above", roll="180 deg", about="right", mass="0.1 kg", diameter="2 mm", length="300 mm"
    )
    found = finding(check(slender), "roll-sag")
    assert found.status is Status.CAUTION
    assert "lowest frequency goes from" in found.says
    stout = rig(root="above", roll="180 deg", about="right", mass="0.1 kg", diameter="5 mm", length="150 mm")
    assert finding(check(stout), "roll-sag").status is Status.PASS


def test_a_large_sag_that_does_not_change_in_proportion_is_told():
    result = check(rig(mass="150 g", diameter="1.5 mm", roll="180 deg", about="toward", strength="5000 MPa"))
    found = finding(result, "roll-sag")
    assert found.status is Status.CAUTION
    assert "its sag is up to" in found.says
    assert any(figure.label == "while it rolls" for figure in result.props[0].details)


def test_a_hanging_wire_is_weakest_where_it_lies_level():
    shot = rig(root="above", roll="90 deg", about="right", mass="60 g", strength="200 MPa")
    found = check(shot)
    strength = [one for one in found.props[0].findings if one.id in ("yield-factor", "roll-strength")]
    level = rest(rig(root="behind", mass="60 g", strength="200 MPa"))
    assert min(one.value for one in strength) == pytest.approx(float(level.strength_factor[0]), rel=0.03)
    assert found.verdict is Status.FAIL


def test_without_a_roll_nothing_is_said():
    shot = rig_from_text(
        RIG.format(mass="60 g", diameter="2 mm", length="200 mm", root="behind", strength="900 MPa")
        + '[[prop.move]]\nslide = "100 mm"\nduration = "2 s"\n'
    )
    assert finding(check(shot), "roll-sag") is None


STRIP = """
[[prop]]
name = "card"
mass = "40 g"
[[prop.support]]
material = "spring-steel-sm"
section = "strip"
width = "6 mm"
thickness = "1.5 mm"
length = "150 mm"
root_stiffness = "rigid"
"""
BENT = """
[[prop]]
name = "card"
mass = "40 g"
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
path = [{points}]
root_stiffness = "rigid"
"""


def test_a_strip_sags_twice_a_turn_and_so_does_the_response():
    """Flat it sags by (w/t)^2 of what it does on edge; between, sag goes with the cosine of twice the angle."""
    text = STRIP + ROLL.format(roll="360 deg", about="toward", duration="40 s")
    shot = rig_from_text(text)
    poses = poses_of(shot)
    across, along = np.abs(poses.displacement[:, 0]), np.abs(poses.displacement[:, 1])
    # Its weight pulls by the sine and the cosine of the angle in the strip's own axes.
    down = across * np.abs(np.sin(poses.turned)) + along * np.abs(np.cos(poses.turned))
    twice = np.polynomial.polynomial.polyfit(np.cos(2 * poses.turned), down, 1)
    assert down == pytest.approx(twice[0] + twice[1] * np.cos(2 * poses.turned), rel=1e-3)
    flat, on_edge = twice[0] + twice[1], twice[0] - twice[1]
    assert flat / on_edge == pytest.approx((6 / 1.5) ** 2, rel=0.02)  # shear on edge takes the rest
    # Turned slowly, the response in time goes the same way.
    found = response_history(shot)
    sag = found.at(poses.times)
    off = 1e3 * (poses.displacement - poses.displacement[-1])
    assert sag == pytest.approx(off, abs=0.02 * np.abs(off).max())


def test_a_bent_support_runs_out_as_the_same_rig_drawn_half_a_turn_on():
    points = [(30, 20, -150), (30, 20, -40), (0, 0, 0)]

    def drawn(sign: int, moves: str = ""):
        text = ", ".join(f'["{sign * x} mm", "{sign * y} mm", "{z} mm"]' for x, y, z in points)
        return rig_from_text(BENT.format(points=text) + moves)

    poses = poses_of(drawn(1, ROLL.format(roll="180 deg", about="toward", duration="8 s")))
    other = rest(drawn(-1))
    assert poses.displacement[0] == pytest.approx(other.displacement[0] * [-1, -1, 1], rel=1e-6, abs=1e-10)


def test_poses_that_take_too_long_are_said_to_be_skipped(monkeypatch):
    shot = rig(mass="150 g", diameter="1.5 mm", roll="180 deg", about="toward", strength="5000 MPa")
    assert finding(check(shot), "roll-sag").status is not Status.SKIPPED
    for least in (0, 1_000):  # before the poses, which the state at the end tells; among them
        monkeypatch.setattr("rigcheck.studies.rolled_poses._MOST_WORK", least)
        if least:
            monkeypatch.setattr("rigcheck.studies.rolled_poses._why_not", lambda *_: None)
            monkeypatch.setattr("rigcheck.mechanics.large._MOST_ENTRIES", 1)
        found = finding(check(shot), "roll-sag")
        assert found.status is Status.SKIPPED
        assert "too long" in found.says
