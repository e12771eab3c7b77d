"""One prop of a shot computed, before anything is said about it."""

from __future__ import annotations

from dataclasses import dataclass

from rigcheck.model import Prop, Shot
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading, read_prop
from rigcheck.studies.yielding import with_yielding

__all__ = ["Work", "may_meet", "work_on", "works_for"]


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


def work_on(shot: Shot, prop: Prop, still: Outcome | None = None) -> Work:
    """Compute one prop of a shot; at rest it may be known already, where only the move is another."""
    reading = read_prop(shot, prop)
    if still is None:
        still = with_yielding(shot, prop, reading.task.evaluate())
    motion = reading.task.move(still) if still.solved[0] else None
    return Work(shot=shot, prop=prop, reading=reading, still=still, motion=motion)


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
