"""What a move does to a settled batch of rigs: deviation on the way, wobble after it, stress all the while."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.statics import SectionForces
from rigcheck.motion.distance_measures import peak_distance, peak_to_peak_distance
from rigcheck.motion.response import decay_extent, free_decay
from rigcheck.motion.sampling import traced_frequency
from rigcheck.studies.evaluate import Dynamics, Outcome, each, largest_stress, strength_factor, stress_of
from rigcheck.studies.eye import Eye
from rigcheck.studies.moves import Push, Travel, is_turning
from rigcheck.studies.responding import Response, dense_times, respond
from rigcheck.studies.rigs import Part

__all__ = ["Course", "MotionOutcome", "deviation_bound", "follow", "move"]

Array = NDArray[np.float64]
_RINGING_SAMPLES = 100
"""Samples in a period of a mode that swings as far as any; with parabolas between them the extent is good to 1e-5."""
_FEW = 33
"""Samples of all the ringing that tell whether it is more than asked about by far."""
_MOST_AT_ONCE = 1 << 17
"""Samples of the ringing that are looked at together, which bounds their memory."""
_EQUAL = 1e-6
_SILENT = 1e-6
"""Share of what the strongest mode does below which one adds less to the extent than sampling takes from it."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
    peak_swing : array, shape (B, m)
        Bound on the modal coordinates, during the moves and after.
    peak_field : array, shape (B, k)
        Largest field of acceleration on the way, as in `Dynamics.participation`.
    strength_factor : array
        Strength over the largest stress, settled and moving together; NaN where no strength is known.
    parts : list of Part
        As in `Outcome`.
    swing_forces, ringing_forces : list of SectionForces
        Bounds on what the movement adds to the section forces of each element, (B, stations), on the way and when the
        move has ended.
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
    peak_swing: Array
    peak_field: Array
    strength_factor: Array
    parts: list[Part]
    swing_forces: list[SectionForces]
    ringing_forces: list[SectionForces]
    turning_share: Array
    upward_acceleration: Array

    @cached_property
    def swing_stress(self) -> Array:
        """Largest stress that the movement alone adds on the way [Pa]."""
        return largest_stress(stress_of(self.parts, self.swing_forces))

    @cached_property
    def ringing_stress(self) -> Array:
        """The same when the move has ended [Pa]."""
        return largest_stress(stress_of(self.parts, self.ringing_forces))


def move(
    still: Outcome,
    *,
    travels: tuple[Travel, ...] = (),
    pushes: tuple[Push, ...] = (),
    eye: Eye | None = None,
    course: bool = True,
    unseen: float = 0.0,
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
    unseen : float
        Where above 0, all that is asked of the residual wobble is whether it is more than this [px], or [m] without a
        camera. Where a bound tells, it is given in its place: twice the sum of all amplitudes, which it cannot be
        above; or what a few samples go through, which it cannot be below.

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
    response = respond(dynamics, damping, travels, pushes, course=course)
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
    residual, pixels = _residual(
        response,
        dynamics,
        damping,
        still.settings.residual_periods,
        eye,
        most=2 * np.abs(swing),
        unseen=unseen,
    )

    ringing = np.abs(swing) + response.worst_residual
    largest = np.maximum(response.peak + response.worst_peak, ringing)
    field = response.peak_field.copy()
    field[:, :3] += response.worst_field
    swing_forces = _added(_bounds(dynamics, largest), _lag_bounds(dynamics, field))
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
        peak_swing=largest,
        peak_field=field,
        strength_factor=factor,
        parts=still.parts,
        swing_forces=swing_forces,
        ringing_forces=_bounds(dynamics, ringing),
        turning_share=2 * response.fastest_roll / omega[:, 0],
        upward_acceleration=(0.0 if is_turning(travels) else response.peak_field[:, 1])
        + response.worst_field[:, 1],
    )


def deviation_bound(still: Outcome, motion: MotionOutcome) -> Array:
    """Bound on the distance from the intended path: all modes and the lag at their largest, whenever they are.

    Parameters
    ----------
    still, motion : Outcome, MotionOutcome
        The rigs at rest and moving.

    Returns
    -------
    array, shape (B,)
        [m]. Good to a few per cent, as the peaks of the modes are; see `rigcheck.motion.response.peak_bound`.
    """
    rest = np.abs(still.dynamics.remainder[:, :3, : motion.peak_field.shape[1]])
    lag = np.linalg.norm(np.einsum("bij,bj->bi", rest, motion.peak_field), axis=1)
    reach = np.linalg.norm(still.dynamics.shape[:, :3], axis=1)
    return np.asarray(np.einsum("bm,bm->b", reach, motion.peak_swing) + lag)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
    dense_times(dynamics, travels, keys)  # too long a course is refused here, with its numbers
    response = respond(dynamics, still.rig.damping_ratio, travels, (), course=True)
    shape, rest = dynamics.shape[0, :3], dynamics.remainder[0, :3, : response.field.shape[1]]
    return Course(
        times=response.times,
        path=shape @ response.modal[0] + rest @ response.field[0],
        angular_frequency=dynamics.angular_frequency[0],
        end=response.end[0],
        end_rate=response.end_rate[0],
        shape=shape,
    )


def _added(settled: list[SectionForces], swing: list[SectionForces]) -> list[SectionForces]:
    """Magnitudes of settled forces and of what comes on top."""
    return [
        SectionForces(values=np.abs(one.values) + other.values)
        for one, other in zip(settled, swing, strict=True)
    ]


