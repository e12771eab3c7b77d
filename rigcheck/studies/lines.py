"""Lines that hold a prop: how hard each one pulls, whether it goes slack, and what would keep it taut."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import SupportRig
from rigcheck.studies.slack import can_slacken, line_pull, line_swing, may_push
from rigcheck.studies.words import capitalised, listed
from rigcheck.studies.work import Work

__all__ = ["lines"]

Array = NDArray[np.float64]

_LABEL = "slack lines"
_SPARE = 1.1
"""Pretension advised over the least that keeps all lines taut: a choice."""
_CLOSE = 1.05
"""How closely that least is looked for."""
_MOST_RAISED = 600.0


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Line:
    number: int  # as the file counts supports
    place: int
    support: SupportRig
    pull: float  # at rest [N]
    swing: float  # what the move takes away or adds at most [N]
    slack: bool

    @property
    def name(self) -> str:
        return f"line {self.number}"


def lines(work: Work) -> Contribution:
    """Say how hard each line pulls, and which of them go slack at rest or in the move.

    Parameters
    ----------
    work : Work
        One prop computed.

    Returns
    -------
    Contribution
        Finding ``line-slack``, and the pull of each line against what its knots hold as figures.
    """
    still, motion = work.still, work.motion
    pulls = line_pull(still)[0]
    swings = np.zeros_like(pulls) if motion is None else line_swing(still, motion.swing_forces)[0]
    found = [
        _Line(
            number=place + 1,
            place=place,
            support=support,
            pull=float(pulls[place]),
            swing=float(swings[place]),
            slack=bool(still.slack[0, place]),
        )
        for place, support in enumerate(still.rig.supports)
        if can_slacken(support)
    ]
    return Contribution(
        findings=(_finding(work.prop, work.reading, found),),
        figures=tuple(_figure(line) for line in found),
        assumptions=("A line that would have to push hangs slack: it carries nothing and steadies nothing.",)
        if any(line.slack for line in found)
        else (),
    )


def _figure(line: _Line) -> Figure:
    label = f"{line.name} pulls"
    if line.slack:
        return Figure(label=label, value="nothing: it is slack")
    value = f"{line.pull:.3g} N at rest"
    if line.swing > 0:
        value += f", {line.pull + line.swing:.3g} N at most in the move"
    strength = float(line.support.material.strength[0])
    if not np.isfinite(strength):
        return Figure(label=label, value=value)
    holds = strength * float(line.support.section.area[0])
    knots = "its knots counted" if line.support.form == "line" else "straight pull"
    return Figure(label=label, value=value, note=f"it holds {holds:.3g} N, {knots}")


def _finding(prop: Prop, reading: Reading, found: list[_Line]) -> Finding:
    slack = [line for line in found if line.slack]
    least = {line.number: float(may_push(line.support)[0]) for line in found}
    loose = [line for line in found if not line.slack and line.pull + least[line.number] < line.swing]
    if slack:
        names, several = listed([line.name for line in slack]), len(slack) > 1
        says = (
            f"{capitalised(names)} {'are' if several else 'is'} slack: {'they' if several else 'it'} would have to"
            f" push. {capitalised(prop.name)} hangs on the rest as if {'they were' if several else 'it was'} not"
            " there."
        )
        return Finding(
            id="line-slack",
            label=_LABEL,
            status=Status.CAUTION,
            value=float(len(slack)),
            limit=0.0,
            says=says,
            advice=_advice(reading, found, slack),
        )
    if loose:
        worst = max(loose, key=lambda line: line.swing / max(line.pull, 1e-12))
        names, several = listed([line.name for line in loose]), len(loose) > 1
        longer = np.sqrt(worst.swing / worst.pull) if worst.pull > 0 else np.inf
        advice = _advice(reading, found, loose)
        if np.isfinite(longer):
            advice = (
                f"Make the move about {longer * 1.05:.2g} times as long; then the lines stay taut.",
                *advice,
            )
        return Finding(
            id="line-slack",
            label=_LABEL,
            status=Status.CAUTION,
            value=worst.swing,
            limit=worst.pull,
            unit="N",
            says=(
                f"The move can slacken {names}: at rest {worst.name} pulls {worst.pull:.3g} N, and the swing takes up"
                f" to {worst.swing:.3g} N of it. A line that goes slack snatches when it comes taut, and the wobble"
                f" computed here counts on {'their' if several else 'its'} pull."
            ),
            advice=advice,
        )
    least_left = min(found, key=lambda line: line.pull - line.swing)
    pressed = least_left.swing - least_left.pull
    if pressed > 1e-9 * least[least_left.number]:
        return Finding(
            id="line-slack",
            label=_LABEL,
            status=Status.PASS,
            value=pressed,
            limit=least[least_left.number],
            unit="N",
            says=(
                f"No line goes limp: {least_left.name} is pressed with up to {pressed:.3g} N, and is thick enough to"
                f" stand {least[least_left.number]:.3g} N."
            ),
        )
    return Finding(
        id="line-slack",
        label=_LABEL,
        status=Status.PASS,
        value=least_left.swing,
        limit=least_left.pull,
        unit="N",
        says="Every line stays taut."
        if least_left.swing == 0
        else (
            f"Every line stays taut: {least_left.name} pulls {least_left.pull:.3g} N at rest, and the move takes at"
            f" most {least_left.swing:.3g} N of it."
        ),
    )


def _advice(reading: Reading, found: list[_Line], wrong: list[_Line]) -> tuple[str, ...]:
    advice = []
    taut = [line for line in found if line.support.tension is not None]
    # With a unit that is probably wrong the pull that helps would be too, and kilometres of line take long.
    if len(taut) > 1 and any(line in taut for line in wrong) and not reading.doubts:
        more = _tighter(reading, taut)
        if more:
            advice.append(more)
    if any(line.support.tension is None for line in wrong):
        names = listed([line.name for line in wrong if line.support.tension is None])
        advice.append(
            f"Move the lines apart until the centre of mass hangs between them, or leave {names} out; a line that"
            " steadies from below or from the side has to be pulled taut (tension) against another."
        )
    return tuple(advice)


def _tighter(reading: Reading, taut: list[_Line]) -> str | None:
    """All pulls raised alike until every taut line stays taut at rest and in the move, as computed."""
    first = taut[0].support.tension
    assert first is not None  # the caller has looked
    places = [line.place for line in taut]
    low, high = 1.0, 1.0
    while not _holds(reading, places, high):
        low, high = high, 2 * high
        if high > _MOST_RAISED:
            return None
    while high > low * _CLOSE:
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if _holds(reading, places, middle) else (middle, high)
    factor = high * _SPARE
    if not _holds(reading, places, factor):
        return None
    if all(
        float(line.support.tension[0]) == float(first[0]) for line in taut if line.support.tension is not None
    ):
        wanted = f"{float(first[0]) * factor:.2g} N"
        return f"Pull the lines to {wanted} before the prop is hung; then they all stay taut."
    return f"Pull every line {factor:.2g} times as hard before the prop is hung; then they all stay taut."


def _holds(reading: Reading, places: list[int], factor: float) -> bool:
    task = reading.task
    supports = tuple(
        replace(support, tension=None if support.tension is None else support.tension * factor)
        for support in task.rig.supports
    )
    task = replace(task, rig=replace(task.rig, supports=supports))
    still = task.evaluate()
    if not still.solved[0] or still.slack[0, places].any():
        return False
    motion = task.move(still, course=False)
    swing = 0.0 if motion is None else line_swing(still, motion.swing_forces)[0, places]
    return bool(np.all(line_pull(still)[0, places] > swing))
