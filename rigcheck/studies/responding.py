"""How the modes of a batch of rigs answer its moves: in closed form, key by key, or on close samples."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.motion.response import end_state, free_decay, peak_bound, unit_displacement
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.sampling import distinct, sample_times
from rigcheck.studies.evaluate import Dynamics
from rigcheck.studies.moves import Push, Travel, alike, field_at, is_turning
from rigcheck.studies.rigs import DOWN

__all__ = ["Response", "dense_times", "respond"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_SAMPLES_PER_PERIOD = 48
_DRIVEN = 1e-10
_COURSE_SHARE = 3e-3
_LEAST_IN_STRETCH = 400
"""Samples in each stretch of a turning move: its load is taken as straight between them, good to 1e-5."""
_MOST_IN_STRETCH, _MOST_FOLLOWED = 4_096, 20_000
"""At most, for what a move does in all, and for its course."""
_FAR_APART = 2 * np.pi / 32
"""Phase between samples from which they may miss the peak of a mode by more than 0.5 %."""
_MOST_AT_ONCE = 250_000
"""Samples of modes that a turning move is worked out at together, which bounds its memory."""
_POSES = 65
"""Poses of a turning move at which its stress is looked at."""
_INSIDE = 1e-9
"""Share of a stretch by which its end samples stay inside it, where an acceleration may jump."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Response:
    """Modal response to all moves together.

    Attributes
    ----------
    times : array, shape (n,)
        Of the course [s]; of a batch that rolls those of its last group of variants.
    modal : array, shape (B, m, n)
        Modal coordinates, from the settled end pose, at times from the first start to the last end; n is 1 without
        the course.
    field : array, shape (B, k, n)
        Field of acceleration at those times, less that of the end pose: three of a uniform one, nine more of its
        gradient where a move rolls.
    poses : array, shape (B, k, p)
        The same field in even poses over the moves, where a move rolls; else p is 0.
    peak, peak_field : array, shape (B, m), (B, k)
        Bounds on both.
    peak_swing : array, shape (B, m)
        Where a move rolls: the largest distance of the modal coordinates from what they would follow slowly.
    end, end_rate : array, shape (B, m)
        Modal coordinates and their rates when the last move ends.
    worst_peak, worst_residual : array, shape (B, m)
        Bounds on the modal coordinates that pushes add, during and after.
    worst_field : array, shape (B, 3)
        Bound on the ground's acceleration that pushes add, per axis.
    fastest_roll : array, shape (B,)
        [rad/s].
    """

    times: Array
    modal: Array
    field: Array
    poses: Array
    peak: Array
    peak_field: Array
    peak_swing: Array
    end: Array
    end_rate: Array
    worst_peak: Array
    worst_residual: Array
    worst_field: Array
    fastest_roll: Array


