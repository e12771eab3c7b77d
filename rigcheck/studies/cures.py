"""Single changes that make a failing finding pass, each computed with the full check and worded for its user."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import SIDES, Move, Prop, Sleeve, Support
from rigcheck.motion.profiles import profile
from rigcheck.studies.beside import on_several, side_by_side
from rigcheck.studies.evaluate import Outcome, Settings, evaluate
from rigcheck.studies.eye import Eye
from rigcheck.studies.grading import NOMINAL_PIXEL, Grade, Limits, grade
from rigcheck.studies.moves import Push, Travel, is_turning
from rigcheck.studies.moving import MotionOutcome, move
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import Material, Rig, SleeveRig, SupportRig, stack
from rigcheck.units import Measured, measured

__all__ = ["KINDS", "Choices", "Cure", "Step", "Task", "Tube", "effect", "find_cures"]

Array = NDArray[np.float64]
Edit = Callable[[Prop], Prop]

_LENGTHS = np.array([0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5, 0.45, 0.4])
_SLOWER = np.array([1.1, 1.2, 1.3, 1.45, 1.6, 1.8, 2.0, 2.3, 2.6, 3.0])
_TOO_SOFT = 0.6
"""A change after which linear theory still lets it sag by this share of the free length cures nothing."""
_MOST_SIZES = 8
_LONG_RUN = 5
_SMOOTH = ("cycloidal", "modified-sine", "polynomial-345", "polynomial-4567")
_LIGHTER = np.array([0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5])
_SLEEVED = np.array([0.25, 0.4, 0.5, 0.6, 0.75])
"""Share of the free length that a sleeve covers, from the jaw."""
_SPACINGS = np.array([10e-3, 15e-3, 20e-3, 30e-3, 40e-3, 60e-3])
_LOOSE = 0.15
"""Gap of a sleeve, as a share of the diameter it goes over, that glue still fills; common practice, no source."""
_MOST_TUBES = 6
_SMALL, _PLENTY = 1e-3, 1e4
"""Values beyond which digits say nothing to anybody on a table top."""
_HANDLE = 1e-3
"""Advice on lengths comes in whole millimetres [m]."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Task:
    """One prop as it will be computed: a batch of one, its moves, its limits."""

    rig: Rig
    travels: tuple[Travel, ...] = ()
    pushes: tuple[Push, ...] = ()
    settings: Settings
    limits: Limits
    eye: Eye | None

    def evaluate(self) -> Outcome:
        """Compute it at rest."""
        return evaluate(self.rig, self.settings, turning=is_turning(self.travels))

    def move(self, still: Outcome, *, course: bool = True) -> MotionOutcome | None:
        """Move it; None where there is no move. Without the `course` there is no peak deviation."""
        if not self.travels and not self.pushes:
            return None
        return move(still, travels=self.travels, pushes=self.pushes, eye=self.eye, course=course)

    def grade(self, still: Outcome) -> dict[str, Grade]:
        """Hold it against its limits."""
        return grade(still, self.move(still, course=False), self.limits, self.eye)


@dataclass(frozen=True, kw_only=True, eq=False)
class Tube:
    """A tube that can be had: its material, sizes [m], and the constants of it, a batch of one."""

    name: str
    diameter: float
    wall_thickness: float
    constants: Material


@dataclass(frozen=True, kw_only=True, eq=False)
class Choices:
    """What the user could take instead.

    Attributes
    ----------
    constants : Callable
        Of the first support's material at a diameter: those of drawn wire change with it.
    sizes : array, shape (k,)
        Diameters that the first support's material is sold in [m].
    tube_walls : array, shape (k,)
        Wall of each size for a tube [m]; NaN for a rod.
    materials : tuple of (str, Callable)
        Other stock of the same form: its name, and its constants at a diameter.
    tubes : tuple of Tube
        To take instead of a rod, or to slip over it.
    room : float or None
        How far apart supports may stand in the prop [m]; None where its size is not known.
    """

    constants: Callable[[Array], Material]
    sizes: Array
    tube_walls: Array
    materials: tuple[tuple[str, Callable[[Array], Material]], ...] = ()
    tubes: tuple[Tube, ...] = ()
    room: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """One size of a change.

    Attributes
    ----------
    words : str
        What to do.
    edit : callable
        The same done to the prop, as its user would write it.
    cures : frozenset of str
        Findings that it makes pass, and not by luck: of a kind that lasts, larger ones make them pass too.
    """

    words: str
    edit: Edit
    cures: frozenset[str]


