"""How far to raise, shift and tilt the mount so that the settled prop sits on its mark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.studies.contributions import skipped
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.words import length_words, listed

__all__ = ["MountOffset", "mount_offsets", "offsets"]

Array = NDArray[np.float64]

_LABEL = "mount offset"
_LEAST_SHIFT = 5e-5
"""Shifts below this are left out of the words [m]: nobody sets a mount finer."""
_LEAST_TURN = np.deg2rad(0.05)
"""Turns below this are left out of the words [rad]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class MountOffset:
    """How the whole mount is set off from where it would be if nothing gave.

    Attributes
    ----------
    shift : array, shape (3,)
        [m], right, up, toward; made after the turn.
    turn : array, shape (3,)
        Rotation vector about the first root [rad].
    """

    shift: Array
    turn: Array


def mount_offsets(still: Outcome) -> tuple[MountOffset, MountOffset]:
    """The two ways to bring the settled prop back to its mark.

    Parameters
    ----------
    still : Outcome
        At rest and solved; the first variant is used.

    Returns
    -------
    MountOffset, MountOffset
        A shift alone; and a turn about the first root that also levels the prop, with the shift that then is
        left.

    Notes
    -----
    The settled prop is displaced by u and turned by theta. Turning the mount by R = R(-theta) about the root
    carries the centre of mass c to ``root + R (c - root)``, and the prop's own turn is taken back. The weight
    then moves it by ``R u``: the support gives in its own directions as before, while the weight points off
    by theta, which to first order only pulls along the support. So the shift is
    ``(1 - R) (c - root) - R u``, to first order ``theta x (c - root) - u`` (derived here). What is left of
    the sag is about theta squared for a level support, and for a standing one the change of stiffness by the
    weight times theta: a few per cent.
    """
    moved, turned = still.displacement[0], still.rotation[0]
    arm = still.rig.centre_of_mass[0] - still.rig.supports[0].points[0, 0]
    return (
        MountOffset(shift=-moved, turn=np.zeros(3)),
        MountOffset(shift=arm - _turned(-turned, arm + moved), turn=-turned),
    )


def _turned(vector: Array, place: Array) -> Array:
    """A place turned about the origin by a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle == 0:
        return place
    axis = vector / angle
    across = np.cross(axis, place)
    return np.asarray(place + np.sin(angle) * across + (1 - np.cos(angle)) * np.cross(axis, across))


def offsets(
    shot: Shot,  # noqa: ARG001  one signature for every part of the check
    prop: Prop,
    reading: Reading,  # noqa: ARG001
    still: Outcome,
    motion: MotionOutcome | None,  # noqa: ARG001
) -> Contribution:
    """Say how to set the mount so that the settled prop sits on its mark.

    Parameters
    ----------
    shot, prop, reading
        What the user gave, and the same made ready to compute.
    still : Outcome
        At rest; the first variant is used.
    motion : MotionOutcome or None
        Not used.

    Returns
    -------
    Contribution
        Finding ``offsets``, whose value is how far to raise the mount by a shift alone.
    """
    if not still.solved[0]:
        reason = "There is no settled state to set the mount by."
        return Contribution(findings=(skipped("offsets", _LABEL, reason),))
    alone, level = mount_offsets(still)
    points = still.rig.supports[0].points[0]
    shift = _shift_words(alone.shift)
    # To first order a tilt levels the prop; that holds for small settling only.
    tilt = "" if still.large[0] else _turn_words(level.turn, points[-1] - points[0])
    both = ", then ".join(filter(None, [tilt, _shift_words(level.shift)]))
    advice: tuple[str, ...] = ()
    if shift:
        advice = (f"{_sentence(shift)}, and {prop.name} settles on its mark.",)
    if tilt:
        advice += (
            f"{'Or ' if shift else ''}{both if shift else _sentence(both)}; then it also hangs straight.",
        )
    figures = [
        Figure(label="mount, shift alone", value=shift or "no offset needed"),
        Figure(
            label="mount, shift and tilt",
            value=both or "no offset needed",
            note="tilted about the root of the first support, to first order",
        ),
    ]
    return Contribution(
        findings=(
            Finding(
                id="offsets",
                label=_LABEL,
                status=Status.PASS,
                value=float(alone.shift[1]) * 1e3,
                unit="mm",
                says="Set the mount off before the prop is hung, and the weight brings it to its mark."
                if advice
                else "The mount needs no offset.",
                advice=advice,
            ),
        ),
        figures=tuple(figures),
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


_SIDEWAYS = {
    0: ("{} to the right", "{} to the left"),
    2: ("{} toward the camera", "{} away from the camera"),
}
_TILTS = (
    ("tilt the tip to the right by {}", "tilt the tip to the left by {}"),
    ("tilt the tip up by {}", "tilt the tip down by {}"),
    ("tilt the tip toward the camera by {}", "tilt the tip away from the camera by {}"),
)
_ORDER = (1, 0, 2)


def _shift_words(shift: Array) -> str:
    """For example ``raise the mount 3.2 mm and shift it 0.4 mm to the left``; empty for nothing."""
    raised = abs(shift[1]) >= _LEAST_SHIFT
    lift = [f"{'raise' if shift[1] > 0 else 'lower'} the mount {length_words(shift[1])}"] if raised else []
    aside = [
        _SIDEWAYS[axis][0 if shift[axis] > 0 else 1].format(length_words(shift[axis]))
        for axis in (0, 2)
        if abs(shift[axis]) >= _LEAST_SHIFT
    ]
    if aside:
        lift.append(f"shift {'it' if raised else 'the mount'} {listed(aside)}")
    return listed(lift)


def _turn_words(turn: Array, along: Array) -> str:
    """As in ``tilt the tip up by 1.1 deg``: where the turn takes the tip, and that about the support."""
    along = along / np.linalg.norm(along)
    tip = np.cross(turn, along)
    parts = [
        _TILTS[axis][0 if tip[axis] > 0 else 1].format(_degrees(tip[axis]))
        for axis in _ORDER
        if abs(tip[axis]) >= _LEAST_TURN
    ]
    about = float(turn @ along)
    if abs(about) >= _LEAST_TURN:
        way = "counterclockwise" if about > 0 else "clockwise"
        parts.append(f"turn the support {_degrees(about)} {way} as seen from the prop")
    return listed(parts)


def _degrees(angle: float) -> str:
    return f"{abs(np.rad2deg(angle)):.2g} deg"
