"""What a part of the check is, and small tools for it: a check that was not made, a grade, parts put together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from rigcheck.studies.results import Contribution, Figure, Finding, Status

if TYPE_CHECKING:
    from rigcheck.model import Prop, Shot
    from rigcheck.studies.evaluate import Outcome
    from rigcheck.studies.moving import MotionOutcome
    from rigcheck.studies.reading.prop import Reading

__all__ = ["CheckPart", "Said", "graded", "skipped", "together"]


class CheckPart(Protocol):
    """One part of the check of a prop, a function; all are called alike, whatever of it they need."""

    def __call__(
        self, shot: Shot, prop: Prop, reading: Reading, still: Outcome, motion: MotionOutcome | None, /
    ) -> Contribution:
        """Look at one thing.

        Parameters
        ----------
        shot, prop : Shot, Prop
            What the user gave.
        reading : Reading
            The same made ready to compute.
        still : Outcome
            At rest; the first variant is used.
        motion : MotionOutcome or None
            Moving; None where it does not move, or nothing settles.

        Returns
        -------
        Contribution
            Findings, figures and assumptions; nothing where it does not concern the prop.
        """


@dataclass
class Said:
    """What a part of the check has found so far."""

    findings: list[Finding] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)


def skipped(name: str, label: str, reason: str) -> Finding:
    """A check that could not be made.

    Parameters
    ----------
    name, label : str
        Of the finding, for programs and for people.
    reason : str
        Why not, as a sentence.

    Returns
    -------
    Finding
    """
    return Finding(id=name, label=label, status=Status.SKIPPED, says=reason)


def graded(value: float, *, good: float, most: float) -> Status:
    """Status of a value that should be small.

    Parameters
    ----------
    value : float
        In the unit of the limits.
    good, most : float
        It passes up to `good`, is a caution up to `most`, and fails above.

    Returns
    -------
    Status
    """
    if value <= good:
        return Status.PASS
    return Status.CAUTION if value <= most else Status.FAIL


def together(parts: Iterable[Contribution]) -> Contribution:
    """Several contributions as one, in their order.

    Parameters
    ----------
    parts : iterable of Contribution
        Any number.

    Returns
    -------
    Contribution
    """
    parts = tuple(parts)
    return Contribution(
        findings=tuple(finding for part in parts for finding in part.findings),
        figures=tuple(figure for part in parts for figure in part.figures),
        assumptions=tuple(said for part in parts for said in part.assumptions),
    )
