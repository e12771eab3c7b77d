"""How far a prop may be off its intended path over the moves, whatever the phase of its wobble."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.sampling import distinct
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moves import Travel, field_at, is_turning, span
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.rigs import DOWN

__all__ = ["Swing", "swing"]

Array = NDArray[np.float64]

_STRONG = 1e-3
"""Modes that move the prop by less than this share of the strongest follow at once."""
_SAMPLES = 120
"""Samples of the load over the moves; it is straight between them, good to 2e-4 of its largest value."""
_LEAST_IN_STRETCH = 8
_MOST_EVENTS = 20_000
_INSIDE = 1e-9
"""Share of the moves by which samples on both sides of an event stand off it, where an acceleration may jump."""


def _sample_times(travels: tuple[Travel, ...], least: int) -> Array | None:
    """Times over the moves with two beside each event; None where there are too many events."""
    events = distinct(np.concatenate([travel.events(0) for travel in travels]))
    start, stop = span(travels)
    whole = stop - start
    events = events[np.concatenate([[True], np.diff(events) > 1e-6 * whole])]
    if len(events) > _MOST_EVENTS:
        return None
    off = _INSIDE * whole
    wanted = np.maximum(_LEAST_IN_STRETCH, np.ceil(least * np.diff(events) / whole)).astype(int)
    if len(events) > least:
        wanted[:] = 2  # many keys: the acceleration is straight between them
    return np.concatenate(
        [
            np.linspace(begin + off, end - off, count)
            for (begin, end), count in zip(pairwise(events), wanted, strict=True)
        ]
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Swing:
    """How the prop is off its intended path, and how it rings when the moves have ended.

    Attributes
    ----------
    times : array, shape (n,)
        Over the moves [s].
    reach : array, shape (n,)
        Distance from the path that it does not pass there, whatever the phase of its wobble [m].
    angular_frequency, value, rate : array, shape (m,)
        Of the modes that count: [rad/s], and their state when the moves end.
    shape : array, shape (3, m)
        Movement of the centre of mass in each.
    """

    times: Array
    reach: Array
    angular_frequency: Array
    value: Array
    rate: Array
    shape: Array


def swing(reading: Reading, still: Outcome) -> Swing | None:
    """Follow the deviation from the intended path over the moves.

    Parameters
    ----------
    reading : Reading
        For the moves.
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    Swing or None
        None where the course is not known (no moves, or only an acceleration) or has more than 20,000 keys.

    Notes
    -----
    The lag is what the whole rig follows slowly, ``follow . b(t)`` with the field of acceleration b less that of
    the end. To it each mode that counts adds an oscillation ``r = q - q_slow`` whose amplitude ``hypot(r, q' /
    omega)`` changes slowly, so their sum bounds the deviation at that time without asking for the phase. The
    rate of the lag itself stays in, which makes the amplitude too large by ``lag' / omega``.
    """
    travels = reading.task.travels
    if not travels or reading.task.pushes:
        return None
    times = _sample_times(travels, _SAMPLES)
    if times is None:
        return None
    dynamics = still.dynamics
    shape = dynamics.shape[0, :3]
    omega = dynamics.angular_frequency[0]
    weight = np.linalg.norm(shape, axis=0) * np.abs(dynamics.participation[0]).max(axis=1) / omega**2
    strong = weight > _STRONG * weight.max()
    at = field_at(travels, 0, times)
    change = (at.offset - DOWN).T
    if is_turning(travels):
        change = np.concatenate([change, at.gradient.reshape(-1, 9).T])
    omega, shape = omega[strong], shape[:, strong]
    load = dynamics.participation[0, strong, : len(change)] @ change
    slow = load / omega[:, None] ** 2
    # Before the first move it hangs still in the pose it starts from, where gravity may point another way.
    turned = at.rotation[0].T @ DOWN - DOWN
    resting = dynamics.participation[0, strong, :3] @ turned / omega**2
    value, rate = piecewise_linear_response(
        load,
        angular_frequency=omega,
        damping_ratio=still.rig.damping_ratio[0],
        times=times,
        initial=(resting, np.zeros_like(omega)),
    )
    lag = np.linalg.norm(dynamics.follow[0, :3, : len(change)] @ change, axis=0)
    amplitude = np.hypot(value - slow, rate / omega[:, None])
    return Swing(
        times=times,
        reach=lag + np.linalg.norm(shape, axis=0) @ amplitude,
        angular_frequency=omega,
        value=value[:, -1],
        rate=rate[:, -1],
        shape=shape,
    )
