"""Timings of one prop's moves: profiles, nulls, shaping. Found by their end states, each computed again in full."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import RigcheckError
from rigcheck.model import Move, Prop
from rigcheck.motion.keyframes import KeyframePath
from rigcheck.motion.profiles import PROFILE_NAMES, profile
from rigcheck.motion.shaping import (
    Shaper,
    convolved,
    durations_to_try,
    insensitivity_width,
    lowest_durations,
    shaper_factor,
    still_durations,
    zv_shaper,
    zvd_shaper,
)
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import NOMINAL_PIXEL, grade
from rigcheck.studies.mode_words import direction_words
from rigcheck.studies.moves import Travel, is_turning
from rigcheck.studies.results import Status, worst
from rigcheck.studies.retime.results import (
    FREQUENCY_ERROR,
    Curve,
    ModeShare,
    MoveTiming,
    NullTime,
    ProfileTimes,
    ShapedMove,
    Timing,
)
from rigcheck.studies.retime.wobble import (
    MOST_SAMPLES,
    SAMPLES_A_KEY,
    Load,
    load_of,
    sampled_states,
    slide_states,
    view_of,
)
from rigcheck.studies.task import Task

__all__ = ["LONGEST_SEARCH", "TimingStudy", "travelling"]

Array = NDArray[np.float64]

States = NDArray[np.complex128]

_HANDLE = 1e-3
"""Times are handed out in whole milliseconds [s]."""
_FINE_HANDLE = 1e-4
"""Start and duration of each of several moves, so that they keep their proportions [s]."""
_ERRORS = np.linspace(1 - FREQUENCY_ERROR, 1 + FREQUENCY_ERROR, 41)
_REST = 0.05
"""Modes that matter leave out at most this share of the wobble."""
_MOST_SHAPED = 4
_MOST_SHAPED_TRIED = 20_000
"""Times a shaped move is tried at, each with five errors: what has more is so stiff that it needs no shaping."""
_NULL_DEPTH = 0.3
"""A dip counts as a null if it leaves less than this share of the crests beside it."""
_NULLS_EACH_SIDE = 3
_NULL_PERIODS = 8
"""Of the slowest mode that matters: how far from the planned time nulls are looked for."""
_MOST_TRACED = 1_500_000
"""Samples of all the wobbles that are traced in search of nulls."""
_CURVE_POINTS = 480
LONGEST_SEARCH = 4.0
"""Rolling and keyed moves are tried from an eighth of their planned time to this many times it."""
_TRIED_PER_PERIOD = 16
_MOST_TRIED = 1500
_ATTEMPTS = 20
_WIDEST_ERROR = 0.3


def travelling(prop: Prop) -> tuple[Move, ...]:
    """The moves of the file that became travels, in the same order."""
    return tuple(move for move in prop.move if move.kind != "acceleration")


class TimingStudy:
    """Everything that is looked for about one prop; times are those of all its moves together."""

    def __init__(self, *, task: Task, still: Outcome, moves: tuple[Move, ...], wanted: str | None) -> None:
        self.task, self.still, self.moves = task, still, moves
        self.scale, self.unit = (NOMINAL_PIXEL * 1e3, "mm") if task.eye is None else (1.0, "px")
        self.view = view_of(task, still)
        self.limit = task.limits.wobble
        self.keyed = any(travel.keys is not None for travel in task.travels)
        self.rolls = is_turning(task.travels)
        self.free = any(travel.keys is None for travel in task.travels)
        self.wanted = wanted if self.free else None
        self.plan = task.travels if self.wanted is None else self.with_profile(self.wanted)
        planned = {move.profile for move in moves if move.keys is None}
        self.planned = planned.pop() if len(planned) == 1 else None
        self.profile = self.wanted or self.planned or "as planned"
        self.begin = min(float(travel.start[0]) for travel in task.travels)
        self.total = max(float(travel.stop[0]) for travel in task.travels) - self.begin
        self._loads: list[tuple[tuple[Travel, ...], Load]] = []
        self._courses: dict[str, tuple[Travel, ...]] = {}

    # -- timings

    @property
    def names(self) -> tuple[str, ...]:
        """Profiles to look at; keys have a course of their own."""
        return PROFILE_NAMES if self.free else ("as planned",)

    @property
    def searchable(self) -> bool:
        """Whether other times can be tried."""
        count = sum(len(travel.keys.times) for travel in self.plan if travel.keys is not None)
        return SAMPLES_A_KEY * count <= MOST_SAMPLES

    def with_profile(self, name: str) -> tuple[Travel, ...]:
        """The moves with another profile in place of the planned ones; keys keep theirs."""
        return tuple(
            travel if travel.keys is not None else replace(travel, profile=profile(name, ramp=move.ramp))
            for travel, move in zip(self.task.travels, self.moves, strict=True)
        )

    def course(self, name: str) -> tuple[Travel, ...]:
        """The moves with a profile, made once."""
        if name not in self._courses:
            self._courses[name] = self.plan if name == "as planned" else self.with_profile(name)
        return self._courses[name]

    def stretched(self, travels: tuple[Travel, ...], total: float) -> tuple[Travel, ...]:
        """The moves over another total time, in numbers that can be typed."""
        share = total / self.total
        if len(travels) == 1 and travels[0].keys is None:
            return (replace(travels[0], duration=np.array([total])),)
        return tuple(self._one_stretched(travel, share) for travel in travels)

    def _one_stretched(self, travel: Travel, share: float) -> Travel:
        def typed(value: float) -> Array:
            return np.array([round(value / _FINE_HANDLE) * _FINE_HANDLE])

        start = self.begin + (float(travel.start[0]) - self.begin) * share
        if travel.keys is None:
            return replace(travel, start=typed(start), duration=typed(float(travel.duration[0]) * share))
        keys = travel.keys
        longer = KeyframePath(
            times=self.begin + (keys.times - self.begin) * share,
            displacement=keys.displacement,
            velocity=keys.velocity / share,
            acceleration=keys.acceleration / share**2,
            ends=keys.ends,
        )
        return replace(
            travel, start=longer.times[:1], duration=longer.times[-1:] - longer.times[:1], keys=longer
        )

    def timing(self, travels: tuple[Travel, ...], *, shaper: Shaper | None = None) -> Timing:
        """Compute one timing in full, as `check` does."""
        task = replace(self.task, travels=travels if shaper is None else _copies(travels, shaper))
        motion = task.move(self.still, course=False)
        grades = grade(self.still, motion, task.limits, task.eye)
        wobble, settle, strength = (grades[name] for name in ("residual-wobble", "settle", "yield-factor"))
        statuses = [Status(str(wobble.status[0])), Status(str(settle.status[0]))]
        if task.limits.hazard == "overhead":
            statuses.append(Status.CAUTION)
        factor, time = float(strength.value[0]), float(settle.value[0])
        return Timing(
            duration_s=max(float(travel.stop[0]) for travel in task.travels)
            - min(float(travel.start[0]) for travel in task.travels),
            moves=tuple(
                MoveTiming(
                    start_s=float(travel.start[0]),
                    duration_s=float(travel.duration[0]),
                    profile=None if travel.profile is None else travel.profile.name,
                )
                for travel in travels
            ),
            wobble=float(wobble.value[0]) * self.scale,
            wobble_off=self.view.largest(self._with_errors(travels, shaper, _ERRORS)) * self.scale,
            status=worst(statuses),
            settle_s=time if np.isfinite(time) else None,
            strength_factor=factor if np.isfinite(factor) else None,
            strength_status=Status(str(strength.status[0])),
        )

    def _off(self, travels: tuple[Travel, ...], shaper: Shaper | None, errors: Array) -> Array:
        """Wobble [px] with all frequencies times each of the errors."""
        return self.view.wobble(self._with_errors(travels, shaper, errors))

    def _with_errors(self, travels: tuple[Travel, ...], shaper: Shaper | None, errors: Array) -> States:
        """States when the moves have ended, with all frequencies times each of the errors."""
        states = self._states(travels, errors, stretch=np.ones(len(errors)))
        return states if shaper is None else np.asarray(states * self._factors(shaper, errors))

    def _states(self, travels: tuple[Travel, ...], shares: Array, *, stretch: Array | None = None) -> States:
        """States when the moves have ended, stretched by each share.

        With `stretch` they are stretched by that, and the share over it is what all frequencies are off by.
        """
        gravity = (shares if stretch is None else stretch) ** 2
        if not self.rolls and not self.keyed:
            return slide_states(self.view, travels, shares)
        for course, load in self._loads:
            if course is travels:
                return sampled_states(self.view, load, shares, gravity)
        fastest = float(self.view.omega[self.view.slow].max()) / (2 * np.pi)
        self._loads = [(travels, load_of(travels, LONGEST_SEARCH * self.total * fastest))]
        return sampled_states(self.view, self._loads[0][1], shares, gravity)

    # -- profiles

    def profile_times(self, name: str) -> ProfileTimes:
        """How fast one profile can be."""
        course = self.course(name)
        planned = name in (self.planned, "as planned")
        wobble = float(self.view.wobble(self._states(course, np.ones(1)))[0]) * self.scale

        def answer(says: str, **found: Timing | None) -> ProfileTimes:
            times: dict[str, Timing | None] = {"first": None, "always": None, "sure": None, **found}
            return ProfileTimes(profile=name, planned=planned, wobble=wobble, says=says, **times)

        if not self.searchable:
            return answer("Too many keys to try other times.")
        if self.view.constant >= self.limit:
            return answer("The move of which only the acceleration is known wobbles too much on its own.")

        def left(times: Array) -> Array:
            return self.view.compared(self._states(course, times / self.total), self.limit)

        try:
            tried = self._tried(course)
            found = still_durations(left, tried=tried, limit=self.limit, resolution=_FINE_HANDLE)
        except RigcheckError:
            return answer("The limit is too fine to try every time up to the one that keeps it.")
        if not np.isfinite(found.first):
            return answer(f"Not still at any time tried, up to {tried[-1]:.3g} s.")
        if found.always == 0.0:
            return answer("Still at any time: it hardly moves the picture.")
        first = self._typed(course, found.first, until=found.until)
        if not np.isfinite(found.always):
            return answer(f"Not always still up to {tried[-1]:.3g} s, the longest time tried.", first=first)
        sure = self._sure(course, found.always, float(tried[-1]))
        says = (
            "" if first is not None else "Still at any short time too: it then moves too little to be seen."
        )
        if sure is None:
            says = f"Sure only beyond {tried[-1]:.3g} s, the longest time tried, if at all."
        return answer(says, first=first, always=self._typed(course, found.always), sure=sure)

    def _sure(self, course: tuple[Travel, ...], always: float, longest: float) -> Timing | None:
        """The timing that is still with the frequencies up to 10 % off, if what was tried tells it."""
        time = always / (1 - FREQUENCY_ERROR)
        if not (self.rolls or self.keyed):
            return self._typed(course, time)  # beyond what was tried it is always still
        for _ in range(_ATTEMPTS):
            if time * (1 + FREQUENCY_ERROR) > longest:
                return None
            found = self._typed(course, time)
            # Softer than computed it also sags more as it rolls, which a longer move does not.
            if found is None or found.wobble_off <= self.limit * self.scale:
                return found
            time *= 1.02
        return None

    def _typed(self, course: tuple[Travel, ...], time: float, *, until: float = math.inf) -> Timing | None:
        """The timing at the next whole millisecond, or a little more where rounding needs it."""
        if time == 0.0:
            return None
        total = math.ceil(time / _HANDLE - 1e-6) * _HANDLE
        if total > until:
            return self.timing(self.stretched(course, (time + until) / 2))
        found = self.timing(self.stretched(course, total))
        if found.wobble > self.limit * self.scale and total + _HANDLE <= until:
            found = self.timing(self.stretched(course, total + _HANDLE))
        return found

    def _tried(self, course: tuple[Travel, ...], factor: Array | float = 1.0, *, room: float = 1.0) -> Array:
        """Times from very short ones up to one from which on it is always still (or as far as is looked).

        With a shaper, `factor` is what it leaves of each mode, and `room` how much slower the modes may be.
        """
        if self.rolls or self.keyed:
            fastest = float(self.view.omega[self.view.slow].max())
            wanted = math.ceil(LONGEST_SEARCH * self.total * fastest / (2 * np.pi) * _TRIED_PER_PERIOD)
            return np.linspace(1 / 8, LONGEST_SEARCH, min(max(64, wanted), _MOST_TRIED)) * self.total
        size = 2 * self.view.size * factor
        drives = [
            self.view.participation[:, :3] @ np.array(travel.direction) * float(travel.stroke[0])
            for travel in course
        ]
        return room * durations_to_try(
            [travel.profile for travel in course if travel.profile is not None],
            angular_frequency=self.view.omega,
            damping_ratio=self.view.zeta,
            weights=np.abs(drives) * size,
            amplitude_limit=self.limit - self.view.constant,
            shares=[float(travel.duration[0]) / self.total for travel in course],
        )

    # -- nulls and the curve

    def nulls(self, matters: tuple[int, ...]) -> tuple[NullTime, ...]:
        """Times near the planned one at which the vibration cancels itself."""
        if not self.searchable or not matters or self.view.constant >= self.limit:
            return ()
        omega = [float(self.view.omega[self.view.groups[group]].max()) for group in matters]
        # As far as a few periods of the slowest: with all frequencies 10 % off, those farther away mean nothing.
        window = _NULL_PERIODS * 2 * np.pi / min(omega)
        start, stop = max(0.5 * self.total, self.total - window), min(2.0 * self.total, self.total + window)
        wanted = max(129, math.ceil((stop - start) * max(omega) / (2 * np.pi) * 32))
        dips = self._dips(np.linspace(start, stop, min(wanted, max(400, _MOST_TRACED // self.view.samples))))
        before, after = dips[dips < self.total], dips[dips >= self.total]
        near = np.concatenate([before[-_NULLS_EACH_SIDE:], after[:_NULLS_EACH_SIDE]])
        return tuple(self._null(round(time / _HANDLE) * _HANDLE) for time in near.tolist())

    def _dips(self, times: Array) -> Array:
        """Times at which the wobble is much less than at the crests beside them."""

        def left(at: Array) -> Array:
            return self.view.wobble(self._states(self.plan, at / self.total))

        dips = lowest_durations(left, tried=times, resolution=_FINE_HANDLE)
        if not dips.size:
            return dips
        depth = left(dips)
        wobble = left(times)
        edges = np.searchsorted(times, dips)
        bounds = [0, *edges.tolist(), len(times)]
        crests = [
            min(wobble[low:here].max(initial=0.0), wobble[here:high].max(initial=0.0))
            for low, here, high in zip(bounds[:-2], bounds[1:-1], bounds[2:], strict=True)
        ]
        return dips[depth - self.view.constant < _NULL_DEPTH * (np.array(crests) - self.view.constant)]

    def _null(self, time: float) -> NullTime:
        errors = np.array([1.0, *_ERRORS])
        share = np.full(len(errors), time / self.total)
        off = self.view.wobble(self._states(self.plan, share * errors, stretch=share)) * self.scale
        return NullTime(
            duration_s=time,
            wobble=float(off[0]),
            low=float(off[1]),
            high=float(off[-1]),
            worst=float(off.max()),
        )

    def curve(self, rows: list[ProfileTimes]) -> Curve | None:
        """Wobble against the time of the move, from a quarter of the planned one to the double or a sure one."""
        if not self.searchable:
            return None
        own = next((row.sure for row in rows if row.profile == self.profile), None)
        longest = 2.0 if own is None else float(np.clip(1.1 * own.duration_s / self.total, 2.0, 4.0))
        times = np.linspace(0.25, longest, _CURVE_POINTS) * self.total
        wobble = self.view.wobble(self._states(self.plan, times / self.total)) * self.scale
        return Curve(duration_s=tuple(times.tolist()), wobble=tuple(wobble.tolist()))

    # -- shaping

    def modes(self) -> tuple[tuple[ModeShare, ...], tuple[int, ...]]:
        """Shares of the wobble, largest first, and the groups of modes that matter.

        Each counts by the most it can leave with its frequency up to 10 % off: a mode on whose null the plan happens
        to lie is no less to be shaped for that.
        """
        states = self._states(self.plan, _ERRORS, stretch=np.ones(len(_ERRORS)))
        most = self.view.swing(states).max(axis=0)
        whole = float(most.sum())
        if whole == 0.0:
            return (), ()
        order = np.argsort(-most, kind="stable")
        left_out = whole - np.cumsum(most[order])
        enough = left_out <= max(_REST * whole, _REST * self.limit)
        count = min(int(np.argmax(enough)) + 1, _MOST_SHAPED)
        listed = []
        for rank, index in enumerate(order.tolist()):
            if rank >= count and most[index] < 0.01 * whole:
                break
            group = self.view.groups[index]
            vector = states[:, group] @ self.view.shape[:, group].T
            strongest = vector[np.abs(vector).sum(axis=1).argmax()]
            phase = strongest[np.abs(strongest).argmax()]
            listed.append(
                ModeShare(
                    frequency_Hz=float(self.view.omega[group][0]) / (2 * np.pi),
                    direction=direction_words(np.real(strongest * np.conj(phase))),
                    share=float(most[index]) / whole,
                    matters=rank < count,
                )
            )
        return tuple(listed), tuple(order[:count].tolist())

    def shaped_moves(self, matters: tuple[int, ...]) -> tuple[ShapedMove, ...]:
        """Two- and three-impulse shaping of slides."""
        if self.rolls or not matters or self.view.constant >= self.limit:
            return ()
        return tuple(
            self._shaped(name, impulses, make, matters)
            for name, impulses, make in (("two-impulse", 2, zv_shaper), ("three-impulse", 3, zvd_shaper))
        )

    def _shaped(
        self, name: str, impulses: int, make: Callable[..., Shaper], matters: tuple[int, ...]
    ) -> ShapedMove:
        zeta = self.view.zeta
        frequencies = [float(self.view.omega[self.view.groups[index]][0]) for index in sorted(matters)]
        shaper = convolved(*(make(angular_frequency=omega, damping_ratio=zeta) for omega in frequencies))
        timing = self.timing(self.plan, shaper=shaper)
        unshaped = float(self.view.wobble(self._states(self.plan, np.ones(1)))[0]) * self.scale
        errors = np.linspace(1 - _WIDEST_ERROR, 1 + _WIDEST_ERROR, 121)
        off = self._off(self.plan, shaper, errors)
        ends = self._off(self.plan, shaper, np.array([1 - FREQUENCY_ERROR, 1 + FREQUENCY_ERROR])) * self.scale
        return ShapedMove(
            name=name,
            impulses=impulses,
            times_s=tuple(shaper.times.tolist()),
            shares=tuple(shaper.amplitudes.tolist()),
            added_s=shaper.delay,
            timing=timing,
            residual_share=timing.wobble / unshaped if unshaped > 0.0 else None,
            low=float(ends[0]),
            high=float(ends[1]),
            forgives=_forgiven(errors, off <= self.limit),
            widths=tuple(
                (
                    omega / (2 * np.pi),
                    insensitivity_width(shaper, angular_frequency=omega, damping_ratio=zeta),
                )
                for omega in frequencies
            ),
            quickest=self._quickest_shaped(shaper),
        )

    def _quickest_shaped(self, shaper: Shaper) -> Timing | None:
        if self.keyed or self.view.constant >= self.limit:
            return None
        errors = np.linspace(1 - FREQUENCY_ERROR, 1 + FREQUENCY_ERROR, 5)
        factors = self._factors(shaper, errors)

        def left(times: Array) -> Array:
            shares = times / self.total
            each = [
                self.view.compared(self._states(self.plan, shares * error) * factor, self.limit)
                for error, factor in zip(errors, factors, strict=True)
            ]
            return np.asarray(np.max(each, axis=0))

        try:
            tried = self._tried(self.plan, np.abs(factors).max(axis=0), room=1 / (1 - FREQUENCY_ERROR))
            if len(tried) > _MOST_SHAPED_TRIED:
                return None
            found = still_durations(left, tried=tried, limit=self.limit, resolution=_FINE_HANDLE)
        except RigcheckError:
            return None
        if not np.isfinite(found.always):
            return None
        total = max(_HANDLE, math.ceil(found.always / _HANDLE) * _HANDLE)
        for _ in range(_ATTEMPTS):
            timing = self.timing(self.stretched(self.plan, total), shaper=shaper)
            if timing.wobble_off <= self.limit * self.scale:
                return timing
            total = math.ceil(1.01 * total / _HANDLE) * _HANDLE
        return None

    def _factors(self, shaper: Shaper, errors: Array) -> States:
        """What the shaper makes of each mode with its frequency times each error, (errors, m)."""
        factor: States = shaper_factor(
            shaper, angular_frequency=self.view.omega * errors[:, None], damping_ratio=self.view.zeta
        )
        return factor


def _copies(travels: tuple[Travel, ...], shaper: Shaper) -> tuple[Travel, ...]:
    """The shaped slides as what they are: delayed, smaller copies that go on together."""
    copies = []
    for travel in travels:
        for delay, amplitude in zip(shaper.times.tolist(), shaper.amplitudes.tolist(), strict=True):
            keys = travel.keys
            if keys is not None:
                keys = KeyframePath(
                    times=keys.times + delay,
                    displacement=keys.displacement * amplitude,
                    velocity=keys.velocity * amplitude,
                    acceleration=keys.acceleration * amplitude,
                    ends=keys.ends,
                )
            stroke = travel.stroke if keys is not None else travel.stroke * amplitude
            copies.append(replace(travel, start=travel.start + delay, stroke=stroke, keys=keys))
    return tuple(copies)


def _forgiven(errors: Array, good: NDArray[np.bool_]) -> tuple[float, float] | None:
    """The stretch of errors around none that are good."""
    middle = len(errors) // 2
    if not good[middle]:
        return None
    down = middle - int(np.argmin(np.append(good[middle::-1], False))) + 1
    up = middle + int(np.argmin(np.append(good[middle:], False))) - 1
    return float(errors[down] - 1), float(errors[up] - 1)
