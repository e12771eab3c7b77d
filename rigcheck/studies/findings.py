"""Grades into findings: one plain sentence each, with the value, the limit and what to change."""

from __future__ import annotations

import numpy as np

from rigcheck.studies.cures import Cure
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import NOMINAL_PIXEL, Grade
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Finding, Status
from rigcheck.studies.words import share_words

__all__ = ["find", "in_order"]

_MOST_ADVICE = 5
_NOT_ENOUGH = "No single change tried here is enough: let rigcheck choose look for a support that holds."
_EXACT = 99.5
"""Seconds from which whole ones are said."""
_BALANCED = 0.05
"""Share of the largest pull by which taut lines may be out of balance; they shift a little to make it up."""


def find(reading: Reading, outcome: Outcome, grades: dict[str, Grade], cures: list[Cure]) -> list[Finding]:
    """Findings of one prop that its grades give.

    Parameters
    ----------
    reading : Reading
        What was given and assumed.
    outcome : Outcome
        Of a batch of one.
    grades : dict of str to Grade
        Of the same.
    cures : list of Cure
        Changes that were computed to help.

    Returns
    -------
    list of Finding
    """
    if not outcome.solved[0]:
        findings = [_buckled(outcome, grades["buckling"])]
    else:
        findings = [_strength(reading, grades["yield-factor"], cures), _sag(outcome, grades["sag"], cures)]
        if np.isfinite(grades["buckling"].value[0]):
            findings.append(_buckling(grades["buckling"], cures))
        findings += _moving(reading, grades, cures)
        if _status(grades["yield-factor"]) is Status.SKIPPED:
            findings.append(_strength_unknown())
    findings += _pulls(reading)
    if reading.task.limits.hazard == "overhead":
        findings.append(_overhead(grades["yield-factor"]))
    findings += [
        Finding(id="doubtful-value", label="doubtful value", status=Status.CAUTION, says=doubt)
        for doubt in reading.doubts
    ]
    findings += [
        Finding(
            id=f"not-used-{_slug(key)}",
            label=key,
            status=Status.SKIPPED,
            says=f"Given, but this version does not compute {what}.",
        )
        for key, what in reading.unused
    ]
    return findings


def in_order(findings: list[Finding]) -> tuple[Finding, ...]:
    """Findings with the gravest first: fail, caution, pass, skipped.

    Parameters
    ----------
    findings : list of Finding
        In any order; among equals it stays.

    Returns
    -------
    tuple of Finding
    """
    rank = {Status.FAIL: 0, Status.CAUTION: 1, Status.PASS: 2, Status.SKIPPED: 3}
    return tuple(sorted(findings, key=lambda finding: rank[finding.status]))


def _slug(text: str) -> str:
    return "".join(letter if letter.isalnum() else "-" for letter in text.lower()).strip("-")


def _advice(cures: list[Cure], name: str, *first: str) -> tuple[str, ...]:
    return (*first, *(cure.says for cure in cures if name in cure.cures))[:_MOST_ADVICE]


def _status(grade: Grade) -> Status:
    return Status(str(grade.status[0]))


def _strength(reading: Reading, grade: Grade, cures: list[Cure]) -> Finding:
    status, value = _status(grade), float(grade.value[0])
    kind = reading.strength_kind
    if status is Status.SKIPPED:
        return Finding(
            id="yield-factor",
            label="strength",
            status=status,
            limit=grade.limit,
            at_least=True,
            says="No strength is known for this material at this size.",
            advice=("Give the material's yield_strength in a [[material]] of your own.",),
        )
    breaks = "breaks" if kind == "rupture" else "bends for good"
    if reading.set_share < 1:
        says = _soft_strength(value, grade.limit, status, reading.set_share)
    elif value < 1:
        says = f"It {breaks}: the stress is {1 / value:.3g} times its {kind}."
    elif status is Status.FAIL:
        says = f"Too close to the load at which it {breaks}: only {value:.3g} times in hand, {grade.limit:g} wanted."
    else:
        says = f"Settled and moving, {value:.3g} times the load is in hand before it {breaks}."
    return Finding(
        id="yield-factor",
        label="strength",
        status=status,
        value=value,
        limit=grade.limit,
        at_least=True,
        says=says,
        advice=_advice(cures, "yield-factor") or ((_NOT_ENOUGH,) if status is Status.FAIL else ()),
    )


