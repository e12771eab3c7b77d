"""The main job: a shot in, one verdict a prop out, with the figures, the findings and what to change."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rigcheck.model import Prop, Shot
from rigcheck.picture.wobble import seen_frequency
from rigcheck.studies.cautions import cautions
from rigcheck.studies.course import course
from rigcheck.studies.cures import Cure, find_cures
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.findings import find, in_order
from rigcheck.studies.grading import Grade, grade
from rigcheck.studies.holding import holding
from rigcheck.studies.lasting import lasting
from rigcheck.studies.mode_words import describe_modes
from rigcheck.studies.moving import Eye, MotionOutcome
from rigcheck.studies.offsets import offsets
from rigcheck.studies.reading import Reading, choices_for, read_prop
from rigcheck.studies.results import (
    CheckResult,
    Contribution,
    Figure,
    Finding,
    MotionResult,
    PropResult,
    StaticResult,
    Status,
    worst,
)
from rigcheck.studies.uncertainty import Ranges, ranges
from rigcheck.units import registry

__all__ = ["check"]

_CURABLE = ("residual-wobble", "settle", "yield-factor", "sag", "buckling")


def check(shot: Shot, *, prop: str | None = None) -> CheckResult:
    """Check every prop of a shot, or one of them.

    Parameters
    ----------
    shot : Shot
        As read from a rig file, or built in Python.
    prop : str, optional
        Name of the only prop to check.

    Returns
    -------
    CheckResult

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name.
    """
    wanted = shot.prop if prop is None else (shot.find_prop(prop),)
    works = [_work(shot, one) for one in shot.prop if one in wanted or _may_meet(shot)]
    meetings = _meetings(shot, works)
    results = tuple(
        _result(shot, work, met) for work, met in zip(works, meetings, strict=True) if work.prop in wanted
    )
    return CheckResult(
        title=shot.title,
        verdict=worst([result.verdict for result in results]),
        props=results,
        cautions=cautions(shot.limits.hazard),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Work:
    """One prop computed, before anything is said about it."""

    prop: Prop
    reading: Reading
    still: Outcome
    motion: MotionOutcome | None


def _work(shot: Shot, prop: Prop) -> _Work:
    reading = read_prop(shot, prop)
    still = reading.task.evaluate()
    motion = reading.task.move(still) if still.solved[0] else None
    return _Work(prop=prop, reading=reading, still=still, motion=motion)


def _may_meet(shot: Shot) -> bool:
    return len(shot.prop) > 1 and any(prop.mark is not None for prop in shot.prop)


def _meetings(shot: Shot, works: list[_Work]) -> list[Contribution]:
    if not _may_meet(shot):
        return [Contribution()] * len(works)
    from rigcheck.studies.meeting import meeting

    readings, stills = [work.reading for work in works], [work.still for work in works]
    return list(meeting(shot, readings, stills, [work.motion for work in works]))


def _result(shot: Shot, work: _Work, met: Contribution) -> PropResult:
    prop, reading, still, motion = work.prop, work.reading, work.still, work.motion
    task = reading.task
    solved = bool(still.solved[0])
    grades = grade(still, motion, task.limits, task.eye)
    cures = _cures(shot, prop, reading, still, grades) if solved else []
    parts, lasting_set = _parts(shot, work) if solved else ([], None)
    parts.append(met)
    findings = in_order(
        [*find(reading, still, grades, cures), *(finding for part in parts for finding in part.findings)]
    )
    spread = _spread(shot, work)
    findings, chance, held = _with_chances(findings, spread)
    notes = tuple(Figure(label=label, value=value, note=note) for label, value, note in reading.notes)
    assumed = (
        *_assumptions(shot, reading),
        *(text for part in parts for text in part.assumptions),
        *(() if spread is None else spread.assumptions),
        *held,
    )
    return PropResult(
        name=prop.name,
        verdict=worst([finding.status for finding in findings]),
        static=_static(still, lasting_set) if solved else None,
        modes=describe_modes(task.rig, still, motion) if solved else (),
        motion=None if motion is None else _motion(shot, reading, motion, grades),
        ranges={} if spread is None else spread.ranges,
        chance_of_pass=chance,
        influences=() if spread is None else spread.influences,
        surer=None if spread is None else spread.surer,
        findings=findings,
        assumptions=tuple(dict.fromkeys(assumed)),
        cautions=cautions(task.limits.hazard, reading.cautions),
        support=reading.support,
        next_step=_next_step(findings),
        details=(*(figure for part in parts for figure in part.figures), *notes),
    )


def _spread(shot: Shot, work: _Work) -> Ranges | None:
    """How sure the figures are; None where there are none, or where a unit is probably wrong."""
    if not work.still.solved[0] or work.reading.doubts:
        return None
    return ranges(shot, work.prop, task=work.reading.task)


def _with_chances(
    findings: tuple[Finding, ...], spread: Ranges | None
) -> tuple[tuple[Finding, ...], float | None, tuple[str, ...]]:
    """Findings with the chance of each that was varied, the chance of all, and what was not varied.

    What was not varied is taken to come out in every variant as it does in the middle.
    """
    if spread is None:
        return findings, None, ("Ranges are left out: there is no settled state, or a value is in doubt.",)
    told = tuple(
        replace(finding, chance_of_pass=spread.chances[finding.id])
        if finding.id in spread.chances
        else finding
        for finding in findings
    )
    fixed = [
        finding
        for finding in findings
        if finding.id not in spread.chances and finding.status is not Status.SKIPPED
    ]
    chance = spread.chance_of_pass if all(finding.status is Status.PASS for finding in fixed) else 0.0
    labels = ", ".join(dict.fromkeys(finding.label for finding in fixed))
    held = f"Without a range, and taken to come out alike in every variant: {labels}."
    return told, chance, (held,) if labels else ()


def _parts(shot: Shot, work: _Work) -> tuple[list[Contribution], float | None]:
    """What the other rooms of the check add, and the lasting set [m]."""
    prop = work.prop
    given = (shot, prop, work.reading, work.still, work.motion)
    stays, lasting_set = lasting(*given)
    others = [holding, offsets, course]
    if prop.insert is not None or prop.flexural_rigidity is not None or prop.droop_test is not None:
        from rigcheck.studies.drooping import drooping

        others.append(drooping)
    if any(
        support.form == "line" or support.tension is not None for support in work.reading.task.rig.supports
    ):
        from rigcheck.studies.lines import lines

        others.append(lines)
    if shot.camera is not None:
        from rigcheck.studies.picturing import picturing

        others.append(picturing)
    if lasting_set is None or lasting_set > 0:
        # What keeps a bend settles elsewhere than computed, so no offset can be promised.
        others.remove(offsets)
    return [stays, *(part(*given) for part in others)], lasting_set


def _cures(
    shot: Shot, prop: Prop, reading: Reading, outcome: Outcome, grades: dict[str, Grade]
) -> list[Cure]:
    wrong = {
        name
        for name in _CURABLE
        if name in grades and str(grades[name].status[0]) in (Status.FAIL, Status.CAUTION)
    }
    # Over people no strength makes a pass, so nothing there is worth trying for one.
    if reading.task.limits.hazard == "overhead":
        wrong -= {"yield-factor"}
    # With a unit that is probably wrong the advice would be too, and 25 m of wire take long to bend.
    if not wrong or reading.doubts:
        return []
    return find_cures(reading.task, outcome, grades, wrong, choices_for(shot, prop.support[0]))


def _next_step(findings: tuple[Finding, ...]) -> str | None:
    for status in (Status.FAIL, Status.CAUTION):
        for finding in findings:
            if finding.status is status and finding.advice:
                return finding.advice[0]
    return None


def _assumptions(shot: Shot, reading: Reading) -> tuple[str, ...]:
    task = reading.task
    said = list(reading.assumptions)
    said.append("The prop is rigid.")
    if task.rig.axis_stiffness is None:
        said.append("The head does not give.")
    if not task.settings.gravity_stiffness:
        said.append("Weight is left out of the stiffness, as asked.")
    if not task.settings.shear:
        said.append("Shear and the rotary inertia of the support are left out, as asked.")
    if shot.camera is None and (task.travels or task.pushes):
        said.append("No [camera] is given: wobble is graded as if a pixel spanned 0.1 mm at the prop.")
    return tuple(said)


def _static(outcome: Outcome, lasting_set: float | None) -> StaticResult:
    unit = registry()
    factor = float(outcome.strength_factor[0])
    buckling = float(outcome.buckling_factor[0])
    return StaticResult(
        method="large displacement" if outcome.large[0] else "linear",
        sag=unit.Quantity(float(outcome.sag[0]), "m"),
        prop_displacement=unit.Quantity(outcome.displacement[0], "m"),
        prop_rotation=unit.Quantity(outcome.rotation[0], "rad"),
        tip_displacement=unit.Quantity(outcome.tip_displacement[0], "m"),
        root_moment=unit.Quantity(float(outcome.largest_root_moment[0]), "N*m"),
        peak_stress=unit.Quantity(float(outcome.peak_stress[0]), "Pa"),
        yield_factor=factor if np.isfinite(factor) else None,
        set=None if lasting_set is None else unit.Quantity(lasting_set, "m"),
        buckling_factor=buckling if np.isfinite(buckling) else None,
    )


def _motion(shot: Shot, reading: Reading, motion: MotionOutcome, grades: dict[str, Grade]) -> MotionResult:
    quantity = registry().Quantity
    settle = float(grades["settle"].value[0])
    assert motion.peak_deviation is not None  # the course was asked for
    return MotionResult(
        peak_deviation=quantity(float(motion.peak_deviation[0]), "m"),
        residual_wobble=quantity(float(motion.residual[0]), "m"),
        residual_wobble_px=None if motion.residual_px is None else float(motion.residual_px[0]),
        settle=quantity(settle, "s") if np.isfinite(settle) else None,
        seen_frequency=_seen_frequency(shot, reading.task.eye, motion),
        worst_case=bool(reading.task.pushes),
    )


def _seen_frequency(shot: Shot, eye: Eye | None, motion: MotionOutcome) -> Any:
    camera = shot.camera
    if camera is None or camera.frame_rate is None or eye is None:
        return None
    amplitude = eye.sizes(motion.amplitudes[0].T)
    true = float(motion.angular_frequency[0, int(amplitude.argmax())]) / (2 * np.pi)
    rate = camera.frame_rate.m_as("Hz")
    playback = rate if camera.playback_rate is None else camera.playback_rate.m_as("Hz")
    seen, _ = seen_frequency(true, rate, playback)
    return registry().Quantity(float(seen), "Hz")
