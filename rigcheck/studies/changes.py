"""Single changes to a rig, each as its user would write it, from small to large."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from rigcheck.model import SIDES, Move, Prop, Sleeve, Support
from rigcheck.motion.profiles import profile
from rigcheck.studies.beside import on_several, side_by_side
from rigcheck.studies.rigs import SleeveRig, SupportRig
from rigcheck.studies.task import Choices, Task, Tube
from rigcheck.studies.words import material_words, side_words
from rigcheck.units import Measured, measured

__all__ = ["Edit", "Kind", "Trial", "smoother_moves", "usual_changes", "wider_changes"]

Edit = Callable[[Prop], Prop]

_LENGTHS = np.array([0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5, 0.45, 0.4])
_SLOWER = np.array([1.1, 1.2, 1.3, 1.45, 1.6, 1.8, 2.0, 2.3, 2.6, 3.0])
_MOST_SIZES = 8
_SMOOTH = ("cycloidal", "modified-sine", "polynomial-345", "polynomial-4567")
_LIGHTER = np.array([0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5])
_SLEEVED = np.array([0.25, 0.4, 0.5, 0.6, 0.75])
"""Share of the free length that a sleeve covers, from the jaw."""
_SPACINGS = np.array([10e-3, 15e-3, 20e-3, 30e-3, 40e-3, 60e-3])
_LOOSE = 0.15
"""Gap of a sleeve, as a share of the diameter it goes over, that glue still fills; common practice, no source."""
_MOST_TUBES = 6
_HANDLE = 1e-3
"""Advice on lengths comes in whole millimetres [m]."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Trial:
    """One size of a change, not computed yet.

    Attributes
    ----------
    words : str
        What to do.
    task : Task
        The rig with it.
    edit : callable
        The same done to the prop, as its user would write it.
    """

    words: str
    task: Task
    edit: Edit


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Kind:
    """Changes of one kind, sorted by how little they ask.

    Attributes
    ----------
    name : str
        One of `rigcheck.studies.cures.KINDS`.
    trials : list of Trial
        From the smallest on.
    lasting : bool
        Whether one counts only if every larger one cures too: a slower move may fall on a lucky time.
    """

    name: str
    trials: list[Trial]
    lasting: bool = True


def usual_changes(task: Task, wrong: set[str], choices: Choices) -> list[Kind]:
    """Give the changes that keep the layout of the rig, so that all of them are computed as one batch.

    Parameters
    ----------
    task : Task
        The rig as it is.
    wrong : set of str
        Findings to cure; a slower move is no cure for a weak wire.
    choices : Choices
        Sizes and materials that can be had.

    Returns
    -------
    list of Kind
        Those that can be made.
    """
    slower = _slower(task) if task.travels and wrong & {"residual-wobble", "settle"} else []
    kinds = [
        Kind(name="slower", trials=slower),
        Kind(name="shorter", trials=_shorter(task)),
        Kind(name="lighter", trials=_lighter(task)),
        Kind(name="thicker", trials=_thicker(task, choices)),
        *(Kind(name="other material", trials=[trial]) for trial in _other_material(task, choices)),
    ]
    return [kind for kind in kinds if kind.trials]


def wider_changes(task: Task, choices: Choices) -> list[Kind]:
    """Give the changes that need layouts of their own: tubes, sleeves, a second support, another side.

    Parameters
    ----------
    task : Task
        The rig as it is.
    choices : Choices
        Sizes and materials that can be had.

    Returns
    -------
    list of Kind
        Those that can be made.
    """
    kinds = [
        # Tubes of several materials and walls are no scale, so one that cures need not be followed by others.
        Kind(name="tube", trials=_tube(task, choices), lasting=False),
        *(Kind(name="sleeve", trials=trials) for trials in _sleeve(task, choices)),
        Kind(name="second support", trials=_second(task, choices)),
        *(Kind(name="other side", trials=[trial], lasting=False) for trial in _other_side(task)),
    ]
    return [kind for kind in kinds if kind.trials]


