"""What holds the roots: play in the clamp, a short grip, a wire that turns in it, and the head's ratings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.clamps import (
    NUT_FACTOR,
    clamp_force_from_screw,
    friction_capacity,
    friction_force_needed,
    play_at_tip,
    roll_torque,
    slip_use,
)
from rigcheck.mechanics.frame import cross_matrix, local_axes
from rigcheck.stock import Clamp, find_clamp
from rigcheck.studies.contributions import Said, graded, skipped
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.grading import NOMINAL_PIXEL
from rigcheck.studies.layers import forces_by_place, piece_axes
from rigcheck.studies.moves import Travel
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import GRAVITY, SupportRig
from rigcheck.studies.words import length_words, mass_words, share_words
from rigcheck.studies.work import Work

__all__ = ["AXIS_CAUTION_SHARE", "COUNTERWEIGHT_ARM", "holding", "short_grip"]

Array = NDArray[np.float64]

SCREW_DIAMETER = 3e-3
"""The set screw of a small clamp, M3 [m]; common practice, no source."""
HAND_TORQUE = 0.5
"""What a hand puts on its key [N m]; common practice, no source."""
FRICTION = 0.12
"""Metal on metal with a trace of oil; common practice, no source."""
CONTACTS = 2
"""A screw presses the wire on the opposite wall."""
SLIP_CAUTION_SHARE = 0.5
"""Share of the friction in use up to which it is a pass; common practice, no source."""
AXIS_CAUTION_SHARE = 0.7
"""Share of a head's rating up to which it is a pass; common practice, no source."""
COUNTERWEIGHT_ARM = 0.05
"""Arm for which a counterweight is worked out [m]: a choice."""
ROUNDING = 1e-9
"""Share of the moment across the shaft below which a torque about it is rounding."""
LEAST_UNBALANCE = 1e-4
"""Distance off the shaft below which nothing needs a counterweight [m]: a choice."""

_SCREWS = {"collet": 1, "pin-vice": 1, "one-set-screw": 1, "two-set-screws": 2}
"""Clamps whose friction is worked out, and how many set screws they count as."""
_TAIL = 10e-3
_ALONG = 0.999
"""Cosine of the angle to the shaft up to which a support is turned about itself."""


def holding(work: Work, *, for_verdict: bool = False) -> Contribution:
    """Check the clamps and the head.

    Parameters
    ----------
    work : Work
        One prop computed.
    for_verdict : bool
        Leave out what no verdict depends on: what a head without ratings carries.

    Returns
    -------
    Contribution
        Findings ``play``, ``grip``, ``clamp-turns`` and ``roll-slip`` of the clamps that are named;
        ``axis-payload``, ``axis-moment`` and ``axis-torque`` where the head has ratings, else as figures.
        Supports after the first carry their number in the finding's name.
    """
    said = Said()
    for index, support in enumerate(work.prop.support):
        if support.clamp is not None:
            _clamp(work, index, find_clamp(support.clamp), said)
    if for_verdict and work.prop.axis is None:
        return said.contribution()
    if work.solved:
        _axis(work, said)
    elif work.prop.axis is not None:
        for name, label in (("payload", _PAYLOAD), ("moment", _MOMENT), ("torque", _TORQUE)):
            said.findings.append(skipped(f"axis-{name}", label, "There is no settled state to judge it by."))
    return said.contribution()


_PAYLOAD = "mass on the head"
_MOMENT = "moment across the shaft"
_TORQUE = "torque about the shaft"


# -- clamps ---------------------------------------------------------------------------------------------


def short_grip(clamp: Clamp, *, grip: float, size: Array) -> NDArray[np.bool_]:
    """Whether a clamp holds less of a support than it wants.

    Parameters
    ----------
    clamp : Clamp
        From `rigcheck.stock.find_clamp`.
    grip : float
        What it holds [m]; NaN where that is not known.
    size : array
        What it holds it by: diameter or thickness [m].

    Returns
    -------
    array of bool
        As `size`; what is not known is not short.
    """
    least = clamp.minimum_grip_diameters
    return np.zeros(np.shape(size), dtype=bool) if least is None else np.asarray(grip < least.value * size)