def _soft_strength(value: float, limit: float, status: Status, share: float) -> str:
    """The same of soft wire, which keeps a bend long before the yield that its strength is given by."""
    keeps = value * share
    if value < 1:
        return (
            f"It bends for good: the stress is {1 / value:.3g} times its yield (0.2 % proof stress), and soft metal"
            f" keeps a bend from {share_words(share)} of that on."
        )
    begins = (
        f"soft metal keeps a bend from {share_words(share)} of that on, so this one does: see the lasting bend"
        if keeps < 1
        else f"soft metal keeps a bend from {share_words(share)} of that on, which leaves {keeps:.3g} times"
    )
    if status is Status.FAIL:
        return f"Too close to its yield (0.2 % proof stress): {value:.3g} times in hand, {limit:g} wanted; {begins}."
    hand = f"Settled and moving, {value:.3g} times the load is in hand"
    return f"{hand} before it yields (0.2 % proof stress); {begins}."


def _strength_unknown() -> Finding:
    return Finding(
        id="strength-unknown",
        label="unknown strength",
        status=Status.CAUTION,
        says="How much it can carry is not known, so nothing here says that it holds.",
        advice=(
            (
                "Take a size that stock knows, or give yield_strength in a [[material]] of your own; until then hang"
                " twice the weight on it, over a cushion."
            ),
        ),
    )


def _sag(outcome: Outcome, grade: Grade, cures: list[Cure]) -> Finding:
    status, value = _status(grade), float(outcome.sag[0])
    limit = None if np.isnan(grade.limit) else grade.limit * 1e3
    if outcome.yielding is not None and not np.isfinite(outcome.yielding[0]).all():
        least = (
            f"It gives way by more than the {value * 1e3:.3g} mm that are elastic; how far is not computed."
        )
        if status is not Status.FAIL:
            return Finding(id="sag", label="sag", status=Status.SKIPPED, limit=limit, unit="mm", says=least)
        return Finding(
            id="sag",
            label="sag",
            status=status,
            value=value * 1e3,
            limit=limit,
            unit="mm",
            says=least,
            advice=_advice(cures, "sag"),
        )
    if status is Status.FAIL:
        says = "It sags further than the limit."
    elif status is Status.CAUTION:
        says = "It sags by more than a tenth of its free length."
    else:
        says = "The sag is small beside the free length."
    return Finding(
        id="sag",
        label="sag",
        status=status,
        value=value * 1e3,
        limit=limit,
        unit="mm",
        says=says,
        advice=_advice(cures, "sag"),
    )


def _buckling(grade: Grade, cures: list[Cure]) -> Finding:
    status, value = _status(grade), float(grade.value[0])
    return Finding(
        id="buckling",
        label="buckling",
        status=status,
        value=value,
        limit=grade.limit,
        at_least=True,
        says=f"It would fold under {value:.3g} times the load it stands under, the move included.",
        advice=_advice(cures, "buckling"),
    )