def _with_supports(task: Task, change: Callable[[SupportRig], SupportRig]) -> Task:
    rig = task.rig
    return replace(task, rig=replace(rig, supports=tuple(change(support) for support in rig.supports)))


def _supports_edited(change: Callable[[Support], dict[str, Any]]) -> Edit:
    """An edit that changes keys of every support."""

    def edit(prop: Prop) -> Prop:
        supports = tuple(support.model_copy(update=change(support)) for support in prop.support)
        return prop.model_copy(update={"support": supports})

    return edit


def _moves_edited(change: Callable[[Move], dict[str, Any]]) -> Edit:
    """An edit that changes keys of every move whose course is known."""

    def edit(prop: Prop) -> Prop:
        moves = tuple(
            move if move.kind == "acceleration" else move.model_copy(update=change(move))
            for move in prop.move
        )
        return prop.model_copy(update={"move": moves})

    return edit


def _si(value: float) -> Measured:
    return measured(value, "m")


def _shorter(task: Task) -> list[Trial]:
    support = task.rig.supports[0]
    if any(item.points.shape[1] > 2 or item.sleeves for item in task.rig.supports):
        return []
    length = float(support.free_length[0])
    trials = []
    for wanted in length * _LENGTHS:
        new = max(_HANDLE, round(wanted / _HANDLE) * _HANDLE)
        share = new / length
        if not 0 < share < 1:
            continue
        trials.append(
            Trial(
                words=f"Shorten the free length by {(length - new) * 1e3:.0f} mm, to {new * 1e3:.0f} mm",
                task=_with_supports(task, lambda item, share=share: _scaled(item, share)),  # type: ignore[misc]
                edit=_supports_edited(
                    lambda item, share=share: {  # type: ignore[misc]
                        "length": None if item.length is None else _si(item.length.m_as("m") * share)
                    }
                ),
            )
        )
    return trials


def _scaled(support: SupportRig, share: float) -> SupportRig:
    tip = support.points[:, -1:]
    return replace(support, points=tip + (support.points - tip) * share)


def _thicker(task: Task, choices: Choices) -> list[Trial]:
    support = task.rig.supports[0]
    if support.form not in ("round", "tube") or len(task.rig.supports) > 1:
        return []
    now = float(support.diameter[0])
    larger = np.flatnonzero(choices.sizes > now * 1.001)[:_MOST_SIZES]
    trials = []
    for index in larger:
        size = _as_said(float(choices.sizes[index]) * 1e3, 4) / 1e3
        wall = _as_said(float(choices.tube_walls[index]) * 1e3, 3) / 1e3
        tube = support.form == "tube"
        words = f"{size * 1e3:.4g} mm" + (f" x {wall * 1e3:.3g} mm" if tube else "")
        trials.append(
            Trial(
                words=f"Go up to {words} {'tube' if tube else 'diameter'}",
                task=_with_supports(
                    task,
                    lambda item, size=size, wall=wall: replace(  # type: ignore[misc]
                        item,
                        material=choices.constants(np.array([size])),
                        diameter=np.array([size]),
                        wall_thickness=np.array([wall]),
                    ),
                ),
                edit=_supports_edited(
                    lambda _, size=size, wall=wall, tube=tube: {  # type: ignore[misc]
                        "diameter": _si(size),
                        "wall": _si(wall) if tube else None,
                    }
                ),
            )
        )
    return trials


def _other_material(task: Task, choices: Choices) -> list[Trial]:
    support = task.rig.supports[0]
    if len(task.rig.supports) > 1:
        return []
    return [
        Trial(
            words=f"Take {name} of the same size",
            task=_with_supports(
                task,
                lambda item, constants=constants: replace(  # type: ignore[misc]
                    item, material=constants(support.diameter)
                ),
            ),
            edit=_supports_edited(lambda _, name=name: {"material": name}),  # type: ignore[misc]
        )
        for name, constants in choices.materials
    ]