def _clamp(work: Work, index: int, clamp: Clamp, said: Said) -> None:
    support = work.still.rig.supports[index]
    mark = "" if index == 0 else f"-{index + 1}"
    whose = "" if len(work.prop.support) == 1 else f" of support {index + 1}"
    grip = float(support.grip[0])
    size = float(support.across[0])
    if clamp.play is not None and clamp.play.value > 0:
        label = f"play in the clamp{whose}"
        if np.isnan(grip):
            said.findings.append(skipped(f"play{mark}", label, "No grip is given."))
        else:
            low, high = clamp.play.bounds
            reach = float(np.linalg.norm(work.still.rig.centre_of_mass[0] - support.points[0, 0]))
            said.findings.append(_play(work, f"play{mark}", label, clamp.play.value, grip=grip, reach=reach))
            said.assumptions.append(
                f"The hole of the {clamp.name} is {length_words(clamp.play.value)} wider than the wire"
                f" ({low * 1e3:g} to {high * 1e3:g} mm, {clamp.play.mark}): measure it."
            )
    least = clamp.minimum_grip_diameters
    if least is not None and short_grip(clamp, grip=grip, size=support.across)[0]:
        wanted = least.value * size
        said.findings.append(
            Finding(
                id=f"grip{mark}",
                label=f"grip{whose}",
                status=Status.CAUTION,
                value=grip * 1e3,
                limit=wanted * 1e3,
                at_least=True,
                unit="mm",
                says=f"The {clamp.name} holds only {grip / size:.2g} diameters; {least.value:g} are wanted.",
                advice=(f"Hold {length_words(wanted)} or more in the clamp.",),
            )
        )
    if clamp.pivots or not clamp.twist_held:
        about = "its screw" if clamp.pivots else "itself"
        said.findings.append(
            Finding(
                id=f"clamp-turns{mark}",
                label=f"turning in the clamp{whose}",
                status=Status.CAUTION,
                says=f"In the {clamp.name} the support can turn about {about}, and then nothing here holds.",
                advice=(
                    "Take a collet or two set screws, or bend the tail of the wire so that it cannot turn.",
                ),
            )
        )
    elif support.form == "round" and clamp.name != "rigid":
        said.findings.append(
            _roll_slip(work, index, clamp.name, f"roll-slip{mark}", f"slip in the clamp{whose}", said)
        )


def _play(work: Work, name: str, label: str, clearance: float, *, grip: float, reach: float) -> Finding:
    value = float(play_at_tip(clearance=clearance, grip_length=grip, free_length=reach))
    eye = work.reading.task.eye
    # Of the ways it can lean, the camera sees the widest best.
    scale = 1 / NOMINAL_PIXEL if eye is None else float(np.linalg.svd(eye.jacobian, compute_uv=False)[0])
    # Wobble counts from one end to the other, play from the middle.
    limit = work.shot.limits.wobble / scale / 2
    pixels = "" if eye is None else f" ({value * scale:.3g} px)"
    moves = f"the prop can shift by up to {length_words(value)}{pixels} either way"
    status, says = Status.PASS, f"Should the screw come loose, {moves}."
    advice: tuple[str, ...] = ()
    if value > limit:
        status = Status.CAUTION
        says = (
            f"Where the screw is not tight, {moves}; its weight presses the wire to one side,"
            " so it shows when the load changes side."
        )
        advice = (
            "Take a collet, or two set screws.",
            f"Sleeve the wire until the hole is at most {length_words(clearance * limit / value)} wider.",
        )
    return Finding(
        id=name,
        label=label,
        status=status,
        value=value * 1e3,
        limit=limit * 1e3,
        unit="mm",
        says=says,
        advice=advice,
    )


