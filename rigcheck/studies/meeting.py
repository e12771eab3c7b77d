"""Several props in one shot: how near they come to each other over the moves, and whether they meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rigcheck.model import Prop, Shot
from rigcheck.studies.approaching import Approach, approaches, mark_tolerance, not_placed, one_each
from rigcheck.studies.carried import Carried
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.meeting_advice import advice_for
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.words import capitalised, length_words

__all__ = ["meeting", "meeting_of"]

_LABEL = "closest approach"


def meeting(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    *,
    found: tuple[Approach, ...] | None = None,
) -> tuple[Contribution, ...]:
    """Check that the props of a shot do not meet.

    Parameters
    ----------
    shot : Shot
        With its props.
    readings, stills, motions : sequence
        Of each prop, in the order of the shot.
    found : tuple of Approach, optional
        From `approaches`, where they are known already.

    Returns
    -------
    tuple of Contribution
        One a prop, each with a finding ``meeting`` on its nearest neighbour; empty ones where there is only one
        prop.

    Raises
    ------
    ArgumentError
        Not one of each for every prop.

    Notes
    -----
    The intended path ends on the mark, where the settled centre of mass is, so sag is in it. What each prop may be
    off is its lag and wobble at that time (`rigcheck.studies.swinging.swing`) and 1 mm, or the ranges of its mark.
    Two props that overlap as planned by more than both margins together meet for sure, and fail; a gap or an
    overlap within the margins is a caution, because then they may or may not touch.
    """
    one_each(shot, readings, stills, motions)
    if len(shot.prop) < 2:
        return tuple(Contribution() for _ in shot.prop)
    pairs = approaches(shot, readings, stills, motions) if found is None else found
    left_out = not_placed(shot, stills)
    missing = tuple(
        Figure(label=f"nearest to {shot.prop[at].name}", value="not known", note=reason)
        for at, reason in left_out.items()
    )
    contributions = []
    for index, prop in enumerate(shot.prop):
        own = [pair for pair in pairs if prop.name in (pair.first, pair.second)]
        if not own:
            contributions.append(Contribution(findings=(_cannot(left_out, index),)))
            continue
        worst = _worst(own)
        advice: tuple[str, ...] = ()
        if worst.status in (Status.CAUTION, Status.FAIL):
            advice = advice_for(shot, readings, stills, motions, index, worst)
        pushed = any(readings[at].task.pushes for at in range(len(shot.prop)))
        contributions.append(
            Contribution(
                findings=(_finding(prop.name, worst, advice),),
                figures=(*(_figure(prop.name, pair) for pair in own), *missing),
                assumptions=_assumptions(prop, pushed=pushed),
            )
        )
    return tuple(contributions)


def meeting_of(
    shot: Shot,
    readings: Sequence[Reading],
    stills: Sequence[Outcome],
    motions: Sequence[MotionOutcome | None],
    index: int,
    *,
    bodies: Mapping[int, Carried] | None = None,
) -> Finding:
    """Check that one prop of a shot does not meet any other: the finding of `meeting`, as far as a verdict needs it.

    Parameters
    ----------
    shot : Shot
        With two or more props.
    readings, stills, motions : sequence
        Of each prop, in the order of the shot.
    index : int
        Which prop.
    bodies : mapping of int to Carried, optional
        Settled props by their place in the shot, as far as they are known.

    Returns
    -------
    Finding
        Its status alone; words, figures and advice are left out.

    Raises
    ------
    ArgumentError
        Not one of each for every prop.
    """
    own = approaches(shot, readings, stills, motions, of=index, bodies=bodies)
    if not own:
        return _cannot(not_placed(shot, stills), index)
    return Finding(id="meeting", label=_LABEL, status=_worst(own).status, says="")


def _worst(pairs: Sequence[Approach]) -> Approach:
    """The pair that is least clear, of those that could be looked at."""
    good = [pair for pair in pairs if not pair.problem]
    return min(good, key=lambda pair: pair.clearance) if good else pairs[0]


def _cannot(left_out: dict[int, str], index: int) -> Finding:
    reason = left_out.get(index)
    if reason is None:
        others = set(left_out.values())
        reason = f"of the other props {others.pop()}" if len(others) == 1 else "no other prop can be placed"
    return Finding(id="meeting", label=_LABEL, status=Status.SKIPPED, says=f"{capitalised(reason)}.")


def _assumptions(prop: Prop, *, pushed: bool) -> tuple[str, ...]:
    tolerance = mark_tolerance(prop)
    said = [
        "Props meet as solid shapes of their size about their centres of mass; heads and clamps are not looked at.",
        f"It may be {length_words(tolerance)} off its mark"
        + (" (a choice)" if all(part.low is None for part in prop.mark or ()) else "")
        + ", beside lag and wobble.",
    ]
    if pushed:
        said.append(
            "Where only the acceleration of a move is known, props are compared as they come to rest and not on"
            " their way."
        )
    return tuple(said)


def _when(pair: Approach) -> str:
    if pair.time is None:
        return "as they stand"
    return "when they have come to rest" if pair.at_rest else f"at {pair.time:.2f} s"


def _sides(name: str, pair: Approach) -> tuple[str, str]:
    """The two as seen from one of them, for the start of a sentence and for its end."""
    first = name == pair.first
    own, theirs = pair.first_support, pair.second_support
    if not first:
        own, theirs = theirs, own
    other = pair.second if first else pair.first
    return "Its support" if own else "It", f"the support of {other}" if theirs else other


def _finding(name: str, pair: Approach, advice: tuple[str, ...]) -> Finding:
    if pair.problem:
        return Finding(id="meeting", label=_LABEL, status=Status.SKIPPED, says=pair.problem)
    it, other = _sides(name, pair)
    when, off = _when(pair), length_words(pair.margin)
    if pair.status is Status.PASS:
        least = "" if pair.exact else "at least "
        says = f"{it} stays {least}{length_words(pair.gap)} clear of {other}; both together may be {off} off."
        if pair.exact:
            says = f"{it} comes within {length_words(pair.gap)} of {other} {when}; both together may be {off} off."
    elif pair.status is Status.FAIL:
        at = (
            ""
            if pair.time is None
            else " from the start"
            if pair.touch is None
            else f" at {pair.touch:.2f} s"
        )
        says = f"{it} runs into {other}{at}: as planned they overlap by {length_words(pair.gap)} {when}."
    elif pair.gap > 0:
        says = (
            f"{it} comes within {length_words(pair.gap)} of {other} {when}, and both together may be {off} off:"
            " they may touch."
        )
    else:
        says = (
            f"As planned {it[:1].lower()}{it[1:]} overlaps {other} by {length_words(pair.gap)} {when}; both together"
            f" may be {off} off, so they are likely to touch."
        )
    return Finding(
        id="meeting",
        label=_LABEL,
        status=pair.status,
        value=pair.gap * 1e3,
        limit=pair.margin * 1e3,
        at_least=True,
        unit="mm",
        says=says,
        advice=advice,
    )


def _figure(name: str, pair: Approach) -> Figure:
    _, other = _sides(name, pair)
    label = f"nearest to {other}"
    if pair.problem:
        return Figure(label=label, value="not known", note=pair.problem)
    if not pair.exact:
        return Figure(label=label, value=f"at least {length_words(pair.gap)}", note=_when(pair))
    pixels = "" if pair.pixels is None else f", {pair.pixels:.3g} px apart in the picture"
    if pair.gap > 0:
        return Figure(label=label, value=length_words(pair.gap), note=f"{_when(pair)}{pixels}")
    return Figure(label=label, value=f"overlaps by {length_words(pair.gap)}", note=_when(pair))
