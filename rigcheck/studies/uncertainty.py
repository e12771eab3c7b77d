"""How sure the answer is: every input with its range, through the one engine as one batch.

The variants are a mirrored Latin hypercube in plain Python and numpy, and not a sequence of scipy.stats.qmc, whose
import alone takes longer than an ordinary check. At so few variants it is at least as even (`sample`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import ceil
from random import Random
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.model import OwnMaterial, Prop, Shot
from rigcheck.stock import damping, find_clamp, practice, tolerance
from rigcheck.studies.cures import Task
from rigcheck.studies.evaluate import TooMuchWorkError
from rigcheck.studies.grading import NOMINAL_PIXEL, Grade, grade
from rigcheck.studies.reading import read_prop, stock_material
from rigcheck.studies.results import Finding, Influence, Status
from rigcheck.studies.rigs import repeat

__all__ = [
    "Input",
    "Ranges",
    "enough_points",
    "first_order_shares",
    "inputs_of",
    "perturbed",
    "quantile_range",
    "ranges",
    "ranges_of",
    "sample",
    "with_chances",
]

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial
    from rigcheck.studies.examining import Work

Array = NDArray[np.float64]

SEED = 20_240_229
"""Starts the sample; any number will do, the same one gives the same digits."""
POINTS = 32
"""Variants of an ordinary check; more where there are many inputs, see `enough_points`."""
_POINTS_PER_INPUT = 2.5
_SWEEPS = 3
"""Rounds of taking out correlation; the third changes it by less than a hundredth."""
_Z90 = 1.6448536269514722
"""Standard normal deviate that one in twenty exceeds."""
MASS_SHARE, LENGTH_SLACK, CENTRE_SLACK = 0.02, 1e-3, 1e-3
"""Kitchen scales and a ruler: 2 % of the mass, 1 mm of the free length and of the centre of mass; common practice,
no source."""
_STANDS_OUT = 0.2
"""Share of a spread from which an input is worth a measurement: a choice."""
_SIGNIFICANT = 2.0
"""Standard errors from which a coefficient of the fit is taken to be more than noise."""
_NO_RANGES = (
    "Ranges are left out: there is no settled state, lines do not hold each other, a value is in doubt, or it bends"
    " so far that its many variants take too long."
)
_NOTHING = 1e-12
_HUGE = 1e200
_MOST_WORK, _MOST_WORK_OF_ONE = 150_000, 25_000
"""As `LargeSettled.work`, of all variants and of the rig itself."""
_MOST_KEY_VARIANTS = 400_000
"""Keyframes times variants from which a move is not followed variant by variant."""

_CURES = {
    "mass": "weigh the prop on kitchen scales",
    "centre": "balance the prop on an edge to find its centre of mass",
    "length": "measure the free length from jaw to tip with a steel rule",
    "diameter": "measure the support with a caliper or a micrometer",
    "stiffness": "hang a known weight on the bare support and measure how far its tip goes down",
    "bond": "hang a known weight on the bare support and measure how far its tip goes down",
    "density": "weigh a measured length of the support",
    "strength": "bend a spare piece with known weights until it keeps a bend",
    "clamp": "tap the rigged prop and film it at 120 fps: its frequency shows how soft the root is",
    "damping": "tap the rigged prop and film it at 120 fps until it is still",
    "move": "film the head alone at 120 fps to see what it really does",
}


@dataclass(frozen=True, kw_only=True)
class Input:
    """One input with its range.

    Attributes
    ----------
    label : str
        For people.
    kind : str
        What it is, for the measurement that would settle it.
    value, low, high : float
        Median and the ends that one in twenty each lies beyond, SI.
    is_positive : bool
        Sampled on a logarithmic scale, so that it never reaches 0.
    source : str
        ``given`` in the file, or where the default is from.
    target : tuple
        Where it goes; see `perturbed`.
    """

    label: str
    kind: str
    value: float
    low: float
    high: float
    is_positive: bool
    source: str
    target: tuple[str, int]

    def at(self, deviate: Array) -> Array:
        """The values at standard normal deviates.

        Notes
        -----
        Two halves of a normal distribution (of the logarithm for what is positive) with the value as its median:
        at +-1.645 it is at its ends. The halves differ where the value is not in the middle of its range.
        """
        share = deviate / _Z90
        if self.is_positive:
            up, down = np.log(self.high / self.value), np.log(self.value / self.low)
            return np.asarray(self.value * np.exp(share * np.where(share > 0, up, down)))
        return np.asarray(
            self.value + share * np.where(share > 0, self.high - self.value, self.value - self.low)
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranges:
    """How sure the figures of one prop are.

    Attributes
    ----------
    ranges : mapping of str to (float, float)
        Where each figure lies nine times in ten: ``sag_mm``, ``frequency_Hz``, ``residual_wobble_px`` (or
        ``_mm`` without a camera), ``settle_s``, ``yield_factor``. An end may be infinite.
    chance_of_pass : float
        Share of variants in which none of `chances` fails or is a caution.
    chances : mapping of str to float
        The same for each finding alone.
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
    chance_of_pass: float
    chances: Mapping[str, float]
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
_WORST = {"sag_mm": np.inf, "frequency_Hz": 0.0, "yield_factor": 0.0, "settle_s": np.inf}
"""What a variant without a settled state counts as; wobble is endless too."""


