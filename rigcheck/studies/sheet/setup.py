"""Setting a prop up: the counterweight, the proof load to hang before the take, and what both should show."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.stock import find_clamp, practice
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.lasting_set import check_set
from rigcheck.studies.layers import layers_of
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import GRAVITY
from rigcheck.studies.words import capitalised, length_words, mass_words, way_words

__all__ = ["ClampNote", "Counterweight", "ProofLoad", "clamp_notes", "counterweight", "proof_load"]

Array = NDArray[np.float64]

_ARMS = (0.05, 0.1, 0.15)
"""Arms for which a counterweight is given [m]: what fits on a table-top head."""
_HARDLY = 0.05
"""Movement that nobody sees with a ruler [mm]."""
_BALANCED = 5e-3
"""Moment across the head below which a counterweight is not worth the trouble [N m]: a choice."""


@dataclass(frozen=True, kw_only=True)
class ClampNote:
    """How one support is held.

    Attributes
    ----------
    support : int
        Which, from 1.
    clamp : str
        Plain words.
    grip_mm : float or None
        Held length; None where not given.
    least_grip_mm : float or None
        Shortest that holds as computed, where the data know.
    note : str
        Remark of the data.
    moment_N_m, force_N : float or None
        What it has to hold at rest; None where there is no settled state.
    """

    support: int
    clamp: str
    grip_mm: float | None
    least_grip_mm: float | None
    note: str
    moment_N_m: float | None
    force_N: float | None


@dataclass(frozen=True, kw_only=True)
class Counterweight:
    """What balances the weight on the head, at rest where the moves end.

    Attributes
    ----------
    moment_N_m : float
        Of all that hangs on the head, about the first root [N m].
    hanging_kg : float
        Prop and supports together [kg].
    side : str
        Where the counterweight goes, as a direction word; empty where none is needed.
    choices : tuple of (float, float)
        Arm from the first root [mm] and mass there [g].
    payload_kg : float or None
        Rated payload of the head, which both together must not pass.
    says : str
        One sentence.
    """

    moment_N_m: float
    hanging_kg: float
    side: str
    choices: tuple[tuple[float, float], ...]
    payload_kg: float | None
    says: str


@dataclass(frozen=True, kw_only=True)
class ProofLoad:
    """The test to make before the take.

    Attributes
    ----------
    factor : float
        Load over the prop's own weight.
    load_kg : float
        What to hang in place of the prop [kg].
    hold_min : float
        How long [min].
    extra_mm : float or None
        How far its centre of mass goes below where it is with the prop alone [mm]; None where no state was found.
    strength_factor : float or None
        Strength over stress under it; None where not known.
    set_mm : float or None
        Bend that stays when it comes off; None where not known.
    safe : bool
        Whether the support should stand it without bending for good.
    swings : tuple of (float, float) or None
        Lowest frequency [Hz] and swings in ten seconds, for a count by eye; None where none is known.
    says : str
        What to do.
    expect : str
        What it should show, or why it must not be made yet.
    source : str
        Mark of the rule.
    """

    factor: float
    load_kg: float
    hold_min: float
    extra_mm: float | None
    strength_factor: float | None
    set_mm: float | None
    safe: bool
    swings: tuple[float, float] | None
    says: str
    expect: str
    source: str


# -- clamps ----------------------------------------------------------------------------------------------


def clamp_notes(prop: Prop, still: Outcome) -> tuple[ClampNote, ...]:
    """Say how each support is held and what its clamp has to hold.

    Parameters
    ----------
    prop : Prop
        What the user gave.
    still : Outcome
        At rest; the first variant is used.

    Returns
    -------
    tuple of ClampNote
    """
    notes = []
    for index, (given, support) in enumerate(zip(prop.support, still.rig.supports, strict=True)):
        least, note = None, ""
        if given.clamp is not None:
            clamp = find_clamp(given.clamp)
            words, note = clamp.label, clamp.note
            if clamp.minimum_grip_diameters is not None:
                least = clamp.minimum_grip_diameters.value * float(support.outer_size[0]) * 1e3
        elif given.root_stiffness is not None:
            words = "Of the stiffness that the file gives"
        else:
            words = "Not given: computed as rigid"
        solved = bool(still.solved[0])
        notes.append(
            ClampNote(
                support=index + 1,
                clamp=words,
                grip_mm=None if given.grip is None else given.grip.m_as("mm"),
                least_grip_mm=least,
                note=note,
                moment_N_m=float(np.linalg.norm(still.root_moment[index][0])) if solved else None,
                force_N=float(np.linalg.norm(still.root_force[index][0])) if solved else None,
            )
        )
    return tuple(notes)


# -- counterweight ---------------------------------------------------------------------------------------


def counterweight(prop: Prop, still: Outcome) -> Counterweight | None:
    """Give the mass that balances a prop about its first root.

    Parameters
    ----------
    prop : Prop
        For the payload of its head.
    still : Outcome
        At rest; the first variant is used.

    Returns
    -------
    Counterweight or None
        None where there is no settled state.

    Notes
    -----
    The roots together hold the moment ``M = sum(M_i + (x_i - x_1) x F_i)`` about the first root. A mass m at the
    level arm a on the other side takes it away where ``m g a = |M|``: at rest, in the pose at the end of the moves.
    What accelerates is not balanced by it.
    """
    if not still.solved[0]:
        return None
    first = still.rig.supports[0].points[0, 0]
    total = np.zeros(3)
    for support, force, moment in zip(still.rig.supports, still.root_force, still.root_moment, strict=True):
        total = total + moment[0] + np.cross(support.points[0, 0] - first, force[0])
    hanging = float(sum(force[0, 1] for force in still.root_force)) / GRAVITY
    size = float(np.hypot(total[0], total[2]))
    payload = None if prop.axis is None or prop.axis.payload is None else prop.axis.payload.m_as("kg")
    if size < _BALANCED:
        return Counterweight(
            moment_N_m=size,
            hanging_kg=hanging,
            side="",
            choices=(),
            payload_kg=payload,
            says=f"It hangs under its root or nearly so ({size:.2g} N*m): no counterweight is needed.",
        )
    # M = arm x (0, F, 0) = (-arm_z F, 0, arm_x F), F the roots' push up; so the weight hangs out by arm.
    arm = np.array([total[2], 0.0, -total[0]])
    side = way_words(-arm)
    choices = tuple((1e3 * length, 1e3 * size / (GRAVITY * length)) for length in _ARMS)
    says = (
        f"{mass_words(choices[1][1] * 1e-3)} at {choices[1][0]:.0f} mm beyond the first root, {_side_words(side)},"
        " balance it at rest; a longer arm wants less."
    )
    if payload is not None:
        room = payload - hanging
        if room <= 0:
            says += (
                " The head has no payload left for one: put it on the arm below the head, or on the stand."
            )
        else:
            says += (
                f" With it the head carries its full payload at an arm of {length_words(size / (GRAVITY * room))}:"
                " make it longer than that."
            )
    return Counterweight(
        moment_N_m=size, hanging_kg=hanging, side=side, choices=choices, payload_kg=payload, says=says
    )


def _side_words(side: str) -> str:
    return {"right": "to the right", "left": "to the left"}.get(side, side)


# -- proof load ------------------------------------------------------------------------------------------


def proof_load(shot: Shot, prop: Prop, reading: Reading, still: Outcome) -> ProofLoad:
    """Work out the test that the crew makes before the take, and what it should show.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        At rest; the first variant is used.

    Returns
    -------
    ProofLoad

    Notes
    -----
    The load hangs in place of the prop, so the rig is computed again with that many times its mass. Twice the
    weight, and how long it hangs, are common practice without a source; the data file holds both.
    """
    rule, hold = practice("proof-load").datum, practice("proof-load-hold").datum
    rig = still.rig
    load = rule.value * float(rig.mass[0])
    heavy = replace(rig, mass=rig.mass * rule.value, inertia=rig.inertia * rule.value)
    under = replace(reading.task, rig=heavy, travels=(), pushes=()).evaluate()
    solved, now = bool(under.solved[0]), bool(still.solved[0])
    sag = float(under.sag[0]) * 1e3 if solved else None
    factor = float(under.strength_factor[0]) if solved and np.isfinite(under.strength_factor[0]) else None
    set_mm, holds = None, solved
    if solved:
        bent = check_set(under, None, layers_of(shot, prop, heavy, under.parts))
        set_mm = None if bent.displacement is None else bent.displacement * 1e3
        holds = all(found.status is not Status.FAIL for found in bent.contribution.findings)
    extra = sag - float(still.sag[0]) * 1e3 if sag is not None and now else None
    safe = holds and (factor is None or factor >= 1.0) and not set_mm
    frequency = float(still.natural_frequency[0].min()) if now else None
    hazard = reading.task.limits.hazard
    return ProofLoad(
        factor=rule.value,
        load_kg=load,
        hold_min=hold.value / 60,
        extra_mm=extra,
        strength_factor=factor,
        set_mm=set_mm,
        safe=safe,
        swings=None if frequency is None else (frequency, 10 * frequency),
        says=_test_words(load, hold.value / 60, hazard),
        expect=_expectation(
            safe=safe, solved=solved, extra=extra, factor=factor, set_mm=set_mm, hazard=hazard
        ),
        source=f"{rule.value:g} times the weight and {hold.value / 60:g} minutes: common practice, no source",
    )


def _test_words(load: float, minutes: float, hazard: str) -> str:
    stand = {
        "clear": "keep hands and faces out",
        "hands": "with a second, slack hold on it, and nobody's hands below",
        "overhead": "by a competent person, with nobody under it",
    }[hazard]
    return (
        f"Hang {mass_words(load)} in all from the finished support where the prop's weight acts, over a cushion,"
        f" {stand}. Leave it for {minutes:g} minutes."
    )


def _expectation(
    *, safe: bool, solved: bool, extra: float | None, factor: float | None, set_mm: float | None, hazard: str
) -> str:
    if not solved:
        return "Do not make this test: under this load the support finds no rest. Change the rig first."
    if not safe:
        bent = f" and keep a bend of {set_mm:.2g} mm" if set_mm else ""
        used = "" if factor is None else f" (strength factor {factor:.2g})"
        return f"Do not make this test on this rig: the support would give way{used}{bent}. Change the rig first."
    rest = "stay there, and come back to where it was when the load comes off."
    if extra is not None:
        lower = f"It should go {length_words(extra * 1e-3)} lower than with the prop alone, {rest}"
        rest = lower if extra >= _HARDLY else "It should hardly move."
    wanted = REQUIRED_FACTOR[hazard]
    more = (
        f" With anyone under it this test is not enough: {wanted:g} times the strength is asked for."
        if wanted > 2 and hazard != "clear"
        else ""
    )
    return (
        f"{capitalised(rest)} If it goes much further, creeps, slips or stays bent, stop: the rig is not"
        f" the one that was computed.{more}"
    )
