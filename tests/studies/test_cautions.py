"""Cautions stand on every output, whatever the verdict and whoever is near."""

from __future__ import annotations

import io
from typing import get_args

import pytest
from rich.console import Console

from rigcheck.files import rig_from_text
from rigcheck.model import Hazard
from rigcheck.studies.cautions import REQUIRED_FACTOR, cautions
from rigcheck.studies.check import check
from rigcheck.views.as_json import check_json
from rigcheck.views.terminal import render_check

RIG = """
[limits]
hazard = "{hazard}"
[[prop]]
name = "inkwell"
mass = "{mass}"
[[prop.support]]
material = "{material}"
diameter = "3 mm"
length = "120 mm"
from = "{side}"
"""

NEAR = {
    "clear": "nobody under the prop",
    "hands": "second, slack hold",
    "overhead": "this tool never passes that",
}
ALWAYS = ("not a test: hang twice the weight", "Local rules and a competent rigger come before this result.")


@pytest.mark.parametrize("hazard", get_args(Hazard))
@pytest.mark.parametrize("details", [False, True])
@pytest.mark.parametrize(
    ("mass", "side"),
    [("20 g", "behind"), ("2 kg", "behind"), ("50 kg", "below")],
    ids=["good", "bad", "folded"],
)
def test_every_output_carries_them(hazard, details, mass, side):
    shot = rig_from_text(RIG.format(hazard=hazard, mass=mass, material="music-wire", side=side))
    result = check(shot)
    out = io.StringIO()
    render_check(Console(file=out, width=80), result, details=details)
    printed = " ".join(out.getvalue().split())
    in_json = check_json(result)["props"][0]["cautions"]
    for words in (NEAR[hazard], *ALWAYS):
        assert words in printed
        assert any(words in caution for caution in in_json)


@pytest.mark.parametrize("hazard", get_args(Hazard))
def test_who_is_near_comes_first_and_nothing_is_said_twice(hazard):
    said = cautions(hazard, ("Cap the ends of wire and rod.", "Cap the ends of wire and rod."))
    assert NEAR[hazard] in said[0]
    assert len(said) == len(set(said))
    assert said[-1] == "Cap the ends of wire and rod."


def test_over_people_a_competent_person_and_a_second_hold_are_asked_for():
    words = cautions("overhead")[0]
    for needed in ("competent person", "licensed", "ten times the strength", "second hold"):
        assert needed in words


def test_required_factors():
    """Nobody below 1.5; hands 3; over people 10 is quoted: common practice, no source."""
    assert REQUIRED_FACTOR == {"clear": 1.5, "hands": 3.0, "overhead": 10.0}


@pytest.mark.parametrize(
    ("material", "words"),
    [("music-wire", "eye protection"), ("carbon-rod", "splinter"), ("carbon-rod", "conducts electricity")],
)
def test_what_a_material_asks_for_reaches_the_result(material, words):
    shot = rig_from_text(RIG.format(hazard="clear", mass="20 g", material=material, side="behind"))
    assert any(words in caution for caution in check(shot).props[0].cautions)
