"""A prop on its supports as plain SI arrays with a batch axis, and its way into the frame engine.

This is the one description that `check`, the cures in its advice, `choose` and the uncertainty all compute
with. Each array's first axis counts variants; a single rig is a batch of one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics import frame as frames
from rigcheck.mechanics import sections
from rigcheck.mechanics.elements import Order

__all__ = [
    "DOWN",
    "GRAVITY",
    "Batched",
    "Material",
    "Part",
    "Rig",
    "SleeveRig",
    "SupportRig",
    "build_frame",
    "divided_at_ends",
    "layout_of",
    "parts_of",
    "repeat",
    "stack",
    "take",
    "width_direction",
]

Array = NDArray[np.float64]
GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2]; ISO 80000-3."""
DOWN = np.array([0.0, -GRAVITY, 0.0])
"""The same along right, up, toward the camera."""
T = TypeVar("T")


class Batched:
    """Marks the descriptions whose arrays all lead with the batch axis; see `take`, `repeat` and `stack`."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Material(Batched):
    """Elastic constants and strength of a batch of one kind of stock, each of shape (B,).

    Attributes
    ----------
    youngs_modulus, shear_modulus : array
        [Pa].
    density : array
        [kg/m3].
    strength : array
        Stress that must not be reached: yield, elastic limit or rupture [Pa]; NaN where none is known.
    damping_ratio : array
        Share of critical damping of the support in its clamp.
    """

    youngs_modulus: Array
    shear_modulus: Array
    density: Array
    strength: Array
    damping_ratio: Array

    @property
    def poissons_ratio(self) -> Array:
        """E/(2G) - 1, which a fibre rod does not follow: 0.3 then, for the shear coefficient only."""
        ratio = self.youngs_modulus / (2 * self.shear_modulus) - 1
        return np.where((ratio > 0) & (ratio <= 0.5), ratio, 0.3)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SleeveRig(Batched):
    """A tube bonded over part of a support; `start` and `end` are measured along it from the jaw [m], (B,)."""

    material: Material
    outer_diameter: Array
    wall_thickness: Array
    start: Array
    end: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SupportRig(Batched):
    """One support of a batch.

    Attributes
    ----------
    form : str
        ``round``, ``tube``, ``strip``, ``strand``, ``threaded``, or ``line`` for a round one that is tied; ``mixed``
        where `forms` says which.
    material : Material
        What it is made of.
    diameter, wall_thickness, width, thickness : array, shape (B,)
        Sizes [m]; NaN where the form has none.
    wires : int
        Wires of a strand, else 1.
    bond : array, shape (B,), or None
        How far the wires of a strand hold each other, 0 slipping to 1 as one piece; None slips.
    forms : array of str, shape (B,), or None
        Of each variant, of those that stand by themselves, where a batch has several: they are one batch because all
        that tells them apart is their section.
    points : array, shape (B, n + 1, 3)
        Root to tip [m], from the first support's tip.
    clamp_diameters : array, shape (B,)
        Softness of the clamp as extra free length in diameters; 0 is rigid. Not used where `root_stiffness`
        is.
    root_stiffness : array, shape (B, 3) or None
        Given rotational stiffness [N m/rad]; infinite is rigid.
    root_in_place : bool
        Whether `root_stiffness` is about right, up, toward; else about the support itself (twist first).
    sleeves : tuple of SleeveRig
        Bonded tubes.
    grip, embed : array, shape (B,)
        Length in the clamp and in the prop [m]; NaN where not given.
    tension : array, shape (B,), or None
        Pulled into a taut line before the prop is hung [N].
    joint_stiffness : array, shape (B, 3), or None
        Rotational stiffness between tip and prop about right, up, toward [N m/rad]; None is rigid.
    """

    form: str
    material: Material
    diameter: Array
    wall_thickness: Array
    width: Array
    thickness: Array
    wires: int = 1
    bond: Array | None = None
    forms: NDArray[np.str_] | None = None
    points: Array
    clamp_diameters: Array
    root_stiffness: Array | None = None
    root_in_place: bool = False
    sleeves: tuple[SleeveRig, ...] = ()
    grip: Array
    embed: Array
    tension: Array | None = None
    joint_stiffness: Array | None = None

    @property
    def free_length(self) -> Array:
        """Length along the support from root to tip [m], shape (B,)."""
        return np.asarray(np.linalg.norm(np.diff(self.points, axis=1), axis=2).sum(axis=1))

    @property
    def outer_size(self) -> Array:
        """Diameter, of one wire in a strand, or thickness of a strip: what its material goes by [m], shape (B,)."""
        if self.forms is not None:
            return np.where(self.forms == "strip", self.thickness, self.diameter)
        return self.thickness if self.form == "strip" else self.diameter

    @property
    def has_width(self) -> bool:
        """Whether it is a strip, or some of it are, so that it matters which way it lies."""
        return self.form == "strip" or (self.forms is not None and "strip" in self.forms)

    @property
    def across(self) -> Array:
        """What a clamp holds: diameter, of all wires of a strand together, or thickness of a strip [m], (B,)."""
        if self.form == "strand":
            return sections.strand_diameter(self.diameter, self.wires)
        return self.outer_size

    def is_made_as(self, other: SupportRig) -> bool:
        """Whether it has its material and sizes from the very arrays of another."""
        same = all(getattr(self, name) is getattr(other, name) for name in _MADE_OF)
        return same and (self.form, self.wires) == (other.form, other.wires)

    @property
    def section(self) -> sections.Section:
        """Its bare cross-section, shape (B,)."""
        if self.forms is None:
            return self._section(self.form, slice(None))
        columns: dict[str, Any] = {}
        for form in sorted(set(self.forms.tolist())):
            own = self.forms == form
            section = self._section(str(form), own)
            for item in fields(section):
                value = np.broadcast_to(getattr(section, item.name), np.sum(own))
                columns.setdefault(item.name, np.empty(len(own), dtype=value.dtype))[own] = value
        return sections.Section(**columns)

    def _section(self, form: str, rows: Any) -> sections.Section:
        nu, diameter = self.material.poissons_ratio[rows], self.diameter[rows]
        match form:
            case "tube":
                return sections.tube(diameter, self.wall_thickness[rows], nu)
            case "strip":
                return sections.strip(self.width[rows], self.thickness[rows], nu)
            case "strand":
                bond = 0.0 if self.bond is None else self.bond[rows]
                return sections.strand(diameter, self.wires, bond, poissons_ratio=nu)
            case "threaded":
                return sections.threaded(diameter, nu)
            case _:
                return sections.solid_round(diameter, nu)


_MADE_OF = ("forms", "material", "diameter", "wall_thickness", "width", "thickness", "bond")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Rig(Batched):
    """A batch of props on their supports.

    Attributes
    ----------
    mass : array, shape (B,)
        Of all beyond the tips [kg].
    centre_of_mass : array, shape (B, 3)
        From the first support's tip [m].
    inertia : array, shape (B, 3, 3)
        About the centre of mass [kg m2].
    supports : tuple of SupportRig
        One or several.
    axis_stiffness : array, shape (B,), or None
        Of the head against turning, about all axes alike, through the first root [N m/rad]; None is rigid.
    push : array, shape (B, 6), or None
        Steady force on the prop and couple about its centre of mass, beside the weight [N], [N m].
    carriers : int
        How many supports share the weight, for the mesh of thin ones; 0 for all that are here.
    """

    mass: Array
    centre_of_mass: Array
    inertia: Array
    supports: tuple[SupportRig, ...]
    axis_stiffness: Array | None = None
    push: Array | None = None
    carriers: int = 0

    @property
    def batch(self) -> int:
        """How many variants."""
        return len(self.mass)

    @property
    def damping_ratio(self) -> Array:
        """Of every mode: the least damped support decides, shape (B,)."""
        return np.asarray(np.min([support.material.damping_ratio for support in self.supports], axis=0))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Part:
    """One layer of one segment: its section, stiffness share and strength, for stress recovery.

    Attributes
    ----------
    support, segment : int
        Where it is; `segment` counts from the root.
    label : str
        ``wire`` for the support itself, ``sleeve`` for a tube over it.
    section : sections.Section
        Cross-section, shape (B,).
    share : dict of str to array
        What part of the segment's axial force, moments, torque and shear it carries, shape (B,).
    strength : array, shape (B,)
        [Pa].
    is_line : bool
        Tied, so that it only pulls.
    """

    support: int
    segment: int
    label: str
    section: sections.Section
    share: dict[str, Array]
    strength: Array
    is_line: bool = False


END_BENDS = 8.0
"""Lengths sqrt(EI / N) at each end of a line in which it bends; a choice, exp(-8) of a bend is left beyond."""
LINE_SHARE = 0.2
"""A line whose ends bend in less than this share of its length gets segments of its own there: a choice."""
_LEAST_FIRST, _LEAST_LATER = 1e-5, 1e-3
"""Shares of the length that the first segment of a sleeved support keeps, and every later one.

