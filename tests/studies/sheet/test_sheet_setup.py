"""Counterweight and proof load, against moments and deflections worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.stock import practice
from rigcheck.studies.cautions import cautions
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.sheet.setup import clamp_notes, counterweight, proof_load
from tests.support.sheet_rigs import plain


def setting(text: str):
    shot = rig_from_text(text)
    prop = shot.prop[0]
    reading = read_prop(shot, prop)
    return shot, prop, reading, reading.task.evaluate()


def test_the_counterweight_balances_weight_times_arm():
    _, prop, _, still = setting(plain())
    weight = counterweight(prop, still)
    # 100 g at 200 mm (the tip sinks, so its arm is shorter by less than 1e-5): m a = 20 kg mm on the other side.
    assert weight.hanging_kg == pytest.approx(0.1, rel=1e-4)
    assert weight.side == "away from the camera"
    assert [arm * mass / 1e6 for arm, mass in weight.choices] == pytest.approx([0.02] * 3, rel=1e-4)


@pytest.mark.parametrize(
    ("side", "wanted"),
    [
        ("left", "left"),
        ("right", "right"),
        ("front", "toward the camera"),
        ("behind", "away from the camera"),
    ],
)
def test_it_goes_to_the_side_of_the_root_that_the_prop_is_not_on(side, wanted):
    _, prop, _, still = setting(plain(side=side))
    assert counterweight(prop, still).side == wanted


def test_what_hangs_under_its_root_needs_none():
    _, prop, _, still = setting(plain(side="above"))
    weight = counterweight(prop, still)
    assert (weight.side, weight.choices) == ("", ())
    assert "no counterweight" in weight.says


def test_several_supports_are_balanced_together():
    # Two equal wires, the second root 60 mm right of the first: the weight hangs 30 mm right and 200 mm before the
    # first root, so the counterweight's moment is m g hypot(30, 200).
    more = """
  [[prop.support]]
  material = "ideal"
  diameter = "4 mm"
  length = "200 mm"
  root_stiffness = "rigid"
  offset = ["60 mm", "0 mm", "0 mm"]
"""
    text = plain(more='centre_of_mass = ["30 mm", "0 mm", "0 mm"]', move=more)
    _, prop, _, still = setting(text)
    arm, mass = counterweight(prop, still).choices[0]
    assert arm * mass == pytest.approx(100 * np.hypot(30, 200), rel=1e-3)


def test_the_payload_leaves_room_for_a_counterweight_or_not():
    axis = '\n  [prop.axis]\n  payload = "{}"\n'
    _, prop, _, still = setting(plain(move=axis.format("300 g")))
    # 200 g of room: 20 kg mm / 0.2 kg = 100 mm.
    assert "at an arm of 100 mm" in counterweight(prop, still).says
    _, prop, _, still = setting(plain(move=axis.format("90 g")))
    assert "no payload left" in counterweight(prop, still).says


def test_the_proof_load_sags_by_the_closed_form():
    shot, prop, reading, still = setting(plain(diameter="5 mm"))
    proof = proof_load(shot, prop, reading, still)
    # As much again as the prop: P L^3 / 3 E I (beam tables). 0.2 %: shear and the weight's stiffness.
    extra = 0.1 * 9.80665 * 0.2**3 / (3 * 200e9 * np.pi * 0.005**4 / 64)
    assert proof.load_kg == pytest.approx(0.2)
    assert proof.extra_mm == pytest.approx(1e3 * extra, rel=2e-3)
    # sigma = M r / I = 32 P L / pi d^3 under twice the weight, against 500 MPa.
    stress = 32 * 2 * 0.1 * 9.80665 * 0.2 / (np.pi * 0.005**3)
    assert proof.strength_factor == pytest.approx(500e6 / stress, rel=1e-2)
    assert proof.safe
    assert "Hang 200 g" in proof.says
    # f = sqrt(3 E I / m L^3) / 2 pi of a tip mass whose inertia counts a little.
    frequency = np.sqrt(3 * 200e9 * np.pi * 0.005**4 / 64 / (0.1 * 0.2**3)) / (2 * np.pi)
    assert proof.swings[0] == pytest.approx(frequency, rel=1e-2)


def test_a_test_that_would_bend_the_support_is_forbidden():
    shot, prop, reading, still = setting(plain(mass="400 g", diameter="3 mm"))
    # 0.4 kg bends it to 296 MPa, twice that to 592: over 500 MPa.
    proof = proof_load(shot, prop, reading, still)
    assert not proof.safe
    assert "Do not make this test" in proof.expect


def test_over_hands_the_test_is_said_not_to_be_enough():
    shot, prop, reading, still = setting(plain(head='[limits]\nhazard = "hands"\n', diameter="5 mm"))
    assert "3 times the strength" in proof_load(shot, prop, reading, still).expect
    assert "slack hold" in proof_load(shot, prop, reading, still).says


def test_the_rule_is_common_practice_and_the_cautions_say_the_same():
    rule = practice("proof-load").datum
    assert (rule.mark, rule.source) == ("common-practice", ("C",))
    assert rule.value == 2
    assert any("twice the weight" in text for text in cautions("clear"))
    assert practice("proof-load-hold").datum.value == 600.0  # ten minutes, in seconds


def test_clamps_are_told_with_what_they_hold():
    _, prop, _, still = setting(plain())
    (note,) = clamp_notes(prop, still)
    assert note.moment_N_m == pytest.approx(0.1 * 9.80665 * 0.2, rel=1e-3)
    assert note.force_N == pytest.approx(0.1 * 9.80665, rel=1e-3)
    assert note.grip_mm == pytest.approx(20.0)
