"""One prop computed for a part of the check, and what the part has found, by finding or by figure."""

from __future__ import annotations

from rigcheck.files import rig_from_text
from rigcheck.studies.results import Contribution, Finding
from rigcheck.studies.work import Work, work_on


def computed(*text: str) -> Work:
    """The first prop of a rig file, given in pieces, as every part of the check looks at it."""
    shot = rig_from_text("\n".join(text))
    return work_on(shot, shot.prop[0])


def finding(result: Contribution, name: str) -> Finding:
    """The finding of that name."""
    return next(item for item in result.findings if item.id == name)


def figure(result: Contribution, label: str) -> str:
    """The value of the figure with that label."""
    return next(item.value for item in result.figures if item.label == label)
