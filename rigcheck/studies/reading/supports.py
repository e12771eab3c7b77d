"""The supports of a prop, from what the user wrote and what the stock knows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.mechanics.sections import strand_diameter
from rigcheck.model import SIDES, Prop, Shot, Sleeve, Support
from rigcheck.stock import find_clamp, find_material, own_material, practice, stock_sizes
from rigcheck.studies.reading.notes import Notes, array, metres, si
from rigcheck.studies.rigs import Material, SleeveRig, SupportRig
from rigcheck.studies.task import Choices
from rigcheck.studies.words import material_words, share_words, side_words

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial

__all__ = [
    "choices_for",
    "constants_of",
    "describe",
    "read_support",
    "set_share",
    "stock_material",
    "support_points",
]

Array = NDArray[np.float64]


def stock_material(shot: Shot, name: str) -> StockMaterial:
    """A material of the shot's own, or from stock.

    Parameters
    ----------
    shot : Shot
        With its own materials.
    name : str
        As typed.

    Returns
    -------
    rigcheck.stock.Material

    Raises
    ------
    UnknownNameError
        There is none of that name.
    """
    own = shot.own_material(name)
    if own is None:
        return find_material(name)
    return own_material(
        name=own.name,
        density=own.density.m_as("kg/m^3"),
        youngs_modulus=own.youngs_modulus.m_as("Pa"),
        shear_modulus=si(own.shear_modulus, "Pa"),
        yield_strength=si(own.yield_strength, "Pa"),
        tensile_strength=si(own.tensile_strength, "Pa"),
        damping_ratio=own.damping_ratio or None,
    )


def set_share(shot: Shot, support: Support) -> float:
    """Share of its strength from which a support keeps a bend: below 1 for soft wire only.

    Parameters
    ----------
    shot, support : Shot, Support
        What was given.

    Returns
    -------
    float
    """
    stock = stock_material(shot, support.material)
    if not stock.soft_temper or stock.yield_strength is None:
        return 1.0
    onset = stock.set_onset()
    return 1.0 if onset is None else onset.value / stock.yield_strength.value


def constants_of(material: StockMaterial, size: Array, damping_ratio: float | None = None) -> Material:
    """Constants of a material at given sizes; strength is NaN where the data say nothing.

    Parameters
    ----------
    material : rigcheck.stock.Material
        From stock or the user's own.
    size : array, shape (B,)
        Diameter, or thickness of a strip [m].
    damping_ratio : float, optional
        In place of the material's.

    Returns
    -------
    Material
        Arrays of shape (B,).
    """
    if material.laws is None:
        numbers = np.array([material.numbers_at(1.0)] * len(size))
    else:
        numbers = np.array([material.numbers_at(float(value)) for value in size])
    damping = material.damping_ratio.value if damping_ratio is None else damping_ratio
    return Material(
        youngs_modulus=numbers[:, 0],
        shear_modulus=numbers[:, 1],
        density=np.full(len(size), material.density.value),
        strength=numbers[:, 2],
        damping_ratio=np.full(len(size), damping),
    )


def read_support(shot: Shot, support: Support, notes: Notes) -> SupportRig:
    """One support as arrays, a batch of one.

    Parameters
    ----------
    shot, support : Shot, Support
        What was given.
    notes : Notes
        Gets what was assumed, what to mind and what the stock says.

    Returns
    -------
    SupportRig
    """
    stock = stock_material(shot, support.material)
    own = shot.own_material(support.material)
    size = support.thickness if support.section == "strip" else support.diameter
    across = np.array([si(size, "m")], dtype=float)
    zero = 0.0 if own is not None and own.damping_ratio == 0.0 else None
    constants = constants_of(stock, across, zero)
    _note_material(stock, float(across[0]), notes)
    if support.section == "strip":
        notes.assumptions.append("A strip lies flat: its width is level.")
    bond = _bond(support, notes) if support.section == "strand" else None
    if support.section == "threaded":
        notes.assumptions.append("A threaded rod bends on its stress diameter.")
    stiffness, in_place = _given_root(support)
    is_line = "line" in stock.forms
    if is_line:
        knot = practice("knot").datum
        constants = replace(constants, strength=constants.strength * knot.value)
        notes.assumptions.append(
            f"A line is tied: it only pulls, and its knots leave {share_words(knot.value)} of its strength"
            f" ({knot.mark})."
        )
    return SupportRig(
        form="line" if is_line else support.section,
        material=constants,
        diameter=array(support.diameter),
        wall_thickness=array(support.wall),
        width=array(support.width),
        thickness=array(support.thickness),
        wires=support.wires or 1,
        bond=bond,
        points=support_points(support)[None],
        clamp_diameters=np.array(
            # A tied line has no clamp to be soft.
            [
                0.0
                if is_line and support.clamp is None
                else _clamp(support, _held_size(support, float(across[0])), notes)
            ]
        ),
        root_stiffness=stiffness,
        root_in_place=in_place,
        sleeves=tuple(_sleeve(shot, sleeve, notes) for sleeve in support.sleeve),
        grip=array(support.grip),
        embed=array(support.embed),
        tension=None if support.tension is None else array(support.tension, "N"),
    )


def _bond(support: Support, notes: Notes) -> Array:
    """How far the wires of a strand hold each other, (1,)."""
    wires, diameter = support.wires, support.diameter
    assert wires is not None  # the model asks for both
    assert diameter is not None
    across = float(strand_diameter(diameter.m_as("m"), wires)) * 1e3
    notes.assumptions.append(f"{wires} wires of {diameter} each make a strand {across:.3g} mm across.")
    if support.bond is not None:
        return np.array([float(support.bond)])
    guess = practice("strand-bond").datum
    low, high = guess.bounds
    notes.assumptions.append(
        f"The wires of a strand hold each other at {guess.value:g} ({low:g} to {high:g}; {guess.mark}), between"
        " slipping at 0 and one piece at 1: it sags more like a slipping one and trembles more like one piece."
        " Give bond where it is known."
    )
    return np.array([guess.value])


def _held_size(support: Support, size: float) -> float:
    """What the clamp holds [m]: of a strand all its wires."""
    return float(strand_diameter(size, support.wires or 1)) if support.section == "strand" else size


def _note_material(stock: StockMaterial, size: float, notes: Notes) -> None:
    try:
        sized = stock.at(size)
    except ValidityError as error:
        sized = stock
        notes.assumptions.append(f"{error} Its strength is not checked, and its stiffness is a middle value.")
    modulus = sized.youngs_modulus
    notes.figures.append(
        (
            f"{stock.name}: Young's modulus",
            f"{modulus.value / 1e9:.4g} GPa",
            f"{modulus.mark}, {', '.join(modulus.source) or 'your own'}",
        )
    )
    try:
        strength = sized.working_strength()
    except ArgumentError:
        pass
    else:
        notes.figures.append(
            (
                f"{stock.name}: {sized.working_strength_kind}",
                f"{strength.value / 1e6:.4g} MPa",
                f"{strength.mark}, {', '.join(strength.source) or 'your own'}",
            )
        )
    damping = sized.damping_ratio
    low, high = damping.bounds
    spread = f" ({low:g} to {high:g})" if high > low else ""
    if damping.mark != "given":
        notes.assumptions.append(
            f"Damping ratio {damping.value:g}{spread} is a guess; a test take gives the real one."
        )
    notes.cautions += sized.cautions


def support_points(support: Support) -> Array:
    """Corners of a support from its root to its tip, from the first support's unloaded tip.

    Parameters
    ----------
    support : Support
        As given.

    Returns
    -------
    array, shape (n, 3)
        [m].
    """
    offset = np.array(metres(support.offset))
    if support.path is not None:
        return np.asarray(np.array([metres(point) for point in support.path]) + offset)
    length = support.length
    assert length is not None  # the model asks for a length or a path
    root = np.array(SIDES[support.from_]) * length.m_as("m")
    return np.asarray(np.stack([root, np.zeros(3)]) + offset)


def _clamp(support: Support, size: float, notes: Notes) -> float:
    if support.clamp is None:
        if support.root_stiffness is None:
            notes.assumptions.append(
                "No clamp is named, so the root counts as built in; a real jaw is softer"
                " (a collet acts like one more diameter of free length)."
            )
        return 0.0
    clamp = find_clamp(support.clamp)
    grip = None if support.grip is None else support.grip.m_as("m") / size
    extra = clamp.extra_length(grip_diameters=grip)
    if extra is None:
        return 0.0
    low, high = extra.bounds
    spread = f" ({low:g} to {high:g})" if high > low else ""
    notes.assumptions.append(
        f"The {clamp.name} acts like {extra.value:g}{spread} diameters of free length more ({extra.mark})."
    )
    if clamp.pivots or not clamp.twist_held:
        notes.assumptions.append(
            f"The {clamp.name} is taken to hold against turning; it may not: {clamp.note}"
        )
    return extra.value


def _given_root(support: Support) -> tuple[Array | None, bool]:
    given = support.root_stiffness
    if given is None:
        return None, False
    if given == "rigid":
        return np.full((1, 3), np.inf), True
    if isinstance(given, tuple):
        return np.array([[_stiffness(entry) for entry in given]]), True
    value = _stiffness(given)
    return np.array([[np.inf, value, value]]), False


def _stiffness(entry: Any) -> float:
    return float("inf") if entry == "rigid" else float(entry.m_as("N*m/rad"))


def _sleeve(shot: Shot, sleeve: Sleeve, notes: Notes) -> SleeveRig:
    stock = stock_material(shot, sleeve.material)
    outer = array(sleeve.diameter)
    _note_material(stock, float(outer[0]), notes)
    notes.assumptions.append("A sleeve is bonded over its whole length.")
    return SleeveRig(
        material=constants_of(stock, outer),
        outer_diameter=outer,
        wall_thickness=array(sleeve.wall),
        start=array(sleeve.start),
        end=array(sleeve.end),
    )


def describe(prop: Prop) -> str:
    """What a prop rides on, in a few words.

    Parameters
    ----------
    prop : Prop
        Whose supports.

    Returns
    -------
    str
    """
    first = prop.support[0]
    size = {
        "tube": f"{first.diameter} x {first.wall}",
        "strip": f"{first.width} x {first.thickness}",
        "strand": f"{first.wires} wires of {first.diameter}",
    }.get(first.section, str(first.diameter))
    length = float(np.linalg.norm(np.diff(support_points(first), axis=0), axis=1).sum())
    bent = first.path is not None and len(first.path) > 2
    where = "bent" if bent else "straight" if first.path is not None else side_words(first.from_)
    more = f", and {len(prop.support) - 1} more" if len(prop.support) > 1 else ""
    return (
        f"{size} {material_words(first.material, first.section)}, {length * 1e3:.4g} mm free, {where}{more}"
    )


def choices_for(shot: Shot, support: Support) -> Choices:
    """Sizes and materials that could replace a support.

    Parameters
    ----------
    shot : Shot
        With its own materials.
    support : Support
        The one to replace.

    Returns
    -------
    Choices
    """
    own = shot.own_material(support.material) is not None
    sizes = [] if own else [size for size in stock_sizes(support.material) if size.section == support.section]
    others = []
    if support.section in ("round", "tube"):
        for name in _STIFFER if support.section == "round" else _STIFFER_TUBES:
            stock = find_material(name)
            if name != support.material:
                others.append((name, lambda size, stock=stock: constants_of(stock, size)))
    same = stock_material(shot, support.material)
    return Choices(
        constants=lambda size: constants_of(same, size),
        sizes=np.array([size.diameter or np.nan for size in sizes]),
        tube_walls=np.array([size.wall_thickness or np.nan for size in sizes]),
        materials=tuple(others),
    )


_STIFFER = ("spring-steel-sm", "carbon-rod")
_STIFFER_TUBES = ("stainless-316l-annealed", "carbon-tube")
