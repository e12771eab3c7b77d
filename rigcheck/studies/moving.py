"""What a move does to a settled batch of rigs: deviation on the way, wobble after it, stress all the while."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.statics import SectionForces
from rigcheck.motion.distance_measures import peak_distance, peak_to_peak_distance
from rigcheck.motion.profiles import Profile
from rigcheck.motion.response import end_state, free_decay, unit_displacement
from rigcheck.motion.shock import worst_case
from rigcheck.studies.evaluate import Dynamics, Outcome, largest_stress, strength_factor, stress_of
from rigcheck.studies.rigs import Batched

__all__ = ["Eye", "MotionOutcome", "Push", "Slide", "move"]

Array = NDArray[np.float64]

_SAMPLES_PER_PERIOD = 40
_MOST_SAMPLES = 40_000
_EQUAL = 1e-6
_SMALLEST_SHARE = 1e-4
_TRACED_SHARE = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class Slide(Batched):
    """One straight move with a known profile.

    Attributes
    ----------
    direction : tuple of 3 float
        Unit vector.
    stroke, start, duration : array, shape (B,)
        [m], [s], [s].
    profile : Profile
        How the stroke is spread over the duration.
    """

    direction: tuple[float, float, float]
    stroke: Array
    start: Array
    duration: Array
    profile: Profile


@dataclass(frozen=True, kw_only=True, eq=False)
class Push(Batched):
    """A straight move of which only the peak acceleration is known [m/s2], perhaps the duration [s]."""

    direction: tuple[float, float, float]
    acceleration: Array
    duration: Array | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Eye:
    """How the camera turns metres at the prop into pixels.

    Attributes
    ----------
    right, up : array, shape (3,)
        Directions of the picture's axes in space.
    pixels_per_metre : float
        At the prop.
    """

    right: Array
    up: Array
    pixels_per_metre: float

    def project(self, points: Array) -> Array:
        """Pixels in the picture of places, shape (..., 3, n) to (..., 2, n)."""
        return np.stack([self.right, self.up]) @ points * self.pixels_per_metre


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


def move(
    still: Outcome, *, slides: tuple[Slide, ...] = (), pushes: tuple[Push, ...] = (), eye: Eye | None = None
) -> MotionOutcome:
    """Move a batch of rigs.

    Parameters
    ----------
    still : Outcome
        The rigs at rest.
    slides, pushes : tuple
        The moves; at least one.
    eye : Eye
        The camera, for pixels.

    Returns
    -------
    MotionOutcome

    Notes
    -----
    Every mode that carries more than 1e-4 of what the strongest carries moves exactly as its equation says; the
    rest follows the ground's acceleration at once (static remainder). Stresses add the largest magnitudes of all
    modes, whenever they occur: a bound.
    """
    damping = still.rig.damping_ratio
    whole = still.dynamics
    dynamics = whole.lowest(int(np.flatnonzero(_share(whole).max(axis=0) > _SMALLEST_SHARE).max()) + 1)
    response = _respond(dynamics, damping, slides, pushes)
    omega, shape = dynamics.angular_frequency, dynamics.shape[:, :3]
    rest = dynamics.remainder[:, :3]
    path = shape @ response.modal + rest @ response.acceleration
    reach = np.linalg.norm(shape, axis=1)
    lag = np.einsum("bij,bj->bi", np.abs(rest), response.worst_acceleration)
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
    ground = np.abs(response.acceleration).max(axis=2) + response.worst_acceleration
    swing_forces = _bounds(dynamics, largest, ground)
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
            stress_of(still.parts, _bounds(dynamics, ringing, np.zeros_like(ground)))
        ),
        swing_forces=swing_forces,
    )


_FORCES = ("axial", "torque", "moment_y", "moment_z", "shear_y", "shear_z")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Response:
    """Modal response to the slides and pushes together.

    Attributes
    ----------
    times : array, shape (n,)
        From the first start to the last end [s].
    modal : array, shape (B, m, n)
        Modal coordinates at those times.
    acceleration : array, shape (B, 3, n)
        Of the ground [m/s2].
    end, end_rate : array, shape (B, m)
        Modal coordinates and their rates when the last move ends.
    worst_peak, worst_residual : array, shape (B, m)
        Bounds on the modal coordinates that pushes add, during and after.
    worst_acceleration : array, shape (B, 3)
        Bound on the ground's acceleration that pushes add, per axis.
    """

    times: Array
    modal: Array
    acceleration: Array
    end: Array
    end_rate: Array
    worst_peak: Array
    worst_residual: Array
    worst_acceleration: Array


def _respond(
    dynamics: Dynamics, damping_ratio: Array, slides: tuple[Slide, ...], pushes: tuple[Push, ...]
) -> _Response:
    """Modal response to moves that go on at the same time or one after another.

    ``q'' + 2 zeta omega q' + omega^2 q = -sum_k (Gamma . d_k) a_k(t)``, solved exactly for each profile.
    """
    omega = dynamics.angular_frequency
    batch, count = omega.shape
    begin = min((float(slide.start.min()) for slide in slides), default=0.0)
    end = max((float((slide.start + slide.duration).max()) for slide in slides), default=0.0)
    times = _times(begin, end, dynamics) if slides else np.zeros(1)
    modal = np.zeros((batch, count, len(times)))
    ground = np.zeros((batch, 3, len(times)))
    last, rate = np.zeros((batch, count)), np.zeros((batch, count))
    stops = np.max([slide.start + slide.duration for slide in slides], axis=0) if slides else np.zeros(batch)
    for slide in slides:
        drive = dynamics.participation @ np.array(slide.direction) * slide.stroke[:, None]
        value, speed = end_state(
            slide.profile,
            duration=slide.duration[:, None],
            angular_frequency=omega,
            damping_ratio=damping_ratio[:, None],
        )
        since = (stops - slide.start - slide.duration)[:, None]
        value, speed = free_decay(
            value, speed, angular_frequency=omega, damping_ratio=damping_ratio[:, None], times=since
        )
        last += drive * value[..., 0]
        rate += drive * speed[..., 0]
        for variants in _alike(slide.start, slide.duration):
            start, duration = float(slide.start[variants[0]]), float(slide.duration[variants[0]])
            moments = times - start
            modal[variants] += drive[variants, :, None] * unit_displacement(
                slide.profile,
                duration=duration,
                angular_frequency=omega[variants],
                damping_ratio=damping_ratio[variants, None],
                times=moments,
            )
            peak = slide.stroke[variants, None, None] / duration**2
            ground[variants] += (
                np.array(slide.direction)[:, None] * peak * slide.profile.acceleration(moments / duration)
            )
    worst = [np.zeros((batch, count)), np.zeros((batch, count))]
    pushed = np.zeros((batch, 3))
    for push in pushes:
        drive = (
            np.abs(dynamics.participation @ np.array(push.direction)) * push.acceleration[:, None] / omega**2
        )
        duration_each = None if push.duration is None else push.duration[:, None]
        bound = worst_case(
            angular_frequency=omega, damping_ratio=damping_ratio[:, None], duration=duration_each
        )
        worst[0] += drive * bound.peak
        worst[1] += drive * bound.residual
        pushed += np.abs(push.direction) * push.acceleration[:, None]
    return _Response(
        times=times,
        modal=modal,
        acceleration=ground,
        end=last,
        end_rate=rate,
        worst_peak=worst[0],
        worst_residual=worst[1],
        worst_acceleration=pushed,
    )


def _alike(*values: Array) -> list[NDArray[np.intp]]:
    """Groups of variants with the same values of everything."""
    _, group = np.unique(np.stack(values, axis=1), axis=0, return_inverse=True)
    return [np.flatnonzero(group == index) for index in range(int(group.max()) + 1)]


def _share(dynamics: Dynamics) -> Array:
    """How far each mode moves the prop in a steady acceleration, as a share of the mode that moves it most."""
    weight = np.abs(dynamics.shape[:, :3]).max(axis=1) * np.abs(dynamics.participation).max(axis=2)
    weight = weight / dynamics.angular_frequency**2
    return np.asarray(weight / weight.max(axis=1, keepdims=True))


def _times(begin: float, end: float, dynamics: Dynamics) -> Array:
    """Times over the moves, dense enough for every mode that moves the prop by a visible share."""
    fastest = float(np.where(_share(dynamics) > _TRACED_SHARE, dynamics.angular_frequency, 0.0).max())
    wanted = int(np.ceil((end - begin) * fastest / (2 * np.pi) * _SAMPLES_PER_PERIOD)) + 1
    return np.linspace(begin, end, int(np.clip(wanted, 401, _MOST_SAMPLES)))


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


def _bounds(dynamics: Dynamics, modal: Array, ground: Array) -> list[SectionForces]:
    """Bounds on section forces from those on modal coordinates (B, m) and the ground's acceleration (B, 3)."""
    return [
        SectionForces(
            **{
                name: np.einsum("bsm,bm->bs", np.abs(getattr(mode, name)), modal)
                + np.einsum("bsk,bk->bs", np.abs(getattr(rest, name)), ground)
                for name in _FORCES
            }
        )
        for mode, rest in zip(dynamics.forces, dynamics.remainder_forces, strict=True)
    ]
