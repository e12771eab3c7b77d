"""Sheet for inserts: orthotropic bending stiffness, mass and strength by thickness."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.stock.datum import Datum, datum_from, engineering_unit, optional_datum
from rigcheck.stock.rules import caution_text, practice
from rigcheck.stock.tables import Record, locate, record, support_families, unknown_name

__all__ = ["CutSheet", "Sheet", "find_sheet"]

_FILES = ("sheet",)


@dataclass(frozen=True, kw_only=True)
class CutSheet:
    """A sheet of one thickness: what a plate calculation needs. "Along" is the stiff direction of the sheet.

    Attributes
    ----------
    name : str
        Name of the sheet.
    thickness : float
        [m].
    mass_per_area : Datum
        [kg/m^2].
    flexural_rigidity_along, flexural_rigidity_across : Datum
        D per unit width [N m].
    moment_strength_along, moment_strength_across : Datum
        Bending moment per unit width at which it yields or breaks [N m / m = N].
    shear_stiffness : Datum or None
        Transverse shear force per unit width and unit shear angle [N/m]; None where shear does not matter.
    """

    name: str
    thickness: float
    mass_per_area: Datum
    flexural_rigidity_along: Datum
    flexural_rigidity_across: Datum
    moment_strength_along: Datum
    moment_strength_across: Datum
    shear_stiffness: Datum | None


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A sheet material. Values SI.

    Attributes
    ----------
    name, label, family : str
        Name in files, plain words, always ``"sheet"``.
    aliases : tuple of str
        Other names.
    structure : str
        ``solid`` or ``sandwich`` (faces held apart by a core).
    thicknesses : tuple of float
        Thicknesses sold [m].
    valid_thickness : tuple of float
        Smallest and largest thickness [m] for which the data hold.
    density : Datum or None
        [kg/m^3]; None where the mass is known per area only.
    youngs_modulus_along, youngs_modulus_across : Datum or None
        [Pa] of a solid sheet, with scatter; None for a sandwich.
    bending_strength_along, bending_strength_across : Datum or None
        [Pa] of a solid sheet: yield or rupture; None for a sandwich.
    brittle, creeps : bool
        Breaks or buckles rather than bends for good; sags further under a held load.
    creep_factor : Datum or None
        Divide the stiffness by this for loads held for days.
    cautions : tuple of str
        Sentences to print.
    note : str
        Remark.
    buy_ease : int
        As of `Material`.
    """

    name: str
    label: str
    family: str = "sheet"
    aliases: tuple[str, ...]
    structure: str
    thicknesses: tuple[float, ...]
    valid_thickness: tuple[float, float]
    density: Datum | None
    youngs_modulus_along: Datum | None
    youngs_modulus_across: Datum | None
    bending_strength_along: Datum | None
    bending_strength_across: Datum | None
    brittle: bool
    creeps: bool
    creep_factor: Datum | None
    cautions: tuple[str, ...]
    note: str
    buy_ease: int

    def at(self, thickness: float) -> CutSheet:
        """Return the sheet at one thickness [m].

        Raises
        ------
        ArgumentError
            The thickness is not a positive, finite number.
        ValidityError
            The data do not hold at that thickness; the message says where they do.

        Notes
        -----
        Solid: ``D = E t^3 / 12`` (no Poisson term, as a strip), moment strength ``sigma t^2 / 6``. Mass from
        the density, or from the printed mass per area, linear between the printed thicknesses and in
        proportion to the thickness beyond them. Sandwich: faces of fixed thickness held apart by the core, so
        D grows with the square of the thickness, the moment strength with the thickness, and only the core
        adds mass.
        """
        if not 0.0 < thickness < math.inf:
            raise ArgumentError(
                f"A thickness of {thickness!r} m is not possible: give a positive, finite number."
            )
        smallest, largest = self.valid_thickness
        if not smallest * (1.0 - 1e-9) <= thickness <= largest * (1.0 + 1e-9):
            raise ValidityError(
                f"{self.name} is known from {smallest * 1e3:.3g} to {largest * 1e3:.3g} mm thickness; "
                f"{thickness * 1e3:.3g} mm was given. Choose a thickness in that range."
            )
        entry = record("sheet", self.name)
        if self.structure == "sandwich":
            return _cut_sandwich(self.name, thickness, entry)
        return _cut_solid(self, thickness, entry)


def _cut_solid(sheet: Sheet, thickness: float, entry: Record) -> CutSheet:
    def scaled(datum: Datum | None, factor: float, how: str) -> Datum:
        if datum is None:
            raise ArgumentError(f"The data of the sheet {sheet.name} are not complete.")
        return datum.times(Datum(value=factor, condition=how, source=("D",), mark="derived"))

    if sheet.density is not None:
        mass = scaled(sheet.density, thickness, "density x thickness")
    else:
        mass = _mass_from_table(entry["mass_per_area_g_m2"], thickness)
    second_moment = thickness**3 / 12.0
    modulus = thickness**2 / 6.0
    return CutSheet(
        name=sheet.name,
        thickness=thickness,
        mass_per_area=mass,
        flexural_rigidity_along=scaled(sheet.youngs_modulus_along, second_moment, "E t^3 / 12"),
        flexural_rigidity_across=scaled(sheet.youngs_modulus_across, second_moment, "E t^3 / 12"),
        moment_strength_along=scaled(sheet.bending_strength_along, modulus, "strength x t^2 / 6"),
        moment_strength_across=scaled(sheet.bending_strength_across, modulus, "strength x t^2 / 6"),
        shear_stiffness=None,
    )