@dataclass(frozen=True, kw_only=True, eq=False)
class Cure:
    """One change.

    Attributes
    ----------
    says : str
        What to do, in words with its computed effect.
    cures : frozenset of str
        Which findings it makes pass.
    kind : str
        One of `KINDS`.
    step : Step
        The change itself.
    larger : tuple of Step
        The next larger ones of the kind.
    size : int
        How many smaller ones of the kind were tried.
    passes : bool
        Whether the whole check passes with it, where that was made.
    """

    says: str
    cures: frozenset[str]
    kind: str
    step: Step
    larger: tuple[Step, ...] = ()
    size: int = 0
    passes: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trial:
    words: str
    task: Task
    edit: Edit


@dataclass(frozen=True, kw_only=True, eq=False)
class _Kind:
    """Changes of one kind, sorted by how little they ask.

    With `lasting`, one counts only if every larger one cures too: a slower move may fall on a lucky time.
    """

    name: str
    trials: list[_Trial]
    lasting: bool = True


def find_cures(
    task: Task,
    outcome: Outcome,
    before: dict[str, Grade],
    wrong: set[str],
    choices: Choices,
    *,
    thorough: bool = False,
) -> list[Cure]:
    """Try single changes and keep, of each kind, the smallest that makes a finding pass and makes none worse.

    Parameters
    ----------
    task : Task
        The rig that fails.
    outcome, before : Outcome, dict of str to Grade
        What was computed of it, and its grades.
    wrong : set of str
        Findings to cure.
    choices : Choices
        Sizes and materials that can be had.
    thorough : bool
        Try the kinds too that need layouts of their own, and so more time: tubes, sleeves, a second support and
        its spacing, another side.

    Returns
    -------
    list of Cure
        Those that cure most first; of these, the kind that asks least first (see `Cure`).
    """
    found: list[Cure] = []
    if task.travels and wrong & {"residual-wobble", "settle"}:
        smoother = _Kind(name="smoother", trials=_smoother(task), lasting=False)
        found += _smallest(smoother, _grade_moves(smoother.trials, outcome), wrong, before)
    failing = any(str(before[name].status[0]) == Status.FAIL for name in wrong)
    if not thorough and not failing and wrong <= {name for cure in found for name in cure.cures}:
        # A caution that a smoother move cures asks for nothing more.
        return found
    kinds = _kinds(task, wrong, choices)
    if not thorough:
        kinds = [replace(kind, trials=_fewer(kind.trials)) for kind in kinds]
    if thorough:
        kinds = sorted([*kinds, *_wider_kinds(task, choices)], key=lambda kind: KINDS.index(kind.name))
    grades = iter(_grade_all([trial for kind in kinds for trial in kind.trials]))
    for kind in kinds:
        found += _smallest(kind, [next(grades) for _ in kind.trials], wrong, before)
    return sorted(found, key=lambda cure: (-len(cure.cures), KINDS.index(cure.kind)))


def _fewer(trials: list[_Trial]) -> list[_Trial]:
    """Every second step of a long run of trials, the last one with them."""
    return trials if len(trials) < _LONG_RUN else trials[1 - len(trials) % 2 :: 2]


KINDS = (
    "smoother",
    "slower",
    "shorter",
    "lighter",
    "thicker",
    "tube",
    "other material",
    "sleeve",
    "second support",
    "other side",
)
"""Kinds of change, in the order in which a crew would rather do them; the least asked for comes first."""

_Graded = dict[str, tuple[float, Status]]


def _kinds(task: Task, wrong: set[str], choices: Choices) -> list[_Kind]:
    slower = _slower(task) if task.travels and wrong & {"residual-wobble", "settle"} else []
    kinds = [
        _Kind(name="slower", trials=slower),
        _Kind(name="shorter", trials=_shorter(task)),
        _Kind(name="lighter", trials=_lighter(task)),
        _Kind(name="thicker", trials=_thicker(task, choices)),
        *(_Kind(name="other material", trials=[trial]) for trial in _other_material(task, choices)),
    ]
    return [kind for kind in kinds if kind.trials]


