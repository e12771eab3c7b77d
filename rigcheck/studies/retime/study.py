"""How fast a move can go and still arrive still: other times, other profiles, input shaping, one thing to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from rigcheck.errors import UnknownNameError
from rigcheck.model import Prop, Shot
from rigcheck.model.fields import nearest
from rigcheck.motion.profiles import PROFILE_NAMES
from rigcheck.studies.cautions import cautions
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import NOMINAL_PIXEL
from rigcheck.studies.reading.prop import Reading, read_prop
from rigcheck.studies.results import Status, worst
from rigcheck.studies.retime.advice import recommended, timing_notes
from rigcheck.studies.retime.results import OFF_WORDS, PropRetiming, Recommendation, RetimeResult
from rigcheck.studies.retime.timings import TimingStudy, travelling
from rigcheck.studies.task import Task

__all__ = ["retime"]

Progress = Callable[[str, int, int], None]


def retime(
    shot: Shot, *, prop: str | None = None, profile: str | None = None, progress: Progress | None = None
) -> RetimeResult:
    """Find how fast the moves of a shot can go and still arrive still.

    Parameters
    ----------
    shot : Shot
        As read from a rig file, or built in Python.
    prop : str, optional
        Name of the only prop to look at.
    profile : str, optional
        Look at this profile in place of the planned one.
    progress : callable, optional
        Told what is being done, how many steps are done, and of how many.

    Returns
    -------
    RetimeResult

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name, or there is no such profile.

    Notes
    -----
    All moves of a prop are stretched together, their starts too. *Still* is a wobble within ``limits.wobble``, in
    pixels, or in tenths of a millimetre without a camera. A frequency that is off by a share f does what the same
    move stretched by 1 + f does, so that the wobble of one rig over all times also tells how much a time forgives;
    where gravity turns, the sag is as much off as the stiffness, and that is counted.
    """
    if profile is not None and profile not in PROFILE_NAMES:
        says = f'profile: "{profile}" is not known; choose one of {", ".join(PROFILE_NAMES)}.'
        raise UnknownNameError(says, given=profile, meant=nearest(profile, PROFILE_NAMES))
    chosen = shot.prop if prop is None else (shot.find_prop(prop),)
    steps = len(PROFILE_NAMES) + 1
    results = []
    for number, one in enumerate(chosen):

        def step(done: int, one: Prop = one, number: int = number) -> None:
            if progress is not None:
                progress(one.name, number * steps + done, len(chosen) * steps)

        results.append(_retime_prop(shot, one, profile, step))
    return RetimeResult(
        title=shot.title,
        verdict=worst([result.status for result in results]),
        props=tuple(results),
        cautions=cautions(shot.limits.hazard),
    )


def _retime_prop(shot: Shot, prop: Prop, wanted: str | None, step: Callable[[int], None]) -> PropRetiming:
    step(0)
    reading = read_prop(shot, prop)
    task = reading.task
    still = task.evaluate()
    reason = _why_not(task, still)
    if reason is not None:
        return _skipped(reading, prop, task, reason)
    study = TimingStudy(task=task, still=still, moves=travelling(prop), wanted=wanted)
    rows = []
    for done, name in enumerate(study.names):
        rows.append(study.profile_times(name))
        step(done + 1)
    modes, matters = study.modes()
    shaped = study.shaped_moves(matters)
    plan = study.timing(study.plan)
    return PropRetiming(
        name=prop.name,
        support=reading.support,
        unit=study.unit,
        limit=task.limits.wobble * study.scale,
        status=worst([plan.status, plan.strength_status, Status.CAUTION if reading.doubts else Status.PASS]),
        profile=study.profile,
        plan=plan,
        profiles=tuple(rows),
        nulls=study.nulls(matters),
        modes=modes,
        shaped=shaped,
        curve=study.curve(rows),
        notes=(*reading.doubts, *timing_notes(study)),
        recommendation=_with_doubt(reading, _with_strength(recommended(study, plan, rows, shaped))),
        assumptions=_assumptions(shot, reading),
        cautions=cautions(task.limits.hazard, reading.cautions),
    )


def _with_strength(recommendation: Recommendation) -> Recommendation:
    """A timing may be still and yet too much for the support: never leave that unsaid."""
    timing = recommendation.timing
    if timing is None or timing.strength_status is not Status.FAIL:
        return recommendation
    says = f"{recommendation.says} The support is not strong enough for it: see rigcheck check."
    return replace(recommendation, says=says)


def _with_doubt(reading: Reading, recommendation: Recommendation) -> Recommendation:
    """A value that may be in the wrong unit comes before any advice that rests on it."""
    if not reading.doubts:
        return recommendation
    return replace(recommendation, says=f"Look first at the value asked about below. {recommendation.says}")


def _why_not(task: Task, still: Outcome) -> str | None:
    if not task.travels and task.pushes:
        return "Only the peak acceleration of the move is known, and that has no times to change."
    if not task.travels:
        return "No move is given."
    if not still.solved[0]:
        return "The support folds under its load, so that there is nothing to time; see rigcheck check."
    return None


def _skipped(reading: Reading, prop: Prop, task: Task, reason: str) -> PropRetiming:
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if task.eye is None else (1.0, "px")
    return PropRetiming(
        name=prop.name,
        support=reading.support,
        unit=unit,
        limit=task.limits.wobble * scale,
        status=Status.SKIPPED,
        profile="",
        plan=None,
        notes=(reason,),
        recommendation=Recommendation(kind="none", says=reason, timing=None),
        assumptions=reading.assumptions,
        cautions=cautions(task.limits.hazard, reading.cautions),
    )


def _assumptions(shot: Shot, reading: Reading) -> tuple[str, ...]:
    said = [*reading.assumptions]
    if shot.camera is None:
        said.append("No [camera] is given: wobble is graded as if a pixel spanned 0.1 mm at the prop.")
    said.append(
        f"Sure times hold with every frequency up to {OFF_WORDS} off the computed one; a test take gives"
        " the real one."
    )
    return tuple(said)