def _roll_slip(work: Work, index: int, clamp: str, name: str, label: str, said: Said) -> Finding:
    reading, still, motion = work.reading, work.still, work.motion
    support = still.rig.supports[index]
    screws = _SCREWS.get(clamp)
    if screws is None:
        return skipped(name, label, f"How tightly a {clamp} holds a wire against turning is not known.")
    if not work.solved:
        return skipped(name, label, "There is no settled state to judge it by.")
    at_root = forces_by_place(still.parts, still.forces)[index, 0]
    torque, pull = abs(float(at_root.torque[0, 0])), abs(float(at_root.axial[0, 0]))
    if motion is not None:
        swing = forces_by_place(still.parts, motion.swing_forces)[index, 0]
        torque += float(swing.torque[0, 0])
        pull += float(swing.axial[0, 0])
    shaft = _shaft(reading, still)
    if shaft.roll is not None and abs(float(shaft.way @ _root_way(support))) > _ALONG:
        # The roll turns gravity all round the wire, so its worst pose counts and not a sum of bounds.
        torque = _rolling_torque(reading, still, shaft)
    diameter = float(support.across[0])
    force = float(clamp_force_from_screw(screw_torque=HAND_TORQUE, nominal_diameter=SCREW_DIAMETER))
    capacity = screws * float(
        friction_capacity(clamp_force=force, friction_coefficient=FRICTION, contacts=CONTACTS)
    )
    use = float(slip_use(torque=torque, axial_force=pull, diameter=diameter, capacity=capacity))
    said.assumptions.append(
        f"A {clamp} holds a wire by friction as {'a' if screws == 1 else 'two'} hand-tight M3"
        f" screw{'' if screws == 1 else 's'} would: {HAND_TORQUE:g} N*m, nut factor {NUT_FACTOR:g},"
        f" friction {FRICTION:g}, {CONTACTS} contacts each (common practice)."
    )
    status = graded(use, good=SLIP_CAUTION_SHARE, most=1.0)
    around = float(friction_force_needed(torque=torque, diameter=diameter))
    what = "turn" if around >= pull else "slide"
    says = {
        Status.PASS: "The clamp's friction holds the wire against turning and sliding.",
        Status.CAUTION: f"The clamp's friction is more than half used up: the wire may {what} in it.",
        Status.FAIL: f"The wire will {what} in the clamp: it needs more friction than there is.",
    }[status]
    advice: tuple[str, ...] = ()
    if status is not Status.PASS:
        advice = (
            "File a flat on the wire for the screw.",
            f"Bend the last {length_words(_TAIL)} of the wire by 90 degrees behind the clamp.",
        )
        if screws == 1:
            advice += (f"Use two screws: {use * capacity:.3g} of {2 * capacity:.3g} N.",)
    return Finding(
        id=name,
        label=label,
        status=status,
        value=use * capacity,
        limit=capacity,
        unit="N",
        says=says,
        advice=advice,
    )


def _root_way(support: SupportRig) -> Array:
    """Unit vector from the root along the support."""
    way = support.points[0, 1] - support.points[0, 0]
    return np.asarray(way / np.linalg.norm(way))


# -- the head -------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Shaft:
    """The head's shaft: a point on it [m], its unit vector, and the roll that turns it, if any."""

    point: Array
    way: Array
    roll: Travel | None


def _shaft(reading: Reading, still: Outcome) -> _Shaft:
    first = still.rig.supports[0]
    for travel in reading.task.travels:
        if travel.rolls and travel.through is not None:
            return _Shaft(point=travel.through[0], way=np.array(travel.direction), roll=travel)
    return _Shaft(point=first.points[0, 0], way=_root_way(first), roll=None)


def _masses(still: Outcome) -> Iterator[tuple[float, Array, Array]]:
    """Mass [kg] and ends [m] of each straight piece of the supports and their sleeves."""
    areas = {part.support: part.section.area[0] for part in still.parts if part.label == "wire"}
    for index, support in enumerate(still.rig.supports):
        points = support.points[0]
        per_length = float(support.material.density[0] * areas[index])
        for start, stop in pairwise(points):
            yield per_length * float(np.linalg.norm(stop - start)), start, stop
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        marks = np.concatenate([[0.0], np.cumsum(steps)])
        for sleeve in support.sleeves:
            outer, wall = float(sleeve.outer_diameter[0]), float(sleeve.wall_thickness[0])
            over = float(sleeve.material.density[0]) * np.pi * wall * (outer - wall)
            begin, end = float(sleeve.start[0]), float(sleeve.end[0])
            for place in range(len(steps)):
                low, high = max(begin, marks[place]), min(end, marks[place + 1])
                if high > low:
                    way = (points[place + 1] - points[place]) / steps[place]
                    at = points[place] - marks[place] * way
                    yield over * (high - low), at + low * way, at + high * way


