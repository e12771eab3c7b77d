"""Modes in words, on rigs whose modes are known by symmetry."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.mode_words import direction_words
from rigcheck.studies.results import Mode

RIG = """
[analysis]
modes = 12
[[prop]]
name = "inkwell"
mass = "150 g"
{prop}
[[prop.support]]
material = "music-wire"
{section}
{where}
"""
ROUND, STRIP = 'diameter = "3 mm"', 'width = "8 mm"\nthickness = "2 mm"'
PATH = 'path = [["0 mm", "-80 mm", "-80 mm"], ["0 mm", "0 mm", "0 mm"]]'


def modes(
    *, prop: str = "", section: str = ROUND, where: str = 'length = "150 mm"\nfrom = "behind"'
) -> tuple[Mode, ...]:
    if section == STRIP:
        prop += '\nshape = "sphere"\nsize = ["20 mm", "20 mm", "20 mm"]'
    text = RIG.format(prop=prop, section=section, where=where)
    if section == STRIP:
        text = text.replace("music-wire", "brass-c260")
    return check(rig_from_text(text)).props[0].modes


@pytest.mark.parametrize(
    ("direction", "words"),
    [
        ([0, 1, 0], "up-down"),
        ([0, -2, 0], "up-down"),
        ([1, 0, 0], "left-right"),
        ([0, 0, 1], "toward-away"),
        ([1, 0.2, 0], "left-right"),
        ([1, 1, 0], "slanting right and up"),
        ([-1, -1, 0], "slanting right and up"),  # to and fro: the same line
        ([0, 1, -0.9], "slanting up and away"),
        ([0.9, 1, 0.8], "slanting up and right and toward"),
    ],
)
def test_directions(direction, words):
    assert direction_words(np.array(direction, dtype=float)) == words


@pytest.mark.parametrize(
    ("side", "kinds"),
    [
        ("behind", {"sway up-down", "sway left-right"}),
        ("left", {"sway up-down", "sway toward-away"}),
        ("above", {"sway left-right", "sway toward-away"}),
    ],
)
def test_round_wire_sways_both_ways_across_itself(side, kinds):
    """The two are alike by symmetry, and may be mixed at will: the words still name plain directions."""
    found = modes(where=f'length = "150 mm"\nfrom = "{side}"')[:2]
    assert {mode.kind for mode in found} == kinds
    for mode in found:
        direction = np.abs(mode.direction)
        assert direction.max() == pytest.approx(1, abs=1e-9)
        assert np.sort(direction)[:2] == pytest.approx([0, 0], abs=1e-6)


def test_flat_strip_sways_up_and_down_first():
    """It lies flat, so it is 16 times as stiff sideways: four times the frequency, less what shear takes."""
    first, second = modes(section=STRIP)[:2]
    assert first.kind == "sway up-down"
    assert second.kind == "sway left-right"
    ratio = second.frequency.m_as("Hz") / first.frequency.m_as("Hz")
    assert ratio == pytest.approx(4, rel=0.02)


def test_bounce_and_twist():
    found = modes(prop='shape = "box"\nsize = ["30 mm", "30 mm", "30 mm"]')
    kinds = [mode.kind for mode in found]
    assert "twist about the support" in kinds
    assert "bounce along the support" in kinds
    twist = found[kinds.index("twist about the support")]
    assert twist.direction == (0.0, 0.0, 0.0)  # the prop turns on the spot
    bounce = found[kinds.index("bounce along the support")]
    assert np.abs(bounce.direction) == pytest.approx([0, 0, 1], abs=1e-6)


def test_rocking_where_inertia_is_large():
    """A long bar on a short wire: its own turning carries the energy of some mode."""
    found = modes(
        prop='inertia = ["8e-4 kg*m^2", "8e-4 kg*m^2", "1e-4 kg*m^2"]',
        where='length = "40 mm"\nfrom = "behind"',
    )
    assert "rocking" in [mode.kind for mode in found]


def test_bent_support_sways_in_its_plane_and_across_it():
    found = modes(where=PATH)[:2]
    for mode in found:
        right = abs(mode.direction[0])
        assert right < 1e-6 or right > 1 - 1e-6
    slanting = next(mode for mode in found if abs(mode.direction[0]) < 1e-6)
    assert "up" in slanting.kind


def test_modes_come_in_rising_order_with_their_damping():
    found = modes()
    frequencies = [mode.frequency.m_as("Hz") for mode in found]
    assert frequencies == sorted(frequencies)
    assert len({mode.damping_ratio for mode in found}) == 1
    for mode in found:
        size = np.linalg.norm(mode.direction)
        assert size == pytest.approx(1, abs=1e-9) or size == 0
        if size:
            assert mode.direction[int(np.argmax(np.abs(mode.direction)))] > 0
