"""One prop of a shot computed, before anything is said about it."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rigcheck.model import Prop, Shot
from rigcheck.studies.carried import Carried, carried
from rigcheck.studies.evaluate import Outcome, order_for, rows_of
from rigcheck.studies.moves import is_turning
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading, read_prop
from rigcheck.studies.rigs import divided_at_ends, layout_of, stack
from rigcheck.studies.task import Task, joined
from rigcheck.studies.yielding import with_yielding

__all__ = ["Work", "may_meet", "work_on", "works_for", "works_together"]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Work:
    """One prop computed: what every part of the check looks at.

    Attributes
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        At rest; its first variant is the prop.
    motion : MotionOutcome or None
        Moving; None where it does not move, or nothing settles.
    """

    shot: Shot
    prop: Prop
    reading: Reading
    still: Outcome
    motion: MotionOutcome | None

    @property
    def solved(self) -> bool:
        """Whether it has a settled state."""
        return bool(self.still.solved[0])

    @cached_property
    def body(self) -> Carried:
        """The settled prop as a body that its moves carry; only where it is solved."""
        return carried(self.prop, self.reading, self.still)


def work_on(shot: Shot, prop: Prop, still: Outcome | None = None, *, course: bool = True) -> Work:
    """Compute one prop of a shot.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    still : Outcome, optional
        The prop at rest, where that is known already and only its move is another.
    course : bool
        Whether to follow the move, for how far the prop strays from its path on the way.

    Returns
    -------
    Work
    """
    reading = read_prop(shot, prop)
    if still is None:
        still = with_yielding(shot, prop, reading.task.evaluate())
    motion = reading.task.move(still, course=course) if still.solved[0] else None
    return Work(shot=shot, prop=prop, reading=reading, still=still, motion=motion)


def works_together(asked: Sequence[tuple[Shot, Prop]]) -> list[Work]:
    """Compute props of shots for a verdict, those that are laid out alike as one batch.

    Parameters
    ----------
    asked : sequence of (Shot, Prop)
        Each prop with its shot.

    Returns
    -------
    list of Work
        As from `work_on`, without what no verdict on a prop alone depends on: how far it strays from its path on the
        way, and small motion about a large displacement (`Outcome.moved`).
    """
    readings = [read_prop(*one) for one in asked]
    tasks = [reading.task for reading in readings]
    works: dict[int, Work] = {}
    for rows in _alike([_at_rest(task) for task in tasks]):
        together = replace(tasks[rows[0]], rig=stack([tasks[row].rig for row in rows])).evaluate()
        elastic = (
            [together.take(slice(at, at + 1)) for at in range(len(rows))] if len(rows) > 1 else [together]
        )
        stills = [with_yielding(*asked[row], still) for row, still in zip(rows, elastic, strict=True)]
        solved = [at for at, still in enumerate(stills) if still.solved[0]]
        motions: dict[int, MotionOutcome | None] = {}
        for some in _alike([_moving(tasks[rows[at]], stills[at], elastic[at]) for at in solved]):
            ats = [solved[place] for place in some]
            moving = [tasks[rows[at]] for at in ats]
            if len(ats) == 1:
                motions[ats[0]] = moving[0].move(stills[ats[0]], course=False)
                continue
            motion = joined(moving).move(together.take(np.array(ats)), course=False)
            motions |= {at: rows_of(motion, slice(place, place + 1)) for place, at in enumerate(ats)}
        for at, row in enumerate(rows):
            shot, prop = asked[row]
            works[row] = Work(
                shot=shot, prop=prop, reading=readings[row], still=stills[at], motion=motions.get(at)
            )
    return [works[row] for row in range(len(asked))]


def _alike(keys: Sequence[Hashable]) -> list[list[int]]:
    """Places of keys that are the same."""
    groups: dict[Hashable, list[int]] = {}
    for place, key in enumerate(keys):
        groups.setdefault(key, []).append(place)
    return list(groups.values())


def _at_rest(task: Task) -> Hashable:
    """What props have in common that can be one batch at rest, so that no number of one depends on another."""
    rig = task.rig
    if any(support.tension is not None or support.form == "line" for support in rig.supports):
        # Which lines are slack is up to each.
        return id(task)
    # A support is divided where its sleeves end.
    sleeved = [
        (float(support.free_length[0]), float(sleeve.start[0]), float(sleeve.end[0]))
        for support in rig.supports
        for sleeve in support.sleeves
    ]
    return (
        layout_of(rig),
        tuple(sleeved),
        bool(divided_at_ends(rig)[0]),
        order_for(rig, task.settings),
        task.settings,
        is_turning(task.travels),
    )


def _moving(task: Task, still: Outcome, elastic: Outcome) -> Hashable:
    """The same while they move; a bend that changes how a prop swings sets it apart."""
    if still.dynamics is not elastic.dynamics:
        return id(still)
    return layout_of(task.travels), layout_of(task.pushes), None if task.eye is None else task.eye.key


def may_meet(shot: Shot) -> bool:
    """Whether the props of a shot have places, so that they can come close."""
    return len(shot.prop) > 1 and any(prop.mark is not None for prop in shot.prop)


def works_for(shot: Shot, prop: str | None = None) -> tuple[Work, ...]:
    """Compute all props of a shot, or the one of a name with those that it could meet.

    Parameters
    ----------
    shot : Shot
        The props'.
    prop : str, optional
        Name of the only prop that is asked about.

    Returns
    -------
    tuple of Work
        In the order of the shot.

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name.
    """
    wanted = shot.prop if prop is None else (shot.find_prop(prop),)
    return tuple(work_on(shot, one) for one in shot.prop if one in wanted or may_meet(shot))