def _unbalance(still: Outcome, shaft: _Shaft) -> tuple[float, Array]:
    """All mass on the head [kg], and mass times distance off the shaft [kg m], of the unbent shape."""
    rig = still.rig
    total = float(rig.mass[0])
    moment = total * (rig.centre_of_mass[0] - shaft.point)
    for mass, start, stop in _masses(still):
        total += mass
        moment = moment + mass * ((start + stop) / 2 - shaft.point)
    return total, moment - moment @ shaft.way * shaft.way


def _inertia(still: Outcome, shaft: _Shaft) -> float:
    """Of everything about the shaft [kg m2]: Simpson's rule along each piece, exact for a thin rod."""

    def off(place: Array) -> float:
        arm = place - shaft.point
        return float(arm @ arm - (arm @ shaft.way) ** 2)

    rig = still.rig
    total = float(shaft.way @ rig.inertia[0] @ shaft.way) + float(rig.mass[0]) * off(rig.centre_of_mass[0])
    return total + sum(
        mass * (off(start) + 4 * off((start + stop) / 2) + off(stop)) / 6
        for mass, start, stop in _masses(still)
    )


def _peak_acceleration(travel: Travel) -> float:
    """Largest acceleration of a move as a magnitude [m/s2 or rad/s2]."""
    if travel.profile is None:
        # Keyframes: a cubic spline, whose acceleration is straight between them.
        return float(np.abs(travel.law(0, travel.events(0))[2]).max())
    return float(abs(travel.stroke[0]) * travel.profile.peak_acceleration / travel.duration[0] ** 2)


def _rolling_torque(reading: Reading, still: Outcome, shaft: _Shaft) -> float:
    """Torque about a rolling shaft at worst [N m]: unbalance in its worst pose, slides, its own inertia."""
    total, unbalance = _unbalance(still, shaft)
    task = reading.task
    pushed = sum(_peak_acceleration(travel) for travel in task.travels if not travel.rolls)
    pushed += sum(float(push.acceleration[0]) for push in task.pushes)
    level = np.array([0.0, GRAVITY, 0.0])
    across = float(np.linalg.norm(level - level @ shaft.way * shaft.way))
    assert shaft.roll is not None  # asked only of one that rolls
    return float(
        roll_torque(
            mass=total,
            unbalance_arm=float(np.linalg.norm(unbalance)) / total,
            inertia_about_axis=_inertia(still, shaft),
            angular_acceleration=_peak_acceleration(shaft.roll),
            gravity=across + pushed,
        )
    )


def _settled_moment(still: Outcome, shaft: _Shaft) -> Array:
    """Moment that the head puts on everything at the shaft's point, at rest [N m]."""
    total = np.zeros(3)
    for support, force, moment in zip(still.rig.supports, still.root_force, still.root_moment, strict=True):
        total += moment[0] + np.cross(support.points[0, 0] - shaft.point, force[0])
    return total


def _swing_moment(still: Outcome, motion: MotionOutcome, shaft: _Shaft) -> tuple[float, float]:
    """Bounds on what the movement adds across the shaft and about it [N m]."""
    frame = local_axes(shaft.way, None)
    bound = np.zeros(3)
    swing = forces_by_place(still.parts, motion.swing_forces)
    for index, support in enumerate(still.rig.supports):
        forces = swing[index, 0]
        axes = piece_axes(support.form, support.points[0, 0], support.points[0, 1])
        force = np.array([getattr(forces, name)[0, 0] for name in ("axial", "shear_y", "shear_z")])
        moment = np.array([getattr(forces, name)[0, 0] for name in ("torque", "moment_y", "moment_z")])
        lever = cross_matrix(support.points[0, 0] - shaft.point)
        bound += np.abs(frame @ axes.T) @ moment + np.abs(frame @ lever @ axes.T) @ force
    return float(np.hypot(bound[1], bound[2])), float(bound[0])


