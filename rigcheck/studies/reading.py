"""From the shot as its user describes it to what is computed: quantities become SI arrays here, and only here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.mechanics.sections import strand_diameter
from rigcheck.model import SIDES, Insert, Move, Part, Prop, Shot, Sleeve, Support
from rigcheck.motion.keyframes import KeyframePath, keyframe_path
from rigcheck.motion.profiles import RAMPED_PROFILES, profile
from rigcheck.picture.projection import Camera
from rigcheck.stock import find_clamp, find_material, find_sheet, own_material, practice, stock_sizes
from rigcheck.studies.evaluate import Settings
from rigcheck.studies.eye import Eye
from rigcheck.studies.grading import Limits
from rigcheck.studies.moves import Push, Travel
from rigcheck.studies.rigs import Material, Rig, SleeveRig, SupportRig
from rigcheck.studies.task import Choices, Task
from rigcheck.units import Measured, registry

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial

__all__ = ["Reading", "constants_of", "read_prop", "stock_material"]

Array = NDArray[np.float64]

_NONE = np.array([np.nan])
_OUTLINE_WAYS = 96
"""Directions in which the outline is looked at; its farthest point comes out within 0.1 %."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """One prop made ready to compute, with what had to be assumed on the way.

    Attributes
    ----------
    task : Task
        The rig, its moves and its limits.
    support : str
        What carries it, in a few words.
    assumptions : tuple of str
        What was taken for granted.
    unused : tuple of (str, str)
        Keys that were given but change nothing yet: the key, and what is therefore not checked.
    cautions : tuple of str
        What the materials ask for.
    doubts : tuple of str
        Values that are possible but look like a wrong unit.
    strength_kind : str
        ``yield``, ``elastic limit`` or ``rupture`` of the first support.
    set_share : float
        Share of that strength from which the first support keeps a bend: below 1 for soft wire only.
    notes : tuple of (str, str, str)
        Figures for the details: label, value, source.
    """

    task: Task
    support: str
    assumptions: tuple[str, ...]
    unused: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    doubts: tuple[str, ...]
    strength_kind: str
    set_share: float
    notes: tuple[tuple[str, str, str], ...]


@dataclass
class _Notes:
    assumptions: list[str] = field(default_factory=list)
    unused: list[tuple[str, str]] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    figures: list[tuple[str, str, str]] = field(default_factory=list)


def read_prop(shot: Shot, prop: Prop) -> Reading:
    """Make one prop of a shot ready to compute.

    Parameters
    ----------
    shot : Shot
        For its camera, limits, analysis and own materials.
    prop : Prop
        One of its props.

    Returns
    -------
    Reading
    """
    notes = _Notes()
    supports = tuple(_support(shot, support, notes) for support in prop.support)
    mass, inertia = _body(shot, prop, notes)
    rig = Rig(
        mass=np.array([mass]),
        centre_of_mass=np.array([_metres(prop.centre_of_mass)]),
        inertia=inertia[None],
        supports=supports,
        axis_stiffness=_axis_stiffness(prop),
    )
    travels, pushes = _moves(prop, supports[0].points[0, 0], notes)
    _name_unused(shot, prop, notes)
    limits = shot.limits
    analysis = shot.analysis
    reading = Reading(
        task=Task(
            rig=rig,
            travels=travels,
            pushes=pushes,
            settings=Settings(
                displacement=analysis.displacement,
                gravity_stiffness=analysis.gravity_stiffness,
                shear=analysis.shear,
                modes=analysis.modes,
                residual_periods=analysis.residual_periods,
            ),
            limits=Limits(
                hazard=limits.hazard,
                wobble=limits.wobble,
                settle=limits.settle.m_as("s"),
                sag=None if limits.sag is None else limits.sag.m_as("m"),
            ),
            eye=_eye(shot, prop),
        ),
        support=_describe(prop),
        assumptions=tuple(dict.fromkeys(notes.assumptions)),
        unused=tuple(dict.fromkeys(notes.unused)),
        cautions=tuple(dict.fromkeys(notes.cautions)),
        doubts=tuple(_doubts(shot, prop, mass)),
        strength_kind=stock_material(shot, prop.support[0].material).working_strength_kind,
        set_share=_set_share(shot, prop.support[0]),
        notes=tuple(notes.figures),
    )
    return reading if prop.insert is None else _with_joint(shot, prop, reading)


def _with_joint(shot: Shot, prop: Prop, reading: Reading) -> Reading:
    """The reading with the give between the first support and the insert that holds the prop on it."""
    from rigcheck.studies.drooping import joint_of

    joint = joint_of(shot, prop, reading)
    if joint is None:
        return reading
    rig = reading.task.rig
    first = replace(rig.supports[0], joint_stiffness=joint[None])
    rig = replace(rig, supports=(first, *rig.supports[1:]))
    return replace(reading, task=replace(reading.task, rig=rig))


# -- supports -------------------------------------------------------------------------------------------


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
        shear_modulus=_si(own.shear_modulus, "Pa"),
        yield_strength=_si(own.yield_strength, "Pa"),
        tensile_strength=_si(own.tensile_strength, "Pa"),
        damping_ratio=own.damping_ratio or None,
    )


def _set_share(shot: Shot, support: Support) -> float:
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


def _support(shot: Shot, support: Support, notes: _Notes) -> SupportRig:
    stock = stock_material(shot, support.material)
    own = shot.own_material(support.material)
    size = support.thickness if support.section == "strip" else support.diameter
    across = np.array([_si(size, "m")], dtype=float)
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
            f"A line is tied: it only pulls, and its knots leave {knot.value:.0%} of its strength ({knot.mark})."
        )
    return SupportRig(
        form="line" if is_line else support.section,
        material=constants,
        diameter=_array(support.diameter),
        wall_thickness=_array(support.wall),
        width=_array(support.width),
        thickness=_array(support.thickness),
        wires=support.wires or 1,
        bond=bond,
        points=_points(support)[None],
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
        grip=_array(support.grip),
        embed=_array(support.embed),
        tension=None if support.tension is None else _array(support.tension, "N"),
    )


def _bond(support: Support, notes: _Notes) -> Array:
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


def _note_material(stock: StockMaterial, size: float, notes: _Notes) -> None:
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


def _points(support: Support) -> Array:
    offset = np.array(_metres(support.offset))
    if support.path is not None:
        return np.asarray(np.array([_metres(point) for point in support.path]) + offset)
    length = support.length
    assert length is not None  # the model asks for a length or a path
    root = np.array(SIDES[support.from_]) * length.m_as("m")
    return np.asarray(np.stack([root, np.zeros(3)]) + offset)


def _clamp(support: Support, size: float, notes: _Notes) -> float:
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


def _sleeve(shot: Shot, sleeve: Sleeve, notes: _Notes) -> SleeveRig:
    stock = stock_material(shot, sleeve.material)
    outer = _array(sleeve.diameter)
    _note_material(stock, float(outer[0]), notes)
    notes.assumptions.append("A sleeve is bonded over its whole length.")
    return SleeveRig(
        material=constants_of(stock, outer),
        outer_diameter=outer,
        wall_thickness=_array(sleeve.wall),
        start=_array(sleeve.start),
        end=_array(sleeve.end),
    )


# -- the prop -------------------------------------------------------------------------------------------


def _body(shot: Shot, prop: Prop, notes: _Notes) -> tuple[float, Array]:
    """Mass [kg] and inertia about the centre of mass [kg m2]."""
    mass = prop.mass.m_as("kg")
    if prop.inertia is not None:
        inertia = _tensor([entry.m_as("kg*m^2") for entry in prop.inertia])
    elif prop.shape is not None and prop.size is not None:
        inertia = mass * _shape_inertia(prop.shape, np.array(_metres(prop.size)), np.array(prop.along))
        notes.assumptions.append(f"Its inertia is that of a solid {prop.shape} of even density.")
    else:
        inertia = np.zeros((3, 3))
        notes.assumptions.append("Without a size or an inertia the prop counts as a point; it cannot rock.")
    if prop.insert is not None:
        added, plate = _insert_body(shot, prop.insert, prop.support[0])
        mass, inertia = mass + added, inertia + plate
        notes.assumptions.append(
            f"The insert adds {added * 1e3:.3g} g, centred on the prop's centre of mass and level across."
        )
    return mass, inertia


def _axis_stiffness(prop: Prop) -> Array | None:
    if prop.axis is None or prop.axis.stiffness is None:
        return None
    return _array(prop.axis.stiffness, "N*m/rad")


def _tensor(entries: list[float]) -> Array:
    right, up, toward, right_up, up_toward, toward_right = [*entries, 0.0, 0.0, 0.0][:6]
    return np.array(
        [[right, right_up, toward_right], [right_up, up, up_toward], [toward_right, up_toward, toward]]
    )


def _shape_inertia(shape: str, size: Array, axis: Array) -> Array:
    """Inertia per mass about the centre [m2] of an even solid that fills `size` (right, up, toward).

    For principal half-widths the second moments are a^2/12 of a full width a in a box, a^2/16 across a round
    section, a^2/20 in an ellipsoid; the inertia is their trace less themselves.
    """
    if shape == "sphere":
        moments = np.diag(size**2) / 20
    elif shape == "box":
        moments = np.diag(size**2) / 12
    else:
        along = np.outer(axis, axis)
        extent = np.diag(size**2)
        across = np.eye(3) - along
        moments = along @ extent @ along / 12 + across @ extent @ across / 16
    return np.asarray(np.trace(moments) * np.eye(3) - moments)


def _insert_body(shot: Shot, insert: Insert, support: Support) -> tuple[float, Array]:
    along, across = (side.m_as("m") for side in insert.size)
    thickness = insert.thickness.m_as("m")
    own = shot.own_material(insert.material)
    if own is not None:
        areal = own.density.m_as("kg/m^3") * thickness
    else:
        areal = find_sheet(insert.material).at(thickness).mass_per_area.value
    mass = areal * along * across
    points = _points(support)
    way = points[-1] - points[-2]
    way = way / np.linalg.norm(way)
    level = np.cross(way, [0.0, 1.0, 0.0])
    level = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(level) < 0.1 else level / np.linalg.norm(level)
    moments = np.outer(way, way) * along**2 / 12 + np.outer(level, level) * across**2 / 12
    return mass, mass * (np.trace(moments) * np.eye(3) - moments)


# -- moves and camera -----------------------------------------------------------------------------------


def _moves(prop: Prop, root: Array, notes: _Notes) -> tuple[tuple[Travel, ...], tuple[Push, ...]]:
    travels, pushes = [], []
    for move in prop.move:
        if move.kind == "acceleration":
            pushes.append(_push(move, notes))
        else:
            travels.append(_travel(move, root, notes))
    if any(travel.rolls for travel in travels):
        notes.assumptions.append(
            "The rig is described as it stands when the moves end; before that, rolls have still to turn it there."
        )
        notes.assumptions.append(
            "What swings while the head rolls is taken to turn with it (the Coriolis force is left out)."
        )
    return tuple(travels), tuple(pushes)


def _travel(move: Move, root: Array, notes: _Notes) -> Travel:
    rolls = move.kind == "roll"
    stroke = move.roll if rolls else move.slide
    unit = "rad" if rolls else "m"
    through = None
    if rolls:
        through = root if move.through is None else np.array(_metres(move.through))
    direction = move.about if rolls else move.along
    if move.keys is not None:
        path = _key_path(move, unit, notes)
        return Travel(
            rolls=rolls,
            direction=direction,
            through=None if through is None else through[None],
            stroke=np.ones(1),
            start=path.times[:1],
            duration=path.times[-1:] - path.times[:1],
            keys=path,
        )
    ramp = {"ramp": move.ramp} if move.profile in RAMPED_PROFILES else {}
    return Travel(
        rolls=rolls,
        direction=direction,
        through=None if through is None else through[None],
        stroke=_array(stroke, unit),
        start=_array(move.start, "s"),
        duration=_array(move.duration, "s"),
        profile=profile(move.profile, **ramp),
    )


def _key_path(move: Move, unit: str, notes: _Notes) -> KeyframePath:
    assert move.keys is not None
    scale = registry().Quantity(1.0, move.key_unit).m_as(unit)
    notes.assumptions.append(
        "Between keyframes the move follows the smoothest curve through them (a cubic spline) and starts and stops"
        " at rest; a controller that joins them otherwise adds its own shake."
    )
    file = move.keys
    state = file.stat() if file.is_file() else None
    return _path_of(
        file,
        None if state is None else (state.st_mtime_ns, state.st_size),
        start=move.start.m_as("s"),
        scale=scale,
    )


@lru_cache(maxsize=8)
def _path_of(file: Path, _as_of: tuple[int, int] | None, *, start: float, scale: float) -> KeyframePath:
    """The path that a file of keyframes gives; a check reads its rig anew for every change that it proves."""
    from rigcheck.files.takes import read_keys

    keys = read_keys(file)
    return keyframe_path(keys.times + start, keys.values * scale)


def _push(move: Move, notes: _Notes) -> Push:
    notes.assumptions.append(
        "Only the peak acceleration is known: the wobble is the worst that any move can do which speeds up once"
        " and slows down once without passing it."
    )
    assert move.acceleration is not None
    return Push(
        direction=move.along,
        acceleration=_array(move.acceleration, "m/s^2"),
        duration=None if move.duration is None else _array(move.duration, "s"),
    )


def _eye(shot: Shot, prop: Prop) -> Eye | None:
    given = shot.camera
    if given is None:
        return None
    elevation = given.elevation.m_as("rad")
    if given.field_width is not None:
        camera = Camera(
            field_width=given.field_width.m_as("m"), image_width=given.image_width, elevation=elevation
        )
    else:
        assert given.distance is not None
        assert given.focal_length is not None
        assert given.sensor_width is not None
        camera = Camera.from_lens(
            distance=given.distance.m_as("m"),
            focal_length=given.focal_length.m_as("m"),
            sensor_width=given.sensor_width.m_as("m"),
            image_width=given.image_width,
            elevation=elevation,
        )
    mark = np.zeros(3) if prop.mark is None else np.array(_metres(prop.mark))
    return Eye(
        camera=camera, jacobian=camera.pixel_jacobian(mark), growth=_outline_growth(camera, prop, mark)
    )


def _outline_growth(camera: Camera, prop: Prop, mark: Array) -> Array | None:
    """By how much the prop's outline grows as it comes nearer [px/m]: its farthest point, over the depth."""
    if camera.position is None or prop.size is None or prop.shape is None:
        return None
    from rigcheck.picture.solids import Solid

    turn = np.linspace(0.0, 2 * np.pi, _OUTLINE_WAYS, endpoint=False)[:, None]
    ways = np.cos(turn) * camera.right + np.sin(turn) * camera.up
    along = np.array(prop.along)
    axis = int(np.abs(along).argmax())
    solid = Solid(shape=prop.shape, size=np.array(_metres(prop.size)), axis=axis)
    outline = solid.farthest_point(ways) @ np.stack([camera.right, camera.up], axis=1)
    middle = np.array([mark @ camera.right, mark @ camera.up])
    # From the picture's centre, out of which everything grows.
    reach = float(np.linalg.norm(middle + outline, axis=1).max() - np.linalg.norm(middle))
    depth = float((camera.position - mark) @ camera.toward)
    return np.asarray(float(camera.pixels_per_metre_at(mark)) * reach / depth * camera.toward)


