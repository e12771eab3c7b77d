"""One prop made ready to compute.

Quantities become SI arrays in the modules of this folder, and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Insert, Prop, Shot, Support
from rigcheck.stock import find_sheet
from rigcheck.studies.evaluate import Settings
from rigcheck.studies.grading import Limits
from rigcheck.studies.reading.doubts import doubts_of, name_unused
from rigcheck.studies.reading.moves import read_eye, read_moves
from rigcheck.studies.reading.notes import Notes, array, metres
from rigcheck.studies.reading.supports import (
    describe,
    read_support,
    set_share,
    stock_material,
    support_points,
)
from rigcheck.studies.rigs import Rig
from rigcheck.studies.task import Task

__all__ = ["Reading", "read_prop"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
    notes = Notes()
    supports = tuple(read_support(shot, support, notes) for support in prop.support)
    mass, inertia = _body(shot, prop, notes)
    rig = Rig(
        mass=np.array([mass]),
        centre_of_mass=np.array([metres(prop.centre_of_mass)]),
        inertia=inertia[None],
        supports=supports,
        axis_stiffness=_axis_stiffness(prop),
    )
    travels, pushes = read_moves(prop, supports[0].points[0, 0], notes)
    name_unused(shot, prop, notes)
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
            eye=read_eye(shot, prop),
        ),
        support=describe(prop),
        assumptions=tuple(dict.fromkeys(notes.assumptions)),
        unused=tuple(dict.fromkeys(notes.unused)),
        cautions=tuple(dict.fromkeys(notes.cautions)),
        doubts=tuple(doubts_of(shot, prop, mass)),
        strength_kind=stock_material(shot, prop.support[0].material).working_strength_kind,
        set_share=set_share(shot, prop.support[0]),
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


def _body(shot: Shot, prop: Prop, notes: Notes) -> tuple[float, Array]:
    """Mass [kg] and inertia about the centre of mass [kg m2]."""
    mass = prop.mass.m_as("kg")
    if prop.inertia is not None:
        inertia = _tensor([entry.m_as("kg*m^2") for entry in prop.inertia])
    elif prop.shape is not None and prop.size is not None:
        inertia = mass * _shape_inertia(prop.shape, np.array(metres(prop.size)), np.array(prop.along))
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
    return array(prop.axis.stiffness, "N*m/rad")


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
    points = support_points(support)
    way = points[-1] - points[-2]
    way = way / np.linalg.norm(way)
    level = np.cross(way, [0.0, 1.0, 0.0])
    level = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(level) < 0.1 else level / np.linalg.norm(level)
    moments = np.outer(way, way) * along**2 / 12 + np.outer(level, level) * across**2 / 12
    return mass, mass * (np.trace(moments) * np.eye(3) - moments)