def _axis(work: Work, said: Said) -> None:
    reading, still, motion = work.reading, work.still, work.motion
    shaft = _shaft(reading, still)
    total, unbalance = _unbalance(still, shaft)
    settled = _settled_moment(still, shaft)
    about = abs(float(settled @ shaft.way))
    across = float(np.linalg.norm(settled - settled @ shaft.way * shaft.way))
    more = (0.0, 0.0) if motion is None else _swing_moment(still, motion, shaft)
    torque = about + more[1] if shaft.roll is None else _rolling_torque(reading, still, shaft)
    if torque < ROUNDING * (across + more[0]):
        torque = 0.0
    off = float(np.linalg.norm(unbalance)) / total
    balance = ""
    if off > LEAST_UNBALANCE:
        weight = float(np.linalg.norm(unbalance)) / COUNTERWEIGHT_ARM
        balance = f"{mass_words(weight)} at {length_words(COUNTERWEIGHT_ARM)} on the other side of the shaft"
        said.figures.append(
            Figure(
                label="counterweight that balances it",
                value=balance,
                note=f"{mass_words(total)} is {length_words(off)} off the shaft",
            )
        )
    axis = work.prop.axis
    ratings = (
        (None, None, None)
        if axis is None
        else (
            None if axis.payload is None else axis.payload.m_as("kg"),
            None if axis.moment is None else axis.moment.m_as("N*m"),
            None if axis.torque is None else axis.torque.m_as("N*m"),
        )
    )
    rows = (
        ("axis-payload", _PAYLOAD, total, ratings[0], "kg"),
        ("axis-moment", _MOMENT, across + more[0], ratings[1], "N*m"),
        ("axis-torque", _TORQUE, torque, ratings[2], "N*m"),
    )
    for name, label, value, rating, unit in rows:
        if axis is None or rating is None:
            said.figures.append(Figure(label=label, value=f"{value:.3g} {unit}"))
            if axis is not None:
                said.findings.append(skipped(name, label, "No rating is given."))
        else:
            spare = AXIS_CAUTION_SHARE * rating
            advice = ""
            if value > spare and name == "axis-payload":
                advice = f"Take off {mass_words(value - spare)}, or take a stronger head."
            elif value > spare and name == "axis-moment":
                advice = _nearer(still, shaft, spare / value)
            elif value > spare:
                advice = _balanced(still, shaft, balance, torque, spare)
            said.findings.append(_rated(name, label, value, rating, unit, advice))
    said.figures.append(
        Figure(
            label=f"{_MOMENT}, at rest", value=f"{across:.3g} N*m", note="at the root of the first support"
        )
    )
    if axis is not None:
        said.assumptions.append("The mass of the clamp itself is not on the head's account.")
        if shaft.roll is None:
            said.assumptions.append("The head's shaft is taken to point along the first support at its root.")


def _rated(name: str, label: str, value: float, rating: float, unit: str, advice: str) -> Finding:
    share = value / rating
    status = graded(share, good=AXIS_CAUTION_SHARE, most=1.0)
    says = {
        Status.PASS: f"The head is used to {share_words(share)} of its rating.",
        Status.CAUTION: f"The head is used to {share_words(share)} of its rating; little is left for a jolt.",
        Status.FAIL: f"The head is overloaded: {share:.3g} times its rating.",
    }[status]
    return Finding(
        id=name,
        label=label,
        status=status,
        value=value,
        limit=rating,
        unit=unit,
        says=says,
        advice=() if status is Status.PASS else (advice,),
    )


def _nearer(still: Outcome, shaft: _Shaft, share: float) -> str:
    """How much nearer the weight has to be for a share of the moment, which goes with its level distance."""
    arm = still.rig.centre_of_mass[0] - shaft.point
    level = float(np.hypot(arm[0], arm[2]))
    return f"Bring the prop about {length_words((1 - share) * level)} nearer to the head, or make it lighter."


def _balanced(still: Outcome, shaft: _Shaft, balance: str, torque: float, spare: float) -> str:
    """A counterweight where it brings the torque down far enough, else a slower move."""
    left = 0.0 if shaft.roll is None else _inertia(still, shaft) * _peak_acceleration(shaft.roll)
    if balance and left <= spare:
        return f"Add {balance}: the torque falls to about {left:.2g} N*m."
    # What the movement asks for goes with the square of its duration.
    slower = f"Make the move about {np.sqrt((left or torque) / spare):.2g} times as long"
    return f"{slower}, and add {balance}." if balance else f"{slower}."
