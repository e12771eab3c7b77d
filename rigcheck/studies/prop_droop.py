"""How far a soft prop droops, over its insert and over the bare support."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from rigcheck.errors import ValidityError
from rigcheck.model import Prop, Shot
from rigcheck.studies.contributions import graded, skipped
from rigcheck.studies.insert_sheets import Sheet, insert_size, sheets_that_cure
from rigcheck.studies.prop_plan import Plan
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import GRAVITY
from rigcheck.studies.words import length_words, share_words

if TYPE_CHECKING:
    from rigcheck.mechanics.plates import InsertDroop

__all__ = ["DROOP_LABEL", "DROOP_LEAST", "DROOP_SHARE", "check_droop", "check_droop_on_hub"]

DROOP_LABEL = "droop of the prop"
DROOP_SHARE = 0.01
"""Droop that passes where no sag limit is given, over the prop's length along the support: a choice."""
DROOP_LEAST = 1e-3
"""The same in metres, whichever is larger: a choice."""
DROOP_CAUTION = 2.0
"""Droop may reach this many times its limit before it fails: a choice."""
# Radii of a stiff disc that are tried for advice, over that of the prop.
_HUBS = np.linspace(0.02, 0.95, 94)


def check_droop(shot: Shot, prop: Prop, plan: Plan, sheet: Sheet | None) -> Contribution:
    """Check the droop of a soft prop that its support enters from the side.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    plan : Plan
        Of the prop.
    sheet : Sheet or None
        Of its insert.

    Returns
    -------
    Contribution
        Finding ``droop``.
    """
    from rigcheck.mechanics.plates import droop_over_insert

    rigidity = _rigidity(prop, plan)
    if isinstance(rigidity, str):
        return Contribution(findings=(skipped("droop", DROOP_LABEL, rigidity),))
    plate = _plate(plan, rigidity)
    size = (0.0, 0.0)
    if sheet is not None:
        size = insert_size(prop)
        if size[0] > plan.length or size[1] > plan.width:
            says = "The insert is larger than the prop: look at both sizes again."
            return Contribution(findings=(skipped("droop", DROOP_LABEL, says),))
    # Without the insert, and with it: one call.
    both = np.array([0.0] if sheet is None else [0.0, 1.0])
    droop = droop_over_insert(
        **plate,
        insert_length=size[0] * both,
        insert_width=size[1] * both,
        insert_weight_per_area=0.0 if sheet is None else sheet.mass_per_area * GRAVITY * both,
        insert_rigidity_along=0.0 if sheet is None else sheet.rigidity_along * both,
        insert_rigidity_across=0.0 if sheet is None else sheet.rigidity_across * both,
    )
    bare, over = _places(droop, 0, plan), _places(droop, len(both) - 1, plan)
    with_insert = ""
    if sheet is not None:
        with_insert = f" over its insert, {length_words(_largest(bare))} without it"
    value, limit = _largest(over), _limit(shot, plan.length)
    status = graded(value, good=limit, most=DROOP_CAUTION * limit)
    where = max(over, key=lambda place: place[1])[0]
    says = {
        Status.PASS: f"The prop stays flat: it droops {length_words(value)}{with_insert}.",
        Status.CAUTION: f"The prop droops {length_words(value)} {where}{with_insert}; a close look shows it.",
        Status.FAIL: f"The prop hangs {length_words(value)} down {where}{with_insert}.",
    }[status]
    advice = () if status is Status.PASS else sheets_that_cure(prop, plan, plate, sheet, limit)
    assumptions = [
        "The support enters the prop in the middle of an edge, straight; the insert lies centred.",
        *_limit_said(shot),
    ]
    if plan.round:
        assumptions.append("For its droop the disc counts as the square around it: safe side.")
    if sheet is not None and sheet.creeps > 1:
        assumptions.append(
            f"{sheet.name} creeps: hung for days, divide what the insert adds by {sheet.creeps:g}."
        )
    if bool(droop.is_large[-1]):
        assumptions.append("The droop is large beside the overhang: an estimate.")
    figures = [Figure(label="stiffness of the prop itself", value=f"{rigidity:.3g} N*m a width")]
    if sheet is not None:
        figures.append(Figure(label="droop over the insert", value=length_words(value)))
    figures.append(Figure(label="droop over the bare support", value=length_words(_largest(bare))))
    return Contribution(
        findings=(_finding(status, value, limit, says, advice),),
        figures=tuple(figures),
        assumptions=tuple(assumptions),
    )