def _buckled(outcome: Outcome, grade: Grade) -> Finding:
    if outcome.slack[0].all():
        return Finding(
            id="line-slack",
            label="slack lines",
            status=Status.FAIL,
            says="Nothing holds it: every line would have to push, and a line only pulls.",
            advice=("Hang the prop from lines above it, or pull lines taut on both sides (tension).",),
        )
    if outcome.slack[0].any() or all(support.form == "line" for support in outcome.rig.supports):
        return Finding(
            id="line-slack",
            label="slack lines",
            status=Status.FAIL,
            says="The lines do not hold it where it is drawn: it swings far away, and where it then settles is not"
            " found.",
            advice=("Draw the prop where it hangs by its lines, with its centre of mass between them.",),
        )
    value = float(min(grade.value[0], outcome.reached[0]))
    return Finding(
        id="buckling",
        label="buckling",
        status=Status.FAIL,
        value=value,
        limit=grade.limit,
        at_least=True,
        says=f"It folds under its load: a settled state was found only up to {share_words(value)} of the weight"
        " on it.",
        advice=("Hang the prop from above, shorten the support, or take a thicker one.",),
    )


def _moving(reading: Reading, grades: dict[str, Grade], cures: list[Cure]) -> list[Finding]:
    if "residual-wobble" not in grades:
        reason = "No move is given." if not reading.unused else "No move that can be computed is given."
        return [
            Finding(id=name, label=label, status=Status.SKIPPED, says=reason)
            for name, label in (("residual-wobble", "wobble after the move"), ("settle", "settling"))
        ]
    wobble, settle = grades["residual-wobble"], grades["settle"]
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if reading.task.eye is None else (1.0, "px")
    value = float(wobble.value[0])
    status = _status(wobble)
    words = {
        Status.PASS: "What still swings after the move is too small to see.",
        Status.CAUTION: "It still swings after the move; a sharp eye sees it.",
        Status.FAIL: "It visibly swings after the move.",
    }
    if reading.task.pushes:
        words = {key: f"At worst: {text[0].lower()}{text[1:]}" for key, text in words.items()}
    time = float(settle.value[0])
    long = f"{time:.2g}" if time < _EXACT else f"{time:.0f}"
    still = "it never comes to rest" if not np.isfinite(time) else f"it takes {long} s to come to rest"
    return [
        Finding(
            id="residual-wobble",
            label="wobble after the move",
            status=status,
            value=value * scale,
            limit=wobble.limit * scale,
            unit=unit,
            says=words[status],
            advice=_advice(cures, "residual-wobble"),
        ),
        Finding(
            id="settle",
            label="settling",
            status=_status(settle),
            value=time if np.isfinite(time) else None,
            limit=settle.limit,
            unit="s",
            says="It arrives still." if time <= 0 else f"After arriving {still}.",
            advice=_advice(cures, "settle"),
        ),
    ]


def _pulls(reading: Reading) -> list[Finding]:
    """Taut lines that do not hold each other before the prop is hung."""
    taut = [support for support in reading.task.rig.supports if support.tension is not None]
    if not taut:
        return []
    ways = [support.points[0, -2] - support.points[0, -1] for support in taut]
    pulls = [
        float(support.tension[0]) * way / np.linalg.norm(way)
        for support, way in zip(taut, ways, strict=True)
        if support.tension is not None
    ]
    left = float(np.linalg.norm(np.sum(pulls, axis=0)))
    largest = max(float(np.linalg.norm(pull)) for pull in pulls)
    if left <= _BALANCED * largest:
        return []
    return [
        Finding(
            id="line-balance",
            label="balance of the lines",
            status=Status.FAIL,
            value=left,
            limit=_BALANCED * largest,
            unit="N",
            says=f"The taut lines do not hold each other: {left:.3g} N pull to one side. The prop would go there.",
            advice=("Run another line, or the same pull, to the opposite side.",),
        )
    ]


def _overhead(grade: Grade) -> Finding:
    value = float(grade.value[0])
    return Finding(
        id="overhead",
        label="load over people, animals or flame",
        status=Status.CAUTION,
        value=value if np.isfinite(value) else None,
        limit=grade.limit,
        at_least=True,
        says=(
            "This is never passed here: it needs ten times the strength, a second independent hold, and a"
            " competent person."
        ),
        advice=(
            "Move the prop or the people so that nobody is under it, or have a competent person design the hold.",
        ),
    )
