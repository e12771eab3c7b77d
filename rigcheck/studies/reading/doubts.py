"""What of a rig file is not used, and what in it looks wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from rigcheck.model import Part, Prop, Shot
from rigcheck.studies.reading.notes import Notes, si
from rigcheck.studies.reading.supports import stock_material, support_points
from rigcheck.units import Measured

__all__ = ["FAR_TOO_LONG", "FAR_TOO_SLENDER", "FAR_TOO_THICK", "doubts_of", "name_unused"]

FAR_TOO_LONG = 3.0
"""Free length that is asked about [m]."""
FAR_TOO_SLENDER = 3000.0
"""Free length over diameter or thickness, of what is no line, that is asked about."""
FAR_TOO_THICK = 0.05
"""Diameter or thickness that is asked about [m]."""


def name_unused(shot: Shot, prop: Prop, notes: Notes) -> None:
    """Note what the user gave and no result depends on.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What was given.
    notes : Notes
        Filled in.
    """
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


def doubts_of(shot: Shot, prop: Prop, mass: float) -> Iterator[str]:
    """What looks like a wrong unit or a slip: nothing on a table top is so large, so heavy or so fast.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What was given.
    mass : float
        Of the prop and its insert [kg].

    Yields
    ------
    str
        The value as typed, and what is asked.
    """
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
        length = float(np.linalg.norm(np.diff(support_points(support), axis=0), axis=1).sum())
        size_text = support.thickness if support.section == "strip" else support.diameter
        across = si(size_text, "m") or 0.0
        if length < max(2 * across, 2e-3):
            yield f"A free length of {length * 1e3:.3g} mm is hardly a support: is its unit right?"
        for sleeve in support.sleeve:
            bore = sleeve.diameter.m_as("m") - 2 * sleeve.wall.m_as("m")
            if bore > 1.15 * across and support.section in ("round", "tube", "threaded"):
                yield (
                    f"The sleeve's bore of {bore * 1e3:.3g} mm is loose on {size_text}, and it is computed as"
                    " bonded: is one of the sizes wrong?"
                )
        if length > FAR_TOO_LONG:
            yield f"A free length of {length:.3g} m is long for a table top: is its unit right?"
        if across < 2e-5:
            yield f"{support.material} {size_text} thick is finer than any wire sold: is the unit of its size right?"
        if across > FAR_TOO_THICK:
            yield f"A {support.material} {size_text} thick hides behind nothing: is the unit of its size right?"
        if support.wall is not None and support.wall.m_as("m") < 2e-5:
            yield f"A wall of {support.wall} is finer than that of any tube sold: is its unit right?"
        if support.width is not None and support.width.m_as("m") > 0.2:
            yield f"A strip {support.width} wide hides behind nothing: is the unit of its width right?"
        if length / across > (
            30_000 if "line" in stock_material(shot, support.material).forms else FAR_TOO_SLENDER
        ):
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
        if move.duration is not None and move.duration.m_as("s") < 5e-3:
            yield f"A move of {move.duration} is a blow that no head follows: is its unit right?"
        if move.duration is not None and move.duration.m_as("s") > 10_800.0:
            yield f"A move of {move.duration} lasts {move.duration.m_as('h'):.3g} hours: is its unit right?"
    camera = shot.camera
    if camera is None:
        return
    if camera.field_width is not None and not 0.003 < camera.field_width.m_as("m") < 20.0:
        yield f"A field {camera.field_width} wide does not show a table top: is its unit right?"
    if camera.frame_rate is not None and not 0.5 < camera.frame_rate.m_as("Hz") < 100_000.0:
        yield f"{camera.frame_rate} is not how a camera films: is the frame rate right?"
