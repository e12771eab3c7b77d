"""The wobble that many timings of the same moves leave, from the states in which the modes end."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.motion.distance_measures import peak_to_peak_distance
from rigcheck.motion.moving_frame import frame_field
from rigcheck.motion.response import end_state
from rigcheck.motion.sampling import TRACED_SHARE, traced_frequency
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import NOMINAL_PIXEL
from rigcheck.studies.moves import Travel, carriers, is_turning
from rigcheck.studies.rigs import DOWN
from rigcheck.studies.task import Task

__all__ = [
    "MOST_SAMPLES",
    "SAMPLES_A_KEY",
    "Load",
    "View",
    "graded_wobble",
    "load_of",
    "sampled_states",
    "slide_states",
    "view_of",
]

Array = NDArray[np.float64]

States = NDArray[np.complex128]

_EQUAL = 1e-6
_SAMPLES_PER_PERIOD = 48
_BLOCK = 256
_IN_STRETCH = 96
"""Samples of a stretch of a rolling or keyed move while searching; what is handed back takes more."""
MOST_SAMPLES = 20_000
_SAMPLES_A_PERIOD = 12
SAMPLES_A_KEY = 4
_SLOW_SHARE = 0.02
_MOST_POWERS = 1e6
_MOST_TRACED = 4_000_000
"""Samples of all the wobbles that are traced together, where bounds do not tell on which side of a limit they are:
about two seconds."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class View:
    """What of a settled rig decides the wobble: its modes, and how large each is to the eye.

    Attributes
    ----------
    omega : array, shape (m,)
        Angular frequencies [rad/s].
    zeta : float
        Damping ratio.
    participation : array, shape (m, k)
        As in `Dynamics`.
    shape : array, shape (3, m)
        Of the centre of mass.
    seen : array, shape (c, m)
        The same as graded: pixels, or nominal pixels in three directions.
    growth : array, shape (1, m)
        What each adds to the outline by coming nearer, in pixels; zero without a camera at a known distance.
    periods : float
        Of the lowest mode, over which wobble is read.
    constant : float
        What moves without known times add at worst [px].
    """

    omega: Array
    zeta: float
    participation: Array
    shape: Array
    seen: Array
    growth: Array
    periods: float
    constant: float

    @property
    def exponent(self) -> States:
        """Of the free vibration, (m,) [rad/s]."""
        return np.asarray(self.omega * (-self.zeta + 1j * math.sqrt(1 - self.zeta**2)))

    @property
    def groups(self) -> list[slice]:
        """Modes of equal frequency (a round wire has pairs), which move as one."""
        edges = np.flatnonzero(np.abs(np.diff(self.omega) / self.omega[:-1]) > _EQUAL) + 1
        return [slice(*pair) for pair in pairwise([0, *edges.tolist(), len(self.omega)])]

    @property
    def slow(self) -> NDArray[np.bool_]:
        """Modes that move the picture by a fiftieth of what the strongest does, in a steady field, (m,)."""
        weight = self.size * np.abs(self.participation[:, :3]).max(axis=1)
        weight = weight / self.omega**2
        return np.asarray(weight >= _SLOW_SHARE * weight.max())

    @property
    def size(self) -> Array:
        """How large each mode is to the eye, (m,)."""
        return np.asarray(np.linalg.norm(self.seen, axis=0) + np.abs(self.growth[0]))

    def swing(self, states: States) -> Array:
        """Peak-to-peak size of each group's vibration, (K, groups): twice the long half-axis of its ellipse."""
        sizes = []
        for group in self.groups:
            vector = states[:, group] @ self.seen[:, group].T
            square = (np.abs(vector) ** 2).sum(axis=1) + np.abs((vector**2).sum(axis=1))
            nearer = np.abs(states[:, group] @ self.growth[0, group])
            sizes.append(2 * (np.sqrt(square / 2) + nearer))
        return np.stack(sizes, axis=1)

    @property
    def samples(self) -> int:
        """Of a wobble that is traced, at most."""
        return self._samples_of(float(self.omega.max()))

    def _samples_of(self, fastest: float) -> int:
        cycles = self.periods * fastest / float(self.omega[0])
        return int(np.clip(math.ceil(cycles * _SAMPLES_PER_PERIOD), 160, 2400)) + 1

    def wobble(self, states: States) -> Array:
        """Largest distance between any two places over the first periods of the lowest mode [px], (K,).

        The same measure as `Task.move` takes; faster modes that add less than a thousandth are left out.
        """
        result = np.zeros(len(states))
        size, deep = self.size, bool(self.growth.any())
        for first in range(0, len(states), _BLOCK):
            block = states[first : first + _BLOCK]
            part = size * np.abs(block)
            largest = part.max(axis=1, keepdims=True)
            share = (part / np.where(largest > 0.0, largest, 1.0)).max(axis=0)
            matters = share > TRACED_SHARE
            if not matters.any():
                continue
            count = self._samples_of(float(traced_frequency(self.omega, share)))
            times = np.linspace(0, 1, count) * (self.periods * 2 * np.pi / self.omega[0])
            turn = np.exp(self.exponent[matters, None] * times)
            for part_seen in (self.seen, self.growth)[: 1 + deep]:
                weights = block[:, None, matters] * part_seen[:, matters]
                path = weights.real @ turn.imag + weights.imag @ turn.real
                result[first : first + _BLOCK] += peak_to_peak_distance(path)
        return result + self.constant

    def largest(self, states: States) -> float:
        """The largest wobble of them [px]; only those that bounds leave in question are traced."""
        least, most = self._bounds(states)
        return float(self.wobble(states[most >= least.max()]).max())

    def _bounds(self, states: States) -> tuple[Array, Array]:
        """What the wobble of each cannot be below, and cannot be above [px], (K,)."""
        swing = self.swing(states)
        strongest, most = swing.max(axis=1), swing.sum(axis=1)
        # Over a period of the strongest mode both its ends are reached; the others can take off their sizes.
        decay = math.exp(-2 * np.pi * self.zeta / math.sqrt(1 - self.zeta**2))
        least = strongest * decay - (most - strongest) if self.periods >= 1 else np.zeros(len(states))
        return least + self.constant, most + self.constant

    def compared(self, states: States, limit: float) -> Array:
        """The wobble where it takes more than bounds to tell on which side of the limit it is, else a bound.

        Raises `ValidityError` where that would be too many.
        """
        least, result = self._bounds(states)
        unclear = (result > limit) & (least <= limit)
        if np.count_nonzero(unclear) * self.samples > _MOST_TRACED:
            raise ValidityError(f"{np.count_nonzero(unclear)} wobbles would have to be traced.")
        if unclear.any():
            result[unclear] = self.wobble(states[unclear])
        return np.asarray(result)


