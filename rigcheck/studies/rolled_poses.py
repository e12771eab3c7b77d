"""What a rolling rig does on the way: settled states where its weight pulls in other directions than at the end.

The moves themselves are computed with the stiffness and the modes of the pose at the end. Here the rig is settled
anew in poses over the moves, so that what is left out there is seen: that it may fold, buckle or be too weak on the
way, that a large sag does not change in proportion, and that the weight changes the frequencies as it turns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.frame import Frame
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.evaluate import (
    LARGE_SHARE,
    LARGE_SHARE_BENT,
    STATIONS,
    Outcome,
    Settings,
    large_elements,
    strength_factor,
    stress_of,
)
from rigcheck.studies.grading import BUCKLING_FACTOR, NOMINAL_PIXEL
from rigcheck.studies.moves import Travel, field_at, is_turning, span
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import DOWN, GRAVITY, Part, Rig, build_frame, repeat, take
from rigcheck.studies.words import share_words
from rigcheck.studies.work import Work

__all__ = ["NEGLECTED", "Poses", "rolled_poses", "settled_poses"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

NEGLECTED = 0.1
"""Share of what is left out (of the change of sag, or of a frequency) from which it is told: a choice."""
_POSES = 13
_MODES = 40
"""Freedoms squared over this are the work of finding the modes."""
_MOST_WORK = 150_000
"""As in `LargeSettled.work`, of all poses together: under a second."""
_SEEN = 0.05
"""Pixels under which a change of sag that is not as computed is of no interest: a choice."""
_WEAKER = 0.98
"""Share of the strength factor of the moves from which that of a settled pose says something new."""
_LABEL = "sag while it rolls"
_TOO_LONG = "It bends so far that settling it anew in every pose takes too long."


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Poses:
    """Settled states in n poses over the moves, in the rig's own axes; the last is the pose at the end.

    Attributes
    ----------
    times : array, shape (n,)
        [s].
    turned : array, shape (n,)
        Angle between gravity there and at the end, as the rig feels it [rad].
    finished : bool
        Whether all poses were looked at, or one was found that folds; False where that took too long.
    folds : array of bool, shape (n,)
        Where there is no stable state.
    displacement : array, shape (n, 3)
        Of the centre of mass [m].
    straight : array, shape (n, 3)
        The same as the moves take it: the state at the end and its stiffness, under gravity turned [m].
    lowest : array, shape (n,)
        Lowest natural frequency [Hz].
    buckling_factor, strength_factor : array, shape (n,)
        Infinite where nothing is compressed; NaN where no strength is known.
    """

    times: Array
    turned: Array
    finished: bool
    folds: Flags
    displacement: Array
    straight: Array
    lowest: Array
    buckling_factor: Array
    strength_factor: Array

    @property
    def off(self) -> float:
        """How far the change of sag is off what the moves take, as a share of its largest."""
        change = np.linalg.norm(self.straight - self.straight[-1], axis=1).max()
        error = np.linalg.norm(self.displacement - self.straight, axis=1).max()
        return float(error / change) if change > 0 else 0.0

    @property
    def detuned(self) -> float:
        """Largest change of the lowest frequency against that at the end, as a share of it."""
        return float(np.abs(self.lowest / self.lowest[-1] - 1).max())


def settled_poses(still: Outcome, travels: tuple[Travel, ...]) -> Poses:
    """Settle a rig in poses over its moves.

    Parameters
    ----------
    still : Outcome
        At rest at the end, solved; the first variant is used. Without lines, which go slack and tighten.
    travels : tuple of Travel
        Its moves.

    Returns
    -------
    Poses
        Where one folds, others may not have been looked at.

    Notes
    -----
    In the rig's axes only gravity turns. Linear theory with the stiffness that the weight brings, or the
    geometrically exact state, by the same rule as for the pose at the end. The moves' acceleration is left out.
    A pose in which the weight is over the buckling load counts as one that folds: how far it would fall before it
    found a hold is not searched, because a factor under `BUCKLING_FACTOR` fails in any case.
    """
    rig, settings = take(still.rig, slice(0, 1)), still.settings
    start, stop = span(travels)
    times = np.linspace(start, stop, _POSES)
    gravity = np.swapaxes(field_at(travels, 0, times).rotation, 1, 2) @ DOWN
    gravity[-1] = DOWN
    frame, parts = build_frame(repeat(rig, _POSES), order=settings.order)
    found = _linear(frame, parts, rig, gravity, settings)
    if not found.folds.any() and (bool(still.large[0]) or _may_be_large(rig, settings)):
        reach = np.min([support.free_length for support in rig.supports])
        single = len(rig.supports) == 1 and rig.supports[0].points.shape[1] == 2
        share = np.linalg.norm(found.displacement, axis=1) / reach
        far = (share > (LARGE_SHARE if single else LARGE_SHARE_BENT)) | still.large[0]
        if far.any():
            found = _with_large(found, rig, gravity, settings, far)
    straight = still.displacement[0] + (gravity - DOWN) @ still.dynamics.follow[0, :3, :3].T
    toward = np.clip(gravity @ DOWN / GRAVITY**2, -1.0, 1.0)
    return Poses(
        times=times,
        turned=np.arccos(toward),
        finished=found.finished,
        folds=found.folds,
        displacement=found.displacement,
        straight=straight,
        lowest=found.lowest,
        buckling_factor=found.buckling_factor,
        strength_factor=found.strength_factor,
    )


@dataclass(kw_only=True, eq=False)
class _Found:
    folds: Flags
    displacement: Array
    lowest: Array
    buckling_factor: Array
    strength_factor: Array
    finished: bool = True


def _linear(frame: Frame, parts: list[Part], rig: Rig, gravity: Array, settings: Settings) -> _Found:
    from rigcheck.mechanics.modes import natural_modes
    from rigcheck.mechanics.statics import section_forces, settle

    settled = settle(frame, frame.inertial_load(gravity), load_stiffens=settings.gravity_stiffness)
    lowest = np.full(len(gravity), np.nan)
    standing = np.flatnonzero(settled.stable)
    if standing.size:
        own, _ = build_frame(repeat(rig, len(standing)), order=settings.order)
        modes = natural_modes(own, settled.stiffness[standing], 1)
        lowest[standing] = modes.angular_frequency[:, 0] / (2 * np.pi)
    stress = stress_of(parts, section_forces(frame, settled.state, STATIONS))
    return _Found(
        folds=~settled.stable,
        displacement=settled.state[:, :3].copy(),
        lowest=lowest,
        buckling_factor=settled.buckling_factor,
        strength_factor=strength_factor(parts, stress),
    )


def _may_be_large(rig: Rig, settings: Settings) -> bool:
    # Several supports on a head that gives: the large solver knows no common base.
    beyond = rig.axis_stiffness is not None and len(rig.supports) > 1
    return settings.displacement != "linear" and settings.gravity_stiffness and not beyond


def _with_large(found: _Found, rig: Rig, gravity: Array, settings: Settings, far: Flags) -> _Found:
    """The poses in `far` solved for large displacement, up to those that fold or take too long."""
    from rigcheck.mechanics.large import large_modes, settle_large, variants_at_once

    chosen = np.flatnonzero(far)
    found.lowest[chosen] = np.nan
    frame, _ = build_frame(repeat(rig, len(chosen)), order=settings.order)
    elements = int(large_elements(frame, gravity[chosen], settings).max())
    at_once = variants_at_once(frame.supports, elements)
    work = 0
    for some in (chosen[start : start + at_once] for start in range(0, len(chosen), at_once)):
        if work > _MOST_WORK:
            return replace(found, finished=False)
        frame, own = build_frame(repeat(rig, len(some)), order=settings.order)
        settled = settle_large(
            frame.supports, frame.prop, gravity[some], shear=settings.shear, elements=elements
        )
        work += int(settled.work.sum()) + len(some) * settled.rods.size**2 // _MODES
        good = settled.converged & settled.stable
        found.folds[some] = ~good
        found.displacement[some] = settled.prop_displacement
        if not good.all():
            break
        stress = stress_of(own, settled.section_forces(STATIONS))
        found.strength_factor[some] = strength_factor(own, stress)
        found.lowest[some] = large_modes(settled, 1).angular_frequency[:, 0] / (2 * np.pi)
    return found


def rolled_poses(work: Work) -> Contribution:
    """Check a rolling rig where its weight pulls in other directions than at the end.

    Parameters
    ----------
    work : Work
        One prop computed.

    Returns
    -------
    Contribution
        Nothing where no move rolls. Finding ``roll-sag``: fails where it folds, buckles or is too weak on the way;
        a caution where what the moves leave out passes a tenth.
    """
    reading, still, motion = work.reading, work.still, work.motion
    travels = reading.task.travels
    if motion is None or not is_turning(travels):
        return Contribution()
    reason = _why_not(reading, still)
    if reason is not None:
        return Contribution(
            findings=(Finding(id="roll-sag", label=_LABEL, status=Status.SKIPPED, says=reason),)
        )
    poses = settled_poses(still, travels)
    if not poses.finished:
        return Contribution(
            findings=(Finding(id="roll-sag", label=_LABEL, status=Status.SKIPPED, says=_TOO_LONG),)
        )
    if poses.folds.any():
        return Contribution(findings=(_folds(poses),))
    eye = reading.task.eye
    change = (poses.displacement - poses.displacement[-1]).T
    pixels = np.linalg.norm(change, axis=0) / NOMINAL_PIXEL if eye is None else eye.sizes(change)
    required = REQUIRED_FACTOR[work.shot.limits.hazard]
    findings = [_left_out(poses, shows=float(pixels.max()) > _SEEN)]
    worst = int(poses.buckling_factor.argmin())
    if poses.buckling_factor[worst] < BUCKLING_FACTOR <= still.buckling_factor[0]:
        findings.append(_buckles(poses, worst))
    if not np.isnan(poses.strength_factor).all():
        weakest = int(np.nanargmin(poses.strength_factor))
        known = float(motion.strength_factor[0])
        if poses.strength_factor[weakest] < min(_WEAKER * known, required):
            findings.append(_weak(poses, weakest, required))
    return Contribution(findings=tuple(findings), figures=(_figure(poses),))


def _why_not(reading: Reading, still: Outcome) -> str | None:
    supports = reading.task.rig.supports
    if any(support.form == "line" or support.tension is not None for support in supports):
        return "With lines, which tighten and go slack, the rest on the way is not computed."
    if still.yielding is not None:
        return "It keeps a bend, and what it does on the way depends on that."
    if still.rig.push is not None:
        return "With a steady push the rest on the way is not computed."
    if still.buckling_factor[0] < 1:
        return "It is over its buckling load at the end already; mend that first."
    if reading.doubts and bool(still.large[0]):
        return "With a unit that is probably wrong what its weight does on the way is not computed."
    if _POSES * still.large_work[0] > _MOST_WORK:
        return _TOO_LONG
    return None


def _where(poses: Poses, index: int) -> str:
    degrees = float(np.rad2deg(poses.turned[index]))
    return f"at {poses.times[index]:.2f} s, where its weight pulls {degrees:.0f} degrees from how it does at the end"


def _folds(poses: Poses) -> Finding:
    # Where it is farthest over its buckling load, else the first that was found to fold.
    index = int(np.where(poses.folds, poses.buckling_factor, np.inf).argmin())
    share = float(poses.buckling_factor[index])
    why = (
        f"the support buckles under {share_words(share)} of the weight"
        if 0 < share < 1
        else "there is no pose in which the support carries it"
    )
    return Finding(
        id="roll-sag",
        label=_LABEL,
        status=Status.FAIL,
        says=f"It folds on the way: {_where(poses, index)}, {why}.",
        advice=(
            "Take a shorter or thicker support, or start the roll where the prop hangs rather than stands.",
        ),
    )


def _left_out(poses: Poses, *, shows: bool) -> Finding:
    share = max(poses.off, poses.detuned) if shows else 0.0
    told = share > NEGLECTED
    low, high = float(poses.lowest.min()), float(poses.lowest.max())
    return Finding(
        id="roll-sag",
        label=_LABEL,
        status=Status.CAUTION if told else Status.PASS,
        value=share,
        limit=NEGLECTED,
        says=(
            f"The wobble figures may be off by about {share_words(share)}: they take the rig as it is at the end,"
            f" but as its weight turns its sag is up to {share_words(poses.off)} off that, and its lowest frequency"
            f" goes from {low:.3g} to {high:.3g} Hz."
            if told
            else "On the way it sags as the figures of the move take it."
        ),
        advice=("Make the support stiffer or shorter; then the figures hold.",) if told else (),
    )


def _buckles(poses: Poses, index: int) -> Finding:
    return Finding(
        id="roll-buckling",
        label="buckling while it rolls",
        status=Status.FAIL,
        value=float(poses.buckling_factor[index]),
        limit=BUCKLING_FACTOR,
        at_least=True,
        says=f"On the way it stands on its support and is near to folding: {_where(poses, index)}.",
        advice=("Take a shorter or thicker support.",),
    )


def _weak(poses: Poses, index: int, required: float) -> Finding:
    return Finding(
        id="roll-strength",
        label="strength while it rolls",
        status=Status.FAIL,
        value=float(poses.strength_factor[index]),
        limit=required,
        at_least=True,
        says=f"On the way it is loaded more than at the end: {_where(poses, index)}.",
        advice=("Take a shorter or thicker support.",),
    )


def _figure(poses: Poses) -> Figure:
    far = float(np.linalg.norm(poses.displacement - poses.displacement[-1], axis=1).max())
    low, high = float(poses.lowest.min()), float(poses.lowest.max())
    return Figure(
        label="while it rolls",
        value=f"settles up to {far * 1e3:.3g} mm off the end; lowest frequency {low:.3g} to {high:.3g} Hz",
        note=f"settled anew in {_POSES} poses; the moves are off that by {share_words(poses.off, places=2)}"
        " of the change",
    )
