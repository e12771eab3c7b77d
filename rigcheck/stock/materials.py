"""Support materials: what a wire, rod, tube or strip is made of."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from rigcheck.errors import ArgumentError
from rigcheck.stock.by_diameter import DiameterLaw, PowerLaw, checked_diameter, law_from, power_law_from
from rigcheck.stock.datum import Datum, datum_from, given, optional_datum
from rigcheck.stock.rules import caution_text, damping, practice
from rigcheck.stock.tables import locate, record, support_families, unknown_name

__all__ = ["DiameterLaws", "Material", "find_material", "own_material", "valid_diameter"]

# Shear yield of a ductile metal over its tensile yield, von Mises.
_SHEAR_YIELD = Datum(
    value=1.0 / math.sqrt(3.0), condition="1/sqrt(3), von Mises", source=("D",), mark="derived"
)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class DiameterLaws:
    """What of a spring wire depends on its diameter, and the shares of its tensile strength.

    Attributes
    ----------
    youngs_modulus, shear_modulus : DiameterLaw or None
        [Pa]; None where one value serves every diameter.
    tensile_strength : DiameterLaw
        Minimum (and where known maximum) [Pa].
    elastic_limit_share, torsional_share, fatigue_share : Datum or None
        Shares of the tensile strength [-].
    scatter : float
        Share by which E and G scatter from piece to piece [-].
    """

    youngs_modulus: DiameterLaw | None
    shear_modulus: DiameterLaw | None
    tensile_strength: DiameterLaw
    elastic_limit_share: Datum
    torsional_share: Datum
    fatigue_share: Datum | None
    scatter: float

    @property
    def range(self) -> tuple[float, float]:
        """Diameters for which every law holds [m]."""
        laws = [law for law in (self.youngs_modulus, self.shear_modulus, self.tensile_strength) if law]
        return max(law.range[0] for law in laws), min(law.range[1] for law in laws)


@dataclass(frozen=True, kw_only=True)
class Material:
    """A support material. All values SI: density [kg/m^3], moduli and strengths [Pa].

    Of a spring wire the strength depends on the diameter. Until `at` has been called, `tensile_strength`,
    `yield_strength`, `torsional_strength` and a `fatigue_strength` that follows it are None, and the moduli
    are a middle value with the range over all diameters.

    Attributes
    ----------
    name, label, family : str
        Name in files, plain words, file of `materials/` without its ending.
    aliases, forms : tuple of str
        Other names; forms sold: ``round``, ``tube``, ``strip``, ``strand``, ``threaded``, ``line``.
    density, youngs_modulus, shear_modulus : Datum
        Moduli along the support; their range includes the scatter between pieces.
    yield_strength : Datum or None
        Rp0.2, or the elastic limit of spring wire; None for a brittle material.
    tensile_strength : Datum or None
        Rm along the support. The minimum where a standard gives limits.
    rupture_strength : Datum or None
        Strength in bending of what breaks without bending for good.
    torsional_strength : Datum or None
        Shear stress at which twist stays (metals) or the piece splits (fibre, wood).
    fatigue_strength : Datum or None
        Reversed bending, smooth specimen, amplitude. None with the reason in `fatigue_reason`.
    fatigue_cycles : float or None
        Cycles it is for; None where the source does not say.
    fatigue_notch_factor : Datum or None
        The material's own notch (a thread), else None: the jaw's is ``practice("jaw-notch")``.
    damping_ratio : Datum
        The firm-jaw default, or the material's own where that is higher.
    poissons_ratio : float
        For shear coefficients. Of fibre and wood E / (2 (1 + nu)) is not G.
    brittle, creeps, soft_temper : bool
        Breaks without warning; sags further under a held load; begins to set below Rp0.2.
    creep_factor : Datum or None
        Divide E by this for loads held for days.
    reduction_of_area, long_term_strength : Datum or None
        Of a tensile test [-]; strength under a load held for long [Pa].
    cautions : tuple of str
        Sentences to print.
    strength_laws : tuple of PowerLaw
        Other laws for the strength of the same wire, for comparison.
    standard, note : str
        Product standard; remark.
    buy_ease : int
        Common practice: 3 any craft, model or builders' shop, 2 a specialist, 1 to order.
    diameter : float or None
        The diameter [m] that `at` resolved it for.
    laws : DiameterLaws or None
        What depends on the diameter.
    """

    name: str
    label: str
    family: str
    aliases: tuple[str, ...] = ()
    forms: tuple[str, ...] = ("round",)
    density: Datum
    youngs_modulus: Datum
    shear_modulus: Datum
    yield_strength: Datum | None
    tensile_strength: Datum | None
    rupture_strength: Datum | None = None
    torsional_strength: Datum | None = None
    fatigue_strength: Datum | None = None
    fatigue_cycles: float | None = None
    fatigue_reason: str = ""
    fatigue_notch_factor: Datum | None = None
    damping_ratio: Datum
    poissons_ratio: float
    brittle: bool = False
    creeps: bool = False
    soft_temper: bool = False
    creep_factor: Datum | None = None
    reduction_of_area: Datum | None = None
    long_term_strength: Datum | None = None
    cautions: tuple[str, ...] = ()
    strength_laws: tuple[PowerLaw, ...] = ()
    standard: str = ""
    note: str = ""
    buy_ease: int = 1
    diameter: float | None = None
    laws: DiameterLaws | None = field(default=None, repr=False)

    def at(self, diameter: float) -> Material:
        """Return the same material with everything that depends on the diameter resolved.

        Parameters
        ----------
        diameter : float
            Outer diameter [m], > 0. For a flat strip or a strand: thickness, diameter of one wire.

        Raises
        ------
        ArgumentError
            The diameter is not a positive, finite number.
        ValidityError
            The strength of this wire is not known at that diameter; the message says where it is.
        """
        checked_diameter(diameter)
        if self.laws is None:
            return replace(self, diameter=diameter)
        laws = self.laws
        tensile = laws.tensile_strength.at(diameter, what=f"The strength of {self.name}")
        changes: dict[str, Any] = {
            "diameter": diameter,
            "tensile_strength": tensile,
            "yield_strength": tensile.times(laws.elastic_limit_share),
            "torsional_strength": tensile.times(laws.torsional_share),
        }
        if laws.fatigue_share is not None:
            changes["fatigue_strength"] = tensile.times(laws.fatigue_share)
        for name, law in (("youngs_modulus", laws.youngs_modulus), ("shear_modulus", laws.shear_modulus)):
            if law is not None:
                changes[name] = law.at(diameter, what=f"The stiffness of {self.name}").widened(laws.scatter)
        return replace(self, **changes)

    def numbers_at(self, diameter: float) -> tuple[float, float, float]:
        """Return Young's and shear modulus and the working strength [Pa] as in `at`, without what they rest on.

        Parameters
        ----------
        diameter : float
            Outer diameter [m], > 0.

        Returns
        -------
        tuple of float
            The strength is NaN where it is not known, there or at all; the moduli are then as without a diameter.
        """
        young, shear, laws = self.youngs_modulus.value, self.shear_modulus.value, self.laws
        if laws is None:
            try:
                return young, shear, self.working_strength().value
            except ArgumentError:
                return young, shear, math.nan
        share = 1.0 if self.brittle else laws.elastic_limit_share.value
        strength = laws.tensile_strength.value(diameter) * share
        sized = [
            value if law is None else law.value(diameter)
            for value, law in ((young, laws.youngs_modulus), (shear, laws.shear_modulus))
        ]
        known = not math.isnan(strength + sized[0] + sized[1])
        if known and self.brittle and self.rupture_strength is not None:
            strength = self.rupture_strength.value
        return (sized[0], sized[1], strength) if known else (young, shear, math.nan)

    @property
    def working_strength_kind(self) -> str:
        """What `working_strength` is: ``rupture`` (brittle), ``elastic limit`` (spring wire) or ``yield``."""
        if self.brittle:
            return "rupture"
        return "elastic limit" if self.laws is not None else "yield"

    def working_strength(self, diameter: float | None = None) -> Datum:
        """Return the bending stress [Pa] that a check compares with: rupture, elastic limit or yield.

        Parameters
        ----------
        diameter : float, optional
            [m]. Needed for spring wire that `at` has not resolved yet.

        Raises
        ------
        ArgumentError
            The strength depends on the diameter and none is given, or the material has no strength at all.
        ValidityError
            The strength is not known at that diameter.
        """
        material = self if diameter is None else self.at(diameter)
        if material.brittle:
            found = material.rupture_strength or material.tensile_strength
        else:
            found = material.yield_strength
        if found is not None:
            return found
        if material.laws is not None:
            raise ArgumentError(f"The strength of {self.name} depends on its diameter: give one.")
        raise ArgumentError(
            f"No {'rupture' if self.brittle else 'yield'} strength is known for {self.name}: "
            f"give {'tensile' if self.brittle else 'yield'}_strength."
        )

    def ultimate_strength(self, diameter: float | None = None) -> Datum | None:
        """Return the stress [Pa] that breaks it: bending rupture if brittle, else Rm; None where unknown."""
        material = self if diameter is None else self.at(diameter)
        if material.brittle and material.rupture_strength is not None:
            return material.rupture_strength
        return material.tensile_strength

    def set_onset(self, diameter: float | None = None) -> Datum | None:
        """Return the bending stress [Pa] from which some bend stays; None if it breaks before it sets.

        Notes
        -----
        Annealed metal has no sharp yield point and begins to set at about half of Rp0.2 (common practice).
        """
        if self.brittle:
            return None
        strength = self.working_strength(diameter)
        return strength.times(practice("soft-set-onset").datum) if self.soft_temper else strength


def valid_diameter(material: Material | str) -> tuple[float, float]:
    """Return the smallest and largest diameter [m] at which the material's data hold.

    (0, inf) where nothing depends on the diameter. `Material.at` raises outside this range.
    """
    found = find_material(material) if isinstance(material, str) else material
    return (0.0, math.inf) if found.laws is None else found.laws.range


def find_material(name: str) -> Material:
    """Return a support material by its name or an alias.

    Parameters
    ----------
    name : str
        For example ``"music-wire"``; case, spaces and underscores do not matter.

    Raises
    ------
    UnknownNameError
        There is no such material; the message carries the nearest names.

    Examples
    --------
    >>> find_material("Brass").name
    'brass-c260'
    """
    found = locate(name, support_families())
    if found is None:
        raise unknown_name("material", name, support_families())
    return _build(*found)


@cache
def _build(family: str, name: str) -> Material:
    entry = record(family, name)
    scatter = record("scatter", entry["scatter"])["youngs_modulus_scatter"]["value"]
    tensile_law = _law(entry, "tensile_strength_MPa")
    tensile = None if tensile_law else optional_datum(entry, "tensile_strength_MPa")
    rupture = optional_datum(entry, "rupture_strength_MPa")
    brittle = entry.get("brittle", False)
    yield_strength = optional_datum(entry, "yield_strength_MPa")
    if yield_strength is None and tensile is not None and "yield_share" in entry:
        yield_strength = tensile.times(datum_from(entry["yield_share"], "yield_share"))
    laws = None
    if tensile_law is not None:
        laws = DiameterLaws(
            youngs_modulus=_law(entry, "youngs_modulus_GPa"),
            shear_modulus=_law(entry, "shear_modulus_GPa"),
            tensile_strength=tensile_law,
            elastic_limit_share=datum_from(entry["elastic_limit_share"], "elastic_limit_share"),
            torsional_share=datum_from(entry["torsional_share"], "torsional_share"),
            fatigue_share=optional_datum(entry, "fatigue_share"),
            scatter=scatter,
        )
    fatigue = optional_datum(entry, "fatigue_strength_MPa")
    if fatigue is None and "fatigue_share" in entry:
        whole = rupture if entry["fatigue_share"].get("of") == "rupture" else tensile
        fatigue = None if whole is None else whole.times(datum_from(entry["fatigue_share"], "fatigue_share"))
    shear = optional_datum(entry, "shear_strength_MPa")
    if shear is None and yield_strength is not None:
        shear = yield_strength.times(_SHEAR_YIELD)
    creeps = entry.get("creeps", False)
    return Material(
        name=name,
        label=entry["label"],
        family=family,
        aliases=tuple(entry.get("aliases", ())),
        forms=tuple(entry["forms"]),
        density=datum_from(entry["density_kg_m3"], "density_kg_m3"),
        youngs_modulus=_modulus(entry, "youngs_modulus_GPa", scatter),
        shear_modulus=_modulus(entry, "shear_modulus_GPa", scatter),
        yield_strength=None if brittle else yield_strength,
        tensile_strength=tensile,
        rupture_strength=rupture,
        torsional_strength=shear,
        fatigue_strength=fatigue,
        fatigue_cycles=_cycles(entry),
        fatigue_reason=entry.get("fatigue_reason", ""),
        fatigue_notch_factor=optional_datum(entry, "fatigue_notch_factor"),
        damping_ratio=_damping(entry),
        poissons_ratio=entry["poissons_ratio"]["value"],
        brittle=brittle,
        creeps=creeps,
        soft_temper=entry.get("soft_temper", False),
        creep_factor=practice("creep").datum if creeps else None,
        reduction_of_area=optional_datum(entry, "reduction_of_area"),
        long_term_strength=optional_datum(entry, "long_term_strength_MPa"),
        cautions=tuple(caution_text(key) for key in entry.get("cautions", ())),
        strength_laws=tuple(power_law_from(law) for law in entry.get("strength_laws", ())),
        standard=entry.get("standard", ""),
        note=entry.get("note", ""),
        buy_ease=entry["buy_ease"],
        laws=laws,
    )


def _law(entry: Mapping[str, Any], key: str) -> DiameterLaw | None:
    value = entry.get(key)
    return law_from(value, key) if isinstance(value, list) else None


def _modulus(entry: Mapping[str, Any], key: str, scatter: float) -> Datum:
    law = _law(entry, key)
    return (law.summary() if law else datum_from(entry[key], key)).widened(scatter)


def _cycles(entry: Mapping[str, Any]) -> float | None:
    for key in ("fatigue_strength_MPa", "fatigue_share"):
        if key in entry:
            cycles: float | None = entry[key].get("cycles")
            return cycles
    return None


def _damping(entry: Mapping[str, Any]) -> Datum:
    default = damping().datum
    own = optional_datum(entry, "damping_ratio")
    return own if own is not None and own.value > default.value else default


def own_material(
    *,
    name: str,
    density: float | Datum,
    youngs_modulus: float | Datum,
    shear_modulus: float | Datum | None = None,
    yield_strength: float | Datum | None = None,
    tensile_strength: float | Datum | None = None,
    fatigue_strength: float | Datum | None = None,
    fatigue_cycles: float | None = None,
    damping_ratio: float | Datum | None = None,
) -> Material:
    """Return a material that the user's own file describes, all values SI.

    Parameters
    ----------
    name : str
        As the user calls it.
    density : float or Datum
        [kg/m^3], > 0.
    youngs_modulus, shear_modulus : float or Datum
        [Pa], > 0. Without a range they get the usual scatter of metals. Without a shear modulus
        ``G = E / (2 (1 + 0.3))`` is taken, which is right for metals only.
    yield_strength, tensile_strength, fatigue_strength : float or Datum, optional
        [Pa], > 0. With a tensile strength alone the material counts as brittle.
    fatigue_cycles : float, optional
        Cycles of `fatigue_strength`.
    damping_ratio : float or Datum, optional
        Share of critical, > 0. The firm-jaw default if not given.

    Raises
    ------
    ArgumentError
        A value is not a positive, finite number.
    """
    scatter = record("scatter", "metal")["youngs_modulus_scatter"]["value"]

    def ranged(value: float | Datum, key: str) -> Datum:
        datum = given(value, f"{name}: {key}")
        return datum if datum.low is not None and datum.high is not None else datum.widened(scatter)

    def strength(value: float | Datum | None, key: str) -> Datum | None:
        return None if value is None else given(value, f"{name}: {key}")

    stiffness = ranged(youngs_modulus, "youngs_modulus")
    poissons_ratio = 0.3
    if shear_modulus is None:
        factor = 1.0 / (2.0 * (1.0 + poissons_ratio))
        shear = stiffness.times(
            Datum(value=factor, condition="E / (2 (1 + 0.3)): none was given", source=("D",), mark="derived")
        )
    else:
        shear = ranged(shear_modulus, "shear_modulus")
        # For shear coefficients; fibre has E/G far above 3, where no Poisson's ratio follows from the two.
        ratio = stiffness.value / (2.0 * shear.value) - 1.0
        poissons_ratio = ratio if 0.0 <= ratio <= 0.5 else poissons_ratio
    proof = strength(yield_strength, "yield_strength")
    return Material(
        name=name,
        label=name,
        family="own",
        density=given(density, f"{name}: density"),
        youngs_modulus=stiffness,
        shear_modulus=shear,
        yield_strength=proof,
        tensile_strength=strength(tensile_strength, "tensile_strength"),
        torsional_strength=None if proof is None else proof.times(_SHEAR_YIELD),
        fatigue_strength=strength(fatigue_strength, "fatigue_strength"),
        fatigue_cycles=fatigue_cycles,
        fatigue_reason="" if fatigue_strength is not None else "no fatigue strength was given",
        damping_ratio=damping().datum
        if damping_ratio is None
        else given(damping_ratio, f"{name}: damping_ratio"),
        poissons_ratio=poissons_ratio,
        brittle=yield_strength is None and tensile_strength is not None,
    )