def view_of(task: Task, still: Outcome) -> View:
    """What of a settled rig decides the wobble."""
    dynamics = still.dynamics
    motion = task.move(still, course=False)
    assert motion is not None  # there are moves
    count = motion.angular_frequency.shape[1]  # the modes that the full computation takes in
    shape = dynamics.shape[0, :3, :count]
    seen = shape / NOMINAL_PIXEL if task.eye is None else task.eye.jacobian @ shape
    eye = task.eye
    growth = np.zeros(count) if eye is None or eye.growth is None else eye.growth @ shape
    constant = 0.0
    if task.pushes:
        alone = replace(task, travels=()).move(still, course=False)
        assert alone is not None
        constant = graded_wobble(alone.residual, alone.residual_px)
    return View(
        omega=dynamics.angular_frequency[0, :count],
        zeta=float(still.rig.damping_ratio[0]),
        participation=dynamics.participation[0, :count],
        shape=shape,
        seen=seen,
        growth=growth[None],
        periods=still.settings.residual_periods,
        constant=constant,
    )


def graded_wobble(residual: Array, residual_px: Array | None) -> float:
    """The wobble of the first variant as it is graded [px]."""
    return float(residual[0] / NOMINAL_PIXEL if residual_px is None else residual_px[0])


def slide_states(view: View, travels: tuple[Travel, ...], shares: Array) -> States:
    """States q'/omega_d + ... of the modes when the last slide ends, for slides stretched by each share, (K, m).

    Closed form; each slide's vibration decays on until the last one has ended.
    """
    omega, zeta = view.omega, view.zeta
    root = math.sqrt(1 - zeta**2)
    last = max(float(travel.stop[0]) for travel in travels)
    total = np.zeros((len(shares), len(omega)), dtype=np.complex128)
    for travel in travels:
        assert travel.profile is not None  # keys go through sampled_states
        value, speed = end_state(
            travel.profile,
            duration=shares[:, None] * float(travel.duration[0]),
            angular_frequency=omega,
            damping_ratio=zeta,
        )
        state = (speed + zeta * omega * value) / (omega * root) + 1j * value
        drive = view.participation[:, :3] @ np.array(travel.direction) * float(travel.stroke[0])
        rest = last - float(travel.stop[0])
        total += drive * state * np.exp(view.exponent * (shares[:, None] * rest))
    return total


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Load:
    """Field of acceleration over the planned moves: what of it grows as they are stretched, and what does not.

    Attributes
    ----------
    stretches : list of (times, moved, turned)
        For each stretch in which the field is smooth: times from the start (n,), and the part that is due to
        acceleration (k, n) and to the turn of gravity (k, n).
    """

    stretches: list[tuple[Array, Array, Array]]

    @property
    def samples(self) -> int:
        """How many in all."""
        return sum(len(times) for times, _, _ in self.stretches)


