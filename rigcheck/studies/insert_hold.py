"""Does the insert of a soft prop hold, and how firmly does the support hold the insert."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.contributions import skipped
from rigcheck.studies.insert_sheets import Sheet, given_sheet, insert_size
from rigcheck.studies.prop_plan import STRAIGHT, Plan, tip_way
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Finding, Status
from rigcheck.studies.rigs import GRAVITY
from rigcheck.studies.words import length_words

__all__ = ["STRENGTH_LABEL", "check_strength", "joint_of"]

Array = NDArray[np.float64]

STRENGTH_LABEL = "insert strength"
YAW_STIFFNESS = 1e6
"""Stiffness of the joint in the plane of the insert over that out of it: rigid, without being infinite."""


def check_strength(prop: Prop, plan: Plan, sheet: Sheet) -> Contribution:
    """Check the bending of the insert over the support.

    Parameters
    ----------
    prop : Prop
        What the user gave, with an insert.
    plan : Plan
        Of the prop.
    sheet : Sheet
        Of its insert.

    Returns
    -------
    Contribution
        Finding ``insert-strength``.
    """
    from rigcheck.mechanics.plates import PEAK_MOMENT_FACTOR, insert_moments

    length, width = insert_size(prop)
    required = REQUIRED_FACTOR["clear"]
    if np.isnan(sheet.strength_along):
        says = f"No strength is known for {sheet.name}."
        return Contribution(findings=(skipped("insert-strength", STRENGTH_LABEL, says),))
    begins = (plan.length - length) / 2
    if plan.embed <= begins:
        return Contribution(
            findings=(
                Finding(
                    id="insert-strength",
                    label=STRENGTH_LABEL,
                    status=Status.FAIL,
                    says="The support ends before the insert begins, so the insert carries nothing.",
                    advice=(f"Push the support in more than {length_words(begins)}.",),
                ),
            )
        )
    whole = plan.mass_per_area + sheet.mass_per_area * length * width / (plan.length * plan.width)
    moments = insert_moments(
        prop_length=plan.length,
        prop_width=plan.width,
        embed_length=plan.embed,
        weight_per_area=whole * GRAVITY,
        insert_length=length,
        insert_width=width,
    )
    strengths = (sheet.strength_along, sheet.strength_across)
    factors = [
        strength / float(moment) if moment > 0 else np.inf
        for strength, moment in zip(strengths, moments, strict=True)
    ]
    value = min(factors)
    good = value >= required
    way = "along" if factors[0] <= factors[1] else "across"
    if good:
        says = f"The insert carries the prop {value:.3g} times over."
    elif value >= 1:
        says = f"The insert is close to giving way where it bends {way} the support."
    else:
        says = f"The insert gives way where it bends {way} the support."
    advice: tuple[str, ...] = ()
    if not good:
        # Strength goes with the square of the thickness in a solid sheet, in a sandwich with the first power,
        # which asks for more.
        thicker = f"{required / value:.2g} times as thick"
        advice = (f"Take a sheet {thicker}, or push the support further into the insert.",)
    return Contribution(
        findings=(
            Finding(
                id="insert-strength",
                label=STRENGTH_LABEL,
                status=Status.PASS if good else Status.FAIL,
                value=value,
                limit=required,
                at_least=True,
                says=says,
                advice=advice,
            ),
        ),
        assumptions=(
            f"The insert's moment peaks at {PEAK_MOMENT_FACTOR:g} times its mean (common practice).",
        ),
    )


def joint_of(shot: Shot, prop: Prop, reading: Reading) -> Array | None:
    """Springs between the first support and the insert that holds the prop on it.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.

    Returns
    -------
    array, shape (3,), or None
        Rotational stiffness about right, up and toward [N m/rad]. None, which means rigid, without an insert
        or an embedded length, where the support misses the insert, or where it lies along none of the three.

    Notes
    -----
    The sheet stands as an elastic bed (`rigcheck.mechanics.plates.joint_stiffness`); it gives about the
    support and about the direction across it in the plane of the sheet. In its own plane it is a million
    times as stiff. The sheet is level across, or faces the camera where the support stands or hangs.
    """
    from rigcheck.mechanics.plates import joint_stiffness

    insert, first = prop.insert, prop.support[0]
    if insert is None or first.embed is None:
        return None
    way = tip_way(prop)
    along = int(np.abs(way).argmax())
    if 1 - abs(way[along]) > STRAIGHT**2:
        return None
    sheet = given_sheet(shot, prop)
    if isinstance(sheet, str):
        return None
    length, width = insert_size(prop)
    held = first.embed.m_as("m")
    if prop.size is not None:
        begins = (prop.size[along].m_as("m") - length) / 2
        held = held - max(begins, 0.0)
    held = min(held, length)
    if held <= 0:
        return None
    support = reading.task.rig.supports[0]
    section, material = support.section, support.material
    joint = joint_stiffness(
        embed_length=held,
        insert_width=width,
        insert_rigidity_across=sheet.rigidity_across,
        wire_bending_stiffness=material.youngs_modulus[0] * section.second_moment_y[0],
        wire_torsional_stiffness=material.shear_modulus[0] * section.torsion_constant[0],
    )
    # Level across: up or down is out of the sheet, except on an upright support.
    across = 0 if along == 1 else 2 - along
    springs = np.full(3, YAW_STIFFNESS * float(joint.pitch))
    springs[along] = float(joint.roll)
    springs[across] = float(joint.pitch)
    return springs
