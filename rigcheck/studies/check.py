"""The main job: a shot in, one verdict a prop out, with the figures, the findings and what to change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rigcheck.model import Shot
from rigcheck.picture.wobble import seen_frequency
from rigcheck.studies.cautions import cautions
from rigcheck.studies.curing import proven_cures
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.examining import Examined, examine, meetings
from rigcheck.studies.eye import Eye
from rigcheck.studies.findings import find, in_order
from rigcheck.studies.grading import Grade
from rigcheck.studies.mode_words import describe_modes
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import (
    CheckResult,
    Figure,
    Finding,
    MotionResult,
    PropResult,
    StaticResult,
    Status,
    worst,
)
from rigcheck.studies.uncertainty import ranges_of, with_chances
from rigcheck.studies.work import Work, may_meet, works_for

__all__ = ["check", "check_of"]


def check(shot: Shot, *, prop: str | None = None, thorough: bool = False) -> CheckResult:
    """Check every prop of a shot, or one of them.

    Parameters
    ----------
    shot : Shot
        As read from a rig file, or built in Python.
    prop : str, optional
        Name of the only prop to check.
    thorough : bool
        Look for every kind of change that cures what is wrong. Without, only for what to do next.

    Returns
    -------
    CheckResult

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name.
    """
    return check_of(shot, works_for(shot, prop), prop=prop, thorough=thorough)


def check_of(
    shot: Shot, works: Sequence[Work], *, prop: str | None = None, thorough: bool = False
) -> CheckResult:
    """Check props that are computed.

    Parameters
    ----------
    shot : Shot
        The props'.
    works : sequence of Work
        Of `works_for`.
    prop, thorough
        As for `check`.

    Returns
    -------
    CheckResult
    """
    met = meetings(shot, works)
    results = tuple(
        _result(
            examine(work, met[place]),
            others=[*works[:place], *works[place + 1 :]] if thorough and may_meet(shot) else [],
            thorough=thorough,
        )
        for place, work in enumerate(works)
        if prop in (None, work.prop.name)
    )
    return CheckResult(
        title=shot.title,
        verdict=worst([result.verdict for result in results]),
        props=results,
        cautions=cautions(shot.limits.hazard),
    )


def _result(examined: Examined, *, others: Sequence[Work], thorough: bool) -> PropResult:
    work, parts, grades = examined.work, examined.parts, examined.grades
    shot, prop, reading, still, motion = work.shot, work.prop, work.reading, work.still, work.motion
    task, solved = reading.task, work.solved
    choices = None
    if thorough:
        from rigcheck.studies.candidates import wide_choices

        choices = wide_choices(shot, prop)
    cures = proven_cures(shot, examined, others=others, choices=choices)
    findings = in_order(
        [*find(reading, still, grades, cures), *(finding for part in parts for finding in part.findings)]
    )
    # Lines that do not hold each other carry the prop away: no figure of the place it is drawn in means anything.
    held_apart = any(finding.id == "line-balance" for finding in findings)
    spread = None if held_apart else ranges_of(work)
    findings, chance, held = with_chances(findings, spread)
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
        static=_static(still, examined.lasting_set) if solved else None,
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
    factor = float(outcome.strength_factor[0])
    buckling = float(outcome.buckling_factor[0])
    return StaticResult(
        method=_method(outcome),
        sag_mm=float(outcome.sag[0]) * 1e3,
        prop_displacement_mm=outcome.displacement[0] * 1e3,
        prop_rotation_deg=np.degrees(outcome.rotation[0]),
        tip_displacement_mm=outcome.tip_displacement[0] * 1e3,
        root_moment_N_m=float(outcome.largest_root_moment[0]),
        peak_stress_MPa=float(outcome.peak_stress[0]) / 1e6,
        yield_factor=factor if np.isfinite(factor) else None,
        set_mm=None if lasting_set is None else lasting_set * 1e3,
        buckling_factor=buckling if np.isfinite(buckling) else None,
    )


def _method(outcome: Outcome) -> str:
    method = "large displacement" if outcome.large[0] else "linear"
    if outcome.yielding is None:
        return method
    known = np.isfinite(outcome.yielding[0]).all()
    return f"{method}, {'elastic-plastic' if known else 'elastic part only'}"


def _motion(shot: Shot, reading: Reading, motion: MotionOutcome, grades: dict[str, Grade]) -> MotionResult:
    settle = float(grades["settle"].value[0])
    assert motion.peak_deviation is not None  # the course was asked for
    return MotionResult(
        peak_deviation_mm=float(motion.peak_deviation[0]) * 1e3,
        residual_wobble_mm=float(motion.residual[0]) * 1e3,
        residual_wobble_px=None if motion.residual_px is None else float(motion.residual_px[0]),
        settle_s=settle if np.isfinite(settle) else None,
        seen_frequency_Hz=_seen_frequency(shot, reading.task.eye, motion),
        worst_case=bool(reading.task.pushes),
    )


def _seen_frequency(shot: Shot, eye: Eye | None, motion: MotionOutcome) -> float | None:
    camera = shot.camera
    if camera is None or camera.frame_rate is None or eye is None:
        return None
    amplitude = eye.sizes(motion.amplitudes[0].T)
    true = float(motion.angular_frequency[0, int(amplitude.argmax())]) / (2 * np.pi)
    rate = camera.frame_rate.m_as("Hz")
    playback = rate if camera.playback_rate is None else camera.playback_rate.m_as("Hz")
    seen, _ = seen_frequency(true, rate, playback)
    return float(seen)
