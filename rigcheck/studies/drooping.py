"""How far a soft prop droops over its insert and over the bare support, and whether the insert holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.model import Prop, Shot
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.lasting import length_words, mass_words
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import GRAVITY

if TYPE_CHECKING:
    from rigcheck.mechanics.plates import InsertDroop

__all__ = ["DROOP_LEAST", "DROOP_SHARE", "drooping", "joint_of"]

Array = NDArray[np.float64]

DROOP_SHARE = 0.01
"""Droop that passes where no sag limit is given, over the prop's length along the support: a choice."""
DROOP_LEAST = 1e-3
"""The same in metres, whichever is larger: a choice."""
DROOP_CAUTION = 2.0
"""Droop may reach this many times its limit before it fails: a choice."""
LEVEL = 0.05
"""Height over length of the support's end up to which the prop counts as level."""
STRAIGHT = 1e-3
"""Share of another direction up to which the support's end counts as along a direction of the frame."""
YAW_STIFFNESS = 1e6
"""Stiffness of the joint in the plane of the insert over that out of it: rigid, without being infinite."""
INSERT_SHARE = 0.8
"""Size of a first insert over the prop's plan, for advice."""
WIDEST_INSERT = 0.95
MOST_SHEETS = 3
_HUBS = np.linspace(0.02, 0.95, 94)

_RIGID_JOINT = "The insert counts as rigidly held by the support: its hold cannot be worked out here."

_DROOP = "droop of the prop"
_STRENGTH = "insert strength"
_SIDES = ("right", "up", "toward")


def drooping(
    shot: Shot, prop: Prop, reading: Reading, still: Outcome, motion: MotionOutcome | None
) -> Contribution:
    """Check the droop of a soft prop, the stress in its insert, and what would cure it.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        Not used: the prop droops from where its support holds it.
    motion : MotionOutcome or None
        Not used.

    Returns
    -------
    Contribution
        Findings ``droop`` for a prop with a flexural rigidity or a droop test, and ``insert-strength`` for
        one with an insert; nothing for a stiff prop without one.
    """
    del still, motion
    soft = prop.flexural_rigidity is not None or prop.droop_test is not None
    if not soft and prop.insert is None:
        return Contribution()
    plan = _plan(prop)
    names = ([("droop", _DROOP)] if soft else []) + (
        [("insert-strength", _STRENGTH)] if prop.insert is not None else []
    )
    if isinstance(plan, str):
        return Contribution(findings=tuple(_skipped(name, label, plan) for name, label in names))
    if plan.hub is not None:
        return _on_a_hub(shot, prop, plan, names)
    sheet = None if prop.insert is None else _given_sheet(shot, prop)
    if isinstance(sheet, str):
        return Contribution(findings=tuple(_skipped(name, label, sheet) for name, label in names))
    parts = []
    if soft:
        parts.append(_droop(shot, prop, plan, sheet))
    if sheet is not None:
        parts.append(_strength(prop, plan, sheet))
        if joint_of(shot, prop, reading) is None:
            parts.append(Contribution(assumptions=(_RIGID_JOINT,)))
    return Contribution(
        findings=tuple(finding for part in parts for finding in part.findings),
        figures=tuple(figure for part in parts for figure in part.figures),
        assumptions=tuple(said for part in parts for said in part.assumptions),
    )


def _skipped(name: str, label: str, reason: str) -> Finding:
    return Finding(id=name, label=label, status=Status.SKIPPED, says=reason)


# -- the plan of the prop -------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Plan:
    """A level prop as a plate.

    Attributes
    ----------
    length, width : float
        Along the support and across it [m].
    embed : float
        Support inside the prop [m].
    mass_per_area : float
        Of the prop without its insert [kg/m2].
    round : bool
        A disc, for which length and width are those of the square around it.
    hub : float or None
        Radius at which an upright support holds a disc in its middle [m].
    """

    length: float
    width: float
    embed: float
    mass_per_area: float
    round: bool
    hub: float | None = None