# -- what is not used, what looks wrong -----------------------------------------------------------------


def _name_unused(shot: Shot, prop: Prop, notes: _Notes) -> None:
    if shot.camera is not None and shot.camera.distance is None:
        notes.assumptions.append(
            "The camera's distance is not given, so movement toward it is left out of the pixels."
        )
    elif shot.camera is not None and prop.size is None:
        notes.assumptions.append(
            "No size is given, so how its outline grows as it comes nearer is left out of the pixels."
        )
    if shot.camera is not None and shot.camera.frame_rate is None and _is_given(shot.camera, "shutter_angle"):
        notes.assumptions.append("Without a frame rate the shutter angle changes nothing here.")
    if prop.mark is not None and len(shot.prop) == 1:
        notes.assumptions.append("The mark of a single prop only says where it stands in the picture.")
    for support in prop.support:
        if support.embed is not None and prop.insert is None:
            notes.assumptions.append(
                f"The {support.embed} inside the prop are part of it: they do not bend and cannot pull out."
            )
        if support.grip is not None and support.clamp is None:
            notes.assumptions.append(
                f"Without a named clamp the grip of {support.grip} changes nothing here."
            )
    if unused := list(dict.fromkeys(_unused_ranges(shot, prop))):
        notes.unused.append(("+/-", f"the range of {', '.join(unused)}; results are for the middle value"))


