"""Does it stay bent when the prop comes off, how many takes does it last, does a thin tube dent."""

from __future__ import annotations

from rigcheck.studies.contributions import skipped, together
from rigcheck.studies.fatigue_life import FATIGUE_LABEL, check_fatigue, hand_bends
from rigcheck.studies.lasting_set import SET_LABEL, check_set
from rigcheck.studies.layers import layers_of
from rigcheck.studies.results import Contribution
from rigcheck.studies.tube_walls import check_tube_walls
from rigcheck.studies.work import Work

__all__ = ["lasting"]


def lasting(work: Work, *, for_verdict: bool = False) -> tuple[Contribution, float | None]:
    """Check what stays bent, how many takes the supports last, and thin tubes.

    Parameters
    ----------
    work : Work
        One prop computed.
    for_verdict : bool
        Leave out what no verdict depends on: how often soft wire bends by hand.

    Returns
    -------
    Contribution
        Findings ``set``, ``fatigue`` and, where a tube is thin for its load, ``tube-wall``.
    float or None
        How far the centre of mass stays displaced when the prop is hung and taken off again [m]; 0 where
        nothing sets, None where that is not known or the support folds.

    Notes
    -----
    Moments are those of the settled state with all it has yielded (`rigcheck.studies.yielding`). Where torsion
    or axial force take part, ``(sigma_axial + sigma_bending)^2 + 3 tau^2`` is held against the square of the
    strength, and the bending law keeps what they leave; with the plastic moment this errs on the safe side.
    Layers of a sleeved piece share one curvature.
    """
    if not work.solved:
        reason = "There is no settled state to judge it by."
        unmade = (skipped("set", SET_LABEL, reason), skipped("fatigue", FATIGUE_LABEL, reason))
        return Contribution(findings=unmade), None
    still, motion = work.still, work.motion
    layers = layers_of(work.shot, work.prop, work.reading.task.rig, still.parts)
    bent = check_set(still, motion, layers)
    parts = (
        bent.contribution,
        check_fatigue(work, layers, first_yield=bent.first_yield),
        check_tube_walls(still, motion, layers),
        Contribution() if for_verdict else hand_bends(layers),
    )
    return together(parts), bent.displacement