def _plan(prop: Prop) -> _Plan | str:
    """The plan, or why there is none."""
    if prop.size is None:
        return "No size is given."
    size = np.array([side.m_as("m") for side in prop.size])
    way = _tip_way(prop)
    mass = prop.mass.m_as("kg")
    lies = abs(prop.along[1]) > 1 - STRAIGHT
    disc = prop.shape in ("disc", "cylinder") and lies
    area = size[0] * size[2] * (np.pi / 4 if disc else 1.0)
    if abs(way[1]) > LEVEL:
        first = prop.support[0]
        across = first.thickness if first.section == "strip" else first.diameter
        if abs(way[1]) > 1 - STRAIGHT and disc and len(prop.support) == 1 and across is not None:
            return _Plan(
                length=float(size[0]),
                width=float(size[2]),
                embed=0.0,
                mass_per_area=mass / area,
                round=True,
                hub=across.m_as("m") / 2,
            )
        return "Its support does not come in level; droop is worked out for a level prop only."
    embed = prop.support[0].embed
    if embed is None:
        return "No embed is given: how far the support reaches into the prop."
    if prop.shape == "sphere" or (prop.shape in ("disc", "cylinder") and not lies):
        return f"Droop is worked out for a flat prop, not for a {prop.shape} that does not lie flat."
    along = int(np.abs(way[[0, 2]]).argmax()) * 2
    if abs(way[along]) < 1 - LEVEL:
        return "Its support runs at an angle to the prop's sides; droop is worked out along them only."
    return _Plan(
        length=float(size[along]),
        width=float(size[2 - along]),
        embed=embed.m_as("m"),
        mass_per_area=mass / area,
        round=disc,
    )


def _tip_way(prop: Prop) -> Array:
    """Unit vector of the first support where it enters the prop."""
    from rigcheck.model import SIDES

    first = prop.support[0]
    if first.path is None:
        return -np.array(SIDES[first.from_])
    end = np.array([[part.m_as("m") for part in point] for point in first.path[-2:]])
    return np.asarray((end[1] - end[0]) / np.linalg.norm(end[1] - end[0]))


# -- sheets ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sheet:
    """A sheet cut for an insert; along and across are of the support, not of the sheet.

    Attributes
    ----------
    words : str
        Thickness, name and grain.
    mass_per_area : float
        [kg/m2].
    rigidity_along, rigidity_across : float
        Per width, for bending along and across the support [N m].
    strength_along, strength_across : float
        Moment per width that it holds [N]; NaN where not known.
    creeps : float
        What to divide the stiffness by for loads held for days; 1 for what does not creep.
    name : str
        Of the sheet.
    """

    words: str
    mass_per_area: float
    rigidity_along: float
    rigidity_across: float
    strength_along: float
    strength_across: float
    creeps: float
    name: str


def _stock_sheet(name: str, thickness: float, grain: str) -> _Sheet:
    from rigcheck.stock import find_sheet

    sheet = find_sheet(name)
    cut = sheet.at(thickness)
    pairs: list[tuple[float, float]] = [
        (cut.flexural_rigidity_along.value, cut.flexural_rigidity_across.value),
        (cut.moment_strength_along.value, cut.moment_strength_across.value),
    ]
    alike = pairs[0][0] == pairs[0][1]
    if grain == "across":
        pairs = [(across, along) for along, across in pairs]
    return _Sheet(
        words=f"{thickness * 1e3:.3g} mm {sheet.name}"
        + ("" if alike else f", stiff direction {grain} the support"),
        mass_per_area=cut.mass_per_area.value,
        rigidity_along=pairs[0][0],
        rigidity_across=pairs[0][1],
        strength_along=pairs[1][0],
        strength_across=pairs[1][1],
        creeps=1.0 if sheet.creep_factor is None else sheet.creep_factor.value,
        name=sheet.name,
    )


