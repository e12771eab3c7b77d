"""How far a soft prop droops over its insert and over the bare support, and whether the insert holds."""

from __future__ import annotations

from rigcheck.studies.contributions import skipped, together
from rigcheck.studies.insert_hold import STRENGTH_LABEL, check_strength, joint_of
from rigcheck.studies.insert_sheets import given_sheet
from rigcheck.studies.prop_droop import DROOP_LABEL, check_droop, check_droop_on_hub
from rigcheck.studies.prop_plan import plan_of
from rigcheck.studies.results import Contribution
from rigcheck.studies.work import Work

__all__ = ["drooping", "joint_of"]

_RIGID_JOINT = "The insert counts as rigidly held by the support: its hold cannot be worked out here."


def drooping(work: Work, *, for_verdict: bool = False) -> Contribution:
    """Check the droop of a soft prop, the stress in its insert, and what would cure it.

    Parameters
    ----------
    work : Work
        One prop computed.
    for_verdict : bool
        Leave out what no verdict depends on: whether the hold of the insert is known.

    Returns
    -------
    Contribution
        Findings ``droop`` for a prop with a flexural rigidity or a droop test, and ``insert-strength`` for
        one with an insert; nothing for a stiff prop without one.
    """
    shot, prop = work.shot, work.prop
    soft = prop.flexural_rigidity is not None or prop.droop_test is not None
    if not soft and prop.insert is None:
        return Contribution()
    names = ([("droop", DROOP_LABEL)] if soft else []) + (
        [("insert-strength", STRENGTH_LABEL)] if prop.insert is not None else []
    )

    def none(reason: str) -> Contribution:
        return Contribution(findings=tuple(skipped(name, label, reason) for name, label in names))

    plan = plan_of(prop)
    if isinstance(plan, str):
        return none(plan)
    if plan.hub is not None:
        if prop.insert is not None:
            return none("An insert is worked out for a support that comes in level only.")
        return check_droop_on_hub(shot, prop, plan)
    sheet = None if prop.insert is None else given_sheet(shot, prop)
    if isinstance(sheet, str):
        return none(sheet)
    parts = []
    if soft:
        parts.append(check_droop(shot, prop, plan, sheet))
    if sheet is not None:
        parts.append(check_strength(prop, plan, sheet))
        if not for_verdict and joint_of(shot, prop, work.reading) is None:
            parts.append(Contribution(assumptions=(_RIGID_JOINT,)))
    return together(parts)
