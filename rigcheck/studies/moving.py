"""What a move does to a settled batch of rigs: deviation on the way, wobble after it, stress all the while."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.statics import SectionForces
from rigcheck.motion.distance_measures import peak_distance, peak_to_peak_distance
from rigcheck.motion.keyframes import KeyframePath
from rigcheck.motion.moving_frame import Carrier, FrameField, frame_field
from rigcheck.motion.profiles import Profile
from rigcheck.motion.response import end_state, free_decay, unit_displacement
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.sampling import sample_times
from rigcheck.motion.shock import worst_case
from rigcheck.picture.projection import Camera
from rigcheck.studies.evaluate import Dynamics, Outcome, largest_stress, strength_factor, stress_of
from rigcheck.studies.rigs import GRAVITY, Batched

__all__ = ["Eye", "MotionOutcome", "Push", "Travel", "is_turning", "move"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_SAMPLES_PER_PERIOD = 48
_EQUAL = 1e-6
_SMALLEST_SHARE = 1e-4
_TRACED_SHARE = 1e-3
_LEAST_IN_STRETCH = 400
"""Samples in each stretch of a turning move: its load is taken as straight between them, good to 1e-5."""
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
    """

    camera: Camera
    jacobian: Array

    def project(self, points: Array) -> Array:
        """Pixels of small movements, shape (..., 3, n) to (..., 2, n)."""
        return np.asarray(self.jacobian @ points)


@dataclass(frozen=True, kw_only=True, eq=False)
class MotionOutcome:
    """What the move does, each of shape (B,) unless said.

    Attributes
    ----------
    peak_deviation, residual : array
        [m]; the residual peak to peak.
    residual_px : array or None
        [px], with a camera.
    angular_frequency : array, shape (B, m)
        Of the modes that matter to the picture [rad/s].
    amplitudes : array, shape (B, m, 3)
        Amplitude of the centre of mass in each of them when the last move ends [m].
    strength_factor : array
        Strength over the largest stress, settled and moving together; NaN where no strength is known.
    swing_stress, ringing_stress : array
        Largest stress that the movement alone adds, on the way and when the move has ended [Pa].
    swing_forces : list of SectionForces
        Bounds on what the movement adds to the section forces of each element, (B, stations).
    turning_share : array
        Twice the fastest roll over the lowest angular frequency: the relative size of what is left out (the
        Coriolis force on the vibration).
    """

    peak_deviation: Array
    residual: Array
    residual_px: Array | None
    angular_frequency: Array
    amplitudes: Array
    strength_factor: Array
    swing_stress: Array
    ringing_stress: Array
    swing_forces: list[SectionForces]
    turning_share: Array


