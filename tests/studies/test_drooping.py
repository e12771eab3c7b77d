"""Droop and insert: closed forms, sums by hand, and the advice tried out."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from check_parts import assert_skipped, computed, figure, finding, rig_file

from rigcheck.files import rig_from_text
from rigcheck.mechanics import plates
from rigcheck.stock import find_sheet
from rigcheck.studies.drooping import drooping, joint_of
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Contribution, Status

G = 9.80665


def run(text: str) -> Contribution:
    return drooping(computed(text))


def joint(text: str) -> np.ndarray | None:
    shot = rig_from_text(text)
    return joint_of(shot, shot.prop[0], read_prop(shot, shot.prop[0]))


INSERT = """
[prop.insert]
material = "{material}"
thickness = "{thickness}"
size = ["{along}", "{across}"]
grain = "{grain}"
"""


def insert(
    material: str = "greyboard",
    thickness: str = "2 mm",
    along: str = "130 mm",
    across: str = "90 mm",
    grain: str = "along",
) -> str:
    return INSERT.format(material=material, thickness=thickness, along=along, across=across, grain=grain)


def notebook(
    inside: str = "",
    *,
    mass: str = "190 g",
    soft: str = 'flexural_rigidity = "0.05 N*m"',
    size: str = 'size = ["105 mm", "12 mm", "148 mm"]',
    embed: str = 'embed = "60 mm"',
    support: str = 'length = "220 mm"',
    head: str = "",
) -> str:
    rod = ('material = "carbon-rod"', 'diameter = "5 mm"', support, embed)
    return rig_file(*rod, name="notebook", mass=mass, prop="\n".join([size, soft, inside]), head=head)


# -- droop ----------------------------------------------------------------------------------------------


def test_narrow_prop_droops_like_a_strip() -> None:
    """``w L^4 / (8 D)`` for a strip clamped at the support's tip; as a plate up to 1 / (1 - 0.3^2) more."""
    result = run(
        notebook(
            mass="10 g",
            size='size = ["10 mm", "1 mm", "200 mm"]',
            embed='embed = "100 mm"',
            soft='flexural_rigidity = "0.1 N*m"',
        )
    )
    strip = 0.01 / (0.01 * 0.2) * G * 0.1**4 / (8 * 0.1)
    found = finding(result, "droop")
    assert found.value is not None
    # Clamped across its width at the tip only on the middle line, so a little more than the strip.
    assert strip < found.value * 1e-3 < 1.12 * strip


def test_droop_with_insert_is_that_of_the_plate() -> None:
    """The notebook by hand: areal weights, and the sheet's two directions by its grain."""
    for grain in ("along", "across"):
        result = run(notebook(insert(grain=grain)))
        cut = find_sheet("greyboard").at(2e-3)
        ways = [cut.flexural_rigidity_along.value, cut.flexural_rigidity_across.value]
        # The published 1290 g/m2 and 2.5 and 1.3 GPa of the project's data file.
        assert cut.mass_per_area.value == pytest.approx(1.29)
        assert ways == [pytest.approx(2.5e9 * 0.002**3 / 12), pytest.approx(1.3e9 * 0.002**3 / 12)]
        if grain == "across":
            ways.reverse()
        plate = {
            "prop_length": 0.148,
            "prop_width": 0.105,
            "embed_length": 0.06,
            "prop_weight_per_area": 0.19 * G / (0.148 * 0.105),
            "prop_rigidity_along": 0.05,
        }
        wanted = plates.droop_over_insert(
            **plate,
            insert_length=0.13,
            insert_width=0.09,
            insert_weight_per_area=1.29 * G,
            insert_rigidity_along=ways[0],
            insert_rigidity_across=ways[1],
        )
        value = finding(result, "droop").value
        assert value == pytest.approx(float(wanted.largest) * 1e3, rel=1e-9)
        bare = float(plates.droop_over_insert(**plate).largest) * 1e3
        assert figure(result, "droop over the bare support") == f"{bare:.2g} mm"
        assert figure(result, "droop over the insert") == f"{value:.2g} mm"
        assert figure(result, "stiffness of the prop itself") == "0.05 N*m a width"


def test_support_from_the_left_turns_the_plan() -> None:
    behind = run(notebook(insert()))
    turned = run(
        notebook(
            insert(), size='size = ["148 mm", "12 mm", "105 mm"]', support='length = "220 mm"\nfrom = "left"'
        )
    )
    assert finding(turned, "droop").value == pytest.approx(finding(behind, "droop").value)


