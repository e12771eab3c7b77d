"""Looks up what one part of the check has found, by the name of the finding or the label of the figure."""

from __future__ import annotations

from rigcheck.studies.results import Contribution, Finding


def finding(result: Contribution, name: str) -> Finding:
    """The finding of that name."""
    return next(item for item in result.findings if item.id == name)


def figure(result: Contribution, label: str) -> str:
    """The value of the figure with that label."""
    return next(item.value for item in result.figures if item.label == label)
