"""What a move does to a settled batch of rigs: deviation on the way, wobble after it, stress all the while."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.mechanics.statics import SectionForces
from rigcheck.motion.distance_measures import peak_distance, peak_to_peak_distance
from rigcheck.motion.keyframes import KeyframePath
from rigcheck.motion.moving_frame import Carrier, FrameField, frame_field
from rigcheck.motion.profiles import Profile
from rigcheck.motion.response import end_state, free_decay, peak_bound, unit_displacement
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.sampling import distinct, sample_times
from rigcheck.motion.shock import worst_case
from rigcheck.picture.projection import Camera
from rigcheck.studies.evaluate import Dynamics, Outcome, largest_stress, strength_factor, stress_of
from rigcheck.studies.rigs import GRAVITY, Batched

__all__ = [
    "Course",
    "Eye",
    "MotionOutcome",
    "Push",
    "Travel",
    "carriers",
    "field_at",
    "follow",
    "is_turning",
    "move",
    "span",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_SAMPLES_PER_PERIOD = 48
_RINGING_SAMPLES = 100
"""Samples in a period of the ringing; with parabolas between them its extent is good to 1e-7."""
_EQUAL = 1e-6
_TRACED_SHARE = 1e-3
_SILENT = 1e-9
_DRIVEN = 1e-14
_COURSE_SHARE = 3e-3
_LEAST_IN_STRETCH = 400
"""Samples in each stretch of a turning move: its load is taken as straight between them, good to 1e-5."""
_MOST_IN_STRETCH = 20_000
_MOST_AT_ONCE = 2_000_000
"""Samples of modes that a turning move is worked out at together, which bounds its memory."""
_ROLL_MODES = 6
"""Modes whose periods the samples of a turning move follow; faster ones follow it without inertia anyway."""
_POSES = 65
"""Poses of a turning move at which its stress is looked at."""
_INSIDE = 1e-9
"""Share of a stretch by which its end samples stay inside it, where an acceleration may jump."""
_DOWN = np.array([0.0, -GRAVITY, 0.0])


@dataclass(frozen=True, kw_only=True, eq=False)
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

    def law(self, variant: int, times: Array) -> tuple[Array, Array, Array]:
        """What is still to go, its rate and acceleration, (n,) each [m or rad]."""
        if self.keys is not None:
            value, rate, change = self.keys.at(times)
            return value - self.keys.displacement[-1], rate, change
        assert self.profile is not None  # a travel has a profile or keys
        duration, stroke = float(self.duration[variant]), float(self.stroke[variant])
        unit = (times - float(self.start[variant])) / duration
        return (
            stroke * (self.profile.displacement(unit) - 1.0),
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Push(Batched):
    """A straight move of which only the peak acceleration is known [m/s2], perhaps the duration [s]."""

    direction: tuple[float, float, float]
    acceleration: Array
    duration: Array | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Eye:
    """How the camera turns small movements of a prop into pixels.

    Attributes
    ----------
    camera : Camera
        The camera.
    jacobian : array, shape (2, 3)
        Pixels right and up for a metre right, up, toward, at the prop's mark [px/m].
    growth : array, shape (3,), or None
        By how many pixels more than its middle the farthest point of the prop's outline goes out from the picture's
        centre for a metre right, up, toward [px/m]; None where the camera's distance or the prop's size is not known.

    Notes
    -----
    Seen through perspective, what comes nearer by z grows by z over its depth D from the lens: a point of the outline
    at r pixels from the picture's centre moves out by r z/D. What the outline adds to its middle is counted on top of
    the middle's movement: right for a movement across the picture and for one in depth; for a mixed one off by less
    than the prop's half size over D.
    """

    camera: Camera
    jacobian: Array
    growth: Array | None = None

    def project(self, points: Array) -> Array:
        """Pixels of small movements of the middle, shape (..., 3, n) to (..., 2, n)."""
        return np.asarray(self.jacobian @ points)

    def extent(self, path: Array) -> Array:
        """Largest distance in the picture between any two places of a path, (..., 3, n) to (...) [px]."""
        across = peak_to_peak_distance(self.project(path))
        if self.growth is None:
            return across
        return np.asarray(across + peak_to_peak_distance(self.growth[None] @ path))

    def sizes(self, vectors: Array) -> Array:
        """How large each movement is in the picture, (..., 3, m) to (..., m) [px]."""
        across = np.linalg.norm(self.project(vectors), axis=-2)
        return np.asarray(across if self.growth is None else across + np.abs(self.growth @ vectors))


@dataclass(frozen=True, kw_only=True, eq=False)
class MotionOutcome:
    """What the move does, each of shape (B,) unless said.

    Attributes
    ----------
    peak_deviation : array or None
        Largest distance from the intended path on the way [m]; None where the course was not asked for.
    residual : array
        Peak to peak [m].
    residual_px : array or None
        [px], with a camera.
    angular_frequency : array, shape (B, m)
        Of the modes that matter to the picture [rad/s].
    amplitudes : array, shape (B, m, 3)
        Amplitude of the centre of mass in each of them when the last move ends [m].
    swing : complex array, shape (B, m)
        Modal coordinate and phase of each when the last move ends; its magnitude is the amplitude of the ringing.
    worst_swing : array, shape (B, m)
        Bound on what pushes add to that magnitude.
    peak_field : array, shape (B, k)
        Largest field of acceleration on the way, as in `Dynamics.participation`.
    strength_factor : array
        Strength over the largest stress, settled and moving together; NaN where no strength is known.
    swing_stress, ringing_stress : array
        Largest stress that the movement alone adds, on the way and when the move has ended [Pa].
    swing_forces : list of SectionForces
        Bounds on what the movement adds to the section forces of each element, (B, stations).
    turning_share : array
        Twice the fastest roll over the lowest angular frequency: the relative size of what is left out (the
        Coriolis force on the vibration).
    upward_acceleration : array
        Largest acceleration of the head up or down, as a magnitude [m/s2]; not that of a roll.
    """

    peak_deviation: Array | None
    residual: Array
    residual_px: Array | None
    angular_frequency: Array
    amplitudes: Array
    swing: NDArray[np.complex128]
    worst_swing: Array
    peak_field: Array
    strength_factor: Array
    swing_stress: Array
    ringing_stress: Array
    swing_forces: list[SectionForces]
    turning_share: Array
    upward_acceleration: Array


def move(
    still: Outcome,
    *,
    travels: tuple[Travel, ...] = (),
    pushes: tuple[Push, ...] = (),
    eye: Eye | None = None,
    course: bool = True,
) -> MotionOutcome:
    """Move a batch of rigs.

    Parameters
    ----------
    still : Outcome
        The rigs at rest where the moves end; computed with ``turning`` where one of the moves rolls.
    travels : tuple of Travel
        Slides and rolls, ground first, each carrying the next.
    pushes : tuple of Push
        Moves known by their acceleration only.
    eye : Eye
        The camera, for pixels.
    course : bool
        Whether to follow the whole course, for the peak deviation. Everything else is the same without.

    Returns
    -------
    MotionOutcome

    Notes
    -----
    Every mode of `Outcome.dynamics` moves exactly as its equation says; the
    rest follows the field of acceleration at once (static remainder). Stresses add the largest magnitudes of all
    modes, whenever they occur: a bound. Modes are those of the pose at the end; the change of stiffness as the
    weight turns, and the Coriolis force on the vibration, are left out.

    No number of a variant depends on what else is in the batch.
    """
    damping = still.rig.damping_ratio
    dynamics = still.dynamics
    response = _respond(dynamics, damping, travels, pushes, course=course)
    omega, shape = dynamics.angular_frequency, dynamics.shape[:, :3]
    rest = dynamics.remainder[:, :3]
    reach = np.linalg.norm(shape, axis=1)
    deviation = None
    if course and response.modal.shape[2] == 1 and travels:
        # Too long to follow: all modes and the lag at their largest, whenever they are.
        lag = np.einsum("bij,bj->bi", np.abs(rest[:, :, : response.field.shape[1]]), response.peak_field)
        deviation = np.einsum("bm,bm->b", reach, response.peak) + np.linalg.norm(lag, axis=1)
    elif course:
        path = shape @ response.modal + rest[:, :, : response.field.shape[1]] @ response.field
        lag = np.einsum("bij,bj->bi", np.abs(rest[:, :, :3]), response.worst_field)
        deviation = peak_distance(path) + np.linalg.norm(lag, axis=1)
        deviation = deviation + np.einsum("bm,bm->b", reach, response.worst_peak)

    damped = omega * np.sqrt(1 - damping[:, None] ** 2)
    swing = response.end + 1j * (response.end_rate + damping[:, None] * omega * response.end) / damped
    amplitudes = _together(shape * swing[:, None], omega) + np.abs(shape) * response.worst_residual[:, None]
    residual, pixels = _residual(response, dynamics, damping, still.settings.residual_periods, eye)

    ringing = np.abs(swing) + response.worst_residual
    largest = np.maximum(response.peak + response.worst_peak, ringing)
    field = response.peak_field.copy()
    field[:, :3] += response.worst_field
    swing_forces = _bounds(dynamics, largest, field)
    if is_turning(travels):
        factor = _turning_factor(still, dynamics, response)
    else:
        factor = strength_factor(still.parts, stress_of(still.parts, _added(still.forces, swing_forces)))
    return MotionOutcome(
        peak_deviation=deviation,
        residual=residual,
        residual_px=pixels,
        angular_frequency=omega,
        amplitudes=amplitudes.transpose(0, 2, 1),
        swing=swing,
        worst_swing=response.worst_residual,
        peak_field=field,
        strength_factor=factor,
        swing_stress=largest_stress(stress_of(still.parts, swing_forces)),
        ringing_stress=largest_stress(
            stress_of(still.parts, _bounds(dynamics, ringing, np.zeros_like(field)))
        ),
        swing_forces=swing_forces,
        turning_share=2 * response.fastest_roll / omega[:, 0],
        upward_acceleration=(0.0 if is_turning(travels) else response.peak_field[:, 1])
        + response.worst_field[:, 1],
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """One rig followed over its moves.

    Attributes
    ----------
    times : array, shape (n,)
        From the first start to the last end [s].
    path : array, shape (3, n)
        Centre of mass off the intended path, which passes through the settled place at the end [m].
    angular_frequency, end, end_rate : array, shape (m,)
        Of the modes that matter [rad/s], and their state when the last move ends.
    shape : array, shape (3, m)
        Movement of the centre of mass in each.
    """

    times: Array
    path: Array
    angular_frequency: Array
    end: Array
    end_rate: Array
    shape: Array


def follow(still: Outcome, travels: tuple[Travel, ...]) -> Course:
    """Follow one rig over its moves, swing by swing; the same response that `move` takes its peaks from.

    Parameters
    ----------
    still : Outcome
        At rest where the moves end, one variant; computed with ``turning`` where one of the moves rolls.
    travels : tuple of Travel
        At least one.

    Returns
    -------
    Course

    Raises
    ------
    ValidityError
        It would take too many samples to follow every swing.
    """
    dynamics = still.dynamics
    keys = [travel.keys.times for travel in travels if travel.keys is not None]
    _dense(dynamics, travels, keys)  # too long a course is refused here, with its numbers
    response = _respond(dynamics, still.rig.damping_ratio, travels, (), course=True)
    shape, rest = dynamics.shape[0, :3], dynamics.remainder[0, :3, : response.field.shape[1]]
    return Course(
        times=response.times,
        path=shape @ response.modal[0] + rest @ response.field[0],
        angular_frequency=dynamics.angular_frequency[0],
        end=response.end[0],
        end_rate=response.end_rate[0],
        shape=shape,
    )


_FORCES = ("axial", "torque", "moment_y", "moment_z", "shear_y", "shear_z")


def _added(settled: list[SectionForces], swing: list[SectionForces]) -> list[SectionForces]:
    """Magnitudes of settled forces and of what comes on top."""
    return [
        SectionForces(**{name: np.abs(getattr(one, name)) + getattr(other, name) for name in _FORCES})
        for one, other in zip(settled, swing, strict=True)
    ]


def _turning_factor(still: Outcome, dynamics: Dynamics, response: _Response) -> Array:
    """Least strength over stress while the head rolls, (B,).

    The forces of gravity as it turns and of the moves are taken pose by pose, with their signs; only the swing about
    them is added at its largest.
    """
    swing = _bounds(dynamics, response.peak_swing, np.zeros_like(response.peak_field))
    least = np.full(len(response.peak), np.inf)
    for sample in np.linspace(0, response.field.shape[2] - 1, _POSES).round().astype(int):
        pose = [
            SectionForces(
                **{
                    name: getattr(settled, name)
                    + np.einsum("bsk,bk->bs", getattr(follow, name), response.field[:, :, sample])
                    for name in _FORCES
                }
            )
            for settled, follow in zip(still.forces, dynamics.follow_forces, strict=True)
        ]
        least = np.fmin(least, strength_factor(still.parts, stress_of(still.parts, _added(pose, swing))))
    return np.where(np.isfinite(least), least, np.nan)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Response:
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
    peak: Array
    peak_field: Array
    peak_swing: Array
    end: Array
    end_rate: Array
    worst_peak: Array
    worst_residual: Array
    worst_field: Array
    fastest_roll: Array


def _respond(
    dynamics: Dynamics, damping: Array, travels: tuple[Travel, ...], pushes: tuple[Push, ...], *, course: bool
) -> _Response:
    """Modal response to moves that go on at the same time or one after another.

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
        times = np.zeros(_POSES if turning else 1)
    result = _Response(
        times=times,
        modal=np.zeros((batch, count, len(times))),
        field=np.zeros((batch, fields, len(times))),
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
        for variants in _alike(travels):
            stretches = list(_stretches(travels, int(variants[0]), omega[variants]))
            samples = count * sum(len(stretch) for stretch in stretches)
            size = max(1, _MOST_AT_ONCE // samples)
            for start in range(0, len(variants), size):
                _turn(result, dynamics, damping, travels, variants[start : start + size], stretches)
    else:
        for travel in travels:
            if travel.keys is not None:
                _add_keys(result, dynamics, damping, travel, times, _last(travels))
            else:
                _add_slide(
                    result, dynamics, damping, travel, times if len(times) > 1 else None, _last(travels)
                )
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
    result: _Response, dynamics: Dynamics, damping: Array, travel: Travel, times: Array | None, last: Array
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
    for variants in _alike((travel,)):
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
    result: _Response, dynamics: Dynamics, damping: Array, travel: Travel, times: Array, last: Array
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
    result: _Response,
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


def _turn(
    result: _Response,
    dynamics: Dynamics,
    damping: Array,
    travels: tuple[Travel, ...],
    variants: Index,
    stretches: Sequence[Array],
) -> None:
    """Fill in the response of variants that share their moves, of which one at least rolls."""
    first = int(variants[0])
    omega, zeta = dynamics.angular_frequency[variants], damping[variants, None]
    part = dynamics.participation[variants]
    state: tuple[Array, Array] | None = None
    modal, field, looked, fastest = [], [], [], 0.0
    swing = np.zeros(omega.shape)
    for stretch in stretches:
        inside = stretch.copy()
        inside[[0, -1]] += np.array([1.0, -1.0]) * _INSIDE * (stretch[-1] - stretch[0])
        at = field_at(travels, first, inside)
        change = np.concatenate([at.offset - _DOWN, at.gradient.reshape(-1, 9)], axis=1).T
        load = part @ change
        if state is None:
            # Before the first move the rig rests in its starting pose, where gravity points another way. It does not
            # feel the moves yet, even where their acceleration begins with a jump.
            pull = at.rotation[0].T @ _DOWN - _DOWN
            state = (part[..., :3] @ pull / omega**2, np.zeros_like(omega))
        value, speed = piecewise_linear_response(
            load, angular_frequency=omega, damping_ratio=zeta, times=stretch, initial=state
        )
        state = (value[..., -1], speed[..., -1])
        modal.append(value)
        field.append(change)
        looked.append(stretch)
        swing = np.maximum(swing, np.abs(value - load / omega[..., None] ** 2).max(axis=2))
        fastest = max(fastest, float(np.linalg.norm(at.spin, axis=1).max()))
    assert state is not None
    course, push = np.concatenate(modal, axis=2), np.concatenate(field, axis=1)
    result.end[variants], result.end_rate[variants] = state
    result.peak[variants] = np.abs(course).max(axis=2)
    result.peak_field[variants] = np.abs(push).max(axis=1)
    result.peak_swing[variants] = swing
    result.fastest_roll[variants] = fastest
    samples = result.modal.shape[2]
    if samples > 1:
        result.modal[variants] = _resampled(course, samples)
        result.field[variants] = _resampled(push, samples)
        result.times[:] = _resampled(np.concatenate(looked), samples)


def _resampled(course: Array, count: int) -> Array:
    """The course at `count` of its samples, evenly picked, so that all variants have as many."""
    return np.asarray(course[..., np.linspace(0, course.shape[-1] - 1, count).round().astype(int)])


def _stretches(travels: tuple[Travel, ...], variant: int, omega: Array) -> Iterator[Array]:
    """Sample times of each stretch in which every acceleration is continuous."""
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
    step = 2 * np.pi / (_SAMPLES_PER_PERIOD * float(omega[:, :_ROLL_MODES].max()))
    for start, stop in pairwise(edges):
        apart = 1e-9 * whole
        knots = np.concatenate([[start], keys[(keys > start + apart) & (keys < stop - apart)], [stop]])
        gaps = np.diff(knots)
        counts = np.clip(np.ceil(gaps / step), least, _MOST_IN_STRETCH).astype(int)
        if counts.size == 1:
            yield np.linspace(start, stop, int(counts[0]) + 1)
            continue
        first = np.repeat(np.cumsum(counts) - counts, counts)
        share = (np.arange(int(counts.sum())) - first) / np.repeat(counts, counts)
        yield np.append(np.repeat(knots[:-1], counts) + share * np.repeat(gaps, counts), stop)


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
    return frame_field(carriers(travels, variant), times, gravity=_DOWN)


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


def _alike(travels: tuple[Travel, ...]) -> list[Index]:
    """Groups of variants whose moves are the same in everything but the stroke of slides."""
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


def _share(dynamics: Dynamics) -> Array:
    """How far each mode moves the prop in a steady field, as a share of the mode that moves it most."""
    weight = np.abs(dynamics.shape[:, :3]).max(axis=1) * np.abs(dynamics.participation).max(axis=2)
    weight = weight / dynamics.angular_frequency**2
    return np.asarray(weight / weight.max(axis=1, keepdims=True))


def _times(dynamics: Dynamics, travels: tuple[Travel, ...]) -> Array | None:
    """Times over the moves, dense enough for every mode that moves the prop by a visible share.

    None where that would be too many: keyframes of a whole day are not followed swing by swing.
    """
    keys = [travel.keys.times for travel in travels if travel.keys is not None]
    try:
        return _dense(dynamics, travels, keys)
    except ValidityError:
        return None


def _dense(dynamics: Dynamics, travels: tuple[Travel, ...], keys: list[Array]) -> Array:
    return sample_times(
        start=min(float(travel.start.min()) for travel in travels),
        stop=max(float(travel.stop.max()) for travel in travels),
        angular_frequency=dynamics.angular_frequency,
        share=_share(dynamics),
        events=np.concatenate(keys) if keys else (),
        samples_per_period=_SAMPLES_PER_PERIOD,
        tolerance=_COURSE_SHARE,
    ).times


def _residual(
    response: _Response, dynamics: Dynamics, damping: Array, periods: float, eye: Eye | None
) -> tuple[Array, Array | None]:
    """Peak to peak over the first periods of the lowest mode after the last move [m], and in pixels."""
    omega, shape = dynamics.angular_frequency, dynamics.shape[:, :3]
    reach = np.linalg.norm(shape, axis=1)
    residual = 2 * np.einsum("bm,bm->b", reach, response.worst_residual)
    pixels = None
    if eye is not None:
        seen = eye.sizes(shape)
        pixels = 2 * np.einsum("bm,bm->b", seen, response.worst_residual)
    size = reach * np.hypot(response.end, response.end_rate / omega)
    matters = size > _TRACED_SHARE * size.max(axis=1, keepdims=True)
    cycles = np.where(matters, omega, 0.0).max(axis=1) / omega[:, 0] * periods
    # Powers of two, so that a variant's samples do not depend on its company.
    counts = 2 ** np.clip(np.ceil(np.log2(np.maximum(cycles, 1e-9) * _RINGING_SAMPLES)), 8, 12).astype(int)
    # Those that ring at all; a variant with fewer than others gets silent ones besides.
    rings = size > _SILENT * size.max(axis=1, keepdims=True)
    first = np.argsort(~rings, axis=1, kind="stable")[:, : max(1, int(rings.sum(axis=1).max()))]
    row = np.arange(len(omega))[:, None]
    end, end_rate = (np.where(rings, part, 0.0)[row, first] for part in (response.end, response.end_rate))
    ringing, shape = omega[row, first], shape.transpose(0, 2, 1)[row, first].transpose(0, 2, 1)
    for count in sorted(set(counts.tolist())):
        chosen = np.flatnonzero(counts == count)
        times = np.linspace(0.0, 1.0, count + 1) * (periods * 2 * np.pi / omega[chosen, :1])
        value, _ = free_decay(
            end[chosen],
            end_rate[chosen],
            angular_frequency=ringing[chosen],
            damping_ratio=damping[chosen, None],
            times=times,
            rates=False,
        )
        path = shape[chosen] @ value
        residual[chosen] += peak_to_peak_distance(path)
        if eye is not None and pixels is not None:
            pixels[chosen] += eye.extent(path)
    return residual, pixels


def _together(vectors: NDArray[Any], omega: Array) -> Array:
    """Amplitudes of modes, (B, 3, m), with those of equal frequency (a round wire has pairs) as one motion."""
    joined = vectors.copy()
    for later in range(1, omega.shape[1]):
        same = np.abs(omega[:, later] / omega[:, later - 1] - 1) < _EQUAL
        joined[same, :, later] += joined[same, :, later - 1]
        joined[same, :, later - 1] = 0.0
    return np.asarray(np.abs(joined))


def _bounds(dynamics: Dynamics, modal: Array, field: Array) -> list[SectionForces]:
    """Bounds on section forces from those on modal coordinates (B, m) and the field of acceleration (B, k)."""
    return [
        SectionForces(
            **{
                name: np.einsum("bsm,bm->bs", np.abs(getattr(mode, name)), modal)
                + np.einsum("bsk,bk->bs", np.abs(getattr(rest, name))[..., : field.shape[1]], field)
                for name in _FORCES
            }
        )
        for mode, rest in zip(dynamics.forces, dynamics.remainder_forces, strict=True)
    ]
