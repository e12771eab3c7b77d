"""The planned moves of a batch of rigs: how each goes with time, and where they carry the rig together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.moving_frame import Carrier, FrameField, frame_field
from rigcheck.motion.profiles import Profile
from rigcheck.studies.rigs import DOWN, Batched

if TYPE_CHECKING:
    from rigcheck.motion.keyframes import KeyframePath

__all__ = ["Push", "Travel", "alike", "carriers", "field_at", "is_turning", "span"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Travel(Batched):
    """One slide or roll with a known course.

    Attributes
    ----------
    rolls : bool
        Turning or sliding.
    direction : tuple of 3 float
        Unit vector of the slide or of the axis, in the pose at the end of the moves.
    through : array, shape (B, 3), or None
        A point of a roll's axis [m].
    stroke : array, shape (B,)
        How far [m or rad]; 1 with keys.
    start, duration : array, shape (B,)
        [s].
    profile : Profile or None
        How the stroke is spread over the duration.
    keys : KeyframePath or None
        In place of a profile: value against time.
    """

    rolls: bool = False
    direction: tuple[float, float, float]
    through: Array | None = None
    stroke: Array
    start: Array
    duration: Array
    profile: Profile | None = None
    keys: KeyframePath | None = None

    @property
    def stop(self) -> Array:
        """When it ends [s], shape (B,)."""
        return self.start + self.duration

    def left(self, variant: int, times: Array) -> Array:
        """What is still to go, (n,) [m or rad]."""
        if self.keys is not None:
            return np.asarray(self.keys.at(times)[0] - self.keys.displacement[-1])
        assert self.profile is not None  # a travel has a profile or keys
        unit = (times - float(self.start[variant])) / float(self.duration[variant])
        return np.asarray(float(self.stroke[variant]) * (self.profile.displacement(unit) - 1.0))

    def law(self, variant: int, times: Array) -> tuple[Array, Array, Array]:
        """What is still to go, its rate and acceleration, (n,) each [m or rad]."""
        if self.keys is not None:
            value, rate, change = self.keys.at(times)
            return value - self.keys.displacement[-1], rate, change
        assert self.profile is not None  # a travel has a profile or keys
        duration, stroke = float(self.duration[variant]), float(self.stroke[variant])
        unit = (times - float(self.start[variant])) / duration
        return (
            self.left(variant, times),
            stroke * self.profile.velocity(unit) / duration,
            stroke * self.profile.acceleration(unit) / duration**2,
        )

    def events(self, variant: int) -> Array:
        """Times at which its acceleration changes course [s]."""
        if self.keys is not None:
            return self.keys.times
        assert self.profile is not None
        return np.asarray(self.start[variant] + np.array(self.profile.boundaries) * self.duration[variant])


def is_turning(travels: tuple[Travel, ...]) -> bool:
    """Whether any of the moves rolls, so that gravity turns in the rig's own frame."""
    return any(travel.rolls for travel in travels)


def span(travels: tuple[Travel, ...]) -> tuple[float, float]:
    """When the first move starts and the last ends [s].

    Parameters
    ----------
    travels : tuple of Travel
        At least one.

    Returns
    -------
    tuple of float
    """
    return min(float(travel.start[0]) for travel in travels), max(float(travel.stop[0]) for travel in travels)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Push(Batched):
    """A straight move of which only the peak acceleration is known [m/s2], perhaps the duration [s]."""

    direction: tuple[float, float, float]
    acceleration: Array
    duration: Array | None


def field_at(travels: tuple[Travel, ...], variant: int, times: Array) -> FrameField:
    """What a rig feels while its moves carry it, and where they have carried it.

    Parameters
    ----------
    travels : tuple of Travel
        Ground first.
    variant : int
        Of the batch.
    times : array, shape (n,)
        [s].

    Returns
    -------
    FrameField
    """
    return frame_field(carriers(travels, variant), times, gravity=DOWN)


def carriers(travels: tuple[Travel, ...], variant: int = 0) -> list[Carrier]:
    """The moves of one variant as the motion room takes them.

    Parameters
    ----------
    travels : tuple of Travel
        Ground first.
    variant : int
        Of the batch.

    Returns
    -------
    list of Carrier
    """
    return [
        Carrier(
            rolls=travel.rolls,
            direction=np.array(travel.direction),
            through=None if travel.through is None else travel.through[variant],
            law=lambda at, travel=travel: travel.law(variant, at),  # type: ignore[misc]
        )
        for travel in travels
    ]


def alike(travels: tuple[Travel, ...]) -> list[Index]:
    """Groups of variants whose moves are the same in everything but the stroke of slides.

    Parameters
    ----------
    travels : tuple of Travel
        At least one.

    Returns
    -------
    list of int array
        All variants, each once.
    """
    if len(travels[0].start) == 1:
        return [np.zeros(1, dtype=np.intp)]
    columns = [column for travel in travels for column in (travel.start, travel.duration)]
    for travel in travels:
        if travel.rolls and travel.through is not None:
            columns += [travel.stroke, *travel.through.T]
    if is_turning(travels):
        columns += [travel.stroke for travel in travels]
    groups: dict[tuple[float, ...], list[int]] = {}
    for variant, row in enumerate(np.stack(columns, axis=1).tolist()):
        groups.setdefault(tuple(row), []).append(variant)
    return [np.array(variants, dtype=np.intp) for variants in groups.values()]
