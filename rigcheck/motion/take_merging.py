"""One swing that changes with its size, put together again from the damped components that fit it.

Play and friction make frequency and damping change as a swing dies down. The sum of damped oscillations fits such a
swing well, but by several components of nearly one frequency that cancel in part: each for itself means nothing, and
its amplitude may be many times that of the swing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rigcheck.motion._checks import FloatArray
from rigcheck.motion.take_components import Component
from rigcheck.motion.take_fit import ComplexArray

__all__ = ["analytic", "merged"]

_CANCEL = 1.5  # sum of amplitudes over the largest swing of the sum: two that only beat reach 1
_ALIKE = 0.94  # cosine between directions
_WIDTHS = 4.0  # half-power widths that two components of one swing lie apart at most
_APART = 2.5  # or cycles over the part
_SAMPLES = 40  # a cycle
_MOST_SAMPLES = 20_000
_ALIVE = 0.05  # of the largest swing: a twentieth
_EIGHTH = 8
_ENDS = (0.05, 0.95)  # of the weight: where the frequency goes


def analytic(component: Component, times: FloatArray) -> ComplexArray:
    """Give the swing along a component's direction as the real part of a turning number.

    Parameters
    ----------
    component : Component
        Any.
    times : ndarray, (n,)
        Since the start of the part [s].

    Returns
    -------
    ndarray, (n,)
        Complex [as the track].
    """
    decay = 2 * np.pi * component.frequency * component.damping_ratio
    turn = 2 * np.pi * component.damped_frequency * times + component.phase
    return np.asarray(component.amplitude * np.exp(-decay * times + 1j * turn))


def merged(parts: Sequence[Component], *, duration: float, noise: float) -> tuple[list[Component], int]:
    """Put components that are one swing together.

    Parameters
    ----------
    parts : sequence of Component
        As fitted.
    duration : float
        Of the part [s].
    noise : float
        Of one frame [as the track].

    Returns
    -------
    components : list of Component
        Largest first. Of a swing put together, frequency and damping are means weighted by its energy, and their
        ranges span how they change between its beginning and its end.
    count : int
        How many of them were put together.

    Notes
    -----
    With z(t) the sum of the analytic signals along the direction of the largest, its size is |z|, its frequency
    d(arg z)/dt/(2 pi), and its decay the slope of ln |z| by least squares weighted with |z|^2.
    """
    left = sorted(parts, key=lambda part: -part.amplitude)
    result: list[Component] = []
    count = 0
    while left:
        group = _near(left[0], left, duration)
        one = _one(group, duration, noise) if len(group) > 1 else None
        if one is None:
            result.append(left.pop(0))
            continue
        result.append(one)
        count += 1
        left = [part for part in left if not any(part is other for other in group)]
    return sorted(result, key=lambda component: -component.amplitude), count


def _near(main: Component, parts: Sequence[Component], duration: float) -> list[Component]:
    """All parts along the main one's direction that hang together with it in frequency, the main one first."""
    group = [main]
    rest = [
        part for part in parts if part is not main and abs(float(part.direction @ main.direction)) > _ALIKE
    ]
    grown = True
    while grown:
        grown = False
        for part in rest:
            if any(_touch(part, other, duration) for other in group):
                group.append(part)
                rest = [other for other in rest if other is not part]
                grown = True
                break
    return group


def _touch(one: Component, other: Component, duration: float) -> bool:
    width = one.frequency * one.damping_ratio + other.frequency * other.damping_ratio
    return abs(one.frequency - other.frequency) < max(_APART / duration, _WIDTHS * width)


def _one(group: list[Component], duration: float, noise: float) -> Component | None:
    """The swing that a group makes together; None where they do not cancel."""
    main = group[0]
    fastest = max(part.damped_frequency for part in group)
    count = int(np.clip(_SAMPLES * fastest * duration, 64, _MOST_SAMPLES))
    times = np.linspace(0.0, duration, count)
    whole = np.zeros(count, dtype=np.complex128)
    for part in group:
        # Directions of one line may point either way.
        whole += analytic(part, times) * float(part.direction @ main.direction)
    size = np.abs(whole)
    if sum(part.amplitude for part in group) < _CANCEL * size.max():
        return None
    alive = size > _ALIVE * size.max()
    last = int(np.flatnonzero(alive)[-1])
    times, whole, size = times[: last + 1], whole[: last + 1], np.maximum(size[: last + 1], 1e-300)
    if last < 8:
        return None
    phase = np.unwrap(np.angle(whole))
    # Taken over an eighth of its life: what the parts ripple faster than that is theirs, not the swing's.
    step = max(1, (last + 1) // (2 * _EIGHTH))
    low, high = np.maximum(np.arange(last + 1) - step, 0), np.minimum(np.arange(last + 1) + step, last)
    rate = (phase[high] - phase[low]) / (times[high] - times[low]) / (2 * np.pi)
    weight = size**2 / (size**2).sum()
    damped = float(weight @ rate)
    decay = _slope(times, -np.log(size), weight)
    half = (last + 1) // 2
    halves = [
        _slope(times[rows], -np.log(size[rows]), weight[rows]) for rows in (slice(half), slice(half, None))
    ]
    if not (damped > 0 and decay > 0):
        return None
    omega = 2 * np.pi * damped
    ratio = decay / float(np.hypot(decay, omega))
    order = np.argsort(rate)
    least, most = np.interp(_ENDS, np.cumsum(weight[order]), rate[order])
    ends = sorted(max(0.0, value / omega) for value in halves)
    return Component(
        frequency=float(np.hypot(decay, omega)) / (2 * np.pi),
        frequency_range=(float(min(least, damped)), float(max(most, damped))),
        damped_frequency=damped,
        damping_ratio=ratio,
        damping_range=(min(ends[0], ratio), max(ends[1], ratio)),
        amplitude=float(size[0]),
        amplitude_range=(max(0.0, float(size[0]) - 2 * noise), float(size[0]) + 2 * noise),
        minor_amplitude=0.0,
        direction=main.direction,
        direction_range=main.direction_range,
        phase=float(np.angle(whole[0])),
        cycles=float(phase[-1] - phase[0]) / (2 * np.pi),
    )


def _slope(times: FloatArray, values: FloatArray, weight: FloatArray) -> float:
    """Slope of the straight line through values of these weights."""
    whole = max(float(weight.sum()), 1e-300)
    centre = float(weight @ times) / whole
    spread = float(weight @ (times - centre) ** 2)
    return float(weight @ ((times - centre) * values)) / max(spread, 1e-300)
