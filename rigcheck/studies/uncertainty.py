"""How sure the answer is: every input with its range, through the one engine as one batch."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Prop, Shot
from rigcheck.studies.evaluate import Outcome, TooMuchWorkError
from rigcheck.studies.grading import NOMINAL_PIXEL, Grade, grade, invisible_wobble
from rigcheck.studies.inputs import MEASUREMENTS, Input, inputs_of, perturbed
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.prop import read_prop
from rigcheck.studies.results import Finding, Influence, Status
from rigcheck.studies.rigs import divided_at_ends, layout_of
from rigcheck.studies.sampling import SEED, enough_points, first_order_shares, quantile_range, sample
from rigcheck.studies.task import Task, joined

if TYPE_CHECKING:
    from rigcheck.studies.work import Work

__all__ = ["Chances", "Ranges", "chances_of", "ranges", "ranges_of", "surely_fails", "with_chances"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_STANDS_OUT = 0.2
"""Share of a spread from which an input is worth a measurement: a choice."""
_NO_RANGES = (
    "Ranges are left out: there is no settled state, lines do not hold each other, a value is in doubt, or it bends"
    " so far that its many variants take too long."
)
_MOST_WORK, _MOST_WORK_OF_ONE = 150_000, 25_000
"""As `LargeSettled.work`, of all variants and of the rig itself."""
_MOST_KEY_VARIANTS = 400_000
"""Keyframes times variants from which a move is not followed variant by variant."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Chances:
    """How sure one prop is to pass.

    Attributes
    ----------
    chance_of_pass : float
        Share of variants in which none of `chances` fails or is a caution.
    chances : mapping of str to float
        The same for each finding alone.
    """

    chance_of_pass: float
    chances: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranges(Chances):
    """How sure the figures of one prop are, and whether it passes.

    Attributes
    ----------
    ranges : mapping of str to (float, float)
        Where each figure lies nine times in ten: ``sag_mm``, ``frequency_Hz``, ``residual_wobble_px`` (or
        ``_mm`` without a camera), ``settle_s``, ``yield_factor``. An end may be infinite.
    influences : tuple of Influence
        For each figure, the inputs that matter, most first.
    deciding : str
        The figure whose finding is least sure to pass.
    unsolved : int
        Variants without a settled state; they count as failing, and as the worst value of every figure.
    points, seed : int
        Of the sample.
    assumptions : tuple of str
        How ranges were read, and each input's.
    """

    ranges: Mapping[str, tuple[float, float]]
    influences: tuple[Influence, ...]
    deciding: str
    unsolved: int
    points: int
    seed: int
    assumptions: tuple[str, ...]

    @property
    def surer(self) -> Influence | None:
        """The input whose measurement would settle most of what decides; None where nothing stands out."""
        figure = self.deciding
        if figure.startswith("residual_wobble"):
            # What is left of a move goes up and down with where in its swing the move ends, and that is a matter
            # of the frequency: settle this, and the wobble is settled.
            figure = "frequency_Hz"
        first = next((item for item in self.influences if item.figure == figure), None)
        return None if first is None or first.share < _STANDS_OUT else first


_OF_FINDING = {
    "yield-factor": "yield_factor",
    "sag": "sag_mm",
    "settle": "settle_s",
    "buckling": "frequency_Hz",
}
_VARIED = frozenset([*_OF_FINDING, "residual-wobble"])
"""Findings that are made in every variant."""
_WORST = {"sag_mm": np.inf, "frequency_Hz": 0.0, "yield_factor": 0.0, "settle_s": np.inf}
"""What a variant without a settled state counts as; wobble is endless too."""


