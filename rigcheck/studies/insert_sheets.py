"""Sheets for an insert: the one that is given, those in stock, and which of them cure a droop."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rigcheck.errors import ValidityError
from rigcheck.model import Prop, Shot
from rigcheck.studies.prop_plan import Plan
from rigcheck.studies.rigs import GRAVITY
from rigcheck.studies.words import length_words, mass_words

__all__ = ["Sheet", "given_sheet", "insert_size", "sheets_that_cure"]

INSERT_SHARE = 0.8
"""Size of a first insert over the prop's plan, for advice."""
WIDEST_INSERT = 0.95
"""The same for a second one, where no sheet of that size cures it."""
MOST_SHEETS = 3


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Sheet:
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


def _stock_sheet(name: str, thickness: float, grain: str) -> Sheet:
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
    return Sheet(
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


def given_sheet(shot: Shot, prop: Prop) -> Sheet | str:
    """The sheet of a prop's insert.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave; the prop has an insert.

    Returns
    -------
    Sheet or str
        Or why nothing is known of it.
    """
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
    return Sheet(
        words=f"{thickness * 1e3:.3g} mm {own.name}",
        mass_per_area=own.density.m_as("kg/m^3") * thickness,
        rigidity_along=rigidity,
        rigidity_across=rigidity,
        strength_along=holds,
        strength_across=holds,
        creeps=1.0,
        name=own.name,
    )


def _all_sheets() -> Iterator[Sheet]:
    """Every sheet and thickness in stock, in both directions where they differ."""
    from rigcheck.stock import find_sheet, names

    for name in names("sheet"):
        for thickness in find_sheet(name).thicknesses:
            along = _stock_sheet(name, thickness, "along")
            yield along
            if along.rigidity_along != along.rigidity_across:
                yield _stock_sheet(name, thickness, "across")


def insert_size(prop: Prop) -> tuple[float, float]:
    """Size of a prop's insert.

    Parameters
    ----------
    prop : Prop
        One with an insert.

    Returns
    -------
    float, float
        Along the support and across it [m].
    """
    assert prop.insert is not None  # the caller has looked
    return prop.insert.size[0].m_as("m"), prop.insert.size[1].m_as("m")


def sheets_that_cure(
    prop: Prop, plan: Plan, plate: dict[str, float], sheet: Sheet | None, limit: float
) -> tuple[str, ...]:
    """The lightest sheets that cure a droop at this size of insert, else at nearly the size of the prop.

    Parameters
    ----------
    prop : Prop
        What the user gave.
    plan : Plan
        Of the prop.
    plate : dict of str to float
        The same with the prop's own rigidity, as arguments of `rigcheck.mechanics.plates.choose_sheets`.
    sheet : Sheet or None
        Of the present insert.
    limit : float
        Droop up to which it is cured [m].

    Returns
    -------
    tuple of str
        Advice, the lightest first.
    """
    from rigcheck.mechanics.plates import choose_sheets

    sheets = list(_all_sheets())
    now = 0.0
    first = (INSERT_SHARE * plan.length, INSERT_SHARE * plan.width)
    if sheet is not None:
        first = insert_size(prop)
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
