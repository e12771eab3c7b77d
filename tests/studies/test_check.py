"""Rules of the verdict that hold whatever the rig: over people, without data, with doubtful or unused input."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigcheck.errors import UnknownNameError
from rigcheck.files import rig_from_flags, rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.results import CheckResult, Finding, PropResult, Status
from rigcheck.views.as_json import check_json

ORDER = [Status.PASS, Status.CAUTION, Status.FAIL]

GOOD = """
[camera]
field_width = "420 mm"
image_width = 3840
[limits]
settle = "0.25 s"
[[prop]]
name = "inkwell"
mass = "100 g"
[[prop.support]]
material = "music-wire"
diameter = "4 mm"
length = "120 mm"
[[prop.move]]
slide = "100 mm"
duration = "6 s"
profile = "cycloidal"
"""


def checked(text: str) -> CheckResult:
    return check(rig_from_text(text))


def only(text: str) -> PropResult:
    return checked(text).props[0]


def with_line(text: str, header: str, line: str) -> str:
    """The file with one line more under the first such header."""
    assert header in text
    return text.replace(header, f"{header}\n{line}", 1)


def findings(result: PropResult) -> dict[str, Finding]:
    return {finding.id: finding for finding in result.findings}


def test_the_good_rig_is_good():
    """What the other tests spoil passes as it stands."""
    result = only(GOOD)
    assert result.verdict is Status.PASS
    assert {finding.status for finding in result.findings} <= {Status.PASS, Status.SKIPPED}


# -- who is under it ------------------------------------------------------------------------------------

MATERIALS = ("music-wire", "brass-c260", "aluminium-1100-o", "carbon-rod", "acrylic", "tungsten-wire", "own")
OWN = '[[material]]\nname = "own"\ndensity = "7850 kg/m^3"\nyoungs_modulus = "200 GPa"\n'

rigs = st.fixed_dictionaries(
    {
        "material": st.sampled_from(MATERIALS),
        "diameter": st.integers(10, 120).map(lambda tenths: f"{tenths / 10:g} mm"),
        "length": st.integers(10, 200).map(lambda length: f"{length} mm"),
        "mass": st.integers(1, 400).map(lambda mass: f"{mass} g"),
        "from": st.sampled_from(["behind", "above", "below", "left"]),
    },
    optional={
        "slide": st.integers(1, 400).map(lambda stroke: f"{stroke} mm"),
        "field_width": st.just("420 mm"),
    },
)


def written(rig: dict[str, str], hazard: str) -> str:
    """The rig as a file."""
    support = "\n".join(f'{key} = "{rig[key]}"' for key in ("material", "diameter", "length", "from"))
    camera = (
        f'[camera]\nfield_width = "{rig["field_width"]}"\nimage_width = 3840' if "field_width" in rig else ""
    )
    move = f'[[prop.move]]\nslide = "{rig["slide"]}"\nduration = "2 s"' if "slide" in rig else ""
    return f"""{camera}