def _given_sheet(shot: Shot, prop: Prop) -> _Sheet | str:
    insert = prop.insert
    assert insert is not None  # the caller has looked
    thickness = insert.thickness.m_as("m")
    own = shot.own_material(insert.material)
    if own is None:
        try:
            return _stock_sheet(insert.material, thickness, insert.grain)
        except ValidityError as error:
            return str(error)
    strength = own.yield_strength or own.tensile_strength
    rigidity = own.youngs_modulus.m_as("Pa") * thickness**3 / 12
    holds = np.nan if strength is None else strength.m_as("Pa") * thickness**2 / 6
    return _Sheet(
        words=f"{thickness * 1e3:.3g} mm {own.name}",
        mass_per_area=own.density.m_as("kg/m^3") * thickness,
        rigidity_along=rigidity,
        rigidity_across=rigidity,
        strength_along=holds,
        strength_across=holds,
        creeps=1.0,
        name=own.name,
    )


def _all_sheets() -> Iterator[_Sheet]:
    """Every sheet and thickness in stock, in both directions where they differ."""
    from rigcheck.stock import find_sheet, names

    for name in names("sheet"):
        for thickness in find_sheet(name).thicknesses:
            along = _stock_sheet(name, thickness, "along")
            yield along
            if along.rigidity_along != along.rigidity_across:
                yield _stock_sheet(name, thickness, "across")


# -- droop ----------------------------------------------------------------------------------------------


def _rigidity(prop: Prop, plan: _Plan) -> float | str:
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
    share = f"{DROOP_SHARE:.0%} of the prop's length"
    return (f"A droop of up to {share}, or {length_words(DROOP_LEAST)} if more, is a pass: a choice.",)


def _graded(value: float, limit: float) -> Status:
    if value <= limit:
        return Status.PASS
    return Status.CAUTION if value <= DROOP_CAUTION * limit else Status.FAIL


def _plate(plan: _Plan, rigidity: float) -> dict[str, float]:
    return {
        "prop_length": plan.length,
        "prop_width": plan.width,
        "embed_length": plan.embed,
        "prop_weight_per_area": plan.mass_per_area * GRAVITY,
        "prop_rigidity_along": rigidity,
    }


def _insert_size(prop: Prop) -> tuple[float, float]:
    assert prop.insert is not None  # the caller has looked
    return prop.insert.size[0].m_as("m"), prop.insert.size[1].m_as("m")


def _droop(shot: Shot, prop: Prop, plan: _Plan, sheet: _Sheet | None) -> Contribution:
    from rigcheck.mechanics.plates import droop_over_insert

    rigidity = _rigidity(prop, plan)
    if isinstance(rigidity, str):
        return Contribution(findings=(_skipped("droop", _DROOP, rigidity),))
    plate = _plate(plan, rigidity)
    size = (0.0, 0.0)
    if sheet is not None:
        size = _insert_size(prop)
        if size[0] > plan.length or size[1] > plan.width:
            says = "The insert is larger than the prop: look at both sizes again."
            return Contribution(findings=(_skipped("droop", _DROOP, says),))
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
    status = _graded(value, limit)
    where = max(over, key=lambda place: place[1])[0]
    says = {
        Status.PASS: f"The prop stays flat: it droops {length_words(value)}{with_insert}.",
        Status.CAUTION: f"The prop droops {length_words(value)} {where}{with_insert}; a close look shows it.",
        Status.FAIL: f"The prop hangs {length_words(value)} down {where}{with_insert}.",
    }[status]
    advice = () if status is Status.PASS else _better(prop, plan, plate, sheet, limit)
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
        findings=(
            Finding(
                id="droop",
                label=_DROOP,
                status=status,
                value=value * 1e3,
                limit=limit * 1e3,
                unit="mm",
                says=says,
                advice=advice,
            ),
        ),
        figures=tuple(figures),
        assumptions=tuple(assumptions),
    )


def _places(droop: InsertDroop, variant: int, plan: _Plan) -> list[tuple[str, float]]:
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