def test_droop_status() -> None:
    text = notebook(insert(along="100 mm", across="60 mm"))
    value = finding(run(text), "droop").value
    assert value is not None
    for limit, status in (
        (value * 1.001, Status.PASS),
        (value * 0.999, Status.CAUTION),
        (value * 0.501, Status.CAUTION),
        (value * 0.499, Status.FAIL),
    ):
        found = finding(run(f'[limits]\nsag = "{limit} mm"\n{text}'), "droop")
        assert found.status is status
        assert found.limit == pytest.approx(limit)


def test_droop_limit_without_a_sag_limit() -> None:
    result = run(notebook(insert()))
    assert finding(result, "droop").limit == pytest.approx(1.48)
    assert (
        "A droop of up to 1 % of the prop's length, or 1 mm if more, is a pass: a choice."
        in result.assumptions
    )
    small = run(notebook(size='size = ["40 mm", "4 mm", "60 mm"]', embed='embed = "30 mm"', mass="5 g"))
    assert finding(small, "droop").limit == pytest.approx(1.0)
    given = run(notebook(insert(), head='[limits]\nsag = "5 mm"'))
    assert not any("is a pass: a choice" in said for said in given.assumptions)


def test_droop_words() -> None:
    passed = run(notebook(insert()))
    assert (
        finding(passed, "droop").says
        == "The prop stays flat: it droops 1 mm over its insert, 26 mm without it."
    )
    assert "greyboard creeps: hung for days, divide what the insert adds by 2." in passed.assumptions
    assert "The support enters the prop in the middle of an edge, straight; the insert lies centred." in (
        passed.assumptions
    )
    fail = run(notebook())
    assert finding(fail, "droop").says == "The prop hangs 26 mm down at its far corners."
    assert "The droop is large beside the overhang: an estimate." in fail.assumptions
    caution = run(notebook(insert(), head='[limits]\nsag = "0.9 mm"'))
    assert finding(caution, "droop").says.endswith(
        "over its insert, 26 mm without it; a close look shows it."
    )


def test_droop_test_gives_the_stiffness() -> None:
    """Small droop: D = w L^4 / (8 d); ASTM D1388 tests a strip of the prop itself, so w is the prop's."""
    result = run(notebook(soft='droop_test = { overhang = "80 mm", droop = "1 mm" }'))
    rigidity = float(figure(result, "stiffness of the prop itself").split(" ")[0])
    weight = 0.19 * G / (0.148 * 0.105)
    assert rigidity == pytest.approx(weight * 0.08**4 / (8 * 1e-3), rel=0.01)


def test_level_disc_counts_as_the_square_around_it() -> None:
    disc = 'shape = "disc"\nsize = ["120 mm", "8 mm", "120 mm"]'
    result = run(notebook(size=disc, embed='embed = "60 mm"'))
    wanted = plates.droop_over_insert(
        prop_length=0.12,
        prop_width=0.12,
        embed_length=0.06,
        prop_weight_per_area=0.19 * G / (math.pi * 0.06**2),
        prop_rigidity_along=0.05,
    )
    assert finding(result, "droop").value == pytest.approx(
        max(float(wanted.along), float(wanted.across)) * 1e3, rel=1e-9
    )
    assert "For its droop the disc counts as the square around it: safe side." in result.assumptions


def test_disc_on_an_upright_support() -> None:
    disc = notebook(
        size='shape = "disc"\nsize = ["120 mm", "8 mm", "120 mm"]',
        support='length = "100 mm"\nfrom = "below"',
        embed="",
        mass="20 g",
        soft='flexural_rigidity = "0.01 N*m"',
    )
    found = finding(run(disc), "droop")
    given = {
        "weight_per_area": 0.02 * G / (math.pi * 0.06**2),
        "outer_radius": 0.06,
        "flexural_rigidity": 0.01,
    }
    wanted = float(plates.disc_droop(**given, hub_radius=0.0025))
    assert found.value == pytest.approx(wanted * 1e3, rel=1e-9)
    assert found.limit == pytest.approx(1.2)
    assert found.status is Status.CAUTION
    assert found.says == f"The rim of the disc droops {wanted * 1e3:.2g} mm over the support in its middle."
    wide = re.fullmatch(
        r"Put a stiff disc of (\d+) mm diameter under its middle: droop ([\d.]+) mm\.", found.advice[0]
    )
    assert wide
    after = float(plates.disc_droop(**given, hub_radius=float(wide[1]) / 2000)) * 1e3
    assert after == pytest.approx(float(wide[2]), rel=0.1)
    assert after < 1.2 * 1.05
    both = run(disc.replace("[[prop.support]]", insert() + "[[prop.support]]"))
    assert_skipped(
        both, "An insert is worked out for a support that comes in level only.", "droop", "insert-strength"
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (notebook(insert(), size=""), "No size is given."),
        (notebook(insert(), embed=""), "No embed is given: how far the support reaches into the prop."),
        (
            notebook(insert(), support='length = "220 mm"\nfrom = "above"'),
            "Its support does not come in level; droop is worked out for a level prop only.",
        ),
        (
            notebook(insert(), support='path = [["-100 mm", "0 mm", "-100 mm"], ["0 mm", "0 mm", "0 mm"]]'),
            "Its support runs at an angle to the prop's sides; droop is worked out along them only.",
        ),
        (
            notebook(insert(), size='shape = "sphere"\nsize = ["90 mm", "90 mm", "90 mm"]'),
            "Droop is worked out for a flat prop, not for a sphere that does not lie flat.",
        ),
        (
            notebook(insert(thickness="9 mm")),
            "greyboard is known from 0.5 to 5 mm thickness; 9 mm was given. Choose a thickness in that range.",
        ),
    ],
)
def test_what_cannot_be_worked_out_is_skipped(text: str, reason: str) -> None:
    shot = rig_from_text(text)
    # The rest of the check reads the thickness too; only this part of it is looked at.
    result = drooping(replace(computed(notebook()), shot=shot, prop=shot.prop[0]))
    assert_skipped(result, reason, "droop", "insert-strength")


