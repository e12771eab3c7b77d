"""One prop of a shot computed, before anything is said about it."""

from __future__ import annotations

from dataclasses import dataclass

from rigcheck.model import Prop, Shot
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading, read_prop
from rigcheck.studies.yielding import with_yielding

__all__ = ["Work", "work_on"]


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