def enough_points(inputs: int) -> int:
    """How many variants that many inputs need: 32, or the next multiple of it from 2.5 for each input.

    Parameters
    ----------
    inputs : int
        How many inputs have a range.

    Returns
    -------
    int

    Notes
    -----
    With 32 each end of a 90 % range has a standard error of about a fifth of a standard deviation of the figure, and
    a chance near one half one of about 0.08; over many rigs the ranges hold what they say, within 3 %
    (``tests/evidence/test_ranges.py``).
    """
    return POINTS * max(1, ceil(_POINTS_PER_INPUT * inputs / POINTS))


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
        What `rigcheck.studies.reading.read_prop` makes of the prop, where it is at hand.

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
    task = read_prop(shot, prop).task if task is None else task
    inputs = inputs_of(shot, prop)
    points = enough_points(len(inputs)) if points is None else points
    deviates = sample(len(inputs), points, seed)
    varied = perturbed(task, inputs, deviates)
    # Discretisation is far below what any input does to the figures.
    still = replace(varied, settings=replace(task.settings, coarse=True, most_work=_MOST_WORK)).evaluate()
    keys = sum(len(travel.keys.times) for travel in task.travels if travel.keys is not None)
    too_long = keys * points > _MOST_KEY_VARIANTS
    motion = None if too_long else varied.move(still, course=False)
    grades = grade(still, motion, varied.limits, varied.eye)
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
    good = _passing(grades)
    chances = {name: float(np.mean(passes)) for name, passes in good.items()}
    whole = np.all(list(good.values()), axis=0) if good else np.ones(points, dtype=bool)
    if task.limits.hazard == "overhead":
        whole = np.zeros(points, dtype=bool)
    least = min(chances, key=lambda name: chances[name], default="sag")
    enough = solved.sum() > 2 * len(inputs) + 1
    return Ranges(
        ranges=MappingProxyType({name: quantile_range(values) for name, values in figures.items()}),
        chance_of_pass=float(np.mean(whole & solved)),
        chances=MappingProxyType(chances),
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
        assumptions=_assumptions(inputs, points, int((~solved).sum()), too_long=too_long),
    )


def ranges_of(shot: Shot, work: Work) -> Ranges | None:
    """How sure the figures of a computed prop are.

    Parameters
    ----------
    shot : Shot
        The prop's.
    work : Work
        What was computed of it.

    Returns
    -------
    Ranges or None
        None without a settled state, where a unit is probably wrong, and where so many variants of supports that bend
        so far would take too long.
    """
    if not work.solved or work.reading.doubts:
        return None
    if work.still.moved is not None and work.still.moved.work > _MOST_WORK_OF_ONE:
        return None
    try:
        spread = ranges(shot, work.prop, task=work.reading.task)
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


