"""The moves of a prop and the camera that sees them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Move, Prop, Shot
from rigcheck.motion.profiles import RAMPED_PROFILES, profile
from rigcheck.picture.projection import Camera
from rigcheck.studies.eye import Eye
from rigcheck.studies.moves import Push, Travel
from rigcheck.studies.reading.notes import Notes, array, metres
from rigcheck.units import registry

if TYPE_CHECKING:
    from rigcheck.motion.keyframes import KeyframePath

__all__ = ["read_eye", "read_moves"]

Array = NDArray[np.float64]

_OUTLINE_WAYS = 96
"""Directions in which the outline is looked at; its farthest point comes out within 0.1 %."""


def read_moves(prop: Prop, root: Array, notes: Notes) -> tuple[tuple[Travel, ...], tuple[Push, ...]]:
    """The moves as arrays.

    Parameters
    ----------
    prop : Prop
        Whose moves.
    root : array, shape (3,)
        Root of the first support [m], which a roll goes about where no point is given.
    notes : Notes
        Gets the assumptions.

    Returns
    -------
    tuple of (tuple of Travel, tuple of Push)
        Those with a known course, and those with a known acceleration.
    """
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


def _travel(move: Move, root: Array, notes: Notes) -> Travel:
    rolls = move.kind == "roll"
    stroke = move.roll if rolls else move.slide
    unit = "rad" if rolls else "m"
    through = None
    if rolls:
        through = root if move.through is None else np.array(metres(move.through))
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
        stroke=array(stroke, unit),
        start=array(move.start, "s"),
        duration=array(move.duration, "s"),
        profile=profile(move.profile, **ramp),
    )


def _key_path(move: Move, unit: str, notes: Notes) -> KeyframePath:
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
    from rigcheck.motion.keyframes import keyframe_path

    keys = read_keys(file)
    return keyframe_path(keys.times + start, keys.values * scale)


def _push(move: Move, notes: Notes) -> Push:
    notes.assumptions.append(
        "Only the peak acceleration is known: the wobble is the worst that any move can do which speeds up once"
        " and slows down once without passing it."
    )
    assert move.acceleration is not None
    return Push(
        direction=move.along,
        acceleration=array(move.acceleration, "m/s^2"),
        duration=None if move.duration is None else array(move.duration, "s"),
    )


def read_eye(shot: Shot, prop: Prop) -> Eye | None:
    """How the camera sees small movements of a prop.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What was given.

    Returns
    -------
    Eye or None
        None without a camera.
    """
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
    mark = np.zeros(3) if prop.mark is None else np.array(metres(prop.mark))
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
    solid = Solid(shape=prop.shape, size=np.array(metres(prop.size)), axis=axis)
    outline = solid.farthest_point(ways) @ np.stack([camera.right, camera.up], axis=1)
    middle = np.array([mark @ camera.right, mark @ camera.up])
    # From the picture's centre, out of which everything grows.
    reach = float(np.linalg.norm(middle + outline, axis=1).max() - np.linalg.norm(middle))
    depth = float((camera.position - mark) @ camera.toward)
    return np.asarray(float(camera.pixels_per_metre_at(mark)) * reach / depth * camera.toward)