def respond(
    dynamics: Dynamics, damping: Array, travels: tuple[Travel, ...], pushes: tuple[Push, ...], *, course: bool
) -> Response:
    """Modal response to moves that go on at the same time or one after another.

    Parameters
    ----------
    dynamics : Dynamics
        Modes of the settled rigs.
    damping : array, shape (B,)
        Damping ratio.
    travels : tuple of Travel
        Slides and rolls, ground first.
    pushes : tuple of Push
        Moves known by their acceleration only.
    course : bool
        Whether to keep the whole course.

    Returns
    -------
    Response

    Notes
    -----
    ``q'' + 2 zeta omega q' + omega^2 q = Gamma . b(t)`` with b the field of acceleration: in closed form for slides
    with a profile, by the exact recurrence for keys (their acceleration is straight from key to key), and by the
    same recurrence on close samples where gravity turns.
    """
    omega = dynamics.angular_frequency
    batch, count = omega.shape
    turning = is_turning(travels)
    fields = dynamics.participation.shape[2] if turning else 3
    times = _times(dynamics, travels) if course and travels else None
    if times is None:
        times = np.zeros(1)
    result = Response(
        times=times,
        modal=np.zeros((batch, count, len(times))),
        field=np.zeros((batch, fields, len(times))),
        poses=np.zeros((batch, fields, _POSES if turning else 0)),
        peak=np.zeros((batch, count)),
        peak_field=np.zeros((batch, fields)),
        peak_swing=np.zeros((batch, count)),
        end=np.zeros((batch, count)),
        end_rate=np.zeros((batch, count)),
        worst_peak=np.zeros((batch, count)),
        worst_residual=np.zeros((batch, count)),
        worst_field=np.zeros((batch, 3)),
        fastest_roll=np.zeros(batch),
    )
    if turning:
        steps = _turning_steps(dynamics, travels)
        for shared in alike(travels):
            # Those that need samples as close together, so that no number of a variant depends on its company.
            for step in sorted(set(steps[shared].tolist())):
                variants = shared[steps[shared] == step]
                first = int(variants[0])
                felt = _felt(travels, first, _stretches(travels, first, step))
                for some in _parts(variants, count, felt):
                    _turn(result, dynamics, damping, some, felt)
                if len(times) > 1:
                    felt = _felt(travels, first, _stretches(travels, first, step, most=_MOST_FOLLOWED))
                    for some in _parts(variants, count, felt):
                        _follow(result, dynamics, damping, some, felt)
    else:
        for travel in travels:
            if travel.keys is not None:
                _add_keys(result, dynamics, damping, travel, times, _last(travels))
            else:
                _add_slide(
                    result, dynamics, damping, travel, times if len(times) > 1 else None, _last(travels)
                )
    if pushes:
        from rigcheck.motion.shock import worst_case
    for push in pushes:
        drive = np.abs(dynamics.participation[..., :3] @ np.array(push.direction)) / omega**2
        bound = worst_case(
            angular_frequency=omega,
            damping_ratio=damping[:, None],
            duration=None if push.duration is None else push.duration[:, None],
        )
        result.worst_peak[:] += drive * bound.peak * push.acceleration[:, None]
        result.worst_residual[:] += drive * bound.residual * push.acceleration[:, None]
        result.worst_field[:] += np.abs(push.direction) * push.acceleration[:, None]
    return result


def _last(travels: tuple[Travel, ...]) -> Array:
    """When the last move ends [s], (B,)."""
    return np.asarray(np.max([travel.stop for travel in travels], axis=0))


def _add_slide(
    result: Response, dynamics: Dynamics, damping: Array, travel: Travel, times: Array | None, last: Array
) -> None:
    """Add a slide with a profile, in closed form."""
    omega, zeta = dynamics.angular_frequency, damping[:, None]
    profile = travel.profile
    assert profile is not None  # a travel has a profile or keys
    way = np.array(travel.direction)
    # The motion room answers the equation with -a on its right side, which is this field.
    drive = dynamics.participation[..., :3] @ way * travel.stroke[:, None]
    duration = travel.duration[:, None]
    # Modes across the slide are not driven, beyond rounding.
    rows, modes = np.nonzero(np.abs(drive) > _DRIVEN * np.abs(drive).max(axis=1, keepdims=True))
    driven, own, ratio = drive[rows, modes], omega[rows, modes, None], damping[rows, None]
    lasting, later = travel.duration[rows, None], (last - travel.stop)[rows, None]
    value, speed = end_state(profile, duration=lasting, angular_frequency=own, damping_ratio=ratio)
    value, speed = free_decay(value, speed, angular_frequency=own, damping_ratio=ratio, times=later)
    result.end[rows, modes] += driven * value[:, 0, 0]
    result.end_rate[rows, modes] += driven * speed[:, 0, 0]
    bound = peak_bound(profile, duration=lasting, angular_frequency=own, damping_ratio=ratio)
    result.peak[rows, modes] += np.abs(driven) * bound[:, 0]
    push = travel.stroke[:, None] / duration**2
    result.peak_field[:, :3] += np.abs(push * way) * profile.peak_acceleration
    if times is None:
        return
    for variants in alike((travel,)):
        start, span = float(travel.start[variants[0]]), float(travel.duration[variants[0]])
        result.modal[variants] += drive[variants, :, None] * unit_displacement(
            profile,
            duration=span,
            angular_frequency=omega[variants],
            damping_ratio=zeta[variants],
            times=times - start,
        )
        result.field[variants, :3] -= (
            way[:, None] * push[variants, :, None] * profile.acceleration((times - start) / span)
        )


