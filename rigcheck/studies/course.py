"""What the course of the moves itself adds: rounded or coarse keyframes, and rolls too fast for the theory."""

from __future__ import annotations

import numpy as np

from rigcheck.model import Move
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import CAUTION_SHARE, NOMINAL_PIXEL
from rigcheck.studies.moves import Travel
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.words import capitalised, share_words
from rigcheck.studies.work import Work
from rigcheck.units import registry

__all__ = ["FAST_ROLL", "JERKY", "course"]

SAME_TRAVEL = 0.01
"""Share of the travel that the rig file says up to which that of the keys counts as the same: a choice."""
JERKY = 1.0
"""Change of the jerk from key to key over the jerk: a smooth curve has far less, noise almost twice this."""
FAST_ROLL = 0.1
"""Twice the fastest roll over the lowest angular frequency from which the neglected Coriolis force is told."""


def course(work: Work) -> Contribution:
    """Look at the moves themselves.

    Parameters
    ----------
    work : Work
        One prop computed.

    Returns
    -------
    Contribution
        Findings ``keys-rounded`` and ``keys-coarse`` for keyframes, and ``keys-travel`` where the file says how far
        they go; ``fast-roll`` for rolls.
    """
    moves, motion = work.prop.move, work.motion
    findings: list[Finding] = []
    figures: list[Figure] = []
    for number, (move, travel) in enumerate(
        zip([move for move in moves if move.kind != "acceleration"], work.reading.task.travels, strict=True),
        start=1,
    ):
        if travel.keys is not None:
            name = "the keyframes" if len(moves) == 1 else f"the keyframes of move {number}"
            findings += _as_said(travel, name, move)
            findings.append(_rounded(travel, name, move.key_unit or "m"))
            findings.append(_coarse(number - 1, name, work.reading, work.still))
            figures += [_reconstruction(travel, name), _added(travel, name)]
    if motion is not None and motion.turning_share[0] > FAST_ROLL:
        findings.append(_fast_roll(float(motion.turning_share[0])))
    return Contribution(findings=tuple(findings), figures=tuple(figures))


def _as_said(travel: Travel, name: str, move: Move) -> list[Finding]:
    """Whether the keys go as far as the rig file says, where it does."""
    said, unit = move.key_travel, move.key_unit
    if said is None or unit is None:
        return []
    assert travel.keys is not None
    places = travel.keys.displacement
    gone = registry().Quantity(float(places[-1] - places[0]), "rad" if travel.rolls else "m").m_as(unit)
    wanted = said.value
    small = SAME_TRAVEL * abs(wanted)
    whose, travelled = capitalised(name), f"{gone:.4g} {unit}"
    but = f'but the rig file says {move.kind} = "{said}"; all here is for the keyframes.'
    status, advice = Status.CAUTION, ""
    if abs(gone - wanted) <= small:
        status, says = Status.PASS, f"{whose} go as far as the rig file says."
    elif abs(gone) <= small:
        says = f"{whose} end where they began, {but}"
        advice = f'If the keyframes are right, write {move.kind} = "{unit}"; if not, export them again.'
    else:
        says = f"{whose} go {travelled}, {but}"
        advice = (
            f'If the keyframes are right, write {move.kind} = "{travelled}"; if not, look at the unit they are in,'
            " or export them again."
        )
    return [
        Finding(
            id="keys-travel",
            label="travel of the keyframes",
            status=status,
            value=gone,
            unit=unit,
            says=says,
            advice=(advice,) if advice else (),
        )
    ]