def _lighter(task: Task) -> list[Trial]:
    rig, now = task.rig, float(task.rig.mass[0])
    trials = []
    for wanted in _LIGHTER:
        new = _as_said(now * wanted * 1e3, 3) / 1e3
        share = new / now
        trials.append(
            Trial(
                words=(
                    f"Make the prop {_as_said((now - new) * 1e3, 3):g} g lighter,"
                    f" {_as_said(new * 1e3, 3):g} g in all"
                ),
                task=replace(task, rig=replace(rig, mass=rig.mass * share, inertia=rig.inertia * share)),
                edit=_lighter_by(now - new, share),
            )
        )
    return trials


def _lighter_by(less: float, share: float) -> Edit:
    """Mass taken off the prop itself; an insert keeps its own."""

    def edit(prop: Prop) -> Prop:
        changes: dict[str, Any] = {"mass": measured(prop.mass.m_as("kg") - less, "kg")}
        if prop.inertia is not None:
            changes["inertia"] = tuple(
                measured(entry.m_as("kg*m^2") * share, "kg*m^2") for entry in prop.inertia
            )
        return prop.model_copy(update=changes)

    return edit


def _as_said(value: float, digits: int) -> float:
    """The value as its words give it, so that what is advised is what was computed."""
    return float(f"{value:.{digits}g}")


def _tube_as_said(tube: Tube) -> Tube:
    return replace(
        tube,
        diameter=_as_said(tube.diameter * 1e3, 4) / 1e3,
        wall_thickness=_as_said(tube.wall_thickness * 1e3, 3) / 1e3,
    )


def _tube(task: Task, choices: Choices) -> list[Trial]:
    support = task.rig.supports[0]
    if support.form != "round" or len(task.rig.supports) > 1 or support.sleeves:
        return []
    now = float(support.diameter[0])
    wider = [tube for tube in map(_tube_as_said, choices.tubes) if tube.diameter >= now * 0.999]
    return [
        Trial(
            words=f"Take a {tube.diameter * 1e3:.4g} x {tube.wall_thickness * 1e3:.3g} mm"
            f" {material_words(tube.name, 'tube')} in its place",
            task=_with_supports(
                task,
                lambda item, tube=tube: replace(  # type: ignore[misc]
                    item,
                    form="tube",
                    material=tube.constants,
                    diameter=np.array([tube.diameter]),
                    wall_thickness=np.array([tube.wall_thickness]),
                ),
            ),
            edit=_supports_edited(
                lambda _, tube=tube: {  # type: ignore[misc]
                    "section": "tube",
                    "material": tube.name,
                    "diameter": _si(tube.diameter),
                    "wall": _si(tube.wall_thickness),
                }
            ),
        )
        for tube in sorted(wider, key=lambda tube: tube.diameter)[:_MOST_TUBES]
    ]


def _sleeve(task: Task, choices: Choices) -> list[list[Trial]]:
    """Tubes that fit over the support, each over more and more of it from the jaw on."""
    support = task.rig.supports[0]
    if (
        support.form not in ("round", "tube")
        or len(task.rig.supports) > 1
        or support.sleeves
        or support.points.shape[1] > 2
    ):
        return []
    now, length = float(support.diameter[0]), float(support.free_length[0])
    fitting = [
        tube
        for tube in map(_tube_as_said, choices.tubes)
        if now * 0.999 <= tube.diameter - 2 * tube.wall_thickness <= now * (1 + _LOOSE)
    ]
    kinds = []
    for tube in sorted(fitting, key=lambda tube: tube.diameter)[:2]:
        trials = []
        for share in _SLEEVED:
            end = round(length * share / _HANDLE) * _HANDLE
            if not 0 < end < length:
                continue
            sleeve = SleeveRig(
                material=tube.constants,
                outer_diameter=np.array([tube.diameter]),
                wall_thickness=np.array([tube.wall_thickness]),
                start=np.zeros(1),
                end=np.array([end]),
            )
            size = f"{tube.diameter * 1e3:.4g} x {tube.wall_thickness * 1e3:.3g} mm"
            trials.append(
                Trial(
                    words=f"Glue a sleeve of {size} {tube.name} over the first {end * 1e3:.0f} mm from the clamp",
                    task=_with_supports(
                        task,
                        lambda item, sleeve=sleeve: replace(item, sleeves=(sleeve,)),  # type: ignore[misc]
                    ),
                    edit=_supports_edited(
                        lambda _, tube=tube, end=end: {"sleeve": (_sleeve_of(tube, end),)}  # type: ignore[misc]
                    ),
                )
            )
        kinds.append(trials)
    return kinds