def move(
    still: Outcome, *, travels: tuple[Travel, ...] = (), pushes: tuple[Push, ...] = (), eye: Eye | None = None
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

    Returns
    -------
    MotionOutcome

    Notes
    -----
    Every mode that carries more than 1e-4 of what the strongest carries moves exactly as its equation says; the
    rest follows the field of acceleration at once (static remainder). Stresses add the largest magnitudes of all
    modes, whenever they occur: a bound. Modes are those of the pose at the end; the change of stiffness as the
    weight turns, and the Coriolis force on the vibration, are left out.
    """
    damping = still.rig.damping_ratio
    whole = still.dynamics
    strong = np.flatnonzero(_share(whole).max(axis=0) > _SMALLEST_SHARE)
    dynamics = whole.lowest(int(strong.max()) + 1)
    response = _respond(dynamics, damping, travels, pushes)
    omega, shape = dynamics.angular_frequency, dynamics.shape[:, :3]
    rest = dynamics.remainder[:, :3]
    path = shape @ response.modal + rest[:, :, : response.field.shape[1]] @ response.field
    reach = np.linalg.norm(shape, axis=1)
    lag = np.einsum("bij,bj->bi", np.abs(rest[:, :, :3]), response.worst_field)
    deviation = peak_distance(path) + np.einsum("bm,bm->b", reach, response.worst_peak)

    left = _residual_path(response, dynamics, damping, still.settings.residual_periods)
    damped = omega * np.sqrt(1 - damping[:, None] ** 2)
    swing = response.end + 1j * (response.end_rate + damping[:, None] * omega * response.end) / damped
    amplitudes = _together(shape * swing[:, None], omega) + np.abs(shape) * response.worst_residual[:, None]
    pixels = None
    if eye is not None:
        seen = np.linalg.norm(eye.project(shape), axis=1)
        pixels = peak_to_peak_distance(eye.project(left))
        pixels = pixels + 2 * np.einsum("bm,bm->b", seen, response.worst_residual)

    ringing = np.abs(swing) + response.worst_residual
    largest = np.maximum(np.abs(response.modal).max(axis=2) + response.worst_peak, ringing)
    field = np.abs(response.field).max(axis=2)
    field[:, :3] += response.worst_field
    swing_forces = _bounds(dynamics, largest, field)
    total = [
        SectionForces(**{name: np.abs(getattr(one, name)) + getattr(other, name) for name in _FORCES})
        for one, other in zip(still.forces, swing_forces, strict=True)
    ]
    return MotionOutcome(
        peak_deviation=deviation + np.linalg.norm(lag, axis=1),
        residual=peak_to_peak_distance(left) + 2 * np.einsum("bm,bm->b", reach, response.worst_residual),
        residual_px=pixels,
        angular_frequency=omega,
        amplitudes=amplitudes.transpose(0, 2, 1),
        strength_factor=strength_factor(still.parts, stress_of(still.parts, total)),
        swing_stress=largest_stress(stress_of(still.parts, swing_forces)),
        ringing_stress=largest_stress(
            stress_of(still.parts, _bounds(dynamics, ringing, np.zeros_like(field)))
        ),
        swing_forces=swing_forces,
        turning_share=2 * response.fastest_roll / omega[:, 0],
    )


_FORCES = ("axial", "torque", "moment_y", "moment_z", "shear_y", "shear_z")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Response:
    """Modal response to all moves together.

    Attributes
    ----------
    modal : array, shape (B, m, n)
        Modal coordinates, from the settled end pose, at times from the first start to the last end.
    field : array, shape (B, k, n)
        Field of acceleration at those times, less that of the end pose: three of a uniform one, nine more of its
        gradient where a move rolls.
    end, end_rate : array, shape (B, m)
        Modal coordinates and their rates when the last move ends.
    worst_peak, worst_residual : array, shape (B, m)
        Bounds on the modal coordinates that pushes add, during and after.
    worst_field : array, shape (B, 3)
        Bound on the ground's acceleration that pushes add, per axis.
    fastest_roll : array, shape (B,)
        [rad/s].
    """

    modal: Array
    field: Array
    end: Array
    end_rate: Array
    worst_peak: Array
    worst_residual: Array
    worst_field: Array
    fastest_roll: Array


def _respond(
    dynamics: Dynamics, damping: Array, travels: tuple[Travel, ...], pushes: tuple[Push, ...]
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
    times = _times(dynamics, travels) if travels else np.zeros(1)
    modal, field = np.zeros((batch, count, len(times))), np.zeros((batch, fields, len(times)))
    end, rate, fastest = np.zeros((batch, count)), np.zeros((batch, count)), np.zeros(batch)
    if turning:
        for variants in _alike(travels):
            turned = _turning_response(dynamics, damping, travels, variants, times)
            modal[variants], field[variants], end[variants], rate[variants], fastest[variants] = turned
    else:
        stops = np.max([travel.stop for travel in travels], axis=0) if travels else np.zeros(batch)
        for travel in travels:
            _add_slide(dynamics, damping, travel, times, stops, modal, field, end, rate)
    worst = [np.zeros((batch, count)), np.zeros((batch, count))]
    pushed = np.zeros((batch, 3))
    for push in pushes:
        drive = np.abs(dynamics.participation[..., :3] @ np.array(push.direction)) / omega**2
        bound = worst_case(
            angular_frequency=omega,
            damping_ratio=damping[:, None],
            duration=None if push.duration is None else push.duration[:, None],
        )
        worst[0] += drive * bound.peak * push.acceleration[:, None]
        worst[1] += drive * bound.residual * push.acceleration[:, None]
        pushed += np.abs(push.direction) * push.acceleration[:, None]
    return _Response(
        modal=modal,
        field=field,
        end=end,
        end_rate=rate,
        worst_peak=worst[0],
        worst_residual=worst[1],
        worst_field=pushed,
        fastest_roll=fastest,
    )


def _add_slide(
    dynamics: Dynamics,
    damping: Array,
    travel: Travel,
    times: Array,
    stops: Array,
    modal: Array,
    field: Array,
    end: Array,
    rate: Array,
) -> None:
    """Add one slide's response to the arrays."""
    omega, zeta = dynamics.angular_frequency, damping[:, None]
    way = np.array(travel.direction)
    drive = -(dynamics.participation[..., :3] @ way) * travel.stroke[:, None]
    if travel.keys is not None:
        _, _, acceleration = travel.law(0, times)
        value, speed = piecewise_linear_response(
            drive[..., None] * acceleration, angular_frequency=omega, damping_ratio=zeta, times=times
        )
        modal += value
        field[:, :3] -= way[:, None] * acceleration
        since = stops - times[-1]
        value, speed = free_decay(
            value[..., -1], speed[..., -1], angular_frequency=omega, damping_ratio=zeta, times=since[:, None]
        )
        end += value[..., 0]
        rate += speed[..., 0]
        return
    assert travel.profile is not None
    value, speed = end_state(
        travel.profile, duration=travel.duration[:, None], angular_frequency=omega, damping_ratio=zeta
    )
    # end_state answers the equation with -a on its right side.
    value, speed = free_decay(
        -value, -speed, angular_frequency=omega, damping_ratio=zeta, times=(stops - travel.stop)[:, None]
    )
    end += drive * value[..., 0]
    rate += drive * speed[..., 0]
    for variants in _alike((travel,)):
        first = variants[0]
        start, duration = float(travel.start[first]), float(travel.duration[first])
        modal[variants] -= drive[variants, :, None] * unit_displacement(
            travel.profile,
            duration=duration,
            angular_frequency=omega[variants],
            damping_ratio=zeta[variants],
            times=times - start,
        )
        push = travel.profile.acceleration((times - start) / duration) / duration**2
        field[variants, :3] -= way[:, None] * travel.stroke[variants, None, None] * push


def _turning_response(
    dynamics: Dynamics, damping: Array, travels: tuple[Travel, ...], variants: Index, times: Array
) -> tuple[Array, Array, Array, Array, float]:
    """Response of variants that share their moves: modal, field, end, end rate, fastest roll."""
    first = int(variants[0])
    omega, zeta = dynamics.angular_frequency[variants], damping[variants, None]
    part = dynamics.participation[variants]
    state: tuple[Array, Array] | None = None
    modal, field, fastest = [], [], 0.0
    last = float(max(travel.stop[first] for travel in travels))
    for stretch in _stretches(travels, first, times, last):
        inside = stretch.copy()
        inside[[0, -1]] += np.array([1.0, -1.0]) * _INSIDE * (stretch[-1] - stretch[0])
        at = _field_at(travels, first, inside)
        change = np.concatenate([at.offset - _DOWN, at.gradient.reshape(-1, 9)], axis=1).T
        load = part @ change
        if state is None:
            # Before the first move the rig rests in its starting pose, where gravity points another way.
            state = (load[..., 0] / omega**2, np.zeros_like(omega))
        value, speed = piecewise_linear_response(
            load, angular_frequency=omega, damping_ratio=zeta, times=stretch, initial=state
        )
        state = (value[..., -1], speed[..., -1])
        modal.append(value)
        field.append(change)
        fastest = max(fastest, float(np.linalg.norm(at.spin, axis=1).max()))
    assert state is not None
    # Only peaks are read from the course, so it may be sampled as the stretches are.
    course, push = np.concatenate(modal, axis=2), np.concatenate(field, axis=1)
    return _resampled(course, len(times)), _resampled(push, len(times)), *state, fastest


def _resampled(course: Array, count: int) -> Array:
    """Keep the largest of each run of samples, so that every variant has `count` of them and no peak is lost."""
    edges = np.linspace(0, course.shape[-1], count + 1).astype(int)[:-1]
    high = np.maximum.reduceat(course, edges, axis=-1)
    low = np.minimum.reduceat(course, edges, axis=-1)
    return np.asarray(np.where(np.abs(low) > np.abs(high), low, high))


def _stretches(travels: tuple[Travel, ...], variant: int, times: Array, last: float) -> Iterator[Array]:
    """Sample times of each stretch in which every acceleration is smooth."""
    events = np.concatenate([travel.events(variant) for travel in travels])
    begin = float(events.min())
    edges = np.unique(np.concatenate([[begin], events[(events > begin) & (events < last)], [last]]))
    edges = edges[np.concatenate([[True], np.diff(edges) > 1e-9 * (last - begin)])]
    step = float(np.median(np.diff(times)))
    keyed = any(travel.keys is not None for travel in travels)
    least = 4 if keyed else _LEAST_IN_STRETCH
    for start, stop in zip(edges[:-1], edges[1:], strict=True):
        yield np.linspace(start, stop, max(least, int(np.ceil((stop - start) / step))) + 1)


def _field_at(travels: tuple[Travel, ...], variant: int, times: Array) -> FrameField:
    carriers = [
        Carrier(
            rolls=travel.rolls,
            direction=np.array(travel.direction),
            through=None if travel.through is None else travel.through[variant],
            law=lambda at, travel=travel: travel.law(variant, at),  # type: ignore[misc]
        )
        for travel in travels
    ]
    return frame_field(carriers, times, gravity=_DOWN)


def _alike(travels: tuple[Travel, ...]) -> list[Index]:
    """Groups of variants whose moves are the same in everything but the stroke of slides."""
    columns = [column for travel in travels for column in (travel.start, travel.duration)]
    for travel in travels:
        if travel.rolls and travel.through is not None:
            columns += [travel.stroke, *travel.through.T]
    if is_turning(travels):
        columns += [travel.stroke for travel in travels]
    _, group = np.unique(np.stack(columns, axis=1), axis=0, return_inverse=True)
    return [np.flatnonzero(group == index) for index in range(int(group.max()) + 1)]


def _share(dynamics: Dynamics) -> Array:
    """How far each mode moves the prop in a steady field, as a share of the mode that moves it most."""
    weight = np.abs(dynamics.shape[:, :3]).max(axis=1) * np.abs(dynamics.participation).max(axis=2)
    weight = weight / dynamics.angular_frequency**2
    return np.asarray(weight / weight.max(axis=1, keepdims=True))


def _times(dynamics: Dynamics, travels: tuple[Travel, ...]) -> Array:
    """Times over the moves, dense enough for every mode that moves the prop by a visible share."""
    keys = [travel.keys.times for travel in travels if travel.keys is not None]
    return sample_times(
        start=min(float(travel.start.min()) for travel in travels),
        stop=max(float(travel.stop.max()) for travel in travels),
        angular_frequency=dynamics.angular_frequency,
        share=_share(dynamics),
        events=np.concatenate(keys) if keys else (),
        samples_per_period=_SAMPLES_PER_PERIOD,
        tolerance=_TRACED_SHARE,
    ).times


def _residual_path(response: _Response, dynamics: Dynamics, damping: Array, periods: float) -> Array:
    """Places of the centre of mass over the first periods of the lowest mode after the last move, (B, 3, n)."""
    omega = dynamics.angular_frequency
    shape = dynamics.shape[:, :3]
    size = np.linalg.norm(shape, axis=1) * np.hypot(response.end, response.end_rate / omega)
    matters = size > _TRACED_SHARE * size.max(axis=1, keepdims=True)
    cycles = float((np.where(matters, omega, 0.0).max(axis=1) / omega[:, 0]).max()) * periods
    count = int(np.clip(np.ceil(cycles * _SAMPLES_PER_PERIOD) + 1, 161, 4001))
    times = np.linspace(0.0, 1.0, count) * (periods * 2 * np.pi / omega[:, :1])
    value, _ = free_decay(
        response.end,
        response.end_rate,
        angular_frequency=omega,
        damping_ratio=damping[:, None],
        times=times,
    )
    return np.asarray(shape @ value)


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