def _is_given(part: Part, key: str) -> bool:
    return key in part.model_fields_set


_VARIED = {
    "Prop": {"mass", "centre_of_mass"},
    "Axis": {"stiffness"},
    "Support": {"diameter", "wall", "width", "thickness", "length", "root_stiffness"},
    "Move": {"slide", "roll", "duration", "acceleration"},
    "OwnMaterial": {"youngs_modulus", "density", "yield_strength", "tensile_strength"},
}
"""Keys whose range `rigcheck.studies.inputs` takes in."""


def _unused_ranges(shot: Shot, prop: Prop) -> Iterator[str]:
    """Keys with a range that nothing is done with."""
    for part in (shot.camera, shot.limits, *shot.material, prop):
        if part is not None:
            yield from _ranged(part, "")


def _ranged(part: Any, key: str) -> Iterator[str]:
    if isinstance(part, Measured):
        if part.low is not None:
            yield key
    elif isinstance(part, tuple):
        for item in part:
            yield from _ranged(item, key)
    elif hasattr(part, "model_fields_set"):
        varied = _VARIED.get(type(part).__name__, set())
        for name in sorted(part.model_fields_set):
            value = getattr(part, name)
            # Three root stiffnesses about three axes have no range of their own.
            if name not in varied or (name == "root_stiffness" and isinstance(value, tuple)):
                yield from _ranged(value, name)