def _mass_from_table(table: Mapping[str, Any], thickness: float) -> Datum:
    thicknesses = [value * 1e-3 for value in table["thickness_mm"]]
    factor, _ = engineering_unit("mass_per_area_g_m2")
    masses = [value * factor for value in table["value"]]
    if thickness <= thicknesses[0]:
        mass = masses[0] * thickness / thicknesses[0]
    elif thickness >= thicknesses[-1]:
        mass = masses[-1] * thickness / thicknesses[-1]
    else:
        i = next(n for n in range(len(thicknesses) - 1) if thickness <= thicknesses[n + 1])
        share = (thickness - thicknesses[i]) / (thicknesses[i + 1] - thicknesses[i])
        mass = masses[i] + share * (masses[i + 1] - masses[i])
    return Datum(
        value=mass,
        condition="from the printed mass per area",
        source=tuple(table["source"]),
        mark=table["mark"],
    )


def _cut_sandwich(name: str, thickness: float, entry: Record) -> CutSheet:
    reference = entry["reference_thickness_mm"] * 1e-3
    ratio = thickness / reference

    def scaled(key: str, factor: float, how: str) -> Datum:
        datum = datum_from(entry[key], key)
        if abs(factor - 1.0) < 1e-12:
            return datum
        return datum.times(Datum(value=factor, condition=how, source=("D",), mark="derived"))

    mass = datum_from(entry["mass_per_area_kg_m2"], "mass_per_area_kg_m2")
    core = optional_datum(entry, "core_density_kg_m3")
    if core is not None:
        extra = core.value * (thickness - reference)
        low, high = mass.bounds
        mass = Datum(
            value=mass.value + extra,
            low=low + extra,
            high=high + extra,
            condition=mass.condition,
            source=tuple(dict.fromkeys((*mass.source, *core.source))),
            mark=mass.mark,
        )
    core_shear = optional_datum(entry, "core_shear_modulus_MPa")
    return CutSheet(
        name=name,
        thickness=thickness,
        mass_per_area=mass,
        flexural_rigidity_along=scaled(
            "flexural_rigidity_along_N_m", ratio**2, "scaled with thickness squared"
        ),
        flexural_rigidity_across=scaled(
            "flexural_rigidity_across_N_m", ratio**2, "scaled with thickness squared"
        ),
        moment_strength_along=scaled("moment_strength_along_N", ratio, "scaled with thickness"),
        moment_strength_across=scaled("moment_strength_across_N", ratio, "scaled with thickness"),
        shear_stiffness=None
        if core_shear is None
        else core_shear.times(Datum(value=thickness, condition="G t", source=("D",), mark="derived")),
    )


def find_sheet(name: str) -> Sheet:
    """Return a sheet by its name or an alias, for example ``"greyboard"``.

    Raises
    ------
    UnknownNameError
        There is no such sheet; the message carries the nearest names.
    """
    found = locate(name, _FILES)
    if found is None:
        raise unknown_name("sheet", name, _FILES)
    return _build(found[1])


def sheet_record(name: str) -> Record:
    """Return the record of a sheet; one made of a support material takes that material's values."""
    entry = record("sheet", name)
    if "material" not in entry:
        return entry
    family, material = _located_material(entry["material"])
    base = record(family, material)
    strength = "rupture_strength_MPa" if base.get("brittle", False) else "yield_strength_MPa"
    taken = {key: base[key] for key in ("scatter", "cautions", "brittle", "creeps") if key in base}
    return {
        **taken,
        "density_kg_m3": base["density_kg_m3"],
        "youngs_modulus_along_GPa": base["youngs_modulus_GPa"],
        "bending_strength_along_MPa": base[strength],
        **entry,
    }


def _located_material(name: str) -> tuple[str, str]:
    found = locate(name, support_families())
    if found is None:
        raise unknown_name("material", name, support_families())
    return found


@cache
def _build(name: str) -> Sheet:
    entry = sheet_record(name)
    scatter = record("scatter", entry["scatter"])["youngs_modulus_scatter"]["value"]

    def pair(stem: str, unit: str) -> tuple[Datum | None, Datum | None]:
        along = optional_datum(entry, f"{stem}_along_{unit}")
        across = optional_datum(entry, f"{stem}_across_{unit}")
        return along, across or along

    modulus_along, modulus_across = pair("youngs_modulus", "GPa")
    strength_along, strength_across = pair("bending_strength", "MPa")
    if strength_along is None:
        strength_along = strength_across = optional_datum(entry, "yield_strength_MPa")
    creeps = entry.get("creeps", False)
    smallest, largest = entry["valid_thickness_mm"]
    return Sheet(
        name=name,
        label=entry["label"],
        aliases=tuple(entry.get("aliases", ())),
        structure=entry["structure"],
        thicknesses=tuple(value * 1e-3 for value in entry["thicknesses_mm"]),
        valid_thickness=(smallest * 1e-3, largest * 1e-3),
        density=optional_datum(entry, "density_kg_m3"),
        youngs_modulus_along=None if modulus_along is None else modulus_along.widened(scatter),
        youngs_modulus_across=None if modulus_across is None else modulus_across.widened(scatter),
        bending_strength_along=strength_along,
        bending_strength_across=strength_across,
        brittle=entry.get("brittle", False),
        creeps=creeps,
        creep_factor=practice("creep").datum if creeps else None,
        cautions=tuple(caution_text(key) for key in entry.get("cautions", ())),
        note=entry.get("note", ""),
        buy_ease=entry["buy_ease"],
    )
