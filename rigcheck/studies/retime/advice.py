"""One thing to do about the timing of a move, and what is and is not retimed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from rigcheck.studies.results import Status
from rigcheck.studies.retime.results import OFF_WORDS, ProfileTimes, Recommendation, ShapedMove, Timing
from rigcheck.studies.retime.timings import LONGEST_SEARCH, TimingStudy
from rigcheck.studies.retime.wobble import MOST_SAMPLES, SAMPLES_A_KEY

__all__ = ["recommended", "timing_notes", "wobble_words"]


def timing_notes(study: TimingStudy) -> Iterator[str]:
    """What is and is not retimed and shaped."""
    if len(study.plan) > 1:
        yield "All moves of the prop are stretched together, their starts too."
    if study.keyed:
        yield (
            "Keys keep their own course: they can be stretched (multiply their times) and shaped, but have no"
            " profile to change."
        )
    if study.keyed and not study.searchable:
        most = MOST_SAMPLES // SAMPLES_A_KEY
        yield f"Other times are tried for up to {most} keys only; thin them to see more."
    if study.rolls:
        yield (
            "Rolls are retimed with the slides, but not shaped: a roll turns the weight and the direction of"
            " every push with it, so that the effects of delayed copies do not add up."
        )
    if study.rolls or study.keyed:
        yield (
            f"Times are tried from {study.total / 8:.3g} to {LONGEST_SEARCH * study.total:.3g} s; what lies beyond"
            " is not known."
        )
    if study.task.pushes:
        yield (
            "Moves of which only the peak acceleration is known are not retimed; their worst wobble is added to"
            " every figure."
        )
    if study.wanted is not None:
        yield f"The times stand for the {study.wanted} profile in place of the planned ones."


def recommended(
    study: TimingStudy, plan: Timing, rows: list[ProfileTimes], shaped: tuple[ShapedMove, ...]
) -> Recommendation:
    """The smallest change after which it arrives still, with the frequencies up to 10 % off."""
    before = plan if study.wanted is None else study.timing(study.task.travels)
    if _good(study, plan, before) and study.wanted in (None, study.planned):
        return Recommendation(kind="keep", says=_keep(study, plan, rows), timing=plan)
    same = [] if study.wanted is None else [(study.wanted, plan)]
    if study.wanted is None and study.free:
        names = [row.profile for row in rows if not row.planned]
        same = [(name, study.timing(study.course(name))) for name in names]
    same = [(name, timing) for name, timing in same if _good(study, timing, before)]
    if same:
        name, timing = min(same, key=lambda item: item[1].wobble_off)
        words = f'Set profile = "{name}": in the same {timing.duration_s:.4g} s'
        says = f"{words}, {_effect(study, before, timing)}."
        return Recommendation(kind="profile", says=says, timing=timing)
    options: list[tuple[float, str, str, Timing]] = []
    for row in rows:
        if row.sure is None or (study.wanted not in (None, row.profile) and study.free):
            continue
        timing = row.sure
        if timing.duration_s > plan.duration_s and _good(study, timing, before):
            change = "" if row.planned else f' with profile = "{row.profile}"'
            added = timing.duration_s - plan.duration_s
            words = f"Make the move {added:.3g} s longer, {timing.duration_s:.4g} s{change}"
            options.append((timing.duration_s, "longer", words, timing))
    for move in shaped:
        if _good(study, move.timing, before):
            count = "two" if move.impulses == 2 else "three"
            words = (
                f"Shape the move with {count} impulses (add --export NAME.csv), {move.added_s:.3g} s longer"
            )
            options.append((move.timing.duration_s, "shape", words, move.timing))
    if not options:
        return Recommendation(kind="none", says=_nothing(study, rows), timing=None)
    _, kind, words, timing = min(options, key=lambda item: item[0])
    return Recommendation(kind=kind, says=f"{words}: {_effect(study, before, timing)}.", timing=timing)


def _good(study: TimingStudy, timing: Timing, before: Timing) -> bool:
    """Still for sure, and no weaker than it was, or strong enough."""
    order = [Status.SKIPPED, Status.PASS, Status.CAUTION, Status.FAIL]
    weaker = order.index(timing.strength_status) > order.index(before.strength_status)
    return timing.wobble_off <= study.limit * study.scale and not weaker


def _effect(study: TimingStudy, before: Timing, after: Timing) -> str:
    return (
        f"wobble {before.wobble:.3g} to {wobble_words(study, after.wobble)}, at most"
        f" {wobble_words(study, after.wobble_off)} with the frequencies up to {OFF_WORDS} off"
    )


def wobble_words(study: TimingStudy, value: float) -> str:
    """A wobble with its unit."""
    return f"under 0.001 {study.unit}" if value < 1e-3 else f"{value:.3g} {study.unit}"


def _keep(study: TimingStudy, plan: Timing, rows: list[ProfileTimes]) -> str:
    says = (
        f"Keep the move: it arrives still, with {wobble_words(study, plan.wobble)} of wobble, at most"
        f" {wobble_words(study, plan.wobble_off)} with the frequencies up to {OFF_WORDS} off."
    )
    quicker = [
        row
        for row in rows
        if row.sure is not None
        and row.sure.duration_s < 0.95 * plan.duration_s
        and _good(study, row.sure, plan)
        and study.wanted in (None, row.profile)
    ]
    if not quicker:
        return says
    best = min(quicker, key=lambda row: math.inf if row.sure is None else row.sure.duration_s)
    assert best.sure is not None
    change = "" if best.planned else f' with profile = "{best.profile}"'
    return f"{says} If time is short: {best.sure.duration_s:.4g} s{change} is sure too."


def _nothing(study: TimingStudy, rows: list[ProfileTimes]) -> str:
    if study.view.constant >= study.limit:
        return (
            "No timing helps: the move of which only the acceleration is known wobbles too much on its own. Give"
            " its slide and duration."
        )
    reasons = [row.says for row in rows if row.says]
    why = f" {reasons[0]}" if reasons else ""
    return f"No timing that was tried is sure to arrive still.{why} Stiffen the support: see rigcheck check."
