"""The full check of a batch of rigs as plain SI arrays: settled state, modes, what the move does.

`check`, the cures in its advice and every later study call this one function, so they cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics import sections
from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import Frame
from rigcheck.mechanics.modes import Modes, natural_modes
from rigcheck.mechanics.statics import SectionForces, Settled, section_forces, settle
from rigcheck.motion.distance_measures import peak_distance, peak_to_peak_distance
from rigcheck.motion.profiles import Profile
from rigcheck.motion.response import end_state, free_decay, unit_displacement
from rigcheck.motion.shock import worst_case
from rigcheck.studies.rigs import Batched, Part, Rig, build_frame

__all__ = [
    "GRAVITY",
    "Eye",
    "MotionOutcome",
    "Outcome",
    "Push",
    "Settings",
    "Slide",
    "evaluate",
    "move",
    "respond",
]

Array = NDArray[np.float64]

GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2]; ISO 80000-3."""

_STATIONS = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
_MODES_USED = 16
_SAMPLES_PER_PERIOD = 40
_MOST_SAMPLES = 40_000
_EQUAL = 1e-6
_SMALLEST_SHARE = 1e-4
_TRACED_SHARE = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class Settings:
    """What the calculation takes in.

    Attributes
    ----------
    gravity_stiffness : bool
        Whether weight stiffens what hangs and softens what stands.
    shear : bool
        Timoshenko or Euler-Bernoulli.
    modes : int
        How many modes at least.
    residual_periods : float
        Periods of the lowest mode over which the residual wobble is taken.
    """

    gravity_stiffness: bool = True
    shear: bool = True
    modes: int = 6
    residual_periods: float = 2.0

    @property
    def order(self) -> Order:
        """Internal functions of each element that these settings need."""
        return Order() if self.shear else Order(shear=None)


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
    """

    peak_deviation: Array
    residual: Array
    residual_px: Array | None
    angular_frequency: Array
    amplitudes: Array
    strength_factor: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """Everything computed of a batch of rigs; arrays lead with the batch axis.

    Attributes
    ----------
    rig, settings
        As given.
    frame, parts, settled, forces, modes
        The model itself, for those who want more; `forces` are the settled section forces of each element.
    displacement, rotation, tip_displacement : array, shape (B, 3)
        Of the prop's centre of mass [m], the prop [rad], the first support's tip [m].
    root_moment : array, shape (B,)
        Largest over the supports [N m].
    peak_stress, strength_factor, governing : array, shape (B,)
        Settled: largest equivalent stress [Pa]; least strength over stress; which of `parts` governs.
    motion : MotionOutcome or None
        None without a move.
    """

    rig: Rig
    settings: Settings
    frame: Frame
    parts: list[Part]
    settled: Settled
    forces: list[SectionForces]
    modes: Modes
    displacement: Array
    rotation: Array
    tip_displacement: Array
    root_moment: Array
    peak_stress: Array
    strength_factor: Array
    governing: NDArray[np.intp]
    motion: MotionOutcome | None

    @property
    def sag(self) -> Array:
        """Downward movement of the centre of mass [m], shape (B,)."""
        return -self.displacement[:, 1]

    @property
    def natural_frequency(self) -> Array:
        """[Hz], shape (B, m)."""
        return self.modes.angular_frequency / (2 * np.pi)

    @property
    def shapes(self) -> Array:
        """Displacement (rows 0 to 2) and rotation (3 to 5) of the prop in each mode, shape (B, 6, m)."""
        return self.modes.shape[:, :6]


def evaluate(
    rig: Rig,
    *,
    slides: tuple[Slide, ...] = (),
    pushes: tuple[Push, ...] = (),
    settings: Settings | None = None,
    eye: Eye | None = None,
) -> Outcome:
    """Check a batch of rigs.

    Parameters
    ----------
    rig : Rig
        The batch.
    slides, pushes : tuple
        The move; none of either leaves the motion out.
    settings : Settings
        What to take in.
    eye : Eye
        The camera, for pixels.

    Returns
    -------
    Outcome

    Notes
    -----
    The motion uses every mode exactly that carries more than 1e-4 of what the strongest carries, and adds
    what the rest would give if it followed the acceleration without inertia (static remainder).
    """
    settings = settings or Settings()
    frame, parts = build_frame(rig, order=settings.order)
    weight = frame.inertial_load(np.array([0.0, -GRAVITY, 0.0]))
    settled = settle(frame, weight, load_stiffens=settings.gravity_stiffness)
    modes = natural_modes(frame, settled.stiffness, max(settings.modes, _MODES_USED))
    forces = section_forces(frame, settled.state, _STATIONS)
    stress = _stress(parts, forces)
    factor, governing = _strength_factor(parts, stress)
    tips = frame.supports[0].tip - rig.centre_of_mass
    still = Outcome(
        rig=rig,
        settings=settings,
        frame=frame,
        parts=parts,
        forces=forces,
        settled=settled,
        modes=modes,
        displacement=settled.state[:, :3],
        rotation=settled.state[:, 3:6],
        tip_displacement=settled.state[:, :3] + np.cross(settled.state[:, 3:6], tips),
        root_moment=np.max([np.linalg.norm(moment, axis=1) for moment in settled.root_moment], axis=0),
        peak_stress=np.max([part.max(axis=1) for part in stress], axis=0),
        strength_factor=factor,
        governing=governing,
        motion=None,
    )
    return move(still, slides=slides, pushes=pushes, eye=eye) if slides or pushes else still


def move(
    still: Outcome, *, slides: tuple[Slide, ...] = (), pushes: tuple[Push, ...] = (), eye: Eye | None = None
) -> Outcome:
    """Check another move of rigs that have been computed already.

    Parameters
    ----------
    still : Outcome
        Of `evaluate`; its motion is replaced.
    slides, pushes, eye
        As in `evaluate`.

    Returns
    -------
    Outcome
    """
    return replace(still, motion=_motion(still, slides, pushes, eye))


# -- stress ---------------------------------------------------------------------------------------------


def _stress(parts: list[Part], forces: list[SectionForces]) -> list[Array]:
    """Equivalent stress of each part at the stations, shape (B, s)."""
    places = sorted({(part.support, part.segment) for part in parts})
    at = dict(zip(places, forces, strict=True))
    result = []
    for part in parts:
        force = at[part.support, part.segment]
        share = {name: value[:, None] for name, value in part.share.items()}
        state = sections.combined_stress(
            part.section.with_trailing_axes(1),
            axial_force=share["axial"] * force.axial,
            moment_y=share["bending_y"] * force.moment_y,
            moment_z=share["bending_z"] * force.moment_z,
            torque=share["torsional"] * force.torque,
            shear_y=share["shear_y"] * force.shear_y,
            shear_z=share["shear_z"] * force.shear_z,
        )
        result.append(state.equivalent)
    return result


def _strength_factor(parts: list[Part], stress: list[Array]) -> tuple[Array, NDArray[np.intp]]:
    with np.errstate(divide="ignore"):
        factors = np.stack(
            [part.strength / peak.max(axis=1) for part, peak in zip(parts, stress, strict=True)], axis=1
        )
    governing = np.argmin(np.where(np.isnan(factors), np.inf, factors), axis=1)
    return factors[np.arange(len(factors)), governing], governing


# -- motion ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Response:
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


def respond(
    modes: Modes, damping_ratio: Array, slides: tuple[Slide, ...], pushes: tuple[Push, ...]
) -> Response:
    """Modal response to a set of moves that go on at the same time or one after another.

    Parameters
    ----------
    modes : Modes
        Frequencies and participation.
    damping_ratio : array, shape (B,)
        Of every mode.
    slides, pushes : tuple
        The moves.

    Returns
    -------
    Response

    Notes
    -----
    ``q'' + 2 zeta omega q' + omega^2 q = -sum_k (Gamma . d_k) a_k(t)``, solved exactly for each profile.
    """
    omega = modes.angular_frequency
    batch, count = omega.shape
    begin = min((float(slide.start.min()) for slide in slides), default=0.0)
    end = max((float((slide.start + slide.duration).max()) for slide in slides), default=0.0)
    times = _times(begin, end, omega, modes) if slides else np.zeros(1)
    modal = np.zeros((batch, count, len(times)))
    ground = np.zeros((batch, 3, len(times)))
    last, rate = np.zeros((batch, count)), np.zeros((batch, count))
    stops = np.max([slide.start + slide.duration for slide in slides], axis=0) if slides else np.zeros(batch)
    for slide in slides:
        drive = modes.participation @ np.array(slide.direction) * slide.stroke[:, None]
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
        drive = np.abs(modes.participation @ np.array(push.direction)) * push.acceleration[:, None] / omega**2
        duration_each = None if push.duration is None else push.duration[:, None]
        bound = worst_case(
            angular_frequency=omega, damping_ratio=damping_ratio[:, None], duration=duration_each
        )
        worst[0] += drive * bound.peak
        worst[1] += drive * bound.residual
        pushed += np.abs(push.direction) * push.acceleration[:, None]
    return Response(
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


def _share(modes: Modes) -> Array:
    """How far each mode moves the prop in a steady acceleration, as a share of the mode that moves it most."""
    weight = np.abs(modes.shape[:, :3]).max(axis=1) * np.abs(modes.participation).max(axis=2)
    weight = weight / modes.angular_frequency**2
    return np.asarray(weight / weight.max(axis=1, keepdims=True))


def _times(begin: float, end: float, omega: Array, modes: Modes) -> Array:
    """Times over the moves, dense enough for every mode that moves the prop by a visible share."""
    fastest = float(np.where(_share(modes) > _TRACED_SHARE, omega, 0.0).max())
    wanted = int(np.ceil((end - begin) * fastest / (2 * np.pi) * _SAMPLES_PER_PERIOD)) + 1
    return np.linspace(begin, end, int(np.clip(wanted, 401, _MOST_SAMPLES)))


def _motion(
    still: Outcome, slides: tuple[Slide, ...], pushes: tuple[Push, ...], eye: Eye | None
) -> MotionOutcome:
    frame = still.frame
    damping = still.rig.damping_ratio
    modes = still.modes.lowest(
        int(np.flatnonzero(_share(still.modes).max(axis=0) > _SMALLEST_SHARE).max()) + 1
    )
    response = respond(modes, damping, slides, pushes)
    omega = modes.angular_frequency
    shape = modes.shape[:, :3]
    # What the modes left out would give if it followed the acceleration at once, for each ground direction.
    loads = np.stack([frame.inertial_load(-axis) for axis in np.eye(3)], axis=2)
    whole = np.linalg.solve(still.settled.stiffness, loads)
    remainder = whole + modes.shape @ (modes.participation / omega[..., None] ** 2)
    path = shape @ response.modal + remainder[:, :3] @ response.acceleration
    reach = np.linalg.norm(shape, axis=1)
    lag = np.einsum("bij,bj->bi", np.abs(remainder[:, :3]), response.worst_acceleration)
    deviation = (
        peak_distance(path) + np.einsum("bm,bm->b", reach, response.worst_peak) + np.linalg.norm(lag, axis=1)
    )

    settled_path = _residual_path(response, modes, damping, still.settings.residual_periods)
    extra = 2 * np.einsum("bm,bm->b", reach, response.worst_residual)
    residual = peak_to_peak_distance(settled_path) + extra
    damped = omega * np.sqrt(1 - damping[:, None] ** 2)
    size = np.hypot(response.end, (response.end_rate + damping[:, None] * omega * response.end) / damped)
    swing = response.end + 1j * (response.end_rate + damping[:, None] * omega * response.end) / damped
    amplitudes = _joined(shape * swing[:, None], omega) + (np.abs(shape) * response.worst_residual[:, None])
    pixels = None
    if eye is not None:
        seen = np.linalg.norm(eye.project(shape), axis=1)
        pixels = peak_to_peak_distance(eye.project(settled_path)) + 2 * np.einsum(
            "bm,bm->b", seen, response.worst_residual
        )

    largest = np.abs(response.modal).max(axis=2) + response.worst_peak
    after = np.maximum(largest, size + response.worst_residual)
    ground = np.abs(response.acceleration).max(axis=2) + response.worst_acceleration
    moving = _moving_forces(frame, still.forces, modes, after, remainder, ground)
    factor, _ = _strength_factor(still.parts, _stress(still.parts, moving))
    return MotionOutcome(
        peak_deviation=deviation,
        residual=residual,
        residual_px=pixels,
        angular_frequency=omega,
        amplitudes=amplitudes.transpose(0, 2, 1),
        strength_factor=factor,
    )


def _residual_path(response: Response, modes: Modes, damping: Array, periods: float) -> Array:
    """Places of the centre of mass over the first periods of the lowest mode after the last move, (B, 3, n)."""
    omega = modes.angular_frequency
    shape = modes.shape[:, :3]
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


def _joined(vectors: NDArray[Any], omega: Array) -> Array:
    """Amplitudes of modes, (B, 3, m), with those of equal frequency (a round wire has pairs) as one motion."""
    joined = vectors.copy()
    for later in range(1, omega.shape[1]):
        same = np.abs(omega[:, later] / omega[:, later - 1] - 1) < _EQUAL
        joined[same, :, later] += joined[same, :, later - 1]
        joined[same, :, later - 1] = 0.0
    return np.asarray(np.abs(joined))


def _moving_forces(
    frame: Frame, settled: list[SectionForces], modes: Modes, modal: Array, remainder: Array, ground: Array
) -> list[SectionForces]:
    """Bounds on the section forces of settled state and movement together, by magnitudes."""
    swing = section_forces(frame, modes.shape, _STATIONS)
    follow = section_forces(frame, remainder, _STATIONS)
    result = []
    for still, mode, rest in zip(settled, swing, follow, strict=True):
        result.append(
            SectionForces(
                **{
                    name: np.abs(getattr(still, name))
                    + np.einsum("bsm,bm->bs", np.abs(getattr(mode, name)), modal)
                    + np.einsum("bsk,bk->bs", np.abs(getattr(rest, name)), ground)
                    for name in ("axial", "torque", "moment_y", "moment_z", "shear_y", "shear_z")
                }
            )
        )
    return result
