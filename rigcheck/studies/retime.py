"""How fast a move can go and still arrive still: other times, other profiles, input shaping, one thing to do.

Searching a few thousand timings goes through the state in which the modes are left at the end of the move, in closed
form for slides; every timing that is handed back is computed again with the full `Task.move`, as `check` does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, RigcheckError, UnknownNameError
from rigcheck.model import Move, Prop, Shot
from rigcheck.motion.distance_measures import peak_to_peak_distance
from rigcheck.motion.keyframes import KeyframePath, keyframe_path
from rigcheck.motion.moving_frame import frame_field
from rigcheck.motion.profiles import PROFILE_NAMES, profile
from rigcheck.motion.response import end_state
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
from rigcheck.studies.cautions import cautions
from rigcheck.studies.cures import Task
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import CAUTION_SHARE, NOMINAL_PIXEL, grade
from rigcheck.studies.mode_words import direction_words
from rigcheck.studies.moving import Travel, carriers, is_turning
from rigcheck.studies.reading import Reading, read_prop
from rigcheck.studies.results import Status, worst
from rigcheck.studies.rigs import GRAVITY
from rigcheck.units import parse_quantity, registry

__all__ = [
    "FREQUENCY_ERROR",
    "Curve",
    "ExportedKeys",
    "ModeShare",
    "MoveTiming",
    "NullTime",
    "ProfileTimes",
    "PropRetiming",
    "Recommendation",
    "RetimeResult",
    "ShapedMove",
    "Timing",
    "export_keys",
    "retime",
]

Array = NDArray[np.float64]
States = NDArray[np.complex128]

FREQUENCY_ERROR = 0.1
"""How far off the computed frequencies may be for a timing that is called sure: a choice, and common practice."""

_OFF = f"{100 * FREQUENCY_ERROR:.0f} %"
_HANDLE = 1e-3
"""Times are handed out in whole milliseconds [s]."""
_FINE_HANDLE = 1e-4
"""Start and duration of each of several moves, so that they keep their proportions [s]."""
_EQUAL = 1e-6
_TRACED_SHARE = 1e-3
_SAMPLES_PER_PERIOD = 48
_BLOCK = 256
_ERRORS = np.linspace(1 - FREQUENCY_ERROR, 1 + FREQUENCY_ERROR, 41)
_REST = 0.05
"""Modes that matter leave out at most this share of the wobble."""
_MOST_SHAPED = 4
_NULL_DEPTH = 0.3
"""A dip counts as a null if it leaves less than this share of the crests beside it."""
_NULLS_EACH_SIDE = 3
_CURVE_POINTS = 480
_IN_STRETCH = 96
"""Samples of a stretch of a rolling or keyed move while searching; what is handed back takes more."""
_MOST_SAMPLES = 20_000
_LONGEST_SEARCH = 4.0
"""Rolling and keyed moves are tried from an eighth of their planned time to this many times it."""
_TRIED_PER_PERIOD = 16
_SAMPLES_A_PERIOD = 12
_SAMPLES_A_KEY = 4
_MOST_TRIED = 1500
_SLOW_SHARE = 0.02
_ATTEMPTS = 20
_MOST_POWERS = 1e6
_WIDEST_ERROR = 0.3
_DOWN = np.array([0.0, -GRAVITY, 0.0])


@dataclass(frozen=True, kw_only=True)
class MoveTiming:
    """One move of a timing, as the rig file would say it.

    Attributes
    ----------
    start_s, duration_s : float
        [s].
    profile : str or None
        None for keys.
    """

    start_s: float
    duration_s: float
    profile: str | None


@dataclass(frozen=True, kw_only=True)
class Timing:
    """One way to time the moves, computed in full.

    Attributes
    ----------
    duration_s : float
        From the first start to the last stop [s].
    moves : tuple of MoveTiming
        In the order of the file. Of a shaped move: the moves before shaping.
    wobble : float
        After the moves, peak to peak, in the unit of the result.
    wobble_off : float
        The most it can be while all frequencies are up to 10 % off.
    status : Status
        Of the wobble, as `check` grades it; never a pass where the hazard is overhead.
    settle_s : float or None
        None where it never comes to rest.
    strength_factor : float or None
        Settled and moving; None where no strength is known.
    strength_status : Status
        Of that factor.
    """

    duration_s: float
    moves: tuple[MoveTiming, ...]
    wobble: float
    wobble_off: float
    status: Status
    settle_s: float | None
    strength_factor: float | None
    strength_status: Status


@dataclass(frozen=True, kw_only=True)
class ProfileTimes:
    """How fast one profile can be.

    Attributes
    ----------
    profile : str
        Its name, or ``as planned`` for moves that have no profile to change.
    planned : bool
        Whether the file has it.
    wobble : float
        Over the planned time.
    first : Timing or None
        The shortest time that arrives still: on a null perhaps, so that longer ones may not. None: there is none.
    always : Timing or None
        From here on every longer time arrives still; None where that is not reached.
    sure : Timing or None
        The same with frequencies up to 10 % off.
    says : str
        Why one of them is missing, or what is special; else empty.
    """

    profile: str
    planned: bool
    wobble: float
    first: Timing | None
    always: Timing | None
    sure: Timing | None
    says: str = ""


@dataclass(frozen=True, kw_only=True)
class NullTime:
    """A time of the whole move at which the vibration it causes cancels itself.

    Attributes
    ----------
    duration_s : float
        [s].
    wobble, low, high, worst : float
        There; with all frequencies 10 % lower; 10 % higher; the most for any error up to that.
    """

    duration_s: float
    wobble: float
    low: float
    high: float
    worst: float


@dataclass(frozen=True, kw_only=True)
class ModeShare:
    """One mode (or a pair of equal frequency) and its share of the wobble.

    Attributes
    ----------
    frequency_Hz : float
        [Hz].
    direction : str
        In words.
    share : float
        Of the sum over all modes of the most each can leave with the frequencies up to 10 % off.
    matters : bool
        Whether shaping takes it in.
    """

    frequency_Hz: float
    direction: str
    share: float
    matters: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class ShapedMove:
    """The planned move as a sum of delayed copies of itself (N. C. Singer and W. P. Seering, 1990).

    Attributes
    ----------
    name : str
        ``two-impulse`` or ``three-impulse``.
    impulses : int
        For each mode that matters.
    times_s, shares : tuple of float
        Delays and shares of all copies.
    added_s : float
        How much longer the move takes [s].
    timing : Timing
        Shaped, computed in full.
    residual_share : float or None
        Wobble over that of the unshaped move; None where that has none.
    low, high : float
        Wobble with all frequencies 10 % lower, 10 % higher.
    forgives : tuple of float, or None
        Largest errors in frequency, as shares, down and up, at which it still arrives still; looked for up to
        0.3. None where it does not even without an error.
    widths : tuple of (float, float)
        For each mode shaped: its frequency [Hz], and the width of the band around it, as a share, in which the
        shaper leaves under 5 % of the mode's vibration.
    quickest : Timing or None
        The shortest such move from which on every longer one is sure to arrive still, with the frequencies up to
        10 % off; None where it is not known.
    """

    name: str
    impulses: int
    times_s: tuple[float, ...]
    shares: tuple[float, ...]
    added_s: float
    timing: Timing
    residual_share: float | None
    low: float
    high: float
    forgives: tuple[float, float] | None
    widths: tuple[tuple[float, float], ...]
    quickest: Timing | None

    @property
    def shaper(self) -> Shaper:
        """The impulses."""
        return Shaper(times=np.array(self.times_s), amplitudes=np.array(self.shares))


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """One thing to do.

    Attributes
    ----------
    kind : str
        ``keep``, ``profile``, ``longer``, ``shape`` or ``none``.
    says : str
        In words, with its computed effect.
    timing : Timing or None
        That effect.
    """

    kind: str
    says: str
    timing: Timing | None


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Wobble after the move against the time it takes, both tuples of equal length."""

    duration_s: tuple[float, ...]
    wobble: tuple[float, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class PropRetiming:
    """Everything found about the timing of one prop's moves.

    Attributes
    ----------
    name, support : str
        The prop, and what carries it.
    unit : str
        Of every wobble: ``px``, or ``mm`` without a camera.
    limit : float
        Most wobble that counts as still, in that unit.
    status : Status
        Of the plan, its strength counted; ``skipped`` where nothing could be timed.
    profile : str
        The profile that plan, nulls and shaping stand for.
    plan : Timing or None
        As the file has it (with ``--profile`` in its place).
    profiles, nulls, modes, shaped : tuple
        See there.
    curve : Curve or None
        Around the planned time.
    notes : tuple of str
        What is and is not retimed or shaped, and why.
    recommendation : Recommendation
        One thing to do.
    assumptions, cautions : tuple of str
        As for `check`.
    """

    name: str
    support: str
    unit: str
    limit: float
    status: Status
    profile: str
    plan: Timing | None
    profiles: tuple[ProfileTimes, ...] = ()
    nulls: tuple[NullTime, ...] = ()
    modes: tuple[ModeShare, ...] = ()
    shaped: tuple[ShapedMove, ...] = ()
    curve: Curve | None = None
    notes: tuple[str, ...] = ()
    recommendation: Recommendation
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class RetimeResult:
    """The timing of a shot, prop by prop."""

    title: str
    verdict: Status
    props: tuple[PropRetiming, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ExportedKeys:
    """Keyframes that were written.

    Attributes
    ----------
    prop : str
        Whose.
    shaped : str
        ``two-impulse`` or ``three-impulse``.
    files : tuple of Path
        One for each slide, in the order of the file.
    rate_Hz : float
        Keys a second.
    keys : int
        In each file.
    wobble, unit : float, str
        After these keys, read back and computed in full.
    planned : float
        The same of the shaped move before sampling.
    status : Status
        Of that wobble.
    rows : tuple of str
        What to write in the rig file, one text for each slide.
    says : str
        One sentence.
    """

    prop: str
    shaped: str
    files: tuple[Path, ...]
    rate_Hz: float
    keys: int
    wobble: float
    unit: str
    planned: float
    status: Status
    rows: tuple[str, ...]
    says: str


Progress = Callable[[str, int, int], None]


def retime(
    shot: Shot, *, prop: str | None = None, profile: str | None = None, progress: Progress | None = None
) -> RetimeResult:
    """Find how fast the moves of a shot can go and still arrive still.

    Parameters
    ----------
    shot : Shot
        As read from a rig file, or built in Python.
    prop : str, optional
        Name of the only prop to look at.
    profile : str, optional
        Look at this profile in place of the planned one.
    progress : callable, optional
        Told what is being done, how many steps are done, and of how many.

    Returns
    -------
    RetimeResult

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name, or there is no such profile.

    Notes
    -----
    All moves of a prop are stretched together, their starts too. *Still* is a wobble within ``limits.wobble``, in
    pixels, or in tenths of a millimetre without a camera. A frequency that is off by a share f does what the same
    move stretched by 1 + f does, so that the wobble of one rig over all times also tells how much a time forgives;
    where gravity turns, the sag is as much off as the stiffness, and that is counted.
    """
    if profile is not None and profile not in PROFILE_NAMES:
        raise UnknownNameError(
            f'profile: "{profile}" is not known; choose one of {", ".join(PROFILE_NAMES)}.'
        )
    chosen = shot.prop if prop is None else (shot.find_prop(prop),)
    steps = len(PROFILE_NAMES) + 1
    results = []
    for number, one in enumerate(chosen):

        def step(done: int, one: Prop = one, number: int = number) -> None:
            if progress is not None:
                progress(one.name, number * steps + done, len(chosen) * steps)

        results.append(_retime_prop(shot, one, profile, step))
    return RetimeResult(
        title=shot.title,
        verdict=worst([result.status for result in results]),
        props=tuple(results),
        cautions=cautions(shot.limits.hazard),
    )


def _retime_prop(shot: Shot, prop: Prop, wanted: str | None, step: Callable[[int], None]) -> PropRetiming:
    step(0)
    reading = read_prop(shot, prop)
    task = reading.task
    still = task.evaluate()
    reason = _why_not(task, still)
    if reason is not None:
        return _skipped(reading, prop, task, reason)
    study = _Study(task=task, still=still, moves=_travelling(prop), wanted=wanted)
    rows = []
    for done, name in enumerate(study.names):
        rows.append(study.profile_times(name))
        step(done + 1)
    modes, matters = study.modes()
    shaped = study.shaped_moves(matters)
    plan = study.timing(study.plan)
    return PropRetiming(
        name=prop.name,
        support=reading.support,
        unit=study.unit,
        limit=task.limits.wobble * study.scale,
        status=worst([plan.status, plan.strength_status]),
        profile=study.profile,
        plan=plan,
        profiles=tuple(rows),
        nulls=study.nulls(matters),
        modes=modes,
        shaped=shaped,
        curve=study.curve(rows),
        notes=tuple(study.notes()),
        recommendation=_with_strength(study.recommend(plan, rows, shaped)),
        assumptions=_assumptions(shot, reading),
        cautions=cautions(task.limits.hazard, reading.cautions),
    )


def _with_strength(recommendation: Recommendation) -> Recommendation:
    """A timing may be still and yet too much for the support: never leave that unsaid."""
    timing = recommendation.timing
    if timing is None or timing.strength_status is not Status.FAIL:
        return recommendation
    says = f"{recommendation.says} The support is not strong enough for it: see rigcheck check."
    return replace(recommendation, says=says)


def _why_not(task: Task, still: Outcome) -> str | None:
    if not task.travels and task.pushes:
        return "Only the peak acceleration of the move is known, and that has no times to change."
    if not task.travels:
        return "No move is given."
    if not still.solved[0]:
        return "The support folds under its load, so that there is nothing to time; see rigcheck check."
    return None


def _skipped(reading: Reading, prop: Prop, task: Task, reason: str) -> PropRetiming:
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if task.eye is None else (1.0, "px")
    return PropRetiming(
        name=prop.name,
        support=reading.support,
        unit=unit,
        limit=task.limits.wobble * scale,
        status=Status.SKIPPED,
        profile="",
        plan=None,
        notes=(reason,),
        recommendation=Recommendation(kind="none", says=reason, timing=None),
        assumptions=reading.assumptions,
        cautions=cautions(task.limits.hazard, reading.cautions),
    )


def _travelling(prop: Prop) -> tuple[Move, ...]:
    """The moves of the file that became travels, in the same order."""
    return tuple(move for move in prop.move if move.kind != "acceleration")


def _assumptions(shot: Shot, reading: Reading) -> tuple[str, ...]:
    said = [*reading.assumptions]
    if shot.camera is None:
        said.append("No [camera] is given: wobble is graded as if a pixel spanned 0.1 mm at the prop.")
    said.append(
        f"Sure times hold with every frequency up to {_OFF} off the computed one; a test take gives"
        " the real one."
    )
    return tuple(said)


# -- the wobble of many timings -------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _View:
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
            matters = (part > _TRACED_SHARE * largest).any(axis=0)
            if not matters.any():
                continue
            cycles = self.periods * float(self.omega[matters].max()) / float(self.omega[0])
            count = int(np.clip(math.ceil(cycles * _SAMPLES_PER_PERIOD), 160, 4000)) + 1
            times = np.linspace(0, 1, count) * (self.periods * 2 * np.pi / self.omega[0])
            turn = np.exp(self.exponent[matters, None] * times)
            for part_seen in (self.seen, self.growth)[: 1 + deep]:
                weights = block[:, None, matters] * part_seen[:, matters]
                path = weights.real @ turn.imag + weights.imag @ turn.real
                result[first : first + _BLOCK] += peak_to_peak_distance(path)
        return result + self.constant

    def compared(self, states: States, limit: float) -> Array:
        """The wobble where it takes more than bounds to tell on which side of the limit it is, else a bound."""
        swing = self.swing(states)
        order = np.argmax(swing, axis=1)
        strongest = np.take_along_axis(swing, order[:, None], axis=1)[:, 0]
        most = swing.sum(axis=1)
        # Over a period of the strongest mode both its ends are reached; the others can take off their sizes.
        decay = math.exp(-2 * np.pi * self.zeta / math.sqrt(1 - self.zeta**2))
        least = strongest * decay - (most - strongest) if self.periods >= 1 else np.zeros(len(states))
        result = most + self.constant
        unclear = (result > limit) & (least + self.constant <= limit)
        if unclear.any():
            result[unclear] = self.wobble(states[unclear])
        return np.asarray(result)


def _view(task: Task, still: Outcome) -> _View:
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
        constant = _graded_wobble(alone.residual, alone.residual_px)
    return _View(
        omega=dynamics.angular_frequency[0, :count],
        zeta=float(still.rig.damping_ratio[0]),
        participation=dynamics.participation[0, :count],
        shape=shape,
        seen=seen,
        growth=growth[None],
        periods=still.settings.residual_periods,
        constant=constant,
    )


def _graded_wobble(residual: Array, residual_px: Array | None) -> float:
    return float(residual[0] / NOMINAL_PIXEL if residual_px is None else residual_px[0])


def _slide_states(view: _View, travels: tuple[Travel, ...], shares: Array) -> States:
    """States q'/omega_d + ... of the modes when the last slide ends, for slides stretched by each share, (K, m).

    Closed form; each slide's vibration decays on until the last one has ended.
    """
    omega, zeta = view.omega, view.zeta
    root = math.sqrt(1 - zeta**2)
    last = max(float(travel.stop[0]) for travel in travels)
    total = np.zeros((len(shares), len(omega)), dtype=np.complex128)
    for travel in travels:
        assert travel.profile is not None  # keys go through _sampled_states
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


@dataclass(frozen=True, kw_only=True, eq=False)
class _Load:
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


def _load(travels: tuple[Travel, ...], periods: float) -> _Load:
    """The load of moves that may last so many periods of a mode: dense enough not to shake it by itself."""
    # The curve through keys has no jumps of acceleration but at its ends, so that only those cut it.
    marks = [travel.events(0) if travel.keys is None else travel.keys.times[[0, -1]] for travel in travels]
    events = np.unique(np.concatenate(marks))
    whole = events[-1] - events[0]
    events = events[np.concatenate([[True], np.diff(events) > 1e-9 * whole])]
    keys = np.concatenate([np.zeros(0), *(one.keys.times for one in travels if one.keys is not None)])
    wanted = max(2 * _IN_STRETCH, min(_SAMPLES_A_PERIOD * periods, _MOST_SAMPLES))
    width = 12 if is_turning(travels) else 3
    stretches = []
    for start, stop in pairwise(events):
        inside_keys = int(((keys > start) & (keys < stop)).sum())
        count = max(4, math.ceil(wanted * (stop - start) / whole), _SAMPLES_A_KEY * inside_keys)
        times = np.linspace(start, stop, count + 1)
        inside = times.copy()
        inside[[0, -1]] += (
            np.array([1.0, -1.0]) * 1e-9 * (stop - start)
        )  # an acceleration may jump at the ends
        moved = frame_field(carriers(travels), inside, gravity=np.zeros(3))
        offset, gradient = moved.offset, moved.gradient.reshape(-1, 9)
        turned = moved.rotation.transpose(0, 2, 1) @ _DOWN - _DOWN
        push = np.concatenate([offset, gradient], axis=1)[:, :width].T
        pull = np.concatenate([turned, np.zeros_like(gradient)], axis=1)[:, :width].T
        stretches.append((times - events[0], push, pull))
    return _Load(stretches=stretches)


def _sampled_states(view: _View, load: _Load, shares: Array, gravity: Array) -> States:
    """The states of `_slide_states` for moves that roll or have keys, (K, m).

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


# -- the study of one prop ------------------------------------------------------------------------------


class _Study:
    """Everything that is looked for about one prop; times are those of all its moves together."""

    def __init__(self, *, task: Task, still: Outcome, moves: tuple[Move, ...], wanted: str | None) -> None:
        self.task, self.still, self.moves = task, still, moves
        self.scale, self.unit = (NOMINAL_PIXEL * 1e3, "mm") if task.eye is None else (1.0, "px")
        self.view = _view(task, still)
        self.limit = task.limits.wobble
        self.keyed = any(travel.keys is not None for travel in task.travels)
        self.rolls = is_turning(task.travels)
        self.free = any(travel.keys is None for travel in task.travels)
        self.wanted = wanted if self.free else None
        self.plan = task.travels if self.wanted is None else self._with_profile(self.wanted)
        planned = {move.profile for move in moves if move.keys is None}
        self.planned = planned.pop() if len(planned) == 1 else None
        self.profile = self.wanted or self.planned or "as planned"
        self.begin = min(float(travel.start[0]) for travel in task.travels)
        self.total = max(float(travel.stop[0]) for travel in task.travels) - self.begin
        self._loads: list[tuple[tuple[Travel, ...], _Load]] = []
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
        return _SAMPLES_A_KEY * count <= _MOST_SAMPLES

    def _with_profile(self, name: str) -> tuple[Travel, ...]:
        return tuple(
            travel if travel.keys is not None else replace(travel, profile=profile(name, ramp=move.ramp))
            for travel, move in zip(self.task.travels, self.moves, strict=True)
        )

    def _course(self, name: str) -> tuple[Travel, ...]:
        if name not in self._courses:
            self._courses[name] = self.plan if name == "as planned" else self._with_profile(name)
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
            wobble_off=float(self._off(travels, shaper, _ERRORS).max()) * self.scale,
            status=worst(statuses),
            settle_s=time if np.isfinite(time) else None,
            strength_factor=factor if np.isfinite(factor) else None,
            strength_status=Status(str(strength.status[0])),
        )

    def _off(self, travels: tuple[Travel, ...], shaper: Shaper | None, errors: Array) -> Array:
        """Wobble [px] with all frequencies times each of the errors."""
        states = self._states(travels, errors, stretch=np.ones(len(errors)))
        if shaper is not None:
            states = states * self._factors(shaper, errors)
        return self.view.wobble(states)

    def _states(self, travels: tuple[Travel, ...], shares: Array, *, stretch: Array | None = None) -> States:
        """States when the moves have ended, stretched by each share.

        With `stretch` they are stretched by that, and the share over it is what all frequencies are off by.
        """
        gravity = (shares if stretch is None else stretch) ** 2
        if not self.rolls and not self.keyed:
            return _slide_states(self.view, travels, shares)
        for course, load in self._loads:
            if course is travels:
                return _sampled_states(self.view, load, shares, gravity)
        fastest = float(self.view.omega[self.view.slow].max()) / (2 * np.pi)
        self._loads = [(travels, _load(travels, _LONGEST_SEARCH * self.total * fastest))]
        return _sampled_states(self.view, self._loads[0][1], shares, gravity)

    # -- profiles

    def profile_times(self, name: str) -> ProfileTimes:
        """How fast one profile can be."""
        course = self._course(name)
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
        except RigcheckError:
            return answer("The limit is too fine to try every time up to the one that keeps it.")
        found = still_durations(left, tried=tried, limit=self.limit, resolution=_FINE_HANDLE)
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
            wanted = math.ceil(_LONGEST_SEARCH * self.total * fastest / (2 * np.pi) * _TRIED_PER_PERIOD)
            return np.linspace(1 / 8, _LONGEST_SEARCH, min(max(64, wanted), _MOST_TRIED)) * self.total
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
        fastest = max(float(self.view.omega[self.view.groups[group]].max()) for group in matters)
        count = min(max(129, math.ceil(1.5 * self.total * fastest / (2 * np.pi) * 32)), 20_000)
        times = np.linspace(0.5, 2.0, count) * self.total

        def left(at: Array) -> Array:
            return self.view.wobble(self._states(self.plan, at / self.total))

        dips = lowest_durations(left, tried=times, resolution=_FINE_HANDLE)
        if not dips.size:
            return ()
        depth = left(dips)
        wobble = left(times)
        edges = np.searchsorted(times, dips)
        bounds = [0, *edges.tolist(), len(times)]
        crests = [
            min(wobble[low:here].max(initial=0.0), wobble[here:high].max(initial=0.0))
            for low, here, high in zip(bounds[:-2], bounds[1:-1], bounds[2:], strict=True)
        ]
        dips = dips[depth - self.view.constant < _NULL_DEPTH * (np.array(crests) - self.view.constant)]
        before, after = dips[dips < self.total], dips[dips >= self.total]
        near = np.concatenate([before[-_NULLS_EACH_SIDE:], after[:_NULLS_EACH_SIDE]])
        return tuple(self._null(round(time / _HANDLE) * _HANDLE) for time in near.tolist())

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
        except RigcheckError:
            return None
        found = still_durations(left, tried=tried, limit=self.limit, resolution=_FINE_HANDLE)
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

    # -- what to do

    def notes(self) -> Iterator[str]:
        """What is and is not retimed and shaped."""
        if len(self.plan) > 1:
            yield "All moves of the prop are stretched together, their starts too."
        if self.keyed:
            yield (
                "Keys keep their own course: they can be stretched (multiply their times) and shaped, but have no"
                " profile to change."
            )
        if self.keyed and not self.searchable:
            most = _MOST_SAMPLES // _SAMPLES_A_KEY
            yield f"Other times are tried for up to {most} keys only; thin them to see more."
        if self.rolls:
            yield (
                "Rolls are retimed with the slides, but not shaped: a roll turns the weight and the direction of"
                " every push with it, so that the effects of delayed copies do not add up."
            )
        if self.rolls or self.keyed:
            yield (
                f"Times are tried from {self.total / 8:.3g} to {_LONGEST_SEARCH * self.total:.3g} s; what lies beyond"
                " is not known."
            )
        if self.task.pushes:
            yield (
                "Moves of which only the peak acceleration is known are not retimed; their worst wobble is added to"
                " every figure."
            )
        if self.wanted is not None:
            yield f"The times stand for the {self.wanted} profile in place of the planned ones."

    def recommend(
        self, plan: Timing, rows: list[ProfileTimes], shaped: tuple[ShapedMove, ...]
    ) -> Recommendation:
        """The smallest change after which it arrives still, with the frequencies up to 10 % off."""
        before = plan if self.wanted is None else self.timing(self.task.travels)
        if self._good(plan, before) and self.wanted in (None, self.planned):
            return Recommendation(kind="keep", says=self._keep(plan, rows), timing=plan)
        same = [] if self.wanted is None else [(self.wanted, plan)]
        if self.wanted is None and self.free:
            names = [row.profile for row in rows if not row.planned]
            same = [(name, self.timing(self._course(name))) for name in names]
        same = [(name, timing) for name, timing in same if self._good(timing, before)]
        if same:
            name, timing = min(same, key=lambda item: item[1].wobble_off)
            words = f'Set profile = "{name}": in the same {timing.duration_s:.4g} s'
            says = f"{words}, {self._effect(before, timing)}."
            return Recommendation(kind="profile", says=says, timing=timing)
        options: list[tuple[float, str, str, Timing]] = []
        for row in rows:
            if row.sure is None or (self.wanted not in (None, row.profile) and self.free):
                continue
            timing = row.sure
            if timing.duration_s > plan.duration_s and self._good(timing, before):
                change = "" if row.planned else f' with profile = "{row.profile}"'
                added = timing.duration_s - plan.duration_s
                words = f"Make the move {added:.3g} s longer, {timing.duration_s:.4g} s{change}"
                options.append((timing.duration_s, "longer", words, timing))
        for move in shaped:
            if self._good(move.timing, before):
                count = "two" if move.impulses == 2 else "three"
                words = f"Shape the move with {count} impulses (add --export NAME.csv), {move.added_s:.3g} s longer"
                options.append((move.timing.duration_s, "shape", words, move.timing))
        if not options:
            return Recommendation(kind="none", says=self._nothing(rows), timing=None)
        _, kind, words, timing = min(options, key=lambda item: item[0])
        return Recommendation(kind=kind, says=f"{words}: {self._effect(before, timing)}.", timing=timing)

    def _good(self, timing: Timing, before: Timing) -> bool:
        """Still for sure, and no weaker than it was, or strong enough."""
        order = [Status.SKIPPED, Status.PASS, Status.CAUTION, Status.FAIL]
        weaker = order.index(timing.strength_status) > order.index(before.strength_status)
        return timing.wobble_off <= self.limit * self.scale and not weaker

    def _effect(self, before: Timing, after: Timing) -> str:
        return (
            f"wobble {before.wobble:.3g} to {self._amount(after.wobble)}, at most {self._amount(after.wobble_off)}"
            f" with the frequencies up to {_OFF} off"
        )

    def _amount(self, value: float) -> str:
        return f"under 0.001 {self.unit}" if value < 1e-3 else f"{value:.3g} {self.unit}"

    def _keep(self, plan: Timing, rows: list[ProfileTimes]) -> str:
        says = (
            f"Keep the move: it arrives still, with {self._amount(plan.wobble)} of wobble, at most"
            f" {self._amount(plan.wobble_off)} with the frequencies up to {_OFF} off."
        )
        quicker = [
            row
            for row in rows
            if row.sure is not None
            and row.sure.duration_s < 0.95 * plan.duration_s
            and self._good(row.sure, plan)
            and self.wanted in (None, row.profile)
        ]
        if not quicker:
            return says
        best = min(quicker, key=lambda row: math.inf if row.sure is None else row.sure.duration_s)
        assert best.sure is not None
        change = "" if best.planned else f' with profile = "{best.profile}"'
        return f"{says} If time is short: {best.sure.duration_s:.4g} s{change} is sure too."

    def _nothing(self, rows: list[ProfileTimes]) -> str:
        if self.view.constant >= self.limit:
            return (
                "No timing helps: the move of which only the acceleration is known wobbles too much on its own. Give"
                " its slide and duration."
            )
        reasons = [row.says for row in rows if row.says]
        why = f" {reasons[0]}" if reasons else ""
        return (
            f"No timing that was tried is sure to arrive still.{why} Stiffen the support: see rigcheck check."
        )


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


# -- export ---------------------------------------------------------------------------------------------


def export_keys(
    shot: Shot,
    result: PropRetiming,
    path: str | Path,
    *,
    rate: str | None = None,
    overwrite: bool = False,
) -> ExportedKeys:
    """Write the shaped move of a prop as keyframes, and check what they do.

    Parameters
    ----------
    shot : Shot
        The one that was retimed.
    result : PropRetiming
        One of its props.
    path : str or Path
        The file; several slides go to files numbered after it.
    rate : str, optional
        Keys a second, for example ``50 fps``; the camera's frame rate where not given.
    overwrite : bool, optional
        Whether files that are there may be replaced.

    Returns
    -------
    ExportedKeys

    Raises
    ------
    ArgumentError
        There is nothing shaped to write, or no rate.
    OutputError
        A file is there already, or cannot be written.

    Notes
    -----
    Shaped with two impulses where that is sure, else with three. Columns ``time_s`` from the slide's own start, and
    ``value`` in the unit of its stroke. Keys only know the move at their times: what the smooth curve through them
    leaves is computed in full from the numbers as written.
    """
    if not result.shaped:
        why = next(
            (note for note in result.notes if "not shaped" in note),
            "none of its slides wobbles, or what else moves does too much.",
        )
        raise ArgumentError(f"export: {result.name} has no shaped move to write: {why}")
    rate_hz = _rate(shot, rate)
    prop = shot.find_prop(result.name)
    reading = read_prop(shot, prop)
    still = reading.task.evaluate()
    planned = result.plan
    assert planned is not None  # it has shaped moves
    wanted = next((move.profile for move in planned.moves if move.profile is not None), None)
    study = _Study(task=reading.task, still=still, moves=_travelling(prop), wanted=None)
    course = study.plan
    if wanted is not None and wanted == result.profile:
        course = study._with_profile(wanted)
    limit = result.limit
    shaped = next((move for move in result.shaped if move.timing.wobble_off <= limit), result.shaped[-1])
    tables = [
        _table(travel, move, shaped.shaper, rate_hz) for travel, move in zip(course, study.moves, strict=True)
    ]
    files = _file_names(Path(path), len(tables))
    _write_tables(files, tables, overwrite=overwrite)
    keyed = replace(
        reading.task,
        travels=tuple(
            _as_read(travel, move, table)
            for travel, move, table in zip(course, study.moves, tables, strict=True)
        ),
    )
    grades = grade(still, keyed.move(still), keyed.limits, keyed.eye)
    wobble = float(grades["residual-wobble"].value[0]) * study.scale
    status = Status(str(grades["residual-wobble"].status[0]))
    return ExportedKeys(
        prop=result.name,
        shaped=shaped.name,
        files=files,
        rate_Hz=rate_hz,
        keys=max(len(times) for times, _, _ in tables),
        wobble=wobble,
        unit=study.unit,
        planned=shaped.timing.wobble,
        status=Status.CAUTION if status is Status.PASS and keyed.limits.hazard == "overhead" else status,
        rows=tuple(_row(file, unit) for file, (_, _, unit) in zip(files, tables, strict=True)),
        says=_exported_words(study, shaped, wobble, rate_hz),
    )


_Table = tuple[Array, Array, str]


def _rate(shot: Shot, rate: str | None) -> float:
    if rate is not None:
        return parse_quantity(rate, "frequency", sign="positive").m_as("Hz")
    camera = shot.camera
    if camera is None or camera.frame_rate is None:
        raise ArgumentError(
            'export: the file has no frame_rate; say how many keys a second, for example --rate "50 fps".'
        )
    return camera.frame_rate.m_as("Hz")


def _table(travel: Travel, move: Move, shaper: Shaper, rate: float) -> _Table:
    """Times from the slide's own start, values in its unit, as they will stand in the file."""
    moved = move.slide
    assert moved is not None  # rolls have no shaped moves
    begin = move.start.m_as("s")
    lead = float(travel.start[0]) - begin  # keys may begin later than the move that names them
    span = float(travel.duration[0]) + shaper.delay
    count = math.ceil((lead + span) * rate - 1e-9)
    if count + 1 > _MOST_KEYS:
        raise ArgumentError(
            f"export: {count + 1} keys would be needed, {_MOST_KEYS} are allowed. Give a lower --rate."
        )
    if count < 3:
        raise ArgumentError(
            f"export: at {rate:g} keys a second the move of {span:.3g} s has only {count + 1}. Give a higher --rate."
        )
    times = np.arange(count + 1) / rate
    value = np.zeros(len(times))
    for delay, amplitude in zip(shaper.times.tolist(), shaper.amplitudes.tolist(), strict=True):
        at = times + begin - delay
        if travel.keys is not None:
            value += amplitude * travel.keys.at(at)[0]
        else:
            assert travel.profile is not None
            unit_time = (at - float(travel.start[0])) / float(travel.duration[0])
            value += amplitude * float(travel.stroke[0]) * travel.profile.displacement(unit_time)
    unit = moved.nominal.units
    scale = registry().Quantity(1.0, "m").m_as(unit)
    written = [float(f"{number:.9g}") for number in value * scale]
    return np.array([float(f"{time:.9g}") for time in times]), np.array(written) + 0.0, f"{unit:~}"


_MOST_KEYS = 1_000_000


def _file_names(path: Path, count: int) -> tuple[Path, ...]:
    if count == 1:
        return (path,)
    return tuple(path.with_name(f"{path.stem}-{number + 1}{path.suffix}") for number in range(count))


def _write_tables(files: tuple[Path, ...], tables: list[_Table], *, overwrite: bool) -> None:
    from rigcheck.errors import OutputError
    from rigcheck.files import write_whole

    for file in files:
        if len(files) > 1 and file.exists() and not overwrite:
            raise OutputError(f"{file} is there already and was not replaced; nothing was written.")
    for file, (times, values, _) in zip(files, tables, strict=True):
        lines = [
            f"{time:.9g},{value:.9g}" for time, value in zip(times.tolist(), values.tolist(), strict=True)
        ]
        write_whole(file, "\n".join(["time_s,value", *lines, ""]), overwrite=overwrite)


def _as_read(travel: Travel, move: Move, table: _Table) -> Travel:
    """The travel that these keys make when the rig file names them."""
    times, values, unit = table
    path = keyframe_path(times + move.start.m_as("s"), values * registry().Quantity(1.0, unit).m_as("m"))
    return replace(
        travel,
        stroke=np.ones(1),
        start=path.times[:1],
        duration=path.times[-1:] - path.times[:1],
        profile=None,
        keys=path,
    )


def _row(file: Path, unit: str) -> str:
    name = file.name.replace("\\", "\\\\").replace('"', '\\"')
    return f'slide = "{unit}", keys = "{name}" (in place of slide, duration, profile and ramp)'


def _exported_words(study: _Study, shaped: ShapedMove, wobble: float, rate: float) -> str:
    amount = study._amount
    before = shaped.timing.wobble
    says = f"Read back at {rate:g} keys a second, they leave {amount(wobble)} of wobble."
    if wobble > max(2 * before, CAUTION_SHARE * study.limit * study.scale):
        fastest = max(frequency for frequency, _ in shaped.widths)
        says += (
            f" The shaped move itself leaves {amount(before)}: so few keys blunt it. Give a higher --rate, such as"
            f' --rate "{max(2 * rate, 10 * fastest):.0f} fps".'
        )
    return says
