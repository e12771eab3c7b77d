"""Values against limits, for a batch: the numbers behind every finding."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.distance_measures import settle_time_modal
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.eye import Eye
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import GRAVITY

__all__ = [
    "BUCKLING_FACTOR",
    "CAUTION_SHARE",
    "DROOP_SHARE",
    "NOMINAL_PIXEL",
    "SETTLE_CAUTION",
    "Grade",
    "Limits",
    "grade",
    "invisible_wobble",
    "passing_wobble",
]

Array = NDArray[np.float64]

CAUTION_SHARE = 0.3
"""Wobble is invisible below this share of its limit: 0.3 px of 1 px (20 arc-seconds at the design distance)."""
SETTLE_CAUTION = 4.0
"""Settling may take this many times its limit before it fails: 0.25 s and 1 s."""
BUCKLING_FACTOR = 3.0
"""Least load factor against buckling; common practice, no source."""
DROOP_SHARE = 0.1
"""Sag beyond this share of the free length is past small-displacement theory."""
NOMINAL_PIXEL = 1e-4
"""Size of a pixel at the prop that wobble is graded with when there is no camera [m]: a choice, stated as one."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Limits:
    """Limits in SI: see design and rig file. `sag` is None where the user set none; `wobble` in pixels."""

    hazard: str = "clear"
    wobble: float = 1.0
    settle: float = 0.25
    sag: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Grade:
    """One check of every variant: value and limit in SI (pixels for wobble with a camera), status in words."""

    value: Array
    limit: float
    status: NDArray[np.str_]


def invisible_wobble(limits: Limits, eye: Eye | None) -> float:
    """Give the residual wobble up to which it is a plain pass, in pixels or without a camera in metres."""
    return CAUTION_SHARE * limits.wobble * (NOMINAL_PIXEL if eye is None else 1.0)


def passing_wobble(limits: Limits, eye: Eye | None) -> float:
    """The same where a caution is as good as a pass, because nothing overhead can do better."""
    spare = CAUTION_SHARE if limits.hazard == "overhead" else 1.0
    return invisible_wobble(limits, eye) / spare


def grade(
    outcome: Outcome, motion: MotionOutcome | None, limits: Limits, eye: Eye | None
) -> dict[str, Grade]:
    """Grade a batch.

    Parameters
    ----------
    outcome : Outcome
        The batch at rest.
    motion : MotionOutcome or None
        The same moving; None without a move.
    limits : Limits
        The user's limits or the defaults.
    eye : Eye or None
        The camera.

    Returns
    -------
    dict of str to Grade
        By finding: ``yield-factor``, ``buckling``, ``sag``, and with a move ``residual-wobble`` and
        ``settle``. A check that cannot be made is ``skipped``; without a settled state everything fails.
    """
    factor = outcome.strength_factor
    if motion is not None:
        factor = np.minimum(factor, motion.strength_factor)
    required = REQUIRED_FACTOR[limits.hazard]
    ceiling = Status.CAUTION if limits.hazard == "overhead" else Status.PASS
    strength = np.where(factor >= required, ceiling, Status.FAIL)
    rig = outcome.rig
    buckling = outcome.buckling_factor
    if motion is not None:
        # A head that hastens up makes what stands on it heavier.
        buckling = buckling / (1 + motion.upward_acceleration / GRAVITY)
    free_length = np.min([support.free_length for support in rig.supports], axis=0)
    sag = np.abs(outcome.sag)
    droops = np.where(sag > DROOP_SHARE * free_length, Status.CAUTION, Status.PASS)
    grades = {
        "yield-factor": Grade(
            value=factor, limit=required, status=np.where(np.isnan(factor), Status.SKIPPED, strength)
        ),
        "buckling": Grade(
            value=buckling,
            limit=BUCKLING_FACTOR,
            status=np.where(buckling >= BUCKLING_FACTOR, Status.PASS, Status.FAIL),
        ),
        "sag": Grade(
            value=sag,
            limit=np.nan if limits.sag is None else limits.sag,
            status=droops if limits.sag is None else np.where(sag > limits.sag, Status.FAIL, droops),
        ),
    }
    if motion is not None:
        seen = motion.residual / NOMINAL_PIXEL if motion.residual_px is None else motion.residual_px
        grades["residual-wobble"] = Grade(
            value=seen, limit=limits.wobble, status=_three(seen, CAUTION_SHARE * limits.wobble, limits.wobble)
        )
        vectors = motion.amplitudes / NOMINAL_PIXEL
        if eye is not None:
            vectors = eye.sizes(motion.amplitudes.transpose(0, 2, 1))[..., None]
        damping = rig.damping_ratio
        settle = settle_time_modal(
            vectors,
            angular_frequency=motion.angular_frequency,
            damping_ratio=damping[:, None],
            threshold=limits.wobble,
        )
        grades["settle"] = Grade(
            value=settle,
            limit=limits.settle,
            status=_three(settle, limits.settle, SETTLE_CAUTION * limits.settle),
        )
    return {
        name: replace(item, status=np.where(outcome.solved, item.status, Status.FAIL))
        for name, item in grades.items()
    }


def _three(value: Array, good: float, bad: float) -> NDArray[np.str_]:
    return np.where(value <= good, Status.PASS, np.where(value <= bad, Status.CAUTION, Status.FAIL))
