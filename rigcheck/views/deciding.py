"""The figures that decide the verdict of a prop, each beside its limit and range, and which findings to show first.

Plain strings, for the terminal and the page alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from rigcheck.studies.results import Status
from rigcheck.views.format import amount, between, sampled_chance, value_with_limit

if TYPE_CHECKING:
    from rigcheck.studies.results import Finding, MotionResult, PropResult

__all__ = [
    "FAIL_FIRST",
    "WORST_FIRST",
    "FigureRow",
    "beside_limit",
    "by_verdict",
    "deciding_rows",
    "is_ideal",
    "ordered",
    "skipped_line",
]

FAIL_FIRST = (Status.FAIL, Status.CAUTION)
WORST_FIRST = (Status.FAIL, Status.CAUTION, Status.SKIPPED, Status.PASS)

# Findings whose value stands in the row of the figure they judge: its name in the JSON, without the unit.
_DECIDING = frozenset({"sag", "residual-wobble", "settle", "yield-factor"})

# Chances between which a measurement is worth its while.
_HOPELESS, _SURE = 0.01, 0.97


class FigureRow(NamedTuple):
    """One figure of a prop's block."""

    status: Status | None
    label: str
    value: str


def ordered(findings: Sequence[Finding], order: Sequence[Status]) -> list[Finding]:
    """Findings of these statuses only, in this order, otherwise as they came.

    Parameters
    ----------
    findings : sequence of Finding
        Of one prop.
    order : sequence of Status
        The statuses wanted, first ones first.

    Returns
    -------
    list of Finding
    """
    return [finding for status in order for finding in findings if finding.status is status]


def by_verdict(props: Sequence[PropResult]) -> list[tuple[str, str]]:
    """Which props fail, which are a caution, which pass.

    Parameters
    ----------
    props : sequence of PropResult
        Of one shot.

    Returns
    -------
    list of (str, str)
        What they do, and their names; nothing for a verdict that none has.
    """
    groups = []
    for status, words in ((Status.FAIL, "fails"), (Status.CAUTION, "caution"), (Status.PASS, "passes")):
        names = [prop.name for prop in props if prop.verdict is status]
        if names:
            groups.append((words, ", ".join(names)))
    return groups


def deciding_rows(prop: PropResult) -> list[FigureRow]:
    """The figures that decide, then the value of every other check that did not pass.

    Parameters
    ----------
    prop : PropResult
        Its check.

    Returns
    -------
    list of FigureRow
    """
    static, motion = prop.static, prop.motion
    wobble, wobble_unit = _wobble(motion)
    worst_case = ", worst case" if motion is not None and motion.worst_case else ""
    # Of a wire that folds only the elastic part of the sag is known.
    more = " or more" if static is not None and static.method.endswith("elastic part only") else ""
    rows = [
        _row(prop, "sag", "sag", None if static is None else static.sag_mm, "mm", more),
        FigureRow(None, "lowest frequency", _lowest_frequency(prop)),
        _row(prop, "residual-wobble", "wobble after move", wobble, wobble_unit, worst_case),
        _row(
            prop,
            "settle",
            "settle time",
            None if motion is None else motion.settle_s,
            "s",
            worst_case,
        ),
        _row(prop, "yield-factor", "strength factor", None if static is None else static.yield_factor, ""),
    ]
    rows += [
        FigureRow(finding.status, finding.label, beside_limit(finding))
        for finding in ordered(prop.findings, FAIL_FIRST)
        if finding.id not in _DECIDING and finding.value is not None
    ]
    if prop.chance_of_pass is not None:
        rows.append(FigureRow(None, "chance to pass", sampled_chance(prop.chance_of_pass) + _surer(prop)))
    return rows


