"""Single changes that make a failing finding pass, each computed with the full check and worded for its user."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.motion.profiles import profile
from rigcheck.studies.evaluate import Outcome, Settings, evaluate
from rigcheck.studies.grading import NOMINAL_PIXEL, Grade, Limits, grade
from rigcheck.studies.moving import Eye, MotionOutcome, Push, Travel, is_turning, move
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import Material, Rig, SupportRig, stack

__all__ = ["Choices", "Cure", "Task", "find_cures"]

Array = NDArray[np.float64]

_LENGTHS = np.array([0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5, 0.45, 0.4])
_SLOWER = np.array([1.1, 1.2, 1.3, 1.45, 1.6, 1.8, 2.0, 2.3, 2.6, 3.0])
_MOST_SIZES = 8
_SMOOTH = ("cycloidal", "modified-sine", "polynomial-345", "polynomial-4567")
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
class Choices:
    """What the user could take instead.

    Attributes
    ----------
    sizes : array, shape (k,)
        Diameters that the first support's material is sold in [m].
    tube_walls : array, shape (k,)
        Wall of each size for a tube [m]; NaN for a rod.
    materials : tuple of (str, Callable)
        Other stock of the same form: its name, and its constants at a diameter.
    """

    sizes: Array
    tube_walls: Array
    materials: tuple[tuple[str, Callable[[Array], Material]], ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Cure:
    """One change: what to do, in words with its computed effect, and which findings it makes pass."""

    says: str
    cures: frozenset[str]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trial:
    words: str
    task: Task


def find_cures(
    task: Task, outcome: Outcome, before: dict[str, Grade], wrong: set[str], choices: Choices
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

    Returns
    -------
    list of Cure
        Those that cure most first; kinds in the order in which a crew would rather do them: smoother, slower,
        shorter, thicker, other material.
    """
    found: list[Cure] = []
    if task.travels and wrong & {"residual-wobble", "settle"}:
        found += _smallest(
            _smoother(task), _grade_moves(_smoother(task), outcome), wrong, before, lasting=False
        )
    kinds = _kinds(task, wrong, choices)
    grades = iter(_grade_together([trial for kind in kinds for trial in kind]))
    for kind in kinds:
        found += _smallest(kind, [next(grades) for _ in kind], wrong, before, lasting=True)
    return sorted(found, key=lambda cure: -len(cure.cures))


_Graded = dict[str, tuple[float, Status]]


def _kinds(task: Task, wrong: set[str], choices: Choices) -> list[list[_Trial]]:
    slower = [_slower(task)] if task.travels and wrong & {"residual-wobble", "settle"} else []
    materials = [[trial] for trial in _other_material(task, choices)]
    return [kind for kind in [*slower, _shorter(task), _thicker(task, choices), *materials] if kind]


def _smallest(
    trials: list[_Trial], grades: list[_Graded], wrong: set[str], before: dict[str, Grade], *, lasting: bool
) -> list[Cure]:
    """The first trial that cures each finding, the trials being sorted by how little they ask.

    With `lasting` every larger change has to cure it too: a slower move may fall on a lucky time.
    """
    cures: dict[int, set[str]] = {}
    for name in sorted(wrong):
        good = [after[name][1] == Status.PASS and not _breaks(before, after) for after in grades]
        first = next(
            (index for index in range(len(good)) if (all(good[index:]) if lasting else good[index])), None
        )
        if first is not None:
            cures.setdefault(first, set()).add(name)
    return [
        Cure(says=_effect(trials[index], grades[index], names, before), cures=frozenset(names))
        for index, names in cures.items()
    ]


def _grade_moves(trials: list[_Trial], outcome: Outcome) -> list[_Graded]:
    """Grades of trials that change only the profile of the move."""
    return [graded for trial in trials for graded in _graded(trial.task, outcome, 1)]


def _grade_together(trials: list[_Trial]) -> list[_Graded]:
    """Grades of trials that share a layout and profiles, computed as one batch."""
    if not trials:
        return []
    tasks = [trial.task for trial in trials]
    joined = replace(
        tasks[0],
        rig=stack([task.rig for task in tasks]),
        travels=stack([task.travels for task in tasks]),
        pushes=stack([task.pushes for task in tasks]),
    )
    return _graded(joined, joined.evaluate(), len(tasks))


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


def _effect(trial: _Trial, after: _Graded, names: set[str], before: dict[str, Grade]) -> str:
    name = next(
        item for item in ("residual-wobble", "yield-factor", "sag", "buckling", "settle") if item in names
    )
    old, new = float(before[name].value[0]), after[name][0]
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if trial.task.eye is None else (1.0, "px")
    said = {
        "residual-wobble": f"wobble {old * scale:.3g} to {new * scale:.3g} {unit}",
        "yield-factor": f"strength factor {old:.3g} to {new:.3g}",
        "sag": f"sag {old * 1e3:.3g} to {new * 1e3:.3g} mm",
        "buckling": f"buckling factor {old:.3g} to {new:.3g}",
        "settle": f"settled after {new:.2g} s",
    }[name]
    return f"{trial.words} ({said})"


# -- the changes ----------------------------------------------------------------------------------------


def _with_supports(task: Task, change: Callable[[SupportRig], SupportRig]) -> Task:
    rig = task.rig
    return replace(task, rig=replace(rig, supports=tuple(change(support) for support in rig.supports)))


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
        size, wall = float(choices.sizes[index]), float(choices.tube_walls[index])
        tube = support.form == "tube"
        words = f"{size * 1e3:.4g} mm" + (f" x {wall * 1e3:.3g} mm" if tube else "")
        trials.append(
            _Trial(
                words=f"Go up to {words} {'tube' if tube else 'diameter'}",
                task=_with_supports(
                    task,
                    lambda item, size=size, wall=wall: replace(  # type: ignore[misc]
                        item, diameter=np.array([size]), wall_thickness=np.array([wall])
                    ),
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
        )
        for name, constants in choices.materials
    ]


def _slower(task: Task) -> list[_Trial]:
    if any(travel.keys is not None for travel in task.travels):
        return []
    total = max(float(travel.stop[0]) for travel in task.travels)
    begin = min(float(travel.start[0]) for travel in task.travels)
    trials = []
    for share in _SLOWER:
        travels = tuple(
            replace(travel, start=begin + (travel.start - begin) * share, duration=travel.duration * share)
            for travel in task.travels
        )
        added = (total - begin) * (share - 1)
        trials.append(
            _Trial(
                words=f"Make the move {added:.2g} s longer, {total - begin + added:.3g} s",
                task=replace(task, travels=travels),
            )
        )
    return trials


def _smoother(task: Task) -> list[_Trial]:
    names = {travel.profile.name if travel.profile else None for travel in task.travels}
    return [
        _Trial(
            words=f'Smooth the move: profile = "{name}"',
            task=replace(
                task, travels=tuple(replace(travel, profile=profile(name)) for travel in task.travels)
            ),
        )
        for name in _SMOOTH
        if names != {name} and None not in names
    ]