def _doubts(shot: Shot, prop: Prop, mass: float) -> Iterator[str]:
    if mass > 2.5:
        yield f"{prop.mass} is heavy for a table-top prop: is the unit of its mass right?"
    if mass < 2e-4:
        yield f"{prop.mass} is light for a prop: is the unit of its mass right?"
    if prop.size is not None:
        size = [side.m_as("m") for side in prop.size]
        if max(size) > 2.0:
            yield f"A prop {max(size):.3g} m wide does not fit a table top: is the unit of its size right?"
        density = prop.mass.m_as("kg") / float(np.prod(size))
        if not 3.0 < density < 25_000.0:
            yield (
                f"{prop.mass} in a body of that size makes {density:.3g} kg/m^3; nothing weighs that:"
                " is a unit of mass or size wrong?"
            )
    if prop.inertia is not None:
        largest = max(entry.m_as("kg*m^2") for entry in prop.inertia[:3])
        across = float(np.sqrt(largest / prop.mass.m_as("kg")))
        if across > 1.0:
            yield (
                f"{prop.mass} with an inertia of {largest:.3g} kg m2 lies {across:.3g} m from its own centre:"
                " is the unit of its inertia right?"
            )
    for support in prop.support:
        length = float(np.linalg.norm(np.diff(_points(support), axis=0), axis=1).sum())
        size_text = support.thickness if support.section == "strip" else support.diameter
        across = _si(size_text, "m") or 0.0
        if length < max(2 * across, 2e-3):
            yield f"A free length of {length * 1e3:.3g} mm is hardly a support: is its unit right?"
        for sleeve in support.sleeve:
            bore = sleeve.diameter.m_as("m") - 2 * sleeve.wall.m_as("m")
            if bore > 1.15 * across and support.section in ("round", "tube", "threaded"):
                yield (
                    f"The sleeve's bore of {bore * 1e3:.3g} mm is loose on {size_text}, and it is computed as"
                    " bonded: is one of the sizes wrong?"
                )
        if length > 3.0:
            yield f"A free length of {length:.3g} m is long for a table top: is its unit right?"
        if across < 2e-5:
            yield f"{support.material} {size_text} thick is finer than any wire sold: is the unit of its size right?"
        if across > 0.05:
            yield f"A {support.material} {size_text} thick hides behind nothing: is the unit of its size right?"
        if support.wall is not None and support.wall.m_as("m") < 2e-5:
            yield f"A wall of {support.wall} is finer than that of any tube sold: is its unit right?"
        if support.width is not None and support.width.m_as("m") > 0.2:
            yield f"A strip {support.width} wide hides behind nothing: is the unit of its width right?"
        if length / across > (30_000 if "line" in stock_material(shot, support.material).forms else 3000):
            yield f"The free length is {length / across:.0f} times the diameter: is one of the units wrong?"
    for own in filter(None, (shot.own_material(name) for name in {part.material for part in prop.support})):
        if not 5.0 < own.density.m_as("kg/m^3") < 25_000.0:
            yield f"{own.name} with a density of {own.density} is like nothing on earth: is its unit right?"
        if not 1e6 < own.youngs_modulus.m_as("Pa") < 1.5e12:
            yield f"{own.name} with a Young's modulus of {own.youngs_modulus} is like no solid: is its unit right?"
    for move in prop.move:
        if move.slide is not None and abs(move.slide.m_as("m")) > 5.0:
            yield f"A slide of {move.slide} is long for a table top: is its unit right?"
        if move.acceleration is not None and move.acceleration.m_as("m/s^2") > 50.0:
            yield f"An acceleration of {move.acceleration} is more than five times gravity: is its unit right?"
        if move.slide is not None and move.duration is not None:
            speed = abs(move.slide.m_as("m")) / move.duration.m_as("s")
            if speed > 5.0:
                yield f"{move.slide} in {move.duration} is {speed:.3g} m/s on average: is a unit wrong?"
        if "ramp" in move.model_fields_set and move.duration is not None:
            rise = move.ramp * move.duration.m_as("s")
            if rise < 1e-3:
                yield f"Speeding up within {rise * 1e3:.3g} ms is a blow and no ramp: is ramp = {move.ramp:g} right?"
        if move.roll is not None and move.duration is not None:
            turns = abs(move.roll.m_as("rad")) / (2.0 * np.pi) / move.duration.m_as("s")
            if turns > 50.0:
                yield f"{move.roll} in {move.duration} is {turns:.3g} turns a second: is a unit wrong?"
        if move.duration is not None and move.duration.m_as("s") > 10_800.0:
            yield f"A move of {move.duration} lasts {move.duration.m_as('h'):.3g} hours: is its unit right?"
    camera = shot.camera
    if camera is None:
        return
    if camera.field_width is not None and not 0.003 < camera.field_width.m_as("m") < 20.0:
        yield f"A field {camera.field_width} wide does not show a table top: is its unit right?"
    if camera.frame_rate is not None and not 0.5 < camera.frame_rate.m_as("Hz") < 100_000.0:
        yield f"{camera.frame_rate} is not how a camera films: is the frame rate right?"


