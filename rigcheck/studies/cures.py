"""Single changes that make a failing finding pass, each computed with the full check and worded for its user."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace

from rigcheck.studies.changes import Edit, Kind, Trial, smoother_moves, usual_changes, wider_changes
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.eye import Eye
from rigcheck.studies.grading import NOMINAL_PIXEL, Grade
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import layout_of
from rigcheck.studies.task import Choices, Task, joined

__all__ = ["KINDS", "Cure", "Step", "effect", "find_cures"]

_TOO_SOFT = 0.6
"""A change after which linear theory still lets it sag by this share of the free length cures nothing."""
_LONG_RUN = 5
_SMALL, _PLENTY = 1e-3, 1e4
"""Values beyond which digits say nothing to anybody on a table top."""
_ROUNDING = 1e-12
"""Up to which a value is nothing at all."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
    leaves : dict of str to Status
        Findings that do not pass with it, as graded. The whole check can only find more.
    """

    words: str
    edit: Edit
    cures: frozenset[str]
    leaves: dict[str, Status]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
        trials = smoother_moves(task)
        after = _grade_moves(trials, outcome, before, set() if thorough else wrong)
        smoother = Kind(name="smoother", trials=trials[: len(after)], lasting=False)
        found += _smallest(smoother, after, wrong, before)
    failing = any(str(before[name].status[0]) == Status.FAIL for name in wrong)
    if not thorough and not failing and wrong <= {name for cure in found for name in cure.cures}:
        # A caution that a smoother move cures asks for nothing more.
        return found
    kinds = usual_changes(task, wrong, choices)
    if not thorough:
        kinds = [replace(kind, trials=_fewer(kind.trials)) for kind in kinds]
    if thorough:
        kinds = sorted([*kinds, *wider_changes(task, choices)], key=lambda kind: KINDS.index(kind.name))
    grades = iter(_grade_all([trial for kind in kinds for trial in kind.trials]))
    for kind in kinds:
        found += _smallest(kind, [next(grades) for _ in kind.trials], wrong, before)
    return sorted(found, key=lambda cure: (-len(cure.cures), KINDS.index(cure.kind)))


def _fewer(trials: list[Trial]) -> list[Trial]:
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


def _smallest(kind: Kind, grades: list[_Graded], wrong: set[str], before: dict[str, Grade]) -> list[Cure]:
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
            leaves={
                name: status
                for name, (_, status) in grades[index].items()
                if status in (Status.CAUTION, Status.FAIL)
            },
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


def _grade_moves(
    trials: list[Trial], outcome: Outcome, before: dict[str, Grade], enough: set[str]
) -> list[_Graded]:
    """Grades of trials that change only the profile of the move, up to the first that cures all of `enough`."""
    grades: list[_Graded] = []
    for trial in trials:
        grades += _graded(trial.task, outcome, 1)
        if (
            enough
            and not _breaks(before, grades[-1])
            and all(grades[-1][name][1] == Status.PASS for name in enough)
        ):
            break
    return grades


def _grade_all(trials: list[Trial]) -> list[_Graded]:
    """Grades of trials, those of one layout as one batch."""
    groups: dict[Hashable, list[int]] = {}
    for index, trial in enumerate(trials):
        groups.setdefault(layout_of(trial.task.rig), []).append(index)
    grades: list[_Graded] = [{}] * len(trials)
    for indices in groups.values():
        tasks = [trials[index].task for index in indices]
        whole = joined(tasks)
        whole = replace(whole, settings=replace(whole.settings, too_soft=_TOO_SOFT))
        for index, after in zip(indices, _graded(whole, whole.evaluate(), len(tasks)), strict=True):
            grades[index] = after
    return grades


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
        return f"under {_SMALL:g}" if abs(value) > _ROUNDING else "0"
    return f"over {_PLENTY:g}" if value > _PLENTY else f"{value:.3g}"