def _rounded(travel: Travel, name: str, unit: str) -> Finding:
    assert travel.keys is not None
    from rigcheck.motion.keyframes import rounding

    found = rounding(travel.keys)
    label = "smoothness of the keyframes"
    rounded = found.step is not None and found.visible
    if not rounded and found.jerk_ratio <= JERKY:
        return Finding(
            id="keys-rounded",
            label=label,
            status=Status.PASS,
            says=f"The values of {name} are smooth enough.",
        )
    if not rounded:
        return Finding(
            id="keys-rounded",
            label=label,
            status=Status.CAUTION,
            value=found.jerk_ratio,
            limit=JERKY,
            says=f"The values of {name} jerk from one to the next; much of the wobble may be theirs.",
            advice=("Smooth the keys, or export the planned curve in place of a measured one.",),
        )
    share = found.acceleration_noise / found.peak_acceleration
    step = registry().Quantity(found.step or 0.0, "rad" if travel.rolls else "m").m_as(unit)
    return Finding(
        id="keys-rounded",
        label=label,
        status=Status.CAUTION,
        value=share,
        limit=0.1,
        says=f"The values of {name} are rounded so coarsely that the move jerks: {share_words(share)} of its"
        " acceleration is rounding.",
        advice=(f"Export the keys with more digits than steps of {step:.3g} {unit}, or fewer of them.",),
    )


def _coarse(number: int, name: str, reading: Reading, still: Outcome) -> Finding:
    """Wobble that a head adds which joins the keys by straight lines."""
    travel = reading.task.travels[number]
    assert travel.keys is not None
    from rigcheck.studies.keyed_shake import keyed_shake

    shake = keyed_shake(reading, still, number)
    pixels = shake.extent / NOMINAL_PIXEL if shake.extent_px is None else shake.extent_px
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if shake.extent_px is None else (1.0, "px")
    limit = CAUTION_SHARE * reading.task.limits.wobble
    fine = pixels <= limit
    return Finding(
        id="keys-coarse",
        label="coarse keyframes",
        status=Status.PASS if fine else Status.CAUTION,
        value=pixels * scale,
        limit=limit * scale,
        unit=unit,
        says=(
            f"A head that joins {name} by straight lines shakes at {_key_rate(travel):.3g} Hz and its multiples"
            + ("; too little to see." if fine else "; while that lasts it can be seen.")
        ),
        advice=() if fine else ("Send the head keys twice as often, or let it smooth between them.",),
    )


def _key_rate(travel: Travel) -> float:
    """Keys a second, as most of them come [Hz]."""
    assert travel.keys is not None
    return 1.0 / float(np.median(np.diff(travel.keys.times)))


def _added(travel: Travel, name: str) -> Figure:
    """The excitation that joining the keys by straight lines adds."""
    assert travel.keys is not None
    from rigcheck.motion.keyframes import sampling_line

    line = sampling_line(
        sampling_rate=_key_rate(travel),
        peak_velocity=float(np.abs(travel.keys.velocity).max()),
        peak_acceleration=float(np.abs(travel.keys.acceleration).max()),
    )
    unit = "rad" if travel.rolls else "m"
    return Figure(
        label=f"{name}: joined by straight lines",
        value=f"{line.acceleration:.3g} {unit}/s^2 at {line.frequency:.3g} Hz and at each of its multiples",
        note="added where the move speeds up most; a head that smooths between keys adds less",
    )


def _reconstruction(travel: Travel, name: str) -> Figure:
    assert travel.keys is not None
    keys = travel.keys
    unit = "rad" if travel.rolls else "m"
    return Figure(
        label=f"{name}: reconstructed",
        value=(
            f"{len(keys.times)} keys, peak {np.abs(keys.velocity).max():.3g} {unit}/s,"
            f" {np.abs(keys.acceleration).max():.3g} {unit}/s^2"
        ),
        note="cubic spline through the keys, at rest at both ends",
    )


def _fast_roll(share: float) -> Finding:
    return Finding(
        id="fast-roll",
        label="fast roll",
        status=Status.CAUTION,
        value=share,
        limit=FAST_ROLL,
        says=f"It rolls fast for so limber a rig: the wobble figures leave out an effect of about"
        f" {share_words(share)}.",
        advice=("Roll slower or make the support stiffer; then the figures hold.",),
    )
