"""Where pass becomes caution and caution becomes fail: the rig stays, the limit moves around its value."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.results import Finding

RIG = """
{camera}
[limits]
{limits}
[[material]]
name = "own"
density = "7850 kg/m^3"
youngs_modulus = "200 GPa"
yield_strength = "{strength}"
damping_ratio = 0.01
[[prop]]
name = "inkwell"
mass = "100 g"
[[prop.support]]
material = "own"
diameter = "3 mm"
length = "{length}"
from = "{side}"
root_stiffness = "rigid"
[[prop.move]]
slide = "100 mm"
duration = "0.8 s"
"""
CAMERA = '[camera]\nfield_width = "420 mm"\nimage_width = 3840'


def found(
    name: str,
    *,
    limits: str = "",
    camera: str = CAMERA,
    strength: str = "900 MPa",
    length: str = "180 mm",
    side: str = "behind",
) -> Finding:
    text = RIG.format(limits=limits, camera=camera, strength=strength, length=length, side=side)
    findings = check(rig_from_text(text)).props[0].findings
    return next(finding for finding in findings if finding.id == name)


@pytest.mark.parametrize("camera", [CAMERA, ""], ids=["camera", "no camera"])
@pytest.mark.parametrize(
    ("share", "status"),
    [(0.1, "pass"), (0.299, "pass"), (0.301, "caution"), (0.999, "caution"), (1.001, "fail")],
)
def test_wobble_passes_to_three_tenths_of_its_limit_and_fails_above_it(camera, share, status):
    value = found("residual-wobble", camera=camera).value
    pixels = value if camera else value / 0.1  # without a camera a pixel counts as 0.1 mm
    finding = found("residual-wobble", camera=camera, limits=f"wobble = {pixels / share!r}")
    assert finding.status == status
    assert finding.value == pytest.approx(value, rel=1e-12)
    assert finding.limit == pytest.approx(value / share, rel=1e-12)
    assert finding.unit == ("px" if camera else "mm")


def test_wobble_limit_is_one_pixel_where_none_is_given():
    assert found("residual-wobble").limit == 1.0
    assert found("residual-wobble", camera="").limit == pytest.approx(0.1)  # mm


@pytest.mark.parametrize(
    ("share", "status"),
    [(0.5, "pass"), (0.999, "pass"), (1.001, "caution"), (3.99, "caution"), (4.01, "fail")],
)
def test_settling_passes_to_its_limit_and_fails_above_four_times(share, status):
    """0.25 s and 1 s where no limit is given."""
    value = found("settle").value
    assert value > 0
    assert found("settle", limits=f'settle = "{value / share!r} s"').status == status
    assert found("settle").limit == 0.25


def test_settling_is_counted_to_the_wobble_limit():
    """A looser picture is still earlier: by ln(2)/(zeta omega) for a limit twice as wide (derived here)."""
    rig = RIG.format(limits="", camera=CAMERA, strength="900 MPa", length="180 mm", side="behind")
    lowest = check(rig_from_text(rig)).props[0].modes[0]
    earlier = found("settle").value - found("settle", limits="wobble = 2.0").value
    wanted = np.log(2) / (lowest.damping_ratio * 2 * np.pi * lowest.frequency.m_as("Hz"))
    assert earlier == pytest.approx(wanted, rel=1e-3)  # higher modes have died out by then


@pytest.mark.parametrize(("hazard", "required"), [("clear", 1.5), ("hands", 3.0)])
def test_strength_by_who_is_near(hazard, required):
    limits = f'hazard = "{hazard}"'
    whole = found("yield-factor", limits=limits)
    assert whole.limit == required
    for share, status in ((1.001, "pass"), (0.999, "fail")):
        strength = 900 * required / whole.value * share
        finding = found("yield-factor", limits=limits, strength=f"{strength!r} MPa")
        assert finding.status == status
        assert finding.value == pytest.approx(required * share, rel=1e-9)


def test_strength_over_people_is_never_a_pass():
    strong = found("yield-factor", limits='hazard = "overhead"', strength="900000 MPa")
    assert strong.limit == 10
    assert strong.value > 10
    assert strong.status == "caution"
    assert found("yield-factor", limits='hazard = "overhead"', strength="100 MPa").status == "fail"


@pytest.mark.parametrize(("share", "status"), [(0.999, "pass"), (1.001, "fail")])
def test_sag_against_a_limit_of_the_users(share, status):
    value = found("sag").value
    finding = found("sag", limits=f'sag = "{value / share!r} mm"')
    assert finding.status == status
    assert finding.unit == "mm"


@pytest.mark.parametrize(("length", "status"), [("180 mm", "pass"), ("480 mm", "caution")])
def test_sag_without_a_limit_is_a_caution_from_a_tenth_of_the_length(length, status):
    finding = found("sag", length=length, strength="9000 MPa")
    share = finding.value / float(length.split()[0])
    assert (share > 0.1) == (status == "caution")
    assert finding.status == status
    assert finding.limit is None


def test_a_value_that_must_be_reached_has_a_margin_above_one_inside():
    for name in ("yield-factor", "residual-wobble", "settle"):
        finding = found(name, strength="9000 MPa")
        inside = finding.status == "pass"
        if finding.margin is not None:
            assert (finding.margin >= 1) == inside or finding.status == "caution"


def test_hanging_prop_has_no_buckling_finding():
    with pytest.raises(StopIteration):
        found("buckling", side="above")
    assert found("buckling", side="below").at_least