def _add_keys(
    result: Response, dynamics: Dynamics, damping: Array, travel: Travel, times: Array, last: Array
) -> None:
    """Add a slide with keys, whose acceleration is straight from key to key."""
    assert travel.keys is not None
    omega, zeta = dynamics.angular_frequency, damping[:, None]
    way = np.array(travel.direction)
    first, stop = float(travel.keys.times[0]), float(travel.keys.times[-1])
    followed = len(times) > 1
    at = times[(times >= first) & (times <= stop)] if followed else travel.keys.times
    acceleration = travel.law(0, at)[2] if followed else travel.keys.acceleration
    drive = -(dynamics.participation[..., :3] @ way)
    result.peak_field[:, :3] += np.abs(way) * np.abs(acceleration).max()
    steps = np.diff(at)
    even = bool(np.ptp(steps) <= 1e-9 * steps[0])
    clock: dict[str, Any] = {"time_step": float(steps.mean())} if even else {"times": at}
    if followed:
        value, speed = piecewise_linear_response(
            drive[..., None] * acceleration, angular_frequency=omega, damping_ratio=zeta, **clock
        )
        result.peak[:] += _highest(value, speed, drive[..., None] * acceleration, omega[..., None])
        state = (value[..., -1], speed[..., -1])
    else:
        state = _kept_ends(result, drive, acceleration, omega, damping, clock)
    # The last key ends the acceleration at once; from there on it rings freely.
    later, later_rate = free_decay(
        *state, angular_frequency=omega, damping_ratio=zeta, times=(last - stop)[:, None]
    )
    result.end[:] += later[..., 0]
    result.end_rate[:] += later_rate[..., 0]
    if not followed:
        return
    inside, after = (times >= first) & (times <= stop), times > stop
    result.modal[:, :, inside] += value
    result.field[:, :3, inside] -= way[:, None] * acceleration
    if after.any():
        ringing, _ = free_decay(
            *state, angular_frequency=omega, damping_ratio=zeta, times=times[after] - stop
        )
        result.modal[:, :, after] += ringing


def _kept_ends(
    result: Response,
    drive: Array,
    acceleration: Array,
    omega: Array,
    damping: Array,
    clock: dict[str, Any],
) -> tuple[Array, Array]:
    """Peaks and end states of a record too long to be kept: one mode of one variant in memory at a time."""
    state = np.zeros_like(omega), np.zeros_like(omega)
    for place in zip(*np.nonzero(drive), strict=True):
        load = drive[place] * acceleration
        value, speed = piecewise_linear_response(
            load, angular_frequency=omega[place], damping_ratio=damping[place[0]], **clock
        )
        result.peak[place] += float(_highest(value[0], speed[0], load, omega[place]))
        state[0][place], state[1][place] = value[0, -1], speed[0, -1]
    return state


def _highest(value: Array, speed: Array, load: Array, omega: Array | float) -> Array:
    """Largest of lag and swing about it, (...).

    Keys may be far apart against a period: the lag and the swing at their worst phase.
    """
    lag = load / omega**2
    return np.asarray((np.abs(lag) + np.hypot(value - lag, speed / omega)).max(axis=-1))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Felt:
    """What a rig feels in one stretch of its moves, in which every acceleration is continuous.

    Attributes
    ----------
    times : array, shape (n,)
        [s].
    clock : dict
        The same for the recurrence: one step where they are even.
    change : array, shape (12, n)
        Field of acceleration and its gradient, less those of the end pose.
    pull : array, shape (3,)
        Gravity at its start, less that of the end pose [m/s2].
    fastest : float
        Largest spin [rad/s].
    """

    times: Array
    clock: dict[str, Any]
    change: Array
    pull: Array
    fastest: float

    @classmethod
    def of(cls, travels: tuple[Travel, ...], variant: int, times: Array) -> _Felt:
        inside = times.copy()
        inside[[0, -1]] += np.array([1.0, -1.0]) * _INSIDE * (times[-1] - times[0])
        at = field_at(travels, variant, inside)
        gaps = np.diff(times)
        even = bool(np.ptp(gaps) <= 1e-9 * gaps[0])
        return cls(
            times=times,
            clock={"time_step": float(gaps.mean())} if even else {"times": times},
            change=np.concatenate([at.offset - DOWN, at.gradient.reshape(-1, 9)], axis=1).T,
            pull=at.rotation[0].T @ DOWN - DOWN,
            fastest=float(np.linalg.norm(at.spin, axis=1).max()),
        )