def _wider_kinds(task: Task, choices: Choices) -> list[_Kind]:
    kinds = [
        # Tubes of several materials and walls are no scale, so one that cures need not be followed by others.
        _Kind(name="tube", trials=_tube(task, choices), lasting=False),
        *(_Kind(name="sleeve", trials=trials) for trials in _sleeve(task, choices)),
        _Kind(name="second support", trials=_second(task, choices)),
        *(_Kind(name="other side", trials=[trial], lasting=False) for trial in _other_side(task)),
    ]
    return [kind for kind in kinds if kind.trials]


def _smallest(kind: _Kind, grades: list[_Graded], wrong: set[str], before: dict[str, Grade]) -> list[Cure]:
    """The first trial that cures each finding, with all that it cures."""
    good = {
        name: [after[name][1] == Status.PASS and not _breaks(before, after) for after in grades]
        for name in sorted(wrong)
    }
    if kind.lasting:
        good = {name: [all(row[index:]) for index in range(len(row))] for name, row in good.items()}
    first = sorted({row.index(True) for row in good.values() if any(row)})
    steps = [
        Step(
            words=trial.words,
            edit=trial.edit,
            cures=frozenset(name for name, row in good.items() if row[index]),
        )
        for index, trial in enumerate(kind.trials)
    ]
    cures = []
    for index in first:
        names = steps[index].cures
        says = effect(kind.trials[index].words, grades[index], names, before, kind.trials[index].task.eye)
        cures.append(
            Cure(
                says=says,
                cures=names,
                kind=kind.name,
                step=steps[index],
                larger=tuple(step for step in steps[index + 1 :] if step.cures),
                size=index,
            )
        )
    return cures


def _grade_moves(trials: list[_Trial], outcome: Outcome) -> list[_Graded]:
    """Grades of trials that change only the profile of the move."""
    return [graded for trial in trials for graded in _graded(trial.task, outcome, 1)]