def _better(
    prop: Prop, plan: _Plan, plate: dict[str, float], sheet: _Sheet | None, limit: float
) -> tuple[str, ...]:
    """The lightest sheets that cure it at this size of insert, else at nearly the size of the prop."""
    from rigcheck.mechanics.plates import choose_sheets

    sheets = list(_all_sheets())
    now = 0.0
    first = (INSERT_SHARE * plan.length, INSERT_SHARE * plan.width)
    if sheet is not None:
        first = _insert_size(prop)
        now = sheet.mass_per_area * first[0] * first[1]
    for length, width in (first, (WIDEST_INSERT * plan.length, WIDEST_INSERT * plan.width)):
        choice = choose_sheets(
            limit=limit,
            insert_weight_per_area=[item.mass_per_area * GRAVITY for item in sheets],
            insert_rigidity_along=[item.rigidity_along for item in sheets],
            insert_rigidity_across=[item.rigidity_across for item in sheets],
            insert_length=length,
            insert_width=width,
            gravity=GRAVITY,
            **plate,
        )
        found: list[str] = []
        seen: set[str] = set()
        for place in choice.order:
            if not choice.cures[place] or len(found) == MOST_SHEETS:
                break
            if sheets[place].words.split(",")[0] in seen:
                continue  # the same sheet turned the other way
            seen.add(sheets[place].words.split(",")[0])
            mass = float(choice.insert_mass[place])
            size = f"{length * 1e3:.0f} by {width * 1e3:.0f} mm"
            found.append(
                f"{'Or take' if found else 'Take'} an insert of {sheets[place].words}, {size}:"
                f" droop {length_words(float(choice.droop[place]))}, {_mass_beside(mass, now)}."
            )
        if found:
            return tuple(found)
    return ("No sheet in stock cures it: carry the support further into the prop, or take a second one.",)


def _mass_beside(mass: float, now: float) -> str:
    if now == 0:
        return mass_words(mass)
    change = mass - now
    return f"{mass_words(abs(change))} {'heavier' if change > 0 else 'lighter'} than the present one"


def _on_a_hub(shot: Shot, prop: Prop, plan: _Plan, names: list[tuple[str, str]]) -> Contribution:
    """A disc lying flat on an upright support in its middle."""
    from rigcheck.mechanics.plates import SMALL_DROOP_RATIO, disc_droop

    if prop.insert is not None:
        says = "An insert is worked out for a support that comes in level only."
        return Contribution(findings=tuple(_skipped(name, label, says) for name, label in names))
    rigidity = _rigidity(prop, plan)
    if isinstance(rigidity, str):
        return Contribution(findings=(_skipped("droop", _DROOP, rigidity),))
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
    status = _graded(value, limit)
    advice: tuple[str, ...] = ()
    if status is not Status.PASS:
        enough = int(np.flatnonzero((droop <= limit) & (hubs > plan.hub))[0])
        wide, then = length_words(2 * float(hubs[enough])), length_words(float(droop[enough]))
        advice = (f"Put a stiff disc of {wide} diameter under its middle: droop {then}.",)
    assumptions = list(_limit_said(shot))
    if value > SMALL_DROOP_RATIO * radius:
        assumptions.append("The droop is large beside the overhang: an estimate.")
    return Contribution(
        findings=(
            Finding(
                id="droop",
                label=_DROOP,
                status=status,
                value=value * 1e3,
                limit=limit * 1e3,
                unit="mm",
                says=f"The rim of the disc droops {length_words(value)} over the support in its middle.",
                advice=advice,
            ),
        ),
        assumptions=tuple(assumptions),
    )


# -- the insert's strength and hold ---------------------------------------------------------------------


def _strength(prop: Prop, plan: _Plan, sheet: _Sheet) -> Contribution:
    from rigcheck.mechanics.plates import PEAK_MOMENT_FACTOR, insert_moments

    length, width = _insert_size(prop)
    required = REQUIRED_FACTOR["clear"]
    if np.isnan(sheet.strength_along):
        says = f"No strength is known for {sheet.name}."
        return Contribution(findings=(_skipped("insert-strength", _STRENGTH, says),))
    begins = (plan.length - length) / 2
    if plan.embed <= begins:
        return Contribution(
            findings=(
                Finding(
                    id="insert-strength",
                    label=_STRENGTH,
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
                label=_STRENGTH,
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
    way = _tip_way(prop)
    along = int(np.abs(way).argmax())
    if 1 - abs(way[along]) > STRAIGHT**2:
        return None
    sheet = _given_sheet(shot, prop)
    if isinstance(sheet, str):
        return None
    length, width = _insert_size(prop)
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
