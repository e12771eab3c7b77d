"""Small tools for the parts of a check: a check that was not made, a grade by two limits, parts put together."""

from __future__ import annotations

from collections.abc import Iterable

from rigcheck.studies.results import Contribution, Finding, Status

__all__ = ["graded", "skipped", "together"]


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