def test_useless_droop_test_and_too_large_insert() -> None:
    assert_skipped(
        run(notebook(soft='droop_test = { overhang = "80 mm", droop = "79 mm" }')),
        "The droop test tells no stiffness: 79 mm over 80 mm is outside 0.0001 to 0.97 of it."
        " Test a shorter overhang if it is limp, a longer if stiff.",
        "droop",
    )
    wide = run(notebook(insert(along="160 mm")))
    assert_skipped(wide, "The insert is larger than the prop: look at both sizes again.", "droop")


def test_stiff_prop_without_insert_has_nothing_to_check() -> None:
    result = run(notebook(soft=""))
    assert (result.findings, result.figures, result.assumptions) == ((), (), ())


# -- advice ---------------------------------------------------------------------------------------------

TAKE = re.compile(
    r"(?:Take|Or take) an insert of ([\d.]+) mm ([\w-]+)(?:, stiff direction (\w+) the support)?, (\d+) by (\d+) mm:"
    r" droop ([\d.]+) mm, ([\d.]+) g(?: (lighter|heavier) than the present one)?\."
)


def test_first_insert_is_advised_and_cures() -> None:
    found = finding(run(notebook()), "droop")
    assert found.status is Status.FAIL
    advised = [TAKE.fullmatch(said) for said in found.advice]
    assert len(advised) == 3
    masses = []
    for take in advised:
        assert take
        # 80 % of the plan.
        assert (take[4], take[5]) == ("118", "84")
        after = run(notebook(insert(take[2], f"{take[1]} mm", "118.4 mm", "84 mm", take[3] or "along")))
        cured = finding(after, "droop")
        assert cured.status is Status.PASS
        assert cured.value == pytest.approx(float(take[6]), rel=0.06)
        masses.append(float(take[7]))
    assert masses == sorted(masses)
    assert len({take[1] + take[2] for take in advised if take}) == 3


def test_better_insert_is_compared_with_the_present_one() -> None:
    text = notebook(insert(thickness="1 mm"))
    found = finding(run(text), "droop")
    assert found.status is not Status.PASS
    take = TAKE.fullmatch(found.advice[0])
    assert take
    assert (take[4], take[5]) == ("130", "90")
    area = 0.13 * 0.09
    change = (find_sheet(take[2]).at(float(take[1]) * 1e-3).mass_per_area.value - 0.615) * area * 1e3
    assert float(take[7]) == pytest.approx(abs(change), rel=0.06)
    assert take[8] == ("heavier" if change > 0 else "lighter")


def test_nothing_in_stock_cures_it() -> None:
    found = finding(run(notebook(mass="8 kg", head='[limits]\nsag = "0.01 mm"')), "droop")
    assert found.advice == (
        "No sheet in stock cures it: carry the support further into the prop, or take a second one.",
    )


# -- the insert's strength ------------------------------------------------------------------------------


def moments(mass: float) -> tuple[float, float]:
    """By hand: twice the weight past the tip times half its length, and one side's weight about the support."""
    whole = (mass + 1.29 * 0.13 * 0.09) * G / (0.148 * 0.105)
    along = 2 * whole * 0.088**2 / 2 * 0.105 / 0.09
    across = 2 * whole * 0.0525**2 / 2 * 0.148 / (0.06 - 0.009)
    return along, across