def ranges(
    shot: Shot, prop: Prop, *, points: int | None = None, seed: int = SEED, task: Task | None = None
) -> Ranges:
    """Work out how sure the figures of a prop are.

    Parameters
    ----------
    shot : Shot
        For its limits and materials.
    prop : Prop
        One of its props; ranges given in its quantities are used, others come from stock or practice.
    points : int, optional
        Variants; see `enough_points` for what is taken if left out, and `sample` for what can be.
    seed : int
        Of the sample. The same one gives the same digits.
    task : Task, optional
        What `rigcheck.studies.reading.prop.read_prop` makes of the prop, where it is at hand.

    Returns
    -------
    Ranges

    Raises
    ------
    ArgumentError
        `points` is not such a number.
    TooMuchWorkError
        The variants bend so far that they would take seconds.
    """
    variants = _Variants.of(shot, prop, points=points, seed=seed, task=task)
    task, inputs, deviates, points = variants.task, variants.inputs, variants.deviates, variants.points
    outcome = _Outcomes.of(variants.varied, too_long=variants.too_long)
    still, motion, grades = outcome.still, outcome.motion, outcome.grades
    solved = still.solved
    figures: dict[str, Array] = {
        "sag_mm": still.sag * 1e3,
        "frequency_Hz": still.natural_frequency[:, 0],
    }
    wobble = "residual_wobble_px" if task.eye is not None else "residual_wobble_mm"
    if motion is not None:
        scale = 1.0 if task.eye is not None else NOMINAL_PIXEL * 1e3
        figures[wobble] = grades["residual-wobble"].value * scale
        figures["settle_s"] = grades["settle"].value
    if np.isfinite(grades["yield-factor"].value).any():
        figures["yield_factor"] = grades["yield-factor"].value
    figures = {name: np.where(solved, value, _WORST.get(name, np.inf)) for name, value in figures.items()}
    chances = _chances(grades, solved, hazard=task.limits.hazard)
    least = min(chances.chances, key=lambda name: chances.chances[name], default="sag")
    enough = solved.sum() > 2 * len(inputs) + 1
    return Ranges(
        ranges=MappingProxyType({name: quantile_range(values) for name, values in figures.items()}),
        chance_of_pass=chances.chance_of_pass,
        chances=chances.chances,
        influences=tuple(
            item
            for name, values in figures.items()
            if enough
            for item in _influences(name, inputs, deviates[solved], values[solved])
        ),
        deciding=wobble if least == "residual-wobble" else _OF_FINDING[least],
        unsolved=int((~solved).sum()),
        points=points,
        seed=seed,
        assumptions=_assumptions(inputs, points, int((~solved).sum()), too_long=variants.too_long),
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Variants:
    """The variants of one prop: what varies, how, and the batch."""

    task: Task
    inputs: tuple[Input, ...]
    deviates: Array
    varied: Task
    too_long: bool

    @staticmethod
    def of(
        shot: Shot, prop: Prop, *, points: int | None = None, seed: int = SEED, task: Task | None = None
    ) -> _Variants:
        """As for `ranges`."""
        task = read_prop(shot, prop).task if task is None else task
        inputs = inputs_of(shot, prop)
        points = enough_points(len(inputs)) if points is None else points
        deviates = sample(len(inputs), points, seed)
        keys = sum(len(travel.keys.times) for travel in task.travels if travel.keys is not None)
        return _Variants(
            task=task,
            inputs=inputs,
            deviates=deviates,
            varied=perturbed(task, inputs, deviates),
            too_long=keys * points > _MOST_KEY_VARIANTS,
        )

    @property
    def points(self) -> int:
        """How many."""
        return len(self.deviates)

    @property
    def layout(self) -> Hashable:
        """What variants have in common with those of the same prop on other supports to be one batch with them."""
        rig = self.varied.rig
        if any(support.sleeves for support in rig.supports):
            # Where they end lays out the whole batch.
            return id(self)
        return layout_of((rig, self.varied.travels, self.varied.pushes)), bool(divided_at_ends(rig).any())


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Outcomes:
    """What becomes of variants."""

    still: Outcome
    motion: MotionOutcome | None
    grades: dict[str, Grade]

    @staticmethod
    def of(varied: Task, *, too_long: bool, unseen: float = 0.0) -> _Outcomes:
        """Compute them; `TooMuchWorkError` as for `ranges`, and `unseen` as for `rigcheck.studies.moving.move`."""
        # Discretisation is far below what any input does to the figures.
        settings = replace(varied.settings, coarse=True, most_work=_MOST_WORK)
        still = replace(varied, settings=settings).evaluate()
        motion = None if too_long else varied.move(still, course=False, unseen=unseen)
        return _Outcomes(still=still, motion=motion, grades=grade(still, motion, varied.limits, varied.eye))


def _chances(grades: dict[str, Grade], solved: Flags, *, hazard: str) -> Chances:
    """Shares of variants that pass."""
    good = _passing(grades)
    whole = np.all(list(good.values()), axis=0) if good else np.ones(len(solved), dtype=bool)
    if hazard == "overhead":
        whole = np.zeros(len(solved), dtype=bool)
    return Chances(
        chance_of_pass=float(np.mean(whole & solved)),
        chances=MappingProxyType({name: float(np.mean(passes)) for name, passes in good.items()}),
    )


def ranges_of(work: Work) -> Ranges | None:
    """How sure the figures of a computed prop are.

    Parameters
    ----------
    work : Work
        The prop.

    Returns
    -------
    Ranges or None
        None without a settled state, where a unit is probably wrong, and where so many variants of supports that bend
        so far would take too long.
    """
    if not _has_ranges(work):
        return None
    try:
        spread = ranges(work.shot, work.prop, task=work.reading.task)
    except TooMuchWorkError:
        return None
    if work.still.yielding is None:
        return spread
    # The variants are elastic, and so would be the range beside a sag that is mostly yielding.
    return replace(
        spread,
        ranges={name: value for name, value in spread.ranges.items() if name != "sag_mm"},
        assumptions=(
            *spread.assumptions,
            "The sag has no range: the support yields, and how far is computed once.",
        ),
    )


def chances_of(works: Sequence[Work]) -> list[Chances | None]:
    """How sure one prop is to pass on each of several supports, as many as can together.

    Parameters
    ----------
    works : sequence of Work
        One prop of one shot, its moves and limits, each time on other supports.

    Returns
    -------
    list of Chances or None
        Of each what `ranges_of` gives.
    """
    found: list[Chances | None] = [None] * len(works)
    alike: dict[Hashable, list[tuple[int, _Variants]]] = {}
    for place, work in enumerate(works):
        if _has_ranges(work):
            variants = _Variants.of(work.shot, work.prop, task=work.reading.task)
            alike.setdefault(variants.layout, []).append((place, variants))
    for group in alike.values():
        together = _chances_together([variants for _, variants in group])
        for (place, _), chances in zip(group, together, strict=True):
            found[place] = chances
    return found


def surely_fails(work: Work, findings: Sequence[Finding]) -> bool:
    """Whether the chance that `with_chances` gives is 0, whatever its variants come to.

    Parameters
    ----------
    work : Work
        One prop computed.
    findings : sequence of Finding
        Of its check.

    Returns
    -------
    bool
        False too where that is not sure, or there may be no ranges: variants take too long at most where the prop
        itself is solved for large displacement.
    """
    if not _has_ranges(work) or work.still.large[0]:
        return False
    # Over people no variant counts as a pass, and what is not varied comes out alike in all.
    return work.reading.task.limits.hazard == "overhead" or any(
        finding.status in (Status.CAUTION, Status.FAIL) and finding.id not in _VARIED for finding in findings
    )


def _chances_together(group: list[_Variants]) -> list[Chances | None]:
    """Chances of variants of one layout; None for those that take too much work."""
    first = group[0].varied
    try:
        outcome = _Outcomes.of(
            joined([variants.varied for variants in group]),
            too_long=any(variants.too_long for variants in group),
            unseen=invisible_wobble(first.limits, first.eye),
        )
    except TooMuchWorkError:
        if len(group) == 1:
            return [None]
        # Together they may take more than each is allowed.
        half = len(group) // 2
        return _chances_together(group[:half]) + _chances_together(group[half:])
    ends = np.cumsum([variants.points for variants in group]).tolist()
    return [
        _chances(
            {name: _part(item, slice(end - variants.points, end)) for name, item in outcome.grades.items()},
            outcome.still.solved[end - variants.points : end],
            hazard=first.limits.hazard,
        )
        for variants, end in zip(group, ends, strict=True)
    ]


def _part(item: Grade, rows: slice) -> Grade:
    return replace(item, value=item.value[rows], status=item.status[rows])


def _has_ranges(work: Work) -> bool:
    """Whether ranges are worked out: it settles, no value is in doubt, and its variants will not take too long."""
    if not work.solved or work.reading.doubts:
        return False
    return bool(work.still.large_work[0] <= _MOST_WORK_OF_ONE)


def with_chances(
    findings: tuple[Finding, ...], spread: Chances | None
) -> tuple[tuple[Finding, ...], float | None, tuple[str, ...]]:
    """Put the chances into the findings of a prop.

    Parameters
    ----------
    findings : tuple of Finding
        All of its check.
    spread : Chances or None
        How sure it is; None where that was not worked out.

    Returns
    -------
    tuple of Finding, float or None, tuple of str
        Findings with the chance of each that was varied; the chance of all; what was taken for granted: what was
        not varied is taken to come out in every variant as it does in the middle.
    """
    if spread is None:
        return findings, None, (_NO_RANGES,)
    told = tuple(
        replace(finding, chance_of_pass=spread.chances[finding.id])
        if finding.id in spread.chances
        else finding
        for finding in findings
    )
    fixed = [
        finding
        for finding in findings
        if finding.id not in spread.chances and finding.status is not Status.SKIPPED
    ]
    chance = spread.chance_of_pass if all(finding.status is Status.PASS for finding in fixed) else 0.0
    labels = ", ".join(dict.fromkeys(finding.label for finding in fixed))
    held = f"Without a range, and taken to come out alike in every variant: {labels}."
    return told, chance, (held,) if labels else ()


def _passing(grades: dict[str, Grade]) -> dict[str, NDArray[np.bool_]]:
    """Where each finding that is made passes; buckling only where something can buckle."""
    return {
        name: item.status == Status.PASS.value
        for name, item in grades.items()
        if not np.all(item.status == Status.SKIPPED.value)
        and not (name == "buckling" and np.isinf(item.value).all())
    }


def _influences(
    figure: str, inputs: tuple[Input, ...], deviates: Array, values: Array
) -> tuple[Influence, ...]:
    found = first_order_shares(deviates, np.minimum(values, 1e6))
    if figure != "yield_factor":
        # What the fit sees of it there is chance: nothing but the strength factor knows the strength.
        found = np.where([item.kind == "strength" for item in inputs], 0.0, found)
    order = np.argsort(-found, kind="stable")
    return tuple(
        Influence(
            figure=figure, label=inputs[i].label, share=float(found[i]), measure=MEASUREMENTS[inputs[i].kind]
        )
        for i in order.tolist()
        if found[i] > 0.01
    )


def _assumptions(inputs: tuple[Input, ...], points: int, unsolved: int, *, too_long: bool) -> tuple[str, ...]:
    said = [
        (
            "Ranges: each input's range, given or usual, is read as holding nine times in ten, with the value as its"
            f" median; inputs vary independently; {points} variants."
        ),
        "Not varied: the prop's inertia beyond its mass, the camera, sleeves and inserts.",
    ]
    if unsolved:
        said.append(
            f"{unsolved} of {points} variants have no settled state: they fold or fall. They count as failing and"
            " leave the ranges open."
        )
    if too_long:
        said.append("The move has too many keyframes to follow in every variant, so wobble has no range.")
    usual = [item.label for item in inputs if item.source == "usual"]
    if usual:
        said.append(
            f"Usual ranges, where none is given: {', '.join(usual)} (scales 2 %, ruler 1 mm: common practice; sizes:"
            " tolerances of the stock)."
        )
    return tuple(said)