[limits]
hazard = "{hazard}"
{OWN}
[[prop]]
name = "prop"
mass = "{rig["mass"]}"
[[prop.support]]
{support}
{move}
"""


def as_flags(rig: dict[str, str], hazard: str) -> dict[str, str]:
    """The same rig as flags."""
    flags = {**rig, "hazard": hazard}
    if "slide" in rig:
        flags["duration"] = "2 s"
    if "field_width" in rig:
        flags["image_width"] = "3840"
    return flags


@settings(max_examples=10)
@given(rig=rigs)
def test_over_people_nothing_passes(rig):
    """People, animals or open flame under it: caution or fail, from a file and from flags alike."""
    result = only(written(rig, "overhead"))
    assert result.verdict in (Status.CAUTION, Status.FAIL)
    over = findings(result)["overhead"]
    assert over.status is Status.CAUTION
    assert over.limit == 10
    assert over.advice
    assert "second" in over.says
    assert "competent" in over.says
    if rig["material"] != "own":
        shot = check(rig_from_flags(as_flags(rig, "overhead")))
        assert shot.verdict is result.verdict
        assert "overhead" in findings(shot.props[0])


@settings(max_examples=10)
@given(rig=rigs)
def test_more_hazard_is_never_a_better_verdict(rig):
    verdicts = [only(written(rig, hazard)).verdict for hazard in ("clear", "hands", "overhead")]
    assert [ORDER.index(verdict) for verdict in verdicts] == sorted(
        ORDER.index(verdict) for verdict in verdicts
    )


@pytest.mark.parametrize("mass", ["1 g", "10 g", "100 g", "400 g"])
def test_one_failing_prop_fails_the_shot(mass):
    second = GOOD.split("[[prop]]")[1].replace("inkwell", "nib").replace('"4 mm"', '"1 mm"')
    result = checked(GOOD + "[[prop]]" + second.replace("100 g", mass))
    assert result.verdict is max((prop.verdict for prop in result.props), key=ORDER.index)
    assert result.props[0].verdict is Status.PASS


def test_one_prop_of_several():
    second = GOOD.split("[[prop]]")[1].replace("inkwell", "nib").replace('"4 mm"', '"0.8 mm"')
    shot = rig_from_text(GOOD + "[[prop]]" + second)
    assert check(shot).verdict is Status.FAIL
    alone = check(shot, prop="inkwell")
    assert [prop.name for prop in alone.props] == ["inkwell"]
    assert alone.verdict is Status.PASS
    with pytest.raises(
        UnknownNameError, match=r'no prop is called "inkwel".*"inkwell" or "nib".*Did you mean "inkwell"'
    ):
        check(shot, prop="inkwel")


def test_verdict_is_that_of_the_gravest_finding_and_findings_come_gravest_first():
    for text in (GOOD, GOOD.replace('"4 mm"', '"2 mm"'), GOOD.replace('"4 mm"', '"0.8 mm"')):
        result = only(text)
        graded = [finding.status for finding in result.findings if finding.status is not Status.SKIPPED]
        assert result.verdict is max(graded, key=ORDER.index)
        rank = {Status.FAIL: 0, Status.CAUTION: 1, Status.PASS: 2, Status.SKIPPED: 3}
        ranks = [rank[finding.status] for finding in result.findings]
        assert ranks == sorted(ranks)


# -- what could not be checked --------------------------------------------------------------------------

OWN_WITHOUT_STRENGTH = GOOD.replace("[[prop]]", OWN + "[[prop]]", 1).replace('"music-wire"', '"own"')


def test_unknown_strength_is_skipped_and_says_so():
    result = only(OWN_WITHOUT_STRENGTH)
    strength = findings(result)["yield-factor"]
    assert strength.status is Status.SKIPPED
    assert strength.value is None
    assert "yield_strength" in strength.advice[0]
    assert result.static is not None
    assert result.static.yield_factor is None


def test_without_a_move_wobble_is_skipped():
    result = only(GOOD.split("[[prop.move]]")[0])
    assert result.motion is None
    for name in ("residual-wobble", "settle"):
        assert findings(result)[name].status is Status.SKIPPED
        assert findings(result)[name].value is None
        assert findings(result)[name].says


def test_size_outside_the_table_says_that_strength_is_not_checked():
    """Music wire is drawn to about 6 mm; a 12 mm rod of it has no strength that the tables know."""
    result = only(GOOD.replace('"4 mm"', '"12 mm"'))
    strength = findings(result)["yield-factor"]
    if strength.status is Status.SKIPPED:
        assert "No strength is known" in strength.says
    assert any("strength is not checked" in said for said in result.assumptions)
    assert strength.status is not Status.PASS


@settings(max_examples=10)
@given(rig=rigs)
def test_nothing_that_was_not_computed_has_a_value_or_a_pass(rig):
    for finding in only(written(rig, "clear")).findings:
        assert finding.says.endswith((".", "?", "!"))
        if finding.status is Status.SKIPPED:
            assert finding.value is None
        elif finding.value is not None:
            assert np.isfinite(finding.value)


# -- doubtful and unused input --------------------------------------------------------------------------

DOUBTFUL = {
    "25 m of wire": with_line(
        GOOD.replace('"120 mm"', '"25 m"').replace("[limits]", "[analysis]\n[limits]"),
        "[analysis]",
        'displacement = "linear"',
    ),
    "a paper crane of 3 kg": GOOD.replace('"100 g"', '"3 kg"').replace('"4 mm"', '"12 mm"'),
    "a prop of 0.1 mg": GOOD.replace('"100 g"', '"0.1 mg"'),
    "a wire of 3 in": GOOD.replace('"4 mm"', '"3 in"'),
    "a slide of 100 m": GOOD.replace('"100 mm"', '"100 m"').replace('"6 s"', '"4000 s"'),
    "6 ms": GOOD.replace('"6 s"', '"6 ms"'),
    "a hair's breadth in 2 ms": GOOD.replace('"100 mm"', '"0.01 mm"').replace('"6 s"', '"2 ms"'),
    "a box heavier than metal": with_line(GOOD, "[[prop]]", 'shape = "box"\nsize = ["5 mm", "5 mm", "5 mm"]'),
    "a box lighter than air": with_line(
        GOOD.replace('"100 g"', '"1 g"'), "[[prop]]", 'shape = "box"\nsize = ["900 mm", "900 mm", "900 mm"]'
    ),
    "a prop 5 m wide": with_line(
        GOOD,
        "[[prop]]",
        'shape = "box"\nsize = ["5 m", "2 mm", "2 mm"]\ncentre_of_mass = ["0 mm", "0 mm", "0 mm"]',
    ),
    "80 m/s^2": GOOD.split("[[prop.move]]")[0] + '[[prop.move]]\nacceleration = "80 m/s^2"\n',
}


@pytest.mark.parametrize("name", DOUBTFUL)
def test_implausible_values_are_computed_but_never_a_plain_pass(name):
    result = only(DOUBTFUL[name])
    assert result.verdict in (Status.CAUTION, Status.FAIL)
    doubts = [finding for finding in result.findings if finding.id == "doubtful-value"]
    assert doubts
    assert all("unit" in doubt.says and doubt.says.endswith("?") for doubt in doubts)


BASE = with_line(GOOD, "[camera]", 'frame_rate = "50 fps"')
KEYS = {
    "takes": ("[limits]", "takes = 5000"),
    "hazard": ("[limits]", 'hazard = "hands"'),
    "sag": ("[limits]", 'sag = "5 mm"'),
    "wobble": ("[limits]", "wobble = 2.0"),
    "playback_rate": ("[camera]", 'playback_rate = "25 fps"'),
    "shutter_angle": ("[camera]", 'shutter_angle = "90 deg"'),
    "elevation": ("[camera]", 'elevation = "40 deg"'),
    "mark": ("[[prop]]", 'mark = ["40 mm", "10 mm", "0 mm"]'),
    "shape and size": ("[[prop]]", 'shape = "box"\nsize = ["40 mm", "30 mm", "30 mm"]'),
    "centre_of_mass": ("[[prop]]", 'centre_of_mass = ["0 mm", "0 mm", "10 mm"]'),
    "flexural_rigidity": ("[[prop]]", 'flexural_rigidity = "0.02 N*m"'),
    "droop_test": ("[[prop]]", 'droop_test = { overhang = "80 mm", droop = "15 mm" }'),
    "insert": (
        "[[prop]]",
        'insert = { material = "greyboard", thickness = "2 mm", size = ["60 mm", "40 mm"], grain = "along" }',
    ),
    "axis payload": ("[[prop]]", 'axis = { payload = "3 kg" }'),
    "axis moment": ("[[prop]]", 'axis = { moment = "2 N*m" }'),
    "axis torque": ("[[prop]]", 'axis = { torque = "0.5 N*m" }'),
    "axis stiffness": ("[[prop]]", 'axis = { stiffness = "200 N*m/rad" }'),
    "clamp": ("[[prop.support]]", 'clamp = "collet"'),
    "grip": ("[[prop.support]]", 'grip = "15 mm"'),
    "embed": ("[[prop.support]]", 'embed = "20 mm"'),
    "root_stiffness": ("[[prop.support]]", 'root_stiffness = "12 N*m/rad"'),
    "tension": ("[[prop.support]]", 'tension = "20 N"'),
    "along": ("[[prop.move]]", 'along = "right"'),
}  # fmt: skip


@pytest.mark.parametrize("key", KEYS)
def test_a_key_that_is_read_changes_the_result_or_is_said_not_to(key):
    """Nothing that the user gives is dropped in silence."""
    header, line = KEYS[key]
    without, with_key = only(BASE), only(with_line(BASE, header, line))
    bare, full = check_json(checked(BASE)), check_json(checked(with_line(BASE, header, line)))
    new = [finding for finding in with_key.findings if finding not in without.findings]
    said = [text for text in with_key.assumptions if text not in without.assumptions]
    assert (
        bare["props"][0]["static"] != full["props"][0]["static"]
        or new
        or said
        or with_key.details != without.details
        or (bare["props"][0]["motion"] != full["props"][0]["motion"])
    )


def test_what_is_not_computed_is_named_and_skipped():
    text = with_line(GOOD.replace('"120 mm"', '"120 mm +/- 2 mm"'), "[camera]", 'shutter_angle = "90 deg"')
    unused = [finding for finding in only(text).findings if finding.id.startswith("not-used")]
    for finding in unused:
        assert finding.status is Status.SKIPPED
        assert re.fullmatch(r"not-used-[a-z0-9-]*", finding.id)
        assert "does not compute" in finding.says


# -- what was assumed -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "[limits]",
            "[analysis]\ngravity_stiffness = false\n[limits]",
            "Weight is left out of the stiffness",
        ),
        ("[limits]", "[analysis]\nshear = false\n[limits]", "Shear and the rotary inertia"),
        ('[camera]\nfield_width = "420 mm"\nimage_width = 3840\n', "", "No [camera] is given"),
        ('length = "120 mm"', 'length = "120 mm"', "No clamp is named"),
        ('length = "120 mm"', 'length = "120 mm"\nclamp = "collet"', "diameters of free length more"),
        ('mass = "100 g"', 'mass = "100 g"', "counts as a point"),
        (
            'mass = "100 g"',
            'mass = "100 g"\nshape = "box"\nsize = ["40 mm", "30 mm", "30 mm"]',
            "solid box of even density",
        ),
        ('slide = "100 mm"\nduration = "6 s"\nprofile = "cycloidal"', 'acceleration = "0.1 m/s^2"', "worst"),
        ('length = "120 mm"', 'length = "120 mm"', "Damping ratio"),
    ],
)
def test_assumptions_are_said(old, new, words):
    assert old in GOOD
    assert any(words in said for said in only(GOOD.replace(old, new)).assumptions)


def test_result_carries_what_views_need():
    result = checked(GOOD.replace("[camera]", 'title = "Desk set"\n[camera]'))
    prop = result.props[0]
    assert result.title == "Desk set"
    assert prop.support == "4 mm music-wire, 120 mm free, from behind"
    assert len(prop.modes) >= 6
    assert prop.static is not None
    assert prop.motion is not None
    assert prop.static.sag.check("[length]")
    assert prop.motion.settle.check("[time]")
    assert not prop.motion.worst_case


def test_number_of_modes_can_be_asked_for():
    assert (
        len(
            only(with_line(GOOD, "[limits]", "").replace("[limits]", "[analysis]\nmodes = 9\n[limits]")).modes
        )
        >= 9
    )


def test_residual_is_read_over_the_periods_asked_for():
    """A decaying swing is as wide in ten periods as in two, to the first crest; within a quarter it is not."""
    jerky = GOOD.replace('"6 s"', '"0.4 s"').replace("cycloidal", "trapezoidal")

    def wobble(periods: float) -> float:
        text = jerky.replace("[limits]", f"[analysis]\nresidual_periods = {periods}\n[limits]")
        motion = only(text).motion
        assert motion is not None
        return float(motion.residual_wobble.m_as("mm"))

    assert wobble(2) == pytest.approx(wobble(10), rel=1e-3)
    assert wobble(0.1) < 0.8 * wobble(2)


def test_a_threaded_rod_is_checked_with_its_ranges():
    text = """
[[prop]]
name = "inkwell"
mass = "50 g"
[[prop.support]]
material = "threaded-rod-4.6"
section = "threaded"
diameter = "M4"
length = "100 mm"
"""
    (result,) = check(rig_from_text(text)).props
    low, high = result.ranges["sag_mm"]
    assert low < result.static.sag.m_as("mm") < high


def test_long_settling_is_said_in_whole_seconds():
    """A heavy prop on a thin wire swings for minutes; nobody reads 1.8e+02 s."""
    text = """
[[prop]]
name = "card"
mass = "60 g"
[[prop.support]]
material = "music-wire"
diameter = "1.2 mm"
length = "180 mm"
from = "below"
[[prop.move]]
acceleration = "0.4 m/s^2"
along = "left"
"""
    found = next(one for one in check(rig_from_text(text)).props[0].findings if one.id == "settle")
    assert found.value > 100
    assert f"it takes {found.value:.0f} s to come to rest" in found.says
