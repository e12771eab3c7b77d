"""What a part of the check is, and small tools for it: a check that was not made, a grade, parts put together."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.work import Work

__all__ = ["CheckPart", "Said", "graded", "skipped", "together"]


CheckPart: TypeAlias = Callable[[Work], Contribution]
"""One part of the check of a prop: what it finds, shows and assumes; nothing where it does not concern the prop."""


@dataclass
class Said:
    """What a part of the check has found so far."""

    findings: list[Finding] = field(default_factory=list)
    figures: list[Figure] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)

    def contribution(self) -> Contribution:
        """All of it, each assumption once."""
        return Contribution(
            findings=tuple(self.findings),
            figures=tuple(self.figures),
            assumptions=tuple(dict.fromkeys(self.assumptions)),
        )


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