def _felt(travels: tuple[Travel, ...], variant: int, stretches: Iterator[Array]) -> list[_Felt]:
    return [_Felt.of(travels, variant, times) for times in stretches]


def _parts(variants: Index, modes: int, felt: Sequence[_Felt]) -> list[Index]:
    """The variants, as many at a time as fit into memory."""
    size = max(1, _MOST_AT_ONCE // (modes * sum(len(part.times) for part in felt)))
    return [variants[start : start + size] for start in range(0, len(variants), size)]


def _answers(
    dynamics: Dynamics, damping: Array, variants: Index, felt: Sequence[_Felt]
) -> Iterator[tuple[_Felt, Array, Array, Array]]:
    """Load, modal coordinates and their rates in each stretch, (B, m, n), of variants that share their moves."""
    omega, zeta = dynamics.angular_frequency[variants], damping[variants, None]
    part = dynamics.participation[variants]
    # Before the first move the rig rests in its starting pose, where gravity points another way. It does not feel the
    # moves yet, even where their acceleration begins with a jump.
    state = (part[..., :3] @ felt[0].pull / omega**2, np.zeros_like(omega))
    for stretch in felt:
        load = part @ stretch.change
        value, speed = piecewise_linear_response(
            load, angular_frequency=omega, damping_ratio=zeta, initial=state, **stretch.clock
        )
        state = (value[..., -1], speed[..., -1])
        yield stretch, load, value, speed


def _turn(
    result: Response, dynamics: Dynamics, damping: Array, variants: Index, felt: Sequence[_Felt]
) -> None:
    """Fill in the response of variants that share their moves, of which one at least rolls; not its course."""
    omega = dynamics.angular_frequency[variants]
    peak, swing = np.zeros(omega.shape), np.zeros(omega.shape)
    for stretch, load, value, speed in _answers(dynamics, damping, variants, felt):
        lag = load / omega[..., None] ** 2
        off = value - lag
        most, wide = np.abs(value).max(axis=2), np.abs(off).max(axis=2)
        # Where samples are too far apart to meet the peaks of a mode, its swing counts at its worst phase.
        fast = omega * np.diff(stretch.times).max() > _FAR_APART
        if fast.any():
            reach = np.hypot(off[fast], speed[fast] / omega[fast][:, None])
            wide[fast] = reach.max(axis=1)
            most[fast] = (np.abs(lag[fast]) + reach).max(axis=1)
        peak, swing = np.maximum(peak, most), np.maximum(swing, wide)
        result.end[variants], result.end_rate[variants] = value[..., -1], speed[..., -1]
    push = np.concatenate([stretch.change for stretch in felt], axis=1)
    result.peak[variants], result.peak_swing[variants] = peak, swing
    result.poses[variants] = _resampled(push, _POSES)
    result.peak_field[variants] = np.abs(push).max(axis=1)
    result.fastest_roll[variants] = max(stretch.fastest for stretch in felt)


def _follow(
    result: Response, dynamics: Dynamics, damping: Array, variants: Index, felt: Sequence[_Felt]
) -> None:
    """Fill in the course of the same variants."""
    samples = result.modal.shape[2]
    course = np.concatenate([value for _, _, value, _ in _answers(dynamics, damping, variants, felt)], axis=2)
    result.modal[variants] = _resampled(course, samples)
    result.field[variants] = _resampled(np.concatenate([stretch.change for stretch in felt], axis=1), samples)
    result.times[:] = _resampled(np.concatenate([stretch.times for stretch in felt]), samples)


def _resampled(course: Array, count: int) -> Array:
    """The course at `count` of its samples, evenly picked, so that all variants have as many."""
    return np.asarray(course[..., np.linspace(0, course.shape[-1] - 1, count).round().astype(int)])


def _turning_steps(dynamics: Dynamics, travels: tuple[Travel, ...]) -> Array:
    """How close together the samples of a turning move are to be for each variant [s], (B,).

    So close that every mode that moves the prop by a visible share is met often enough in each period; steps are a
    power of two apart from each other.
    """
    omega = dynamics.angular_frequency
    seen = np.where(_share(dynamics) >= _COURSE_SHARE, omega, omega[:, :1]).max(axis=1)
    whole = max(float((travel.stop - travel.start).max()) for travel in travels)
    return np.asarray(whole / 2.0 ** np.ceil(np.log2(whole * seen * _SAMPLES_PER_PERIOD / (2 * np.pi))))


def _stretches(
    travels: tuple[Travel, ...], variant: int, step: float, *, most: int | None = None
) -> Iterator[Array]:
    """Sample times, about a step apart, of each stretch in which every acceleration is continuous."""
    # The curve through keys has a jump of acceleration at its ends only; between them its keys are samples.
    marks = [
        travel.events(variant) if travel.keys is None else travel.keys.times[[0, -1]] for travel in travels
    ]
    events = distinct(np.concatenate(marks))
    whole = events[-1] - events[0]
    edges = events[np.concatenate([[True], np.diff(events) > 1e-9 * whole])]
    keys = distinct(
        np.concatenate([np.zeros(0), *(one.keys.times for one in travels if one.keys is not None)])
    )
    least = 4 if keys.size else _LEAST_IN_STRETCH
    for start, stop in pairwise(edges):
        apart = 1e-9 * whole
        knots = np.concatenate([[start], keys[(keys > start + apart) & (keys < stop - apart)], [stop]])
        gaps = np.diff(knots)
        counts = np.clip(np.ceil(gaps / step), least, most or _MOST_IN_STRETCH).astype(int)
        if counts.size == 1:
            yield np.linspace(start, stop, int(counts[0]) + 1)
            continue
        first = np.repeat(np.cumsum(counts) - counts, counts)
        share = (np.arange(int(counts.sum())) - first) / np.repeat(counts, counts)
        yield np.append(np.repeat(knots[:-1], counts) + share * np.repeat(gaps, counts), stop)


def _share(dynamics: Dynamics) -> Array:
    """How far each mode moves the prop in a steady field, as a share of the mode that moves it most."""
    weight = np.abs(dynamics.shape[:, :3]).max(axis=1) * np.abs(dynamics.participation).max(axis=2)
    weight = weight / dynamics.angular_frequency**2
    return np.asarray(weight / np.maximum(weight.max(axis=1, keepdims=True), np.finfo(np.float64).tiny))


def _times(dynamics: Dynamics, travels: tuple[Travel, ...]) -> Array | None:
    """Times to follow the moves at.

    None where that would be too many: keyframes of a whole day are not followed swing by swing.
    """
    keys = [travel.keys.times for travel in travels if travel.keys is not None]
    try:
        return dense_times(dynamics, travels, keys)
    except ValidityError:
        return None


def dense_times(dynamics: Dynamics, travels: tuple[Travel, ...], keys: list[Array]) -> Array:
    """Times over the moves, dense enough for every mode that moves the prop by a visible share.

    Parameters
    ----------
    dynamics : Dynamics
        Modes of the settled rigs.
    travels : tuple of Travel
        At least one.
    keys : list of array
        Times of keys, which are among them [s].

    Returns
    -------
    array, shape (n,)
        [s].

    Raises
    ------
    ValidityError
        It would take too many.
    """
    return sample_times(
        start=min(float(travel.start.min()) for travel in travels),
        stop=max(float(travel.stop.max()) for travel in travels),
        angular_frequency=dynamics.angular_frequency,
        share=_share(dynamics),
        events=np.concatenate(keys) if keys else (),
        samples_per_period=_SAMPLES_PER_PERIOD,
        tolerance=_COURSE_SHARE,
    ).times