def check_droop_on_hub(shot: Shot, prop: Prop, plan: Plan) -> Contribution:
    """Check the droop of a soft disc without an insert, lying flat on an upright support in its middle.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    plan : Plan
        Of the prop, with a hub.

    Returns
    -------
    Contribution
        Finding ``droop``.
    """
    from rigcheck.mechanics.plates import SMALL_DROOP_RATIO, disc_droop

    rigidity = _rigidity(prop, plan)
    if isinstance(rigidity, str):
        return Contribution(findings=(skipped("droop", DROOP_LABEL, rigidity),))
    radius = max(plan.length, plan.width) / 2
    assert plan.hub is not None  # the caller has looked
    hubs = np.concatenate([[min(plan.hub, radius * _HUBS[-1])], radius * _HUBS])
    droop = disc_droop(
        weight_per_area=plan.mass_per_area * GRAVITY,
        outer_radius=radius,
        hub_radius=hubs,
        flexural_rigidity=rigidity,
    )
    value, limit = float(droop[0]), _limit(shot, 2 * radius)
    status = graded(value, good=limit, most=DROOP_CAUTION * limit)
    advice: tuple[str, ...] = ()
    if status is not Status.PASS:
        enough = int(np.flatnonzero((droop <= limit) & (hubs > plan.hub))[0])
        wide, then = length_words(2 * float(hubs[enough])), length_words(float(droop[enough]))
        advice = (f"Put a stiff disc of {wide} diameter under its middle: droop {then}.",)
    says = f"The rim of the disc droops {length_words(value)} over the support in its middle."
    assumptions = list(_limit_said(shot))
    if value > SMALL_DROOP_RATIO * radius:
        assumptions.append("The droop is large beside the overhang: an estimate.")
    return Contribution(
        findings=(_finding(status, value, limit, says, advice),),
        assumptions=tuple(assumptions),
    )


def _rigidity(prop: Prop, plan: Plan) -> float | str:
    """Flexural rigidity of the soft prop per width [N m], or why the droop test tells none."""
    if prop.flexural_rigidity is not None:
        return prop.flexural_rigidity.m_as("N*m")
    from rigcheck.mechanics.plates import LARGEST_DROOP_RATIO, rigidity_from_droop_test

    assert prop.droop_test is not None  # the caller has looked
    overhang, droop = prop.droop_test.overhang, prop.droop_test.droop
    try:
        return float(
            rigidity_from_droop_test(
                weight_per_area=plan.mass_per_area * GRAVITY,
                overhang=overhang.m_as("m"),
                droop=droop.m_as("m"),
            )
        )
    except ValidityError:
        return (
            f"The droop test tells no stiffness: {droop} over {overhang} is outside 0.0001 to"
            f" {LARGEST_DROOP_RATIO:g} of it. Test a shorter overhang if it is limp, a longer if stiff."
        )


def _limit(shot: Shot, length: float) -> float:
    if shot.limits.sag is not None:
        return shot.limits.sag.m_as("m")
    return max(DROOP_SHARE * length, DROOP_LEAST)


def _limit_said(shot: Shot) -> tuple[str, ...]:
    if shot.limits.sag is not None:
        return ()
    share = f"{share_words(DROOP_SHARE)} of the prop's length"
    return (f"A droop of up to {share}, or {length_words(DROOP_LEAST)} if more, is a pass: a choice.",)


def _plate(plan: Plan, rigidity: float) -> dict[str, float]:
    return {
        "prop_length": plan.length,
        "prop_width": plan.width,
        "embed_length": plan.embed,
        "prop_weight_per_area": plan.mass_per_area * GRAVITY,
        "prop_rigidity_along": rigidity,
    }


def _places(droop: InsertDroop, variant: int, plan: Plan) -> list[tuple[str, float]]:
    """Droop at the edges [m]; a disc has no corners."""
    places = [
        ("at its far edge", float(droop.along[variant])),
        ("at its sides", float(droop.across[variant])),
        ("at its far corners", float(droop.corner[variant])),
    ]
    return places[:2] if plan.round else places


def _largest(places: list[tuple[str, float]]) -> float:
    """Largest droop [m]; what is levered up does not droop."""
    return max(0.0, *(value for _, value in places))


def _finding(status: Status, value: float, limit: float, says: str, advice: tuple[str, ...]) -> Finding:
    return Finding(
        id="droop",
        label=DROOP_LABEL,
        status=status,
        value=value * 1e3,
        limit=limit * 1e3,
        unit="mm",
        says=says,
        advice=advice,
    )