def _describe(prop: Prop) -> str:
    first = prop.support[0]
    size = {
        "tube": f"{first.diameter} x {first.wall}",
        "strip": f"{first.width} x {first.thickness}",
        "strand": f"{first.wires} wires of {first.diameter}",
    }.get(first.section, str(first.diameter))
    shape = "" if first.section == "round" else f" {first.section}"
    length = float(np.linalg.norm(np.diff(_points(first), axis=0), axis=1).sum())
    bent = first.path is not None and len(first.path) > 2
    where = "bent" if bent else "straight" if first.path is not None else f"from {_SIDE_WORDS[first.from_]}"
    more = f", and {len(prop.support) - 1} more" if len(prop.support) > 1 else ""
    return f"{size} {first.material}{shape}, {length * 1e3:.4g} mm free, {where}{more}"


_SIDE_WORDS = {
    "behind": "behind",
    "front": "the front",
    "left": "the left",
    "right": "the right",
    "above": "above",
    "below": "below",
}


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


def _metres(vector: tuple[Measured, ...]) -> tuple[float, ...]:
    return tuple(part.m_as("m") for part in vector)


def _si(value: Measured | None, unit: str) -> float | None:
    return None if value is None else value.m_as(unit)


def _array(value: Measured | None, unit: str = "m") -> Array:
    return _NONE if value is None else np.array([value.m_as(unit)])
