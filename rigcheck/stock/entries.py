"""What the stock says of one material, sheet, clamp, prop density or gauge, as plain facts for people."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rigcheck.stock.by_diameter import DiameterLaw
from rigcheck.stock.clamps import find_clamp
from rigcheck.stock.datum import Datum, datum_from, engineering_unit
from rigcheck.stock.gauges import gauge_diameter as diameter_of
from rigcheck.stock.gauges import gauge_numbers, gauge_source
from rigcheck.stock.materials import Material, find_material
from rigcheck.stock.rules import NamedDatum, find_prop_density
from rigcheck.stock.sheets import Sheet, find_sheet
from rigcheck.stock.sizes import StockSize, stock_sizes
from rigcheck.stock.tables import Record, record

__all__ = ["Entry", "Fact", "FactTable", "WantedSizes", "entry_of", "gauge_size_entry"]

_LABELS = {
    "density_kg_m3": "Density",
    "youngs_modulus_GPa": "Stiffness E",
    "shear_modulus_GPa": "Shear stiffness G",
    "poissons_ratio": "Poisson's ratio",
    "yield_strength_MPa": "Yield strength",
    "elastic_limit_MPa": "Elastic limit",
    "tensile_strength_MPa": "Tensile strength",
    "rupture_strength_MPa": "Strength in bending (rupture)",
    "torsional_strength_MPa": "Strength in twist",
    "fatigue_strength_MPa": "Fatigue strength",
    "fatigue_notch_factor": "Fatigue notch factor",
    "damping_ratio": "Damping ratio",
    "creep_factor": "Creep: divide E by",
    "compressive_strength_MPa": "Strength in compression",
    "transverse_modulus_GPa": "Stiffness across the fibre",
    "softening_temperature_C": "Softens at",
    "long_term_strength_MPa": "Strength under a load held long",
    "reduction_of_area": "Reduction of area",
    "youngs_modulus_along_GPa": "Stiffness E along",
    "youngs_modulus_across_GPa": "Stiffness E across",
    "bending_strength_along_MPa": "Strength in bending along",
    "bending_strength_across_MPa": "Strength in bending across",
    "mass_per_area_kg_m2": "Mass per area",
    "flexural_rigidity_along_N_m": "Bending stiffness D along",
    "flexural_rigidity_across_N_m": "Bending stiffness D across",
    "moment_strength_along_N": "Strength along, moment per width",
    "moment_strength_across_N": "Strength across, moment per width",
    "core_density_kg_m3": "Density of the core",
    "core_shear_modulus_MPa": "Shear stiffness of the core",
    "extra_length_diameters": "Acts as extra free length",
    "minimum_grip_diameters": "Grip needed",
    "play_mm": "Play in the hole",
    "diameter_mm": "Diameter",
}
# A size as sold may be typed rounded: 1.59 for 1/16 in.
_SIZE_MATCH = 0.02


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One value as people write it.

    Attributes
    ----------
    key : str
        Name with the unit as its last part.
    label, unit : str
        Plain words; unit as shown.
    value, low, high : float or None
        In that unit; `value` is None where only a range over all sizes can be given.
    condition : str
        What it holds for.
    source : tuple of str
        Keys of the sources.
    mark : str
        See `Datum`.
    """

    key: str
    label: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    condition: str
    source: tuple[str, ...]
    mark: str