def _sleeve_of(tube: Tube, end: float) -> Sleeve:
    return Sleeve.model_construct(
        material=tube.name,
        diameter=_si(tube.diameter),
        wall=_si(tube.wall_thickness),
        start=_si(0.0),
        end=_si(end),
    )


def _second(task: Task, choices: Choices) -> list[Trial]:
    support = task.rig.supports[0]
    if len(task.rig.supports) > 1 or support.form == "line":
        return []
    trials = []
    for spacing in _SPACINGS:
        if choices.room is not None and spacing > choices.room:
            break
        rig, travels = side_by_side(task.rig, task.travels, count=2, spacing=float(spacing))
        trials.append(
            Trial(
                words=f"Add a second support like it, {spacing * 1e3:.0f} mm apart",
                task=replace(task, rig=rig, travels=travels),
                edit=lambda prop, spacing=float(spacing): on_several(  # type: ignore[misc]
                    prop, prop.support[0], count=2, spacing=spacing
                ),
            )
        )
    return trials


def _other_side(task: Task) -> list[Trial]:
    support = task.rig.supports[0]
    if len(task.rig.supports) > 1 or support.points.shape[1] > 2 or support.root_in_place:
        return []
    tip, length = support.points[0, -1], float(support.free_length[0])
    now = (support.points[0, 0] - tip) / length
    return [
        Trial(
            words=f"Bring the support in {side_words(name)}",
            task=_with_supports(
                task,
                lambda item, way=way: replace(  # type: ignore[misc]
                    item, points=np.stack([tip + np.array(way) * length, tip])[None]
                ),
            ),
            edit=_supports_edited(lambda _, name=name: {"from_": name}),  # type: ignore[misc]
        )
        for name, way in SIDES.items()
        if np.dot(now, way) < 0.99
    ]


def _slower(task: Task) -> list[Trial]:
    if any(travel.keys is not None for travel in task.travels):
        return []
    total = max(float(travel.stop[0]) for travel in task.travels)
    begin = min(float(travel.start[0]) for travel in task.travels)
    trials = []
    for wanted in _SLOWER:
        share = _as_said((total - begin) * wanted, 3) / (total - begin)
        travels = tuple(
            replace(travel, start=begin + (travel.start - begin) * share, duration=travel.duration * share)
            for travel in task.travels
        )
        added = (total - begin) * (share - 1)
        trials.append(
            Trial(
                words=f"Make the move {added:.2g} s longer, {total - begin + added:.3g} s",
                task=replace(task, travels=travels),
                edit=_moves_edited(
                    lambda move, begin=begin, share=share: {  # type: ignore[misc]
                        "start": measured(begin + (move.start.m_as("s") - begin) * share, "s"),
                        "duration": measured(_seconds(move.duration) * share, "s"),
                    }
                ),
            )
        )
    return trials


def _seconds(duration: Measured | None) -> float:
    assert duration is not None  # a slide or roll without keys has one
    return duration.m_as("s")


def smoother_moves(task: Task) -> list[Trial]:
    """Give the same moves with profiles that end more softly.

    Parameters
    ----------
    task : Task
        The rig as it is.

    Returns
    -------
    list of Trial
        Without the profile that all moves have.
    """
    names = {travel.profile.name if travel.profile else None for travel in task.travels}
    return [
        Trial(
            words=f'Smooth the move: profile = "{name}"',
            task=replace(
                task, travels=tuple(replace(travel, profile=profile(name)) for travel in task.travels)
            ),
            edit=_moves_edited(lambda _, name=name: {"profile": name}),  # type: ignore[misc]
        )
        for name in _SMOOTH
        if names != {name} and None not in names
    ]
