"""Rig files of one prop, the prop computed for a part of the check, and what the part has found."""

from __future__ import annotations

from rigcheck.files import rig_from_text
from rigcheck.studies.results import Contribution, Finding, PropResult, Status
from rigcheck.studies.work import Work, work_on


def rig_file(*support: str, name: str, mass: str, prop: str = "", head: str = "") -> str:
    """A rig file of one prop, from the lines of its support and whatever follows them, its own, and the shot's."""
    lines = [head, "[[prop]]", f'name = "{name}"', f'mass = "{mass}"', prop, "[[prop.support]]", *support]
    return "\n".join([*lines, ""])


def computed(*text: str) -> Work:
    """The first prop of a rig file, given in pieces, as every part of the check looks at it."""
    shot = rig_from_text("\n".join(text))
    return work_on(shot, shot.prop[0])


def names(result: Contribution) -> list[str]:
    """What each finding is about."""
    return [item.id for item in result.findings]


def finding(result: Contribution | PropResult, name: str) -> Finding:
    """The finding of that name."""
    return next(item for item in result.findings if item.id == name)


def figure(result: Contribution, label: str) -> str:
    """The value of the figure with that label."""
    return next(item.value for item in result.figures if item.label == label)


def assert_skipped(result: Contribution, reason: str, *names: str) -> None:
    """Hold that each of these findings is left open, for this reason."""
    for name in names:
        found = finding(result, name)
        assert (found.status, found.says) == (Status.SKIPPED, reason)