@dataclass(frozen=True, kw_only=True)
class FactTable:
    """One value for several sizes.

    Attributes
    ----------
    key, label, unit : str
        As of `Fact`.
    row_key : str
        What the rows are: ``diameter_mm``, ``thickness_mm`` or ``number``.
    rows : tuple of (float or str, float, float or None)
        Size or number, value (lower limit), upper limit or None.
    condition, source, mark
        As of `Fact`.
    """

    key: str
    label: str
    unit: str
    row_key: str
    rows: tuple[tuple[float | str, float, float | None], ...]
    condition: str
    source: tuple[str, ...]
    mark: str


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One thing in stock.

    Attributes
    ----------
    kind : str
        ``material``, ``sheet``, ``clamp``, ``prop`` or ``gauge``.
    name, label : str
        Name to write in a rig file, plain words.
    aliases, forms : tuple of str
        Other names; forms sold.
    facts : tuple of Fact
        Its values.
    tables : tuple of FactTable
        Values by size.
    sizes, matching_sizes : tuple of str
        Sizes sold; those of them that were asked for.
    cautions : tuple of str
        Sentences to print.
    note, standard : str
        Remark; product standard.
    buy_ease : int or None
        3 any shop, 2 a specialist, 1 to order; None where it is not bought.
    """

    kind: str
    name: str
    label: str
    aliases: tuple[str, ...] = ()
    forms: tuple[str, ...] = ()
    facts: tuple[Fact, ...] = ()
    tables: tuple[FactTable, ...] = ()
    sizes: tuple[str, ...] = ()
    matching_sizes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    note: str = ""
    standard: str = ""
    buy_ease: int | None = None

    def fact(self, *keys: str) -> Fact | None:
        """Return the first fact that has one of the keys, in the order of the keys."""
        return next((fact for key in keys for fact in self.facts if fact.key == key), None)

    @property
    def stiffness(self) -> Fact | None:
        """The stiffness to show first."""
        return self.fact("youngs_modulus_GPa", "youngs_modulus_along_GPa", "flexural_rigidity_along_N_m")

    @property
    def strength(self) -> Fact | None:
        """The strength that a check compares with."""
        return self.fact(
            "elastic_limit_MPa",
            "yield_strength_MPa",
            "rupture_strength_MPa",
            "bending_strength_along_MPa",
            "moment_strength_along_N",
        )

    @property
    def weight(self) -> Fact | None:
        """The density, or the mass per area."""
        return self.fact("density_kg_m3", "mass_per_area_kg_m2")


@dataclass(frozen=True, kw_only=True)
class WantedSizes:
    """Sizes in a query: diameters or thicknesses [m], or outer diameter with wall or bore [m]."""

    across: tuple[float, ...] = ()
    tubes: tuple[tuple[float, float], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.across or self.tubes)

    def has(self, size: StockSize) -> bool:
        """Whether a stock size is one of those wanted."""
        for outer, second in self.tubes:
            if size.section == "strip" and size.width is not None and size.thickness is not None:
                if _close(size.width, outer) and _close(size.thickness, second):
                    return True
            elif size.diameter is not None and size.wall_thickness is not None:
                bore = size.diameter - 2.0 * size.wall_thickness
                if _close(size.diameter, outer) and (
                    _close(size.wall_thickness, second) or _close(bore, second)
                ):
                    return True
        across = size.diameter if size.diameter is not None else size.width
        return across is not None and any(_close(across, wanted) for wanted in self.across)


def _close(one: float, other: float) -> bool:
    return abs(one - other) <= _SIZE_MATCH * max(one, other)


def _fact(key: str, datum: Datum, *, condition: str | None = None) -> Fact:
    factor, unit = engineering_unit(key)
    return Fact(
        key=key,
        label=_LABELS[key],
        unit=unit,
        value=datum.value / factor,
        low=None if datum.low is None else datum.low / factor,
        high=None if datum.high is None else datum.high / factor,
        condition=datum.condition if condition is None else condition,
        source=datum.source,
        mark=datum.mark,
    )


def _facts(pairs: Iterable[tuple[str, Datum | None]]) -> tuple[Fact, ...]:
    return tuple(_fact(key, datum) for key, datum in pairs if datum is not None)


def _extras(entry: Record, keys: Sequence[str]) -> list[tuple[str, Datum | None]]:
    return [(key, datum_from(entry[key], key)) for key in keys if key in entry]


def _law_table(key: str, law: DiameterLaw) -> list[FactTable]:
    factor, unit = engineering_unit(key)
    tables = []
    for piece in law.pieces:
        highs: Sequence[float | None] = piece.highs or [None] * len(piece.values)
        tables.append(
            FactTable(
                key=key,
                label=_LABELS[key],
                unit=unit,
                row_key="diameter_mm",
                rows=tuple(
                    (diameter * 1e3, value / factor, None if high is None else high / factor)
                    for diameter, value, high in zip(piece.diameters, piece.values, highs, strict=True)
                ),
                condition=piece.condition,
                source=piece.source,
                mark=piece.mark,
            )
        )
    return tables


def _material_entry(name: str, wanted: WantedSizes) -> Entry:
    material = find_material(name)
    sizes = stock_sizes(material)
    matching = tuple(size for size in sizes if wanted.has(size))
    facts = list(_material_facts(_resolved(material, wanted, matching)))
    tables: list[FactTable] = []
    laws = material.laws
    if laws is not None:
        for key, law in (
            ("youngs_modulus_GPa", laws.youngs_modulus),
            ("shear_modulus_GPa", laws.shear_modulus),
            ("tensile_strength_MPa", laws.tensile_strength),
        ):
            if law is not None:
                tables += _law_table(key, law)
    note = material.note
    if material.fatigue_reason:
        note = f"{note} Fatigue: {material.fatigue_reason}.".strip()
    return Entry(
        kind="material",
        name=name,
        label=material.label,
        aliases=material.aliases,
        forms=material.forms,
        facts=tuple(facts),
        tables=tuple(tables),
        sizes=tuple(size.label for size in sizes),
        matching_sizes=tuple(size.label for size in matching),
        cautions=material.cautions,
        note=note,
        standard=material.standard,
        buy_ease=material.buy_ease,
    )


def _resolved(material: Material, wanted: WantedSizes, matching: tuple[StockSize, ...]) -> Material:
    """Return the material at the one size that was asked for, where its values depend on it."""
    if material.laws is None:
        return material
    smallest, largest = material.laws.range
    asked = [*wanted.across, *(size.diameter for size in matching if size.diameter is not None)]
    inside = [diameter for diameter in asked if smallest <= diameter <= largest]
    return material.at(inside[0]) if inside else material


def _material_facts(material: Material) -> Iterable[Fact]:
    entry = record(material.family, material.name)
    yield from _facts(
        [
            ("density_kg_m3", material.density),
            ("youngs_modulus_GPa", material.youngs_modulus),
            ("shear_modulus_GPa", material.shear_modulus),
            ("poissons_ratio", datum_from(entry["poissons_ratio"], "poissons_ratio")),
        ]
    )
    laws = material.laws
    if laws is not None and material.diameter is None:
        for key, share in (
            ("elastic_limit_MPa", laws.elastic_limit_share),
            ("tensile_strength_MPa", None),
            ("torsional_strength_MPa", laws.torsional_share),
            ("fatigue_strength_MPa", laws.fatigue_share),
        ):
            whole = laws.tensile_strength.summary()
            if key != "tensile_strength_MPa" and share is None:
                continue
            datum = whole if share is None else whole.times(share)
            fact = _fact(key, datum, condition=datum.condition)
            # Over all diameters there is no one value, only a range.
            yield _without_value(fact)
    else:
        proof = "elastic_limit_MPa" if laws is not None else "yield_strength_MPa"
        yield from _facts(
            [(proof, material.yield_strength), ("tensile_strength_MPa", material.tensile_strength)]
        )
        yield from _facts([("rupture_strength_MPa", material.rupture_strength)])
        yield from _facts([("torsional_strength_MPa", material.torsional_strength)])
    if material.fatigue_strength is not None:
        cycles = material.fatigue_cycles
        text = material.fatigue_strength.condition
        yield _fact(
            "fatigue_strength_MPa",
            material.fatigue_strength,
            condition=text if cycles is None else f"{text}; {cycles / 1e6:g} million cycles",
        )
    yield from _facts(
        [
            ("fatigue_notch_factor", material.fatigue_notch_factor),
            ("damping_ratio", material.damping_ratio),
            ("creep_factor", material.creep_factor),
            ("long_term_strength_MPa", material.long_term_strength),
            ("reduction_of_area", material.reduction_of_area),
            *_extras(
                entry, ("compressive_strength_MPa", "transverse_modulus_GPa", "softening_temperature_C")
            ),
        ]
    )


def _without_value(fact: Fact) -> Fact:
    return Fact(
        key=fact.key,
        label=fact.label,
        unit=fact.unit,
        value=None,
        low=fact.low,
        high=fact.high,
        condition=fact.condition,
        source=fact.source,
        mark=fact.mark,
    )


def _sheet_entry(name: str, wanted: WantedSizes) -> Entry:
    sheet = find_sheet(name)
    entry = record("sheet", name)
    facts = list(
        _facts(
            [
                ("density_kg_m3", sheet.density),
                ("youngs_modulus_along_GPa", sheet.youngs_modulus_along),
                ("youngs_modulus_across_GPa", sheet.youngs_modulus_across),
                ("bending_strength_along_MPa", sheet.bending_strength_along),
                ("bending_strength_across_MPa", sheet.bending_strength_across),
            ]
        )
    )
    facts += _facts(
        _extras(
            entry,
            (
                "mass_per_area_kg_m2",
                "flexural_rigidity_along_N_m",
                "flexural_rigidity_across_N_m",
                "moment_strength_along_N",
                "moment_strength_across_N",
                "core_density_kg_m3",
                "core_shear_modulus_MPa",
            ),
        )
    )
    facts += _facts([("creep_factor", sheet.creep_factor), *_extras(entry, ("softening_temperature_C",))])
    labels = tuple(f"{value * 1e3:.3g} mm" for value in sheet.thicknesses)
    matching = tuple(
        label
        for label, value in zip(labels, sheet.thicknesses, strict=True)
        if any(_close(value, asked) for asked in wanted.across)
    )
    return Entry(
        kind="sheet",
        name=name,
        label=sheet.label,
        aliases=sheet.aliases,
        forms=("sheet",),
        facts=tuple(facts),
        tables=_sheet_tables(sheet),
        sizes=labels,
        matching_sizes=matching,
        cautions=sheet.cautions,
        note=sheet.note,
        buy_ease=sheet.buy_ease,
    )


def _sheet_tables(sheet: Sheet) -> tuple[FactTable, ...]:
    cuts = [sheet.at(thickness) for thickness in sheet.thicknesses]
    tables = []
    for key, data in (
        ("mass_per_area_kg_m2", [cut.mass_per_area for cut in cuts]),
        ("flexural_rigidity_along_N_m", [cut.flexural_rigidity_along for cut in cuts]),
        ("flexural_rigidity_across_N_m", [cut.flexural_rigidity_across for cut in cuts]),
    ):
        tables.append(
            FactTable(
                key=key,
                label=_LABELS[key],
                unit=engineering_unit(key)[1],
                row_key="thickness_mm",
                rows=tuple(
                    (cut.thickness * 1e3, datum.value, None) for cut, datum in zip(cuts, data, strict=True)
                ),
                condition=data[0].condition,
                source=data[0].source,
                mark=data[0].mark,
            )
        )
    return tuple(tables)


def _clamp_entry(name: str, wanted: WantedSizes) -> Entry:
    del wanted  # a clamp has no size
    clamp = find_clamp(name)
    rows = clamp.extra_length_by_grip
    datum = clamp.extra_length_diameters
    tables: tuple[FactTable, ...] = ()
    if rows and datum is not None:
        grip_table = FactTable(
            key="extra_length_diameters",
            label=_LABELS["extra_length_diameters"],
            unit="",
            row_key="grip_diameters",
            rows=tuple((grip, extra, None) for grip, extra in rows),
            condition=datum.condition,
            source=datum.source,
            mark=datum.mark,
        )
        tables = (grip_table,)
    says = [] if clamp.twist_held else ["The wire can turn about its own axis."]
    return Entry(
        kind="clamp",
        name=name,
        label=clamp.label,
        aliases=clamp.aliases,
        facts=_facts(
            [
                ("extra_length_diameters", datum),
                ("minimum_grip_diameters", clamp.minimum_grip_diameters),
                ("play_mm", clamp.play),
            ]
        ),
        tables=tables,
        note=" ".join([*says, clamp.note]).strip(),
    )


def _prop_entry(name: str, wanted: WantedSizes) -> Entry:
    del wanted  # a density has no size
    found: NamedDatum = find_prop_density(name)
    return Entry(
        kind="prop",
        name=name,
        label=found.label,
        facts=_facts([("density_kg_m3", found.datum)]),
        note="A mass from a density is worth 20 % either way at best: weigh the prop on kitchen scales.",
    )


def _gauge_entry(name: str, wanted: WantedSizes) -> Entry:
    del wanted  # the whole gauge
    rows = [(number, diameter_of(f"{number} {name}") * 1e3, None) for number in gauge_numbers(name)]
    datum = gauge_source(name, rows[0][1] * 1e-3)
    table = FactTable(
        key="diameter_mm",
        label=_LABELS["diameter_mm"],
        unit="mm",
        row_key="number",
        rows=tuple(rows),
        condition=datum.condition,
        source=datum.source,
        mark=datum.mark,
    )
    return Entry(
        kind="gauge",
        name=name.upper(),
        label=record("gauges", name)["label"],
        tables=(table,),
        note=datum.condition,
    )


def gauge_size_entry(gauge: str, number: str, diameter: float) -> Entry:
    """One number of a gauge.

    Parameters
    ----------
    gauge, number : str
        As in the data.
    diameter : float
        [m].

    Returns
    -------
    Entry
    """
    return Entry(
        kind="gauge",
        name=f"{number} {gauge.upper()}",
        label=record("gauges", gauge)["label"],
        facts=_facts([("diameter_mm", gauge_source(gauge, diameter))]),
    )


def entry_of(kind: str, name: str, wanted: WantedSizes) -> Entry:
    """What the stock says of one thing.

    Parameters
    ----------
    kind : str
        ``material``, ``sheet``, ``clamp``, ``prop`` or ``gauge``.
    name : str
        As in the data.
    wanted : WantedSizes
        Values that depend on size are given at the first of these that is sold.

    Returns
    -------
    Entry

    Raises
    ------
    UnknownNameError
        There is none of that name.
    """
    return _ENTRIES[kind](name, wanted)


_ENTRIES = {
    "material": _material_entry,
    "sheet": _sheet_entry,
    "clamp": _clamp_entry,
    "prop": _prop_entry,
    "gauge": _gauge_entry,
}
