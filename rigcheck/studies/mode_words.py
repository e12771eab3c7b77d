"""Natural modes in words: which way the prop goes, and what the support does."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rigcheck.studies.evaluate import Dynamics, Outcome, listed_modes
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.results import Mode
from rigcheck.studies.rigs import Rig

__all__ = ["describe_modes", "direction_words"]

Array = NDArray[np.float64]

_WORDS = (("right", "left"), ("up", "down"), ("toward", "away"))
_EQUAL = 1e-6
_NEAR = 1e-3
"""Frequencies of a mode found in two ways, of all modes and of those that move the prop, are alike within it."""
_AXES_FIRST = (1, 0, 2)  # a pair of equal frequency is shown as up-down first, then left-right


def describe_modes(rig: Rig, outcome: Outcome, motion: MotionOutcome | None = None) -> tuple[Mode, ...]:
    """The modes of the first variant.

    Parameters
    ----------
    rig : Rig
        The rig, for mass and directions.
    outcome : Outcome
        With its modes.
    motion : MotionOutcome, optional
        What the moves do, for the share of each mode in it.

    Returns
    -------
    tuple of Mode
        In rising order of frequency.

    Notes
    -----
    Share of the wobble: amplitude of the centre of mass in that mode when the last move ends, over the sum of all.
    Share of the lag: how far the mode follows the largest acceleration of the moves, over the same of all modes and
    of the static remainder. Modes that are not listed hold what is missing to 1.
    """
    omega, shapes = listed_modes(outcome)
    frequency = omega / (2 * np.pi)
    shapes = shapes @ _turn(shapes[:3], frequency)
    wobble, lag = _shares(outcome, motion, omega, shapes)
    points = rig.supports[0].points[0]
    along = (points[-1] - points[-2]) / np.linalg.norm(points[-1] - points[-2])
    damping = float(rig.damping_ratio[0])
    modes = []
    for index, value in enumerate(frequency):
        shift, turning = shapes[:3, index], shapes[3:, index]
        share = float(rig.mass[0] * (shift @ shift)), float(turning @ rig.inertia[0] @ turning)
        modes.append(
            Mode(
                frequency_Hz=float(value),
                damping_ratio=damping,
                direction=_direction(shift, share[0]),
                kind=_kind(shift, turning, share, along),
                wobble_share=None if wobble is None else float(wobble[index]),
                lag_share=None if lag is None else float(lag[index]),
            )
        )
    return tuple(modes)


def direction_words(direction: Array) -> str:
    """A direction to and fro, for example ``up-down``.

    Parameters
    ----------
    direction : array, shape (3,)
        Right, up, toward.

    Returns
    -------
    str
        Words of the parts that count, largest first.
    """
    share = _sizes(direction)
    order = [int(axis) for axis in np.argsort(-share, kind="stable") if share[axis] > 0.38]
    if len(order) == 1:
        right, left = _WORDS[order[0]]
        return f"{left}-{right}" if order[0] == 0 else f"{right}-{left}"
    return "slanting " + " and ".join(
        _WORDS[axis][0] if direction[axis] * direction[order[0]] > 0 else _WORDS[axis][1] for axis in order
    )


def _direction(shift: Array, share: float) -> tuple[float, float, float]:
    """Unit vector of the centre of mass, its largest part positive; zero where it all but stays."""
    size = float(np.linalg.norm(shift))
    if share < 1e-12 or size == 0.0:
        return (0.0, 0.0, 0.0)
    unit = shift / size * np.sign(shift[np.argmax(_sizes(shift))])
    unit = np.where(np.abs(unit) < 1e-9, 0.0, unit)
    return (float(unit[0]), float(unit[1]), float(unit[2]))


def _sizes(direction: Array) -> Array:
    """Sizes of the parts over the largest, rounded: which of two equal ones leads must not hang on a last digit."""
    size = np.abs(direction)
    return np.asarray(np.round(size / size.max(), 6))


def _kind(shift: Array, turn: Array, share: tuple[float, float], along: Array) -> str:
    moving, turning = share
    rest = max(0.0, 1.0 - moving - turning)
    if moving >= turning and moving >= rest:
        lengthwise = abs(shift @ along) / np.linalg.norm(shift)
        return "bounce along the support" if lengthwise > 0.8 else f"sway {direction_words(shift)}"
    if turning >= rest:
        about = abs(turn @ along) / np.linalg.norm(turn)
        return "twist about the support" if about > 0.8 else "rocking"
    return "support bends, prop nearly still"


def _shares(
    outcome: Outcome, motion: MotionOutcome | None, omega: Array, shapes: Array
) -> tuple[Array | None, Array | None]:
    """Shares of the listed modes, turned as shown, in the wobble and in the lag; None where there is none."""
    if motion is None:
        return None, None
    dynamics = outcome.dynamics
    field = motion.peak_field[0]
    # The listed modes, and after them those that move the prop and are not listed.
    mixing = _mixing(dynamics, omega, shapes)
    alone = np.eye(len(mixing))[:, ~mixing.any(axis=1)]
    mixing = np.concatenate([mixing, alone], axis=1)
    omega = np.append(omega, dynamics.angular_frequency[0] @ alone)
    reach = np.linalg.norm(np.append(shapes[:3], dynamics.shape[0, :3] @ alone, axis=1), axis=0)
    ringing = reach * (np.abs(mixing.T @ motion.swing[0]) + np.abs(mixing.T) @ motion.worst_swing[0])
    drive = mixing.T @ dynamics.participation[0, :, : len(field)]
    follows = reach * (np.abs(drive) @ field) / omega**2
    rest = float(np.linalg.norm(np.abs(dynamics.remainder[0, :3, : len(field)]) @ field))
    count = shapes.shape[1]
    return _of_whole(ringing, count), _of_whole(np.append(follows, rest), count)


def _mixing(dynamics: Dynamics, omega: Array, shapes: Array) -> Array:
    """Each listed mode as a mixture of those of its frequency that move the prop, (m, listed)."""
    own, moved = dynamics.angular_frequency[0], dynamics.shape[0]
    result = np.zeros((len(own), len(omega)))
    for listed, value in enumerate(omega):
        near = np.flatnonzero((np.abs(own / value - 1) < _NEAR) & moved.any(axis=0))
        if len(near):
            result[near, listed] = np.linalg.lstsq(moved[:, near], shapes[:, listed], rcond=1e-6)[0]
    return result


def _of_whole(parts: Array, count: int) -> Array | None:
    whole = float(parts.sum())
    return None if whole == 0.0 else parts[:count] / whole


def _turn(shifts: Array, frequency: Array) -> Array:
    """Mixing (m, m) of pairs of equal frequency, which are free to be mixed: one goes up-down as far as it can."""
    mixing = np.eye(len(frequency))
    for first in range(len(frequency) - 1):
        pair = slice(first, first + 2)
        if abs(frequency[first + 1] / frequency[first] - 1) > _EQUAL:
            continue
        shift = shifts @ mixing[:, pair]
        if not shift.any():
            continue
        axis = next(
            (axis for axis in _AXES_FIRST if np.linalg.norm(shift[axis]) > 1e-3 * np.linalg.norm(shift)), 1
        )
        best = shift[axis] / np.linalg.norm(shift[axis])
        mixing[:, pair] = mixing[:, pair] @ np.array([[best[0], -best[1]], [best[1], best[0]]])
    return mixing
