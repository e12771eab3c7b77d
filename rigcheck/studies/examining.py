"""Everything a check looks at in one prop, before advice and ranges: computed, graded, and found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from rigcheck.model import Prop, Shot
from rigcheck.studies.contributions import CheckPart
from rigcheck.studies.course import course
from rigcheck.studies.findings import find
from rigcheck.studies.grading import Grade, grade
from rigcheck.studies.holding import holding
from rigcheck.studies.lasting import lasting
from rigcheck.studies.moves import is_turning
from rigcheck.studies.offsets import offsets
from rigcheck.studies.results import Contribution, Finding, Status, worst
from rigcheck.studies.work import Work, may_meet

__all__ = ["Examined", "examine", "meeting_in", "meetings", "with_prop"]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Examined:
    """One prop, with all that was found.

    Attributes
    ----------
    work : Work
        What was computed.
    grades : dict of str to Grade
        Of the findings that a batch can be graded on.
    parts : tuple of Contribution
        Of all other checks.
    lasting_set : float or None
        [m]; None where it is not known.
    """

    work: Work
    grades: dict[str, Grade]
    parts: tuple[Contribution, ...]
    lasting_set: float | None

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """All of them, without advice that would have to be computed."""
        found = find(self.work.reading, self.work.still, self.grades, [])
        return (*found, *(finding for part in self.parts for finding in part.findings))

    @property
    def verdict(self) -> Status:
        """The gravest of them."""
        return worst([finding.status for finding in self.findings])


def examine(
    work: Work,
    met: Contribution | None = None,
    *,
    grades: dict[str, Grade] | None = None,
    for_verdict: bool = False,
) -> Examined:
    """Make every check of one prop.

    Parameters
    ----------
    work : Work
        The prop computed.
    met : Contribution, optional
        What `meetings` found of it.
    grades : dict of str to Grade, optional
        Its grades, where they are known.
    for_verdict : bool
        Leave out what no verdict depends on: how to set the mount, how a wobble looks, what other sides would show.

    Returns
    -------
    Examined
    """
    task = work.reading.task
    parts, lasting_set = _parts(work, for_verdict=for_verdict) if work.solved else ([], None)
    if met is not None:
        parts.append(met)
    return Examined(
        work=work,
        grades=grade(work.still, work.motion, task.limits, task.eye) if grades is None else grades,
        parts=tuple(parts),
        lasting_set=lasting_set,
    )


def meetings(shot: Shot, works: Sequence[Work]) -> list[Contribution]:
    """How close the props come, for each of them; nothing where their places are not known."""
    if not may_meet(shot):
        return [Contribution()] * len(works)
    from rigcheck.studies.meeting import meeting

    readings, stills = [work.reading for work in works], [work.still for work in works]
    return list(meeting(shot, readings, stills, [work.motion for work in works]))


def meeting_in(shot: Shot, works: Sequence[Work], place: int) -> tuple[Finding, ...]:
    """How close one of the props comes to the others, as far as a verdict needs it; nothing without their places."""
    if not may_meet(shot):
        return ()
    from rigcheck.studies.meeting import meeting_of

    readings, stills = [work.reading for work in works], [work.still for work in works]
    bodies = {index: work.body for index, work in enumerate(works) if work.solved}
    return (meeting_of(shot, readings, stills, [work.motion for work in works], place, bodies=bodies),)


def with_prop(shot: Shot, prop: Prop, changed: Prop) -> Shot:
    """Give the shot with one prop changed."""
    props = tuple(changed if other is prop else other for other in shot.prop)
    return shot.model_copy(update={"prop": props})


def _parts(work: Work, *, for_verdict: bool) -> tuple[list[Contribution], float | None]:
    """What the other rooms of the check add, and the lasting set [m]."""
    prop = work.prop
    stays, lasting_set = lasting(work, for_verdict=for_verdict)
    others: list[CheckPart] = [partial(holding, for_verdict=for_verdict), offsets, course]
    if is_turning(work.reading.task.travels):
        from rigcheck.studies.rolled_poses import rolled_poses

        others.append(rolled_poses)
    if prop.insert is not None or prop.flexural_rigidity is not None or prop.droop_test is not None:
        from rigcheck.studies.drooping import drooping

        others.append(partial(drooping, for_verdict=for_verdict))
    if any(
        support.form == "line" or support.tension is not None for support in work.reading.task.rig.supports
    ):
        from rigcheck.studies.lines import lines

        others.append(lines)
    if work.shot.camera is not None:
        from rigcheck.studies.picturing import picturing

        others.append(partial(picturing, for_verdict=for_verdict))
    yields = work.still.yielding
    lost = lasting_set is None or (lasting_set > 0 and (yields is None or not np.isfinite(yields[0]).all()))
    if for_verdict or lost:
        # What keeps a bend settles elsewhere than computed, so no offset can be promised.
        others.remove(offsets)
    return [stays, *(part(work) for part in others)], lasting_set