def load_of(travels: tuple[Travel, ...], periods: float) -> Load:
    """The load of moves that may last so many periods of a mode: dense enough not to shake it by itself."""
    # The curve through keys has no jumps of acceleration but at its ends, so that only those cut it.
    marks = [travel.events(0) if travel.keys is None else travel.keys.times[[0, -1]] for travel in travels]
    events = np.unique(np.concatenate(marks))
    whole = events[-1] - events[0]
    events = events[np.concatenate([[True], np.diff(events) > 1e-9 * whole])]
    keys = np.concatenate([np.zeros(0), *(one.keys.times for one in travels if one.keys is not None)])
    wanted = max(2 * _IN_STRETCH, min(_SAMPLES_A_PERIOD * periods, MOST_SAMPLES))
    width = 12 if is_turning(travels) else 3
    stretches = []
    for start, stop in pairwise(events):
        inside_keys = int(((keys > start) & (keys < stop)).sum())
        count = max(4, math.ceil(wanted * (stop - start) / whole), SAMPLES_A_KEY * inside_keys)
        times = np.linspace(start, stop, count + 1)
        inside = times.copy()
        inside[[0, -1]] += (
            np.array([1.0, -1.0]) * 1e-9 * (stop - start)
        )  # an acceleration may jump at the ends
        moved = frame_field(carriers(travels), inside, gravity=np.zeros(3))
        offset, gradient = moved.offset, moved.gradient.reshape(-1, 9)
        turned = moved.rotation.transpose(0, 2, 1) @ DOWN - DOWN
        push = np.concatenate([offset, gradient], axis=1)[:, :width].T
        pull = np.concatenate([turned, np.zeros_like(gradient)], axis=1)[:, :width].T
        stretches.append((times - events[0], push, pull))
    return Load(stretches=stretches)


def sampled_states(view: View, load: Load, shares: Array, gravity: Array) -> States:
    """The states of `slide_states` for moves that roll or have keys, (K, m).

    In time over the share s the equation of a mode is that of one of frequency omega s under the accelerations of the
    plan and ``gravity`` times the turned weight: s^2 where the moves are stretched by s, for that changes neither
    course, only their sizes; 1 where the frequency is s times the computed one, for that leaves the weight as it is.
    With the state z' = lambda z + f and f straight between samples a step h apart, w = lambda h,

    z_N = e^(N w) z_0 + h sum over k of e^((N - 1 - k) w) ((phi_1 - phi_2) f_k + phi_2 f_(k+1)),

    phi_1 = (e^w - 1)/w, phi_2 = (e^w - 1 - w)/w^2: the recurrence of `piecewise_linear_response`, of which only
    the end is wanted here, for many s at once. Fast modes, which follow such a load without ringing, are left out.
    """
    result = np.zeros((len(shares), len(view.omega)), dtype=np.complex128)
    block = max(1, int(_MOST_POWERS / max(math.isqrt(len(times)) for times, _, _ in load.stretches)))
    for mode in np.flatnonzero(view.slow).tolist():
        part = view.participation[mode]
        for first in range(0, len(shares), block):
            share, weight = shares[first : first + block], gravity[first : first + block]
            exponent = view.exponent[mode] * share
            # Before the first move the rig rests in its starting pose, where gravity points another way.
            rest = float(part @ load.stretches[0][2][:, 0]) / view.omega[mode] ** 2 * weight / share**2
            state = -np.conj(exponent) * rest
            for times, push, turned in load.stretches:
                step = float(times[-1] - times[0]) / (len(times) - 1)
                w = exponent * step
                growth = np.exp(w)
                once = (growth - 1) / w
                twice = (once - 1) / w
                force = np.stack([part @ push, part @ turned])
                sums = _weighted_sums(w, np.concatenate([force[:, :-1], force[:, 1:]]).T)
                before = sums[:, 0] + weight * sums[:, 1]
                after = sums[:, 2] + weight * sums[:, 3]
                state = np.exp(w * (len(times) - 1)) * state + step * (
                    (once - twice) * before + twice * after
                )
            result[first : first + block, mode] = state / exponent.imag
    return result


def _weighted_sums(exponents: States, columns: Array) -> States:
    """Sums of e^((n - 1 - k) w) times row k, for each exponent w: (K,) and (n, c) to (K, c).

    With n - 1 - k = a B + b the powers are products of two short rows of them, so that few have to be worked out.
    """
    count, width = columns.shape
    run = math.isqrt(count - 1) + 1
    rows = -(-count // run)
    backward = np.zeros((rows * run, width))
    backward[:count] = columns[::-1]
    within = np.exp(exponents[:, None] * np.arange(run))
    across = np.exp(exponents[:, None] * (run * np.arange(rows)))
    blocks = backward.reshape(rows, run, width).transpose(1, 0, 2).reshape(run, rows * width)
    sums = (within @ blocks).reshape(-1, rows, width)
    return np.asarray((across[:, None] @ sums)[:, 0])
