"""What a head adds that joins keyframes by straight lines: the shake of the prop while the keys last."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.distance_measures import peak_to_peak_distance
from rigcheck.motion.keyframes import chord_error
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.eye import Eye
from rigcheck.studies.moves import Travel, field_at
from rigcheck.studies.reading.prop import Reading

__all__ = ["Shake", "keyed_shake"]

Array = NDArray[np.float64]

_STRONG = 1e-3
"""Modes that move the prop by less than this share of the strongest are left out."""


@dataclass(frozen=True, kw_only=True)
class Shake:
    """The shake that straight lines between keys add.

    Attributes
    ----------
    extent : float
        Largest distance of any two places of the centre of mass off the smooth path [m].
    extent_px : float or None
        The same in the picture [px], with a camera.
    """

    extent: float
    extent_px: float | None


def keyed_shake(reading: Reading, still: Outcome, number: int) -> Shake:
    r"""Follow what straight lines between the keys of one move add to the smooth curve through them.

    Parameters
    ----------
    reading : Reading
        With the moves.
    still : Outcome
        At rest; the first variant is used.
    number : int
        Which of the moves; it has keys.

    Returns
    -------
    Shake

    Notes
    -----
    With e(t) the straight line less the curve (`chord_error`), the rig feels the field u e'' more, u being that of a
    unit acceleration: -d for a slide along d; for a roll about n through c the Euler acceleration, offset n x c and
    gradient -[n]x, both in the axes of the rig, which later moves of the chain turn and shift. Each mode follows q''
    + 2 zeta omega q' + omega^2 q = P.u e'', or with y = q - P.u e

    .. math:: \ddot y + 2 \zeta \omega \dot y + \omega^2 y = -P.u\,(\omega^2 e + 2 \zeta \omega \dot e)

    which has no impulses and is followed exactly between close samples, so that every line of the spectrum, beats and
    the time a resonance takes to build up are in it. Left out: the damping term on the right (2 zeta over the ratio
    of the two frequencies), the centrifugal terms (angle between two keys), and the turn of u within the time of one
    vibration.
    """
    travel, later = reading.task.travels[number], reading.task.travels[number + 1 :]
    assert travel.keys is not None
    times, error = chord_error(travel.keys)
    field, direction = _field_and_way(travel, later, times, _centre(still))
    dynamics = still.dynamics
    omega, shape = dynamics.angular_frequency[0], dynamics.shape[0, :3]
    drive = dynamics.participation[0, :, : field.shape[0]] @ field
    weight = np.linalg.norm(shape, axis=0) * np.abs(drive).max(axis=1)
    strong = weight > _STRONG * weight.max()
    omega, drive, shape = omega[strong], drive[strong], shape[:, strong]
    push = drive * error
    bent, _ = piecewise_linear_response(
        -(omega**2)[:, None] * push,
        angular_frequency=omega,
        damping_ratio=float(still.rig.damping_ratio[0]),
        times=times,
    )
    path = shape @ (bent + push) + direction * error
    eye: Eye | None = reading.task.eye
    return Shake(
        extent=float(peak_to_peak_distance(path)),
        extent_px=None if eye is None else float(eye.extent(path)),
    )


def _centre(still: Outcome) -> Array:
    return np.asarray(still.rig.centre_of_mass[0] + still.displacement[0])


def _field_and_way(
    travel: Travel, later: tuple[Travel, ...], times: Array, centre: Array
) -> tuple[Array, Array]:
    """Field of a unit acceleration of the move, (3 or 12, n), and where it takes the centre of mass, (3, n)."""
    way = np.array(travel.direction)[:, None]
    shift = np.zeros((3, 1))
    if later:
        at = field_at(later, 0, times)
        back = at.rotation.transpose(0, 2, 1)
        way = (back @ way)[:, :, 0].T
        shift = -(back @ at.position[:, :, None])[:, :, 0].T
    else:
        back = np.eye(3)[None]
    if not travel.rolls:
        if not any(one.rolls for one in later):
            return -way[:, :1], way[:, :1]
        return -way, way
    assert travel.through is not None  # a roll has an axis
    point = (back @ travel.through[0]).T + shift
    offset = np.cross(way, point, axis=0)
    x, y, z = way
    zero = np.zeros_like(x)
    gradient = -np.stack([zero, -z, y, z, zero, -x, -y, x, zero])
    return np.concatenate([offset, gradient]), np.cross(way, centre[:, None] - point, axis=0)