def is_ideal(prop: PropResult) -> bool:
    """Whether sag or strength lies outside its own range.

    Parameters
    ----------
    prop : PropResult
        Its check.

    Returns
    -------
    bool
        True for what is only so in the rig as drawn, such as a wire that hangs plumb: whatever is a little off adds
        sag and stress, and nothing takes any away.
    """
    known: list[tuple[str, float | None]] = [
        ("yield_factor", finding.value) for finding in prop.findings if finding.id == "yield-factor"
    ]
    if prop.static is not None:
        known.append(("sag_mm", prop.static.sag_mm))
    return any(
        value is not None
        and name in prop.ranges
        and not prop.ranges[name][0] <= value <= prop.ranges[name][1]
        for name, value in known
    )


def _surer(prop: PropResult) -> str:
    """What to measure where the chance is neither sure nor hopeless."""
    unsure = prop.chance_of_pass is not None and _HOPELESS < prop.chance_of_pass < _SURE
    return f"; to be surer, {prop.surer.measure}" if unsure and prop.surer is not None else ""


def _row(
    prop: PropResult, finding_id: str, label: str, value: float | None, unit: str, note: str = ""
) -> FigureRow:
    """The figure beside its limit where a finding of that id (the worst of several) gives one, else bare."""
    named = [finding for finding in prop.findings if finding.id == finding_id]
    finding = next(iter(ordered(named, WORST_FIRST)), None)
    if finding is None:
        return FigureRow(
            None,
            label,
            "not computed" if value is None else amount(value, unit) + _range(prop, finding_id, unit) + note,
        )
    if finding.status is Status.SKIPPED:
        known = "" if value is None else f"{amount(value, unit)}{note}, "
        return FigureRow(finding.status, label, f"{known}not checked")
    if finding.value is None and finding.limit is None and value is not None:
        return FigureRow(finding.status, label, amount(value, unit) + _range(prop, finding_id, unit) + note)
    return FigureRow(
        finding.status, label, beside_limit(finding) + _range(prop, finding_id, finding.unit) + note
    )


def beside_limit(finding: Finding) -> str:
    """The value of a finding with its unit and limit.

    Parameters
    ----------
    finding : Finding
        Of any kind.

    Returns
    -------
    str
    """
    return value_with_limit(finding.value, finding.limit, finding.unit, at_least=finding.at_least)


def _range(prop: PropResult, figure: str, unit: str) -> str:
    """The 90 % range of a figure, if it was computed; the key is its name with the unit at the end."""
    name = figure.replace("-", "_")
    ends = prop.ranges.get(f"{name}_{unit}" if unit else name)
    return f" (90 %: {between(*ends)})" if ends else ""


def _lowest_frequency(prop: PropResult) -> str:
    if not prop.modes:
        return "not computed"
    lowest = min(prop.modes, key=lambda mode: mode.frequency_Hz)
    figure = amount(lowest.frequency_Hz, "Hz") + _range(prop, "frequency", "Hz")
    return f"{figure}, {lowest.kind}" if lowest.kind else figure


def _wobble(motion: MotionResult | None) -> tuple[float | None, str]:
    """Wobble in pixels where there is a camera, else in millimetres."""
    if motion is None:
        return None, "mm"
    if motion.residual_wobble_px is not None:
        return motion.residual_wobble_px, "px"
    return motion.residual_wobble_mm, "mm"


def skipped_line(findings: Sequence[Finding]) -> str:
    """All checks that could not be made, those with the same reason together.

    Parameters
    ----------
    findings : sequence of Finding
        Of one prop.

    Returns
    -------
    str
        Empty where every check was made.
    """
    by_reason: dict[str, list[str]] = {}
    for finding in ordered(findings, (Status.SKIPPED,)):
        says = finding.says.rstrip(". ")
        by_reason.setdefault(says[:1].lower() + says[1:], []).append(finding.label)
    if not by_reason:
        return ""
    groups = [f"{', '.join(labels)} ({reason})" for reason, labels in by_reason.items()]
    return f"Not checked: {'; '.join(groups)}."