def test_insert_strength_by_hand() -> None:
    result = run(notebook(insert()))
    found = finding(result, "insert-strength")
    holds = 15e6 * 0.002**2 / 6
    assert found.value == pytest.approx(holds / max(moments(0.19)), rel=1e-6)
    assert (found.status, found.limit, found.at_least) == (Status.PASS, 1.5, True)
    assert found.says == f"The insert carries the prop {found.value:.3g} times over."
    assert "The insert's moment peaks at 2 times its mean (common practice)." in result.assumptions


@pytest.mark.parametrize(
    ("factor", "status", "says"),
    [
        (1.51, Status.PASS, "The insert carries the prop 1.51 times over."),
        (1.49, Status.FAIL, "The insert is close to giving way where it bends along the support."),
        (0.99, Status.FAIL, "The insert gives way where it bends along the support."),
    ],
)
def test_insert_strength_status(factor: float, status: Status, says: str) -> None:
    unit = moments(0.0)
    slope = moments(1.0)[0] - unit[0]
    mass = (15e6 * 0.002**2 / 6 / factor - unit[0]) / slope
    found = finding(run(notebook(insert(), mass=f"{mass} kg", soft="")), "insert-strength")
    assert found.value == pytest.approx(factor, rel=1e-6)
    assert (found.status, found.says) == (status, says)
    if status is Status.FAIL:
        assert found.advice == (
            f"Take a sheet {1.5 / factor:.2g} times as thick, or push the support further into the insert.",
        )


def test_support_that_misses_the_insert() -> None:
    found = finding(run(notebook(insert(along="60 mm"), embed='embed = "40 mm"')), "insert-strength")
    assert (found.status, found.says) == (
        Status.FAIL,
        "The support ends before the insert begins, so the insert carries nothing.",
    )
    assert found.advice == ("Push the support in more than 44 mm.",)


OWN = '[[material]]\nname = "shop-card"\ndensity = "700 kg/m^3"\nyoungs_modulus = "3 GPa"\n'


def test_insert_of_own_material() -> None:
    text = notebook(insert("shop-card"), head=OWN + 'tensile_strength = "15 MPa"')
    found = finding(run(text), "insert-strength")
    whole = (0.19 + 700 * 0.002 * 0.13 * 0.09) * G / (0.148 * 0.105)
    along = 2 * whole * 0.088**2 / 2 * 0.105 / 0.09
    assert found.value == pytest.approx(15e6 * 0.002**2 / 6 / along, rel=1e-6)
    unknown = run(notebook(insert("shop-card"), head=OWN))
    assert_skipped(unknown, "No strength is known for shop-card.", "insert-strength")


# -- the joint ------------------------------------------------------------------------------------------


def test_joint_springs_lie_along_the_frame() -> None:
    section = math.pi * 0.005**4 / 64
    wanted = plates.joint_stiffness(
        # The insert begins 9 mm into the prop.
        embed_length=0.051,
        insert_width=0.09,
        insert_rigidity_across=1.3e9 * 0.002**3 / 12,
        wire_bending_stiffness=127e9 * section,
        wire_torsional_stiffness=5e9 * 2 * section,
    )
    pitch, roll = float(wanted.pitch), float(wanted.roll)
    behind = joint(notebook(insert()))
    assert behind == pytest.approx([pitch, 1e6 * pitch, roll], rel=1e-9)
    left = joint(
        notebook(
            insert(), size='size = ["148 mm", "12 mm", "105 mm"]', support='length = "220 mm"\nfrom = "left"'
        )
    )
    assert left == pytest.approx([roll, 1e6 * pitch, pitch], rel=1e-9)
    above = joint(
        notebook(
            insert(), size='size = ["105 mm", "148 mm", "12 mm"]', support='length = "220 mm"\nfrom = "above"'
        )
    )
    assert above == pytest.approx([pitch, roll, 1e6 * pitch], rel=1e-9)


def test_joint_is_rigid_where_it_cannot_be_worked_out() -> None:
    assert joint(notebook()) is None
    assert joint(notebook(insert(), embed="")) is None
    assert joint(notebook(insert(along="60 mm"), embed='embed = "40 mm"')) is None
    oblique = notebook(insert(), support='path = [["-5 mm", "0 mm", "-100 mm"], ["0 mm", "0 mm", "0 mm"]]')
    assert joint(oblique) is None
    assert "The insert counts as rigidly held by the support: its hold cannot be worked out here." in (
        run(oblique).assumptions
    )
    assert not any("rigidly held" in said for said in run(notebook(insert())).assumptions)