def _turning_factor(still: Outcome, dynamics: Dynamics, response: Response) -> Array:
    """Least strength over stress while the head rolls, (B,).

    The forces of gravity as it turns and of the moves are taken pose by pose, with their signs; only the swing about
    them is added at its largest.
    """
    swing = _bounds(dynamics, response.peak_swing)
    count = response.poses.shape[2]

    def posed(settled: Array, follow: Array) -> Array:
        # Poses lie beside each other as so many more stations.
        change = np.einsum("bsk,bkp->bsp", follow, response.poses)
        return np.asarray((settled[:, :, None] + change).reshape(len(settled), -1))

    poses = [
        SectionForces(values=posed(still.values, follow.values))
        for still, follow in zip(still.forces, dynamics.follow_forces, strict=True)
    ]
    about = [each(force, lambda value: np.repeat(value, count, axis=1)) for force in swing]
    return strength_factor(still.parts, stress_of(still.parts, _added(poses, about)))


def _residual(
    response: Response,
    dynamics: Dynamics,
    damping: Array,
    periods: float,
    eye: Eye | None,
    *,
    most: Array,
    unseen: float,
) -> tuple[Array, Array | None]:
    """Peak to peak over the first periods of the lowest mode after the last move [m], and in pixels.

    `most` is what each modal coordinate can go through from end to end, (B, m); for `unseen` see `move`.
    """
    omega, shape = dynamics.angular_frequency, dynamics.shape[:, :3]
    reach = np.linalg.norm(shape, axis=1)
    residual = 2 * np.einsum("bm,bm->b", reach, response.worst_residual)
    pixels = None
    bound = np.einsum("bm,bm->b", reach, most)
    known = residual + bound <= unseen
    if eye is not None:
        seen = eye.sizes(shape)
        pixels = 2 * np.einsum("bm,bm->b", seen, response.worst_residual)
        bound_px = np.einsum("bm,bm->b", seen, most)
        known = pixels + bound_px <= unseen
        pixels[known] += bound_px[known]
    residual[known] += bound[known]
    size = reach * np.hypot(response.end, response.end_rate / omega)
    share = size / np.maximum(size.max(axis=1, keepdims=True), np.finfo(np.float64).tiny)
    cycles = traced_frequency(omega, share) / omega[:, 0] * periods
    # Powers of two, so that a variant's samples do not depend on its company.
    counts = 2 ** np.clip(np.ceil(np.log2(np.maximum(cycles, 1e-9) * _RINGING_SAMPLES)), 8, 12).astype(int)
    # Those that ring at all come first; a variant with fewer than others has silent ones besides.
    rings = share > _SILENT
    modes = rings.sum(axis=1)
    first = np.argsort(~rings, axis=1, kind="stable")[:, : max(1, int(modes.max()))]
    row = np.arange(len(omega))[:, None]
    end, end_rate = (np.where(rings, part, 0.0)[row, first] for part in (response.end, response.end_rate))
    ringing, shape = omega[row, first], shape.transpose(0, 2, 1)[row, first].transpose(0, 2, 1)
    lasting = periods * 2 * np.pi / omega[:, :1]
    alone = np.flatnonzero((modes <= 1) & ~known)
    if len(alone):
        # Back and forth along one line.
        extent = decay_extent(
            end[alone, 0],
            end_rate[alone, 0],
            angular_frequency=ringing[alone, 0],
            damping_ratio=damping[alone],
            duration=lasting[alone, 0],
        )
        residual[alone] += np.linalg.norm(shape[alone, :, 0], axis=1) * extent
        if eye is not None and pixels is not None:
            pixels[alone] += eye.sizes(shape[alone, :, :1])[:, 0] * extent
        known[alone] = True
    if unseen > 0 and not known.all():
        asked = np.flatnonzero(~known)
        value, _ = free_decay(
            end[asked],
            end_rate[asked],
            angular_frequency=ringing[asked],
            damping_ratio=damping[asked, None],
            times=np.linspace(0.0, 1.0, _FEW) * lasting[asked],
            rates=False,
        )
        path = shape[asked] @ value
        least = np.ptp(path, axis=-1).max(axis=-1)
        more = residual[asked] + least > unseen
        if eye is not None and pixels is not None:
            least_px = eye.least_extent(path)
            more = pixels[asked] + least_px > unseen
            pixels[asked[more]] += least_px[more]
        residual[asked[more]] += least[more]
        known[asked[more]] = True
    counts[known] = 0
    for count in sorted(set(counts.tolist()) - {0}):
        alike = np.flatnonzero(counts == count)
        parts = np.array_split(alike, -(-len(alike) * count // _MOST_AT_ONCE))
        for chosen in parts:
            value, _ = free_decay(
                end[chosen],
                end_rate[chosen],
                angular_frequency=ringing[chosen],
                damping_ratio=damping[chosen, None],
                times=np.linspace(0.0, 1.0, count + 1) * lasting[chosen],
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


def _bounds(dynamics: Dynamics, modal: Array) -> list[SectionForces]:
    """Bounds on section forces from those on modal coordinates (B, m)."""
    return [
        each(mode, lambda force: np.einsum("bsm,bm->bs", np.abs(force), modal)) for mode in dynamics.forces
    ]


def _lag_bounds(dynamics: Dynamics, field: Array) -> list[SectionForces]:
    """The same of what follows the field of acceleration at once, from bounds on it (B, k)."""
    count = field.shape[1]
    return [
        each(rest, lambda force: np.einsum("bsk,bk->bs", np.abs(force[..., :count]), field))
        for rest in dynamics.remainder_forces
    ]
