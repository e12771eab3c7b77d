"""Strands between wires that slip and wires that are one piece."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.errors import InputError
from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.layers import layers_of
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.strength_used import state_under

G = 9.80665
WIRES, D, LENGTH = 7, 0.8e-3, 0.15
E, DENSITY = 200e9, 7870.0  # annealed-steel, as in stock
SLIPPING = WIRES * np.pi / 64 * D**4
# Six wires round one: sum of r^2 is 6 d^2, of which half counts about each axis (parallel axes).
BONDED = SLIPPING + np.pi / 4 * D**2 * 6 * D**2 / 2


def strand(more: str = "") -> str:
    return f"""
[[prop]]
name = "crane"
mass = "20 g"
[[prop.support]]
material = "annealed-steel"
diameter = "0.8 mm"
wires = {WIRES}
length = "150 mm"
{more}
"""


def settled(more: str = "") -> Outcome:
    shot = rig_from_text(strand(more))
    return read_prop(shot, shot.prop[0]).task.evaluate()


@pytest.mark.parametrize(
    ("bond", "second"), [(0, SLIPPING), (1, BONDED), (0.3, 0.7 * SLIPPING + 0.3 * BONDED)]
)
def test_sag_by_the_cantilever_formula(bond: float, second: float) -> None:
    outcome = settled(f"bond = {bond}")
    line = DENSITY * WIRES * np.pi / 4 * D**2
    wanted = G * (0.02 * LENGTH**3 / 3 + line * LENGTH**4 / 8) / (E * second)
    # Shear is left out, and what weight adds to the stiffness of a level support.
    assert outcome.sag[0] == pytest.approx(wanted, rel=2e-3)
    assert outcome.parts[0].section.second_moment_y[0] == pytest.approx(second, rel=1e-12)


def test_left_out_it_lies_between_and_its_range_covers_both() -> None:
    result = check(rig_from_text(strand())).props[0]
    assert result.static is not None
    limp, stiff = settled("bond = 0").sag[0] * 1e3, settled("bond = 1").sag[0] * 1e3
    assert stiff < result.static.sag.m_as("mm") < limp
    low, high = result.ranges["sag_mm"]
    # Nine in ten, so the ends lie a little inside the bounds, and what else varies moves them a little.
    assert low == pytest.approx(stiff, rel=0.25)
    assert high == pytest.approx(limp, rel=0.15)
    assert any(
        text.startswith("7 wires of 0.8 mm each make a strand 2.4 mm across") for text in result.assumptions
    )
    assert any("hold each other at 0.1 (0 to 1; common-practice)" in text for text in result.assumptions)
    (first,) = [item for item in result.influences if item.figure == "sag_mm"][:1]
    assert first.label == "hold between the wires"


def test_a_given_bond_has_no_guess() -> None:
    result = check(rig_from_text(strand("bond = 0.4"))).props[0]
    assert not any("hold each other" in text for text in result.assumptions)
    assert not any(item.label == "hold between the wires" for item in result.influences)


@pytest.mark.parametrize("bond", [0.0, 0.25, 1.0])
def test_strength_and_set_of_a_strand_agree(bond: float) -> None:
    """Both hold the stress of the outermost wire, M c / I, against the same strength."""
    shot = rig_from_text(strand(f"bond = {bond}"))
    prop = shot.prop[0]
    task = read_prop(shot, prop).task
    still = task.evaluate()
    state = state_under(still, layers_of(shot, prop, task.rig, still.parts), still.forces)
    assert state.first_yield == pytest.approx(still.strength_factor[0], rel=1e-3)


def test_the_clamp_holds_the_whole_strand() -> None:
    """A collet is worth one more diameter of free length, which is that of the whole strand, 3 d."""
    rigid, held = (settled(f"bond = 0\n{more}").sag[0] for more in ("", 'clamp = "collet"'))
    # Tip of a cantilever on a root spring EI / (a D): P L^2 / k more, beside P L^3 / (3 EI); its own weight alike.
    line = DENSITY * WIRES * np.pi / 4 * D**2
    moment = G * (0.02 * LENGTH + line * LENGTH**2 / 2)
    assert held - rigid == pytest.approx(moment * LENGTH * 3 * D / (E * SLIPPING), rel=5e-3)


def test_bond_belongs_to_a_strand() -> None:
    with pytest.raises(InputError, match="is for a strand, and this is a round section"):
        rig_from_text(strand("bond = 0.4").replace(f"wires = {WIRES}", ""))
    with pytest.raises(InputError, match="bond"):
        rig_from_text(strand("bond = 1.4"))