def with_chances(
    findings: tuple[Finding, ...], spread: Ranges | None
) -> tuple[tuple[Finding, ...], float | None, tuple[str, ...]]:
    """Put the chances into the findings of a prop.

    Parameters
    ----------
    findings : tuple of Finding
        All of its check.
    spread : Ranges or None
        How sure its figures are; None where that was not worked out.

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


def sample(inputs: int, points: int, seed: int) -> Array:
    """Standard normal deviates that fill all inputs evenly, shape (points, inputs).

    Parameters
    ----------
    inputs : int
        How many inputs.
    points : int
        An even number from 32 on, at least 2.5 for each input.
    seed : int
        The same one gives the same digits, on every machine and with every version of the libraries.

    Returns
    -------
    array

    Raises
    ------
    ArgumentError
        `points` is not such a number.

    Notes
    -----
    A Latin hypercube (M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21, 1979, 239-245): each input takes
    the middles of `points` equally likely slices once. It is mirrored, every point with its opposite, so that what
    goes straight with one input is told apart from what goes with the square of any; and its columns are reordered
    by the Cholesky factor of their correlation until next to none is left (R. L. Iman, W. J. Conover, Commun. Stat.
    B 11, 1982, 311-334; both cited from memory). At 32 points in 9 dimensions its centred discrepancy is under that
    of a scrambled Sobol sequence, whose columns still correlate by up to 0.5 there
    (``tests/studies/test_uncertainty.py``).
    """
    if points < 32 or points % 2 or points < _POINTS_PER_INPUT * inputs:
        raise ArgumentError(
            f"points: given {points} for {inputs} inputs with a range; give an even number from"
            f" {max(32, ceil(_POINTS_PER_INPUT * inputs))} on, such as {enough_points(inputs)}."
        )
    from statistics import NormalDist

    half = points // 2
    levels = np.array([NormalDist().inv_cdf((slice_ + 0.5) / points) for slice_ in range(half, points)])
    # Python promises the same numbers from `Random.random` for good; numpy's generators may change.
    draw = Random(seed).random
    noise = np.array([draw() for _ in range(inputs * points)]).reshape(inputs, points).T
    deviates = _levelled(noise[:half], noise[half:] - 0.5, levels)
    for _ in range(_SWEEPS):
        correlation = deviates.T @ deviates / (levels @ levels)
        freed = np.asarray(np.linalg.solve(np.linalg.cholesky(correlation), deviates.T).T, dtype=np.float64)
        deviates = _levelled(np.abs(freed), freed, levels)
    return np.concatenate([deviates, -deviates])


def _levelled(order: Array, signs: Array, levels: Array) -> Array:
    """Columns that hold each level once, in the order given, with the signs given."""
    rank = np.argsort(np.argsort(order, axis=0, kind="stable"), axis=0, kind="stable")
    return np.asarray(np.where(signs < 0, -1.0, 1.0) * levels[rank])


def quantile_range(values: Array) -> tuple[float, float]:
    """Where values lie nine times in ten: their 5 % and 95 % quantiles, which may be infinite.

    Notes
    -----
    Median-unbiased quantiles, as so few values would otherwise give too narrow a range; as ``method =
    "median_unbiased"`` of `numpy.quantile`, which also loads numpy.ma.
    """
    ordered = np.sort(np.where(np.isposinf(values), _HUGE, values))
    ranks = (len(ordered) + 1 / 3) * np.array([0.05, 0.95]) - 2 / 3
    low, high = np.interp(ranks, np.arange(len(ordered)), ordered)
    return tuple(float("inf") if end > 1e-3 * _HUGE else float(end) for end in (low, high))  # type: ignore[return-value]


def first_order_shares(deviates: Array, values: Array) -> Array:
    """Share of the variance of a figure that each input causes by itself.

    Parameters
    ----------
    deviates : array, shape (n, k)
        Independent standard normal inputs; n above k.
    values : array, shape (n,)
        The figure.

    Returns
    -------
    array, shape (k,)
        First-order Sobol indices, from 0; their sum is under 1 by what acts jointly and by what the fit misses.

    Notes
    -----
    Least squares on the first two Hermite polynomials of each input, ``z`` and ``(z^2 - 1)/sqrt(2)``, which are
    orthonormal for a normal z: the share is ``(a^2 + b^2)/variance`` (B. Sudret, Reliab. Eng. Syst. Saf. 93, 2008,
    964-979, from memory). The noise of each coefficient, from the residual, is taken off, and a coefficient under
    twice its own standard error counts as nothing. Where n is under 2 k + 2, on the first alone.
    """
    n, k = deviates.shape
    spread = float(np.var(values))
    if not spread > 0:
        return np.zeros(k)
    terms = [np.ones((n, 1)), deviates]
    if n > 2 * k + 1:
        terms.append((deviates**2 - 1) / np.sqrt(2))
    basis = np.concatenate(terms, axis=1)
    coefficients, *_ = np.linalg.lstsq(basis, values, rcond=None)
    left = values - basis @ coefficients
    noise = float(left @ left) / max(1, n - basis.shape[1]) / n
    found = coefficients[1:] ** 2
    parts = np.where(found > _SIGNIFICANT**2 * noise, found - noise, 0.0).reshape(-1, k).sum(axis=0)
    return np.asarray(np.minimum(parts / spread, 1.0))


def _influences(
    figure: str, inputs: tuple[Input, ...], deviates: Array, values: Array
) -> tuple[Influence, ...]:
    found = first_order_shares(deviates, np.minimum(values, 1e6))
    if figure != "yield_factor":
        # What the fit sees of it there is chance: nothing but the strength factor knows the strength.
        found = np.where([item.kind == "strength" for item in inputs], 0.0, found)
    order = np.argsort(-found, kind="stable")
    return tuple(
        Influence(figure=figure, label=inputs[i].label, share=float(found[i]), measure=_CURES[inputs[i].kind])
        for i in order.tolist()
        if found[i] > 0.01
    )


# -- the inputs -----------------------------------------------------------------------------------------


def inputs_of(shot: Shot, prop: Prop) -> tuple[Input, ...]:
    """Every input of a prop that has a range, given or by default.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.

    Returns
    -------
    tuple of Input
    """
    found: list[Input] = []

    def add(label: str, kind: str, value: float, ends: tuple[float, float], source: str, target: Any) -> None:
        low, high = min(ends[0], value), max(ends[1], value)
        positive = kind not in ("centre", "bond")
        if high - low > _NOTHING * max(abs(value), abs(high)) and (not positive or low > 0):
            found.append(
                Input(
                    label=label,
                    kind=kind,
                    value=value,
                    low=low,
                    high=high,
                    is_positive=positive,
                    source=source,
                    target=target,
                )
            )

    def given(
        measured: Any, unit: str, label: str, kind: str, default: tuple[float, float] | None, target: Any
    ) -> None:
        if measured is None:
            return
        value, ends = measured.m_as(unit), measured.range_as(unit)
        if ends is not None:
            add(label, kind, value, ends, "given", target)
        elif default is not None:
            add(label, kind, value, default, "usual", target)

    mass = prop.mass.m_as("kg")
    usual = (mass * (1 - MASS_SHARE), mass * (1 + MASS_SHARE))
    given(prop.mass, "kg", "mass of the prop", "mass", usual, ("mass", 0))
    for axis, word in enumerate(("right", "up", "toward")):
        part = prop.centre_of_mass[axis]
        place = part.m_as("m")
        ends = (place - CENTRE_SLACK, place + CENTRE_SLACK)
        given(part, "m", f"centre of mass, {word}", "centre", ends, ("centre", axis))
    done: set[Any] = set()
    for number, support in enumerate(prop.support):
        several = f" of support {number + 1}" if len(prop.support) > 1 else ""
        stock, own = stock_material(shot, support.material), shot.own_material(support.material)
        size = support.thickness if support.section == "strip" else support.diameter
        across = 0.0 if size is None else size.m_as("m")
        if (support.material, "E") not in done:
            done.add((support.material, "E"))
            try:
                sized = stock.at(across)
            except ValidityError:
                sized = stock
            for key, kind, label in (
                ("youngs_modulus", "stiffness", "stiffness"),
                ("density", "density", "density"),
            ):
                datum = getattr(sized, key)
                ends = datum.bounds
                source = datum.mark
                typed = None if own is None else getattr(own, key)
                unit = "Pa" if key == "youngs_modulus" else "kg/m^3"
                if typed is not None and (known := typed.range_as(unit)) is not None:
                    ends, source = known, "given"
                add(f"{label} of {support.material}", kind, datum.value, ends, source, (key, number))
            _add_strength(sized, own, support.material, number, add)
        if support.section == "strand" and support.bond is None:
            guess = practice("strand-bond").datum
            label = f"hold between the wires{several}"
            add(label, "bond", guess.value, guess.bounds, guess.mark, ("bond", number))
        if size is not None:
            wall = None if support.wall is None else support.wall.m_as("m")
            try:
                limits = tolerance(support.material if own is None else stock, across, wall_thickness=wall)
            except ValidityError:
                default, wall_default = None, None
            else:
                default = (limits.low, limits.high)
                wall_default = (
                    None
                    if limits.wall_low is None or limits.wall_high is None
                    else (limits.wall_low, limits.wall_high)
                )
            label = "thickness" if support.section == "strip" else "diameter"
            if support.section != "threaded":  # its size is a name, which pitch and stress diameter follow
                given(size, "m", f"{label}{several}", "diameter", default, (label, number))
            given(support.wall, "m", f"wall{several}", "diameter", wall_default, ("wall_thickness", number))
            given(support.width, "m", f"width{several}", "diameter", None, ("width", number))
        if support.length is not None:
            value = support.length.m_as("m")
            slack = min(LENGTH_SLACK, 0.2 * value)
            ends = (value - slack, value + slack)
            given(support.length, "m", f"free length{several}", "length", ends, ("length", number))
        if support.clamp is not None and (support.clamp, "clamp") not in done:
            done.add((support.clamp, "clamp"))
            grip = None if support.grip is None else support.grip.m_as("m") / across
            extra = find_clamp(support.clamp).extra_length(grip_diameters=grip)
            if extra is not None:
                add(
                    f"softness of the {support.clamp}",
                    "clamp",
                    extra.value,
                    extra.bounds,
                    extra.mark,
                    ("clamp", number),
                )
        stiffness = support.root_stiffness
        if stiffness is not None and stiffness != "rigid" and not isinstance(stiffness, tuple):
            given(stiffness, "N*m/rad", f"root stiffness{several}", "clamp", None, ("root", number))
    first = shot.own_material(prop.support[0].material)
    if first is None or first.damping_ratio is None:
        guess = stock_material(shot, prop.support[0].material).damping_ratio
        ends = guess.bounds if guess.bounds[1] > guess.bounds[0] else damping().datum.bounds
        add("damping", "damping", guess.value, ends, guess.mark, ("damping", 0))
    if prop.axis is not None:
        given(prop.axis.stiffness, "N*m/rad", "stiffness of the head", "clamp", None, ("axis", 0))
    travels = 0
    for number, move in enumerate(prop.move):
        if move.kind == "acceleration":
            given(
                move.acceleration,
                "m/s^2",
                f"acceleration of move {number + 1}",
                "move",
                None,
                ("push", number - travels),
            )
            continue
        if move.keys is None:
            stroke, unit = (move.roll, "rad") if move.kind == "roll" else (move.slide, "m")
            if stroke is not None and stroke.m_as(unit) > 0:
                given(stroke, unit, f"stroke of move {number + 1}", "move", None, ("stroke", travels))
            given(move.duration, "s", f"duration of move {number + 1}", "move", None, ("duration", travels))
        travels += 1
    return tuple(found)


def _add_strength(
    stock: StockMaterial, own: OwnMaterial | None, name: str, number: int, add: Callable[..., None]
) -> None:
    try:
        datum = stock.working_strength()
    except ArgumentError:
        return
    ends, source = datum.bounds, datum.mark
    typed = None if own is None else own.tensile_strength if stock.brittle else own.yield_strength
    if typed is not None and (known := typed.range_as("Pa")) is not None:
        ends, source = known, "given"
    add(f"strength of {name}", "strength", datum.value, ends, source, ("strength", number))


def perturbed(task: Task, inputs: tuple[Input, ...], deviates: Array) -> Task:
    """The task with its inputs at the given deviates.

    Parameters
    ----------
    task : Task
        A batch of one.
    inputs : tuple of Input
        What varies.
    deviates : array, shape (n, inputs)
        Standard normal.

    Returns
    -------
    Task
        A batch of n.
    """
    count = len(deviates)
    rig, supports = repeat(task.rig, count), list(repeat(task.rig, count).supports)
    travels, pushes = list(repeat(task.travels, count)), list(repeat(task.pushes, count))
    materials = [support.material for support in task.rig.supports]
    for column, item in enumerate(inputs):
        value = item.at(deviates[:, column])
        factor = value / item.value if item.is_positive else value
        what, place = item.target
        if what == "mass":
            # `value` is of the prop alone; what an insert adds stays.
            rig = replace(
                rig, mass=rig.mass + (value - item.value), inertia=rig.inertia * factor[:, None, None]
            )
        elif what == "centre":
            centre = rig.centre_of_mass.copy()
            centre[:, place] += value - item.value
            rig = replace(rig, centre_of_mass=centre)
        elif what in ("youngs_modulus", "density", "strength"):
            for number, support in enumerate(supports):
                if materials[number].density[0] == materials[place].density[0] and (
                    materials[number].youngs_modulus[0] == materials[place].youngs_modulus[0]
                ):
                    changes: dict[str, Any] = {what: getattr(support.material, what) * factor}
                    if what == "youngs_modulus":
                        changes["shear_modulus"] = support.material.shear_modulus * factor
                    supports[number] = replace(support, material=replace(support.material, **changes))
        elif what in ("diameter", "thickness", "wall_thickness", "width"):
            resized: dict[str, Any] = {what: value}
            supports[place] = replace(supports[place], **resized)
        elif what == "length":
            points = supports[place].points
            tip = points[:, -1:]
            supports[place] = replace(supports[place], points=tip + (points - tip) * factor[:, None, None])
        elif what == "bond":
            supports[place] = replace(supports[place], bond=np.clip(value, 0.0, 1.0))
        elif what == "clamp":
            same = supports[place].clamp_diameters[0]
            supports = [
                replace(support, clamp_diameters=value) if support.clamp_diameters[0] == same else support
                for support in supports
            ]
        elif what == "root":
            stiffness = supports[place].root_stiffness
            assert stiffness is not None  # only a given stiffness has a range
            supports[place] = replace(supports[place], root_stiffness=stiffness * factor[:, None])
        elif what == "axis":
            assert rig.axis_stiffness is not None  # only a given stiffness has a range
            rig = replace(rig, axis_stiffness=rig.axis_stiffness * factor)
        elif what == "damping":
            supports = [
                replace(
                    support,
                    material=replace(support.material, damping_ratio=support.material.damping_ratio * factor),
                )
                for support in supports
            ]
        elif what == "push":
            pushes[place] = replace(pushes[place], acceleration=value)
        else:
            retimed: dict[str, Any] = {what: value}
            travels[place] = replace(travels[place], **retimed)
    # A thick tube drawn thinner than twice its wall is solid.
    supports = [
        replace(support, wall_thickness=np.minimum(support.wall_thickness, support.diameter / 2))
        if support.form == "tube"
        else support
        for support in supports
    ]
    return replace(
        task,
        rig=replace(rig, supports=tuple(supports)),
        travels=tuple(travels),
        pushes=tuple(pushes),
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