def _grade_all(trials: list[_Trial]) -> list[_Graded]:
    """Grades of trials, those of one layout as one batch."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, trial in enumerate(trials):
        groups.setdefault(_layout_of(trial.task.rig), []).append(index)
    grades: list[_Graded] = [{}] * len(trials)
    for indices in groups.values():
        tasks = [trials[index].task for index in indices]
        joined = replace(
            tasks[0],
            settings=replace(tasks[0].settings, too_soft=_TOO_SOFT),
            rig=stack([task.rig for task in tasks]),
            travels=stack([task.travels for task in tasks]),
            pushes=stack([task.pushes for task in tasks]),
        )
        for index, after in zip(indices, _graded(joined, joined.evaluate(), len(tasks)), strict=True):
            grades[index] = after
    return grades


def _layout_of(rig: Rig) -> tuple[object, ...]:
    return tuple((item.form, item.wires, item.points.shape[1], len(item.sleeves)) for item in rig.supports)


def _graded(task: Task, still: Outcome, count: int) -> list[_Graded]:
    grades = task.grade(still)
    return [
        {name: (float(item.value[index]), Status(str(item.status[index]))) for name, item in grades.items()}
        for index in range(count)
    ]


def _breaks(before: dict[str, Grade], after: _Graded) -> bool:
    order = [Status.SKIPPED, Status.PASS, Status.CAUTION, Status.FAIL]
    return any(
        order.index(status) > order.index(Status(str(before[name].status[0])))
        for name, (_, status) in after.items()
    )


def effect(
    words: str, after: _Graded, names: frozenset[str], before: dict[str, Grade], eye: Eye | None
) -> str:
    """Words of a change with what it does to the figure that matters most of those it cures.

    Parameters
    ----------
    words : str
        What to do.
    after : dict of str to (float, Status)
        Value and status of each finding after it.
    names : frozenset of str
        What it cures.
    before : dict of str to Grade
        Grades of the rig as it is.
    eye : Eye or None
        The camera; without it wobble is in mm.

    Returns
    -------
    str
        For example ``Go up to 4 mm diameter (sag 8 to 2.5 mm)``.
    """
    order = ("residual-wobble", "yield-factor", "sag", "buckling", "settle")
    name = next(item for item in order if item in names)
    old, new = float(before[name].value[0]), after[name][0]
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if eye is None else (1.0, "px")
    said = {
        "residual-wobble": f"wobble {_figure(old * scale)} to {_figure(new * scale)} {unit}",
        "yield-factor": f"strength factor {_figure(old)} to {_figure(new)}",
        "sag": f"sag {_figure(old * 1e3)} to {_figure(new * 1e3)} mm",
        "buckling": f"buckling factor {_figure(old)} to {_figure(new)}",
        "settle": f"settled after {new:.2g} s",
    }[name]
    return f"{words} ({said})"


def _figure(value: float) -> str:
    """Three digits; what nobody can see or measure is only said to be small, and what is plenty to be plenty."""
    if abs(value) < _SMALL:
        return f"under {_SMALL:g}" if value else "0"
    return f"over {_PLENTY:g}" if value > _PLENTY else f"{value:.3g}"


# -- the changes ----------------------------------------------------------------------------------------


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


def _shorter(task: Task) -> list[_Trial]:
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
            _Trial(
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


def _thicker(task: Task, choices: Choices) -> list[_Trial]:
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
            _Trial(
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


def _other_material(task: Task, choices: Choices) -> list[_Trial]:
    support = task.rig.supports[0]
    if len(task.rig.supports) > 1:
        return []
    return [
        _Trial(
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


def _lighter(task: Task) -> list[_Trial]:
    rig, now = task.rig, float(task.rig.mass[0])
    trials = []
    for wanted in _LIGHTER:
        new = _as_said(now * wanted * 1e3, 3) / 1e3
        share = new / now
        trials.append(
            _Trial(
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


def _tube(task: Task, choices: Choices) -> list[_Trial]:
    support = task.rig.supports[0]
    if support.form != "round" or len(task.rig.supports) > 1 or support.sleeves:
        return []
    now = float(support.diameter[0])
    wider = [tube for tube in map(_tube_as_said, choices.tubes) if tube.diameter >= now * 0.999]
    return [
        _Trial(
            words=f"Take a {tube.diameter * 1e3:.4g} x {tube.wall_thickness * 1e3:.3g} mm {tube.name} in its place",
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


def _sleeve(task: Task, choices: Choices) -> list[list[_Trial]]:
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
                _Trial(
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


def _second(task: Task, choices: Choices) -> list[_Trial]:
    support = task.rig.supports[0]
    if len(task.rig.supports) > 1 or support.form == "line":
        return []
    trials = []
    for spacing in _SPACINGS:
        if choices.room is not None and spacing > choices.room:
            break
        rig, travels = side_by_side(task.rig, task.travels, count=2, spacing=float(spacing))
        trials.append(
            _Trial(
                words=f"Add a second support like it, {spacing * 1e3:.0f} mm apart",
                task=replace(task, rig=rig, travels=travels),
                edit=lambda prop, spacing=float(spacing): on_several(  # type: ignore[misc]
                    prop, prop.support[0], count=2, spacing=spacing
                ),
            )
        )
    return trials


_SIDE_WORDS = {
    "behind": "behind",
    "front": "the front",
    "left": "the left",
    "right": "the right",
    "above": "above",
    "below": "below",
}


def _other_side(task: Task) -> list[_Trial]:
    support = task.rig.supports[0]
    if len(task.rig.supports) > 1 or support.points.shape[1] > 2 or support.root_in_place:
        return []
    tip, length = support.points[0, -1], float(support.free_length[0])
    now = (support.points[0, 0] - tip) / length
    return [
        _Trial(
            words=f"Bring the support in from {_SIDE_WORDS[name]}",
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


def _slower(task: Task) -> list[_Trial]:
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
            _Trial(
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


def _smoother(task: Task) -> list[_Trial]:
    names = {travel.profile.name if travel.profile else None for travel in task.travels}
    return [
        _Trial(
            words=f'Smooth the move: profile = "{name}"',
            task=replace(
                task, travels=tuple(replace(travel, profile=profile(name)) for travel in task.travels)
            ),
            edit=_moves_edited(lambda _, name=name: {"profile": name}),  # type: ignore[misc]
        )
        for name in _SMOOTH
        if names != {name} and None not in names
    ]