A segment of share s, free at both ends, costs the frequencies rounding of about 1e-16 / s**3, and large displacement
its convergence. The first one is held at the jaw and costs nothing; there a sleeve's length matters most.
"""

_STIFFNESS = ("axial", "torsional", "bending_y", "bending_z", "shear_y", "shear_z")


def take(batch: T, index: Any) -> T:
    """Pick variants out of a batch.

    Parameters
    ----------
    batch : Batched, or a tuple of them
        Any of the descriptions here.
    index : int array, bool array or slice
        Which variants.

    Returns
    -------
    The same kind, with those variants.
    """
    return cast(T, _joined([batch], lambda arrays: arrays[0][index]))


def repeat(batch: T, count: int) -> T:
    """The single variant of a batch of one, `count` times."""
    return cast(T, _joined([batch], lambda arrays: np.repeat(arrays[0], count, axis=0)))


def stack(batches: list[T]) -> T:
    """Join batches of one layout into one; what is not an array is taken from the first."""
    return cast(T, _joined(batches, lambda arrays: np.concatenate(arrays, axis=0)))


def layout_of(batch: object) -> Hashable:
    """What batches must have in common to be joined by `stack`.

    Parameters
    ----------
    batch : Batched, or a tuple of them
        Any of the descriptions here.

    Returns
    -------
    hashable
        Shapes of the arrays beyond the batch axis, and whatever is no array; a profile or a path of keys is the same
        only as itself.
    """
    if isinstance(batch, np.ndarray):
        shape: tuple[int, ...] = batch.shape[1:]
        return shape
    if isinstance(batch, Batched):
        names = [item.name for item in fields(cast(Any, batch))]
        return (type(batch), *(layout_of(getattr(batch, name)) for name in names))
    if isinstance(batch, tuple):
        return tuple(layout_of(item) for item in batch)
    return batch if batch is None or isinstance(batch, (str, int, float)) else id(batch)


def _joined(values: list[Any], join: Callable[[list[Array]], Array]) -> Any:
    first = values[0]
    if isinstance(first, np.ndarray):
        return join(values)
    if isinstance(first, Batched):
        names = [item.name for item in fields(cast(Any, first))]
        changed = {name: _joined([getattr(value, name) for value in values], join) for name in names}
        return replace(cast(Any, first), **changed)
    if isinstance(first, tuple):
        return tuple(_joined(list(group), join) for group in zip(*values, strict=True))
    return first


def divided_at_ends(rig: Rig) -> NDArray[np.bool_]:
    """Where the frame gives a support short segments at its ends, because it bends only there, shape (B,).

    Variants can be one batch without touching each other's layout only where this is the same; see `build_frame`.
    """
    divided = np.zeros(rig.batch, dtype=bool)
    for support in rig.supports:
        pull = GRAVITY * rig.mass / len(rig.supports)
        if support.tension is not None:
            pull = np.maximum(pull, support.tension)
        section, material = support.section, support.material
        reach = END_BENDS * np.sqrt(material.youngs_modulus * section.second_moment_y / pull)
        divided |= reach < LINE_SHARE * support.free_length
    return divided


def build_frame(rig: Rig, *, order: Order | None = None) -> tuple[frames.Frame, list[Part]]:
    """Make the frame of a batch of rigs.

    Parameters
    ----------
    rig : Rig
        The batch.
    order : Order, optional
        Internal functions of each element.

    Returns
    -------
    Frame, list of Part
        The frame, and its parts for the recovery of stress.
    """
    supports, parts = [], []
    known: list[tuple[SupportRig, _Layer]] = []
    for index, support in enumerate(rig.supports):
        # Supports side by side share their arrays, and their section is worked out once.
        bare = next((layer for other, layer in known if support.is_made_as(other)), None)
        bare = bare or _layer("wire", support.section, support.material)
        known.append((support, bare))
        points, layers = _layout(support, bare, GRAVITY * rig.mass / (rig.carriers or len(rig.supports)))
        supports.append(_frame_support(rig, support, points, layers))
        parts += parts_of(index, layers, is_line=support.form == "line")
    prop = frames.Prop(mass=rig.mass, centre_of_mass=rig.centre_of_mass, inertia=rig.inertia)
    base = None
    if rig.axis_stiffness is not None and len(supports) > 1:
        base = frames.Base(
            point=supports[0].root, stiffness=np.repeat(rig.axis_stiffness[:, None], 3, axis=1)
        )
    return frames.Frame(supports, prop, order, base), parts


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Layer:
    label: str
    section: sections.Section
    material: Material
    stiffness: dict[str, Array]
    mass: tuple[Array, Array, Array, Array]  # per length: mass, rotary y, rotary z, polar


def _layer(label: str, section: sections.Section, material: Material) -> _Layer:
    E, G, rho = material.youngs_modulus, material.shear_modulus, material.density
    return _Layer(
        label=label,
        section=section,
        material=material,
        stiffness={
            "axial": E * section.area,
            "torsional": G * section.torsion_constant,
            "bending_y": E * section.second_moment_y,
            "bending_z": E * section.second_moment_z,
            "shear_y": section.shear_coefficient_y * G * section.area,
            "shear_z": section.shear_coefficient_z * G * section.area,
        },
        mass=(
            rho * section.area,
            rho * section.second_moment_y,
            rho * section.second_moment_z,
            rho * section.polar_moment,
        ),
    )


def _layout(support: SupportRig, bare: _Layer, load: Array) -> tuple[Array, list[list[_Layer]]]:
    """Points of the stepped polyline, and the layers of each segment.

    A line under tension N bends only within a few sqrt(EI/N) of its ends; it gets short segments there, so that the
    polynomials of the long one between need not follow such a sharp bend.
    """
    points = support.points
    edges = [edge for sleeve in support.sleeves for edge in (sleeve.start, sleeve.end)]
    length = support.free_length
    pull = load if support.tension is None else np.maximum(load, support.tension)
    bend = END_BENDS * np.sqrt(bare.stiffness["bending_y"] / pull)
    if np.any(bend < LINE_SHARE * length) and not edges:
        bend = np.minimum(bend, LINE_SHARE * length)
        edges = [bend, length - bend]
    if not edges:
        return points, [[bare]] * (points.shape[1] - 1)
    steps = np.linalg.norm(np.diff(points, axis=1), axis=2)
    corners = np.concatenate([np.zeros((len(points), 1)), np.cumsum(steps, axis=1)], axis=1)
    marks = np.stack(edges, axis=1)
    total = corners[:, -1:]
    stations = np.sort(np.concatenate([corners, np.clip(marks, 0, total)], axis=1), axis=1)
    # Places that coincide in every variant are one place; a layout is the same for the whole batch.
    apart = np.any(np.diff(stations, axis=1) > 1e-9 * total, axis=0)
    # A sleeve that ends almost at the tip ends there: nothing bends between.
    inside = np.any(stations < (1 - _LEAST_LATER) * total, axis=0)
    inside[0] = True
    keep = np.concatenate([[True], apart]) & inside
    stations = _spaced(np.concatenate([stations[:, keep], total], axis=1), total)
    stepped = np.stack(
        [_along(points, corners, stations[:, place]) for place in range(stations.shape[1])], axis=1
    )
    tubes = [
        _layer(
            "sleeve",
            sections.tube(sleeve.outer_diameter, sleeve.wall_thickness, sleeve.material.poissons_ratio),
            sleeve.material,
        )
        for sleeve in support.sleeves
    ]
    layers = []
    for segment in range(stations.shape[1] - 1):
        middle = (stations[:, segment] + stations[:, segment + 1]) / 2
        over = [
            tube
            for sleeve, tube in zip(support.sleeves, tubes, strict=True)
            if _covers(sleeve, middle, total[:, 0])
        ]
        layers.append([bare, *over])
    return stepped, layers


def _spaced(stations: Array, total: Array) -> Array:
    """Stations in order, shape (B, n), from 0 to `total`, moved apart where two are in one place, or nearly.

    A variant cut short at the end of a sleeve, or before it, would otherwise have a segment of no length.
    """
    spaced = stations.copy()
    spaced[:, -1:] = total
    last = spaced.shape[1] - 1
    for place in range(1, last):
        least = (_LEAST_FIRST if place == 1 else _LEAST_LATER) * total[:, 0]
        spaced[:, place] = np.maximum(spaced[:, place], spaced[:, place - 1] + least)
    for place in range(last - 1, 0, -1):
        spaced[:, place] = np.minimum(spaced[:, place], spaced[:, place + 1] - _LEAST_LATER * total[:, 0])
    return spaced


def _covers(sleeve: SleeveRig, middle: Array, total: Array) -> bool:
    """Whether the sleeve lies over the middle of a segment, in every variant that is long enough for it."""
    reached = sleeve.start < total
    over = (sleeve.start < middle) & (middle < sleeve.end)
    return bool(reached.any() and over[reached].all())


def _along(points: Array, corners: Array, station: Array) -> Array:
    """Places at the arc lengths `station`, shape (B, 3)."""
    segment = np.clip((station[:, None] >= corners[:, :-1]).sum(axis=1) - 1, 0, points.shape[1] - 2)
    rows = np.arange(len(points))
    start, stop = corners[rows, segment], corners[rows, segment + 1]
    share = ((station - start) / (stop - start))[:, None]
    return np.asarray(points[rows, segment] * (1 - share) + points[rows, segment + 1] * share)


def _frame_support(
    rig: Rig, support: SupportRig, points: Array, layers: list[list[_Layer]]
) -> frames.Support:
    sums = {
        name: np.stack([sum_of([layer.stiffness[name] for layer in group]) for group in layers], axis=1)
        for name in _STIFFNESS
    }
    masses = [
        np.stack([sum_of([layer.mass[kind] for layer in group]) for group in layers], axis=1)
        for kind in range(4)
    ]
    width = width_direction(points) if support.has_width else None
    first = points[:, 1] - points[:, 0]
    axes = frames.local_axes(
        first / np.linalg.norm(first, axis=1)[:, None], None if width is None else width[:, 0]
    )
    stiffness, root_axes = _root(support, sums, layers[0], axes)
    if rig.axis_stiffness is not None and len(rig.supports) == 1:
        # In series; 1/infinity is the nothing that a rigid root gives.
        stiffness = 1 / (1 / stiffness + 1 / rig.axis_stiffness[:, None])
    return frames.Support(
        points=points,
        axial_stiffness=sums["axial"],
        torsional_stiffness=sums["torsional"],
        bending_stiffness_y=sums["bending_y"],
        bending_stiffness_z=sums["bending_z"],
        shear_stiffness_y=sums["shear_y"],
        shear_stiffness_z=sums["shear_z"],
        mass_per_length=masses[0],
        rotary_inertia_y=masses[1],
        rotary_inertia_z=masses[2],
        polar_inertia=masses[3],
        width_direction=width,
        root_axes=root_axes,
        root_stiffness=stiffness,
        joint_stiffness=support.joint_stiffness,
        tension=support.tension,
    )


def sum_of(arrays: list[Array]) -> Array:
    """Sum of a few arrays of one shape."""
    return np.asarray(np.sum(arrays, axis=0))


def width_direction(points: Array) -> Array:
    """Which way the width of a flat strip points: level, or to the right where it stands or hangs.

    Parameters
    ----------
    points : array, shape (B, n, 3)
        Along it, root to tip [m].

    Returns
    -------
    array, shape (B, n - 1, 3)
        For each straight piece, not of unit length.
    """
    along = np.diff(points, axis=1)
    along = along / np.linalg.norm(along, axis=2, keepdims=True)
    level = np.cross(along, np.array([0.0, 1.0, 0.0]))
    steep = np.linalg.norm(level, axis=2, keepdims=True) < 0.1
    return np.where(steep, np.array([1.0, 0.0, 0.0]), level)


def _root(
    support: SupportRig, sums: dict[str, Array], layers: list[_Layer], axes: Array
) -> tuple[Array, Array | None]:
    given = support.root_stiffness
    if given is not None:
        return given, None if support.root_in_place else axes
    gripped = layers[-1].section
    size = 2 * np.minimum(gripped.outer_y, gripped.outer_z)
    if support.form == "strand" and len(layers) == 1:
        size = support.across  # the section's outer fibre is that of wires that slip more or less
    reach = support.clamp_diameters * size
    with np.errstate(divide="ignore"):
        bend = [np.where(reach > 0, sums[name][:, 0] / reach, np.inf) for name in ("bending_y", "bending_z")]
    return np.stack([np.full_like(reach, np.inf), *bend], axis=1), axes


def parts_of(support: int, layers: list[list[_Layer]], *, is_line: bool = False) -> list[Part]:
    """Parts of one support, for the recovery of stress in each layer of each segment."""
    parts = []
    for segment, group in enumerate(layers):
        whole = {name: sum_of([layer.stiffness[name] for layer in group]) for name in _STIFFNESS}
        parts += [
            Part(
                support=support,
                segment=segment,
                label=layer.label,
                section=layer.section,
                share={name: layer.stiffness[name] / whole[name] for name in _STIFFNESS},
                strength=layer.material.strength,
                is_line=is_line,
            )
            for layer in group
        ]
    return parts
