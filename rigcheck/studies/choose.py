"""What to buy: every size in stock, each given the check, ranked by what matters to the picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Shot
from rigcheck.studies.candidates import (
    Candidates,
    Item,
    divided_at_ends,
    own_items,
    stock_items,
    wide_choices,
)
from rigcheck.studies.cautions import REQUIRED_FACTOR, cautions
from rigcheck.studies.cures import Cure, Task
from rigcheck.studies.curing import proven_cures
from rigcheck.studies.evaluate import Outcome, _needs_large
from rigcheck.studies.examining import examine, may_meet, meetings, work_on
from rigcheck.studies.grading import BUCKLING_FACTOR, DROOP_SHARE, NOMINAL_PIXEL, Grade, Limits, grade
from rigcheck.studies.reach import LONGEST, Reach, longest_reach
from rigcheck.studies.reading import stock_material
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import Rig
from rigcheck.studies.shortlist import Proposal, Proposals

__all__ = [
    "AT_ONCE",
    "Candidate",
    "ChoiceResult",
    "Graded",
    "PropChoice",
    "by_luck",
    "choose",
    "grade_candidates",
    "graded_of",
    "margin_of",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

AT_ONCE = 512
"""Candidates in one batch: enough to keep numpy busy, few enough to stay in the cache."""
TOO_SOFT = 1.0
"""Least possible linear sag over free length from which a candidate is set aside as far too soft."""
ENOUGH = 10.0
"""Margins above it are all the same: ten times is plenty for anything."""
SAME_MARGIN = 1.1
"""Margins within this factor are the same; then what is easier to buy and to shape comes first."""
FAR_TOO_LONG = 3000.0
"""Free length over size that a check asks about; see `reading`."""
FAR_TOO_THICK = 0.05
HOPELESS = 0.5
"""Strength factor by linear theory over the one wanted below which a candidate that droops is set aside."""
_COLUMNS = (
    "rank",
    "sag",
    "frequency",
    "wobble",
    "wobble_px",
    "margin",
    "too_soft",
    "too_weak",
    "large",
)
_RANKS = (Status.PASS, Status.CAUTION, Status.FAIL)
_FINDINGS = ("yield-factor", "buckling", "sag", "residual-wobble", "settle")
_WORDS = {
    "yield-factor": "strength",
    "buckling": "buckling",
    "sag": "sag",
    "residual-wobble": "wobble after the move",
    "settle": "settling",
    "clamp": "the clamp's hold",
}
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True, eq=False)
class Graded:
    """Grades of many candidates; arrays of shape (n,).

    Attributes
    ----------
    rank : array of int
        0 pass, 1 caution, 2 fail.
    ranks : dict of str to array of int
        Of each finding; -1 where it was skipped.
    values : dict of str to array
        Value of each finding, as in `rigcheck.studies.grading`.
    sag, frequency, wobble, wobble_px, margin : array
        [m], [Hz], [m], [px], least margin over all findings. NaN where not computed.
    too_soft, too_weak : array of bool
        Set aside without being solved for large displacement; see `choose`.
    large : array of bool
        Solved for large displacement.
    """

    rank: Index
    ranks: dict[str, Index]
    values: dict[str, Array]
    sag: Array
    frequency: Array
    wobble: Array
    wobble_px: Array
    margin: Array
    too_soft: NDArray[np.bool_]
    too_weak: NDArray[np.bool_]
    large: NDArray[np.bool_]

    @staticmethod
    def empty(count: int) -> Graded:
        """All failing, nothing computed."""

        def none() -> Array:
            return np.full(count, np.nan)

        return Graded(
            rank=np.full(count, 2, dtype=np.intp),
            ranks={name: np.full(count, -1, dtype=np.intp) for name in _FINDINGS},
            values={name: none() for name in _FINDINGS},
            sag=none(),
            frequency=none(),
            wobble=none(),
            wobble_px=none(),
            margin=np.zeros(count),
            too_soft=np.zeros(count, dtype=bool),
            too_weak=np.zeros(count, dtype=bool),
            large=np.zeros(count, dtype=bool),
        )

    def put(self, rows: Index, part: Graded) -> None:
        """Write the grades of some candidates."""
        for name in _COLUMNS:
            getattr(self, name)[rows] = getattr(part, name)
        for name, values in part.values.items():
            self.values[name][rows] = values
            self.ranks[name][rows] = part.ranks[name]


@dataclass(frozen=True, kw_only=True, eq=False)
class Candidate:
    """One choice: what to buy, how many, and how it does. None where it was not computed or does not apply.

    Attributes
    ----------
    item : Item
        What to buy.
    count : int
        How many side by side.
    verdict : Status
        Of the same check as `rigcheck check`, on this prop alone.
    in_full : bool
        Whether every check of the prop was made; else it was graded on strength, buckling, sag, wobble and settling.
    chance_of_pass : float or None
        As in a check; None where that was not worked out.
    sag_mm, frequency_hz, residual_wobble_mm, residual_wobble_px : float or None
        As in a check.
    visible_width_mm, visible_width_px : float
        Across all supports as the camera sees them; pixels only with a camera.
    margin : float
        Least of all margins; above 1 is inside, 10 is the most that is counted.
    buy_ease, shape_ease : int
        See `Item`.
    longest_reach_mm : float or None
        Longest free length that still passes.
    fails : tuple of str
        Findings that do not pass, in words with their values.
    """

    item: Item
    count: int
    verdict: Status
    in_full: bool
    chance_of_pass: float | None
    sag_mm: float | None
    frequency_hz: float | None
    residual_wobble_mm: float | None
    residual_wobble_px: float | None
    visible_width_mm: float
    visible_width_px: float | None
    margin: float
    longest_reach_mm: float | None
    fails: tuple[str, ...]

    @property
    def words(self) -> str:
        """For example ``2 x 3 mm carbon-rod``."""
        form = "" if self.item.section in ("round", "tube") else f" {self.item.section}"
        tube = " tube" if self.item.section == "tube" and "tube" not in self.item.material else ""
        several = f"{self.count} of " if self.count > 1 else ""
        return f"{several}{self.item.label} {self.item.material}{form}{tube}"


@dataclass(frozen=True, kw_only=True, eq=False)
class PropChoice:
    """The choice for one prop.

    Attributes
    ----------
    name : str
        Of the prop.
    best : tuple of Candidate
        Best first.
    front : tuple of Candidate
        Those that no other beats in both visible width and wobble, thin to thick; empty unless asked for.
    thinner : str
        Why the nearest thinner choice does not do; empty where there is none.
    lucky : str
        Which of the best pass at this length, but not at every shorter one; empty where none does.
    reach : tuple of Reach
        How far each size reaches.
    cures : tuple of Cure
        For the rig as it stands in the file, where it does not pass.
    every : tuple of Candidate
        All of them by how they were graded, where asked for.
    tried, passing, cautioned, too_soft, too_weak, not_held : int
        Candidates looked at, and how they came out.
    assumptions, cautions : tuple of str
        What was taken for granted; safety.
    """

    name: str
    best: tuple[Candidate, ...]
    front: tuple[Candidate, ...] = ()
    thinner: str = ""
    lucky: str = ""
    reach: tuple[Reach, ...] = ()
    cures: tuple[Cure, ...] = ()
    every: tuple[Candidate, ...] = ()
    tried: int
    passing: int
    cautioned: int
    too_soft: int
    too_weak: int
    not_held: int
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class ChoiceResult:
    """What to buy for each prop of a shot."""

    title: str
    props: tuple[PropChoice, ...]
    cautions: tuple[str, ...] = field(default=())


def choose(
    shot: Shot,
    *,
    prop: str | None = None,
    stock: Shot | None = None,
    counts: Sequence[int] = (1, 2, 3),
    most: int = 8,
    pareto: bool = False,
    every: bool = False,
    reach: bool = True,
    cures: bool = True,
    progress: Progress | None = None,
) -> ChoiceResult:
    """Choose what to buy for every prop of a shot, or for one of them.

    Parameters
    ----------
    shot : Shot
        As read from a rig file. The first support of a prop says where supports run, how long they are and how
        they are held.
    prop : str, optional
        Name of the only prop to choose for.
    stock : Shot, optional
        Your own list, written as a rig file: each support in it is one size that can be had. Its materials join
        the shot's own. Without it, all of `materials/`.
    counts : sequence of int
        Numbers of supports to try.
    most : int
        How many candidates to hand back, at least 1.
    pareto : bool
        Work out the front of visible width against wobble too.
    every : bool
        Hand back every candidate too, for a table; those beyond the best as they were graded.
    reach : bool
        Work out how far the candidates reach.
    cures : bool
        Where the rig as it stands does not pass, look for the smallest single changes that cure it.
    progress : callable, optional
        Called with candidates done and to do.

    Returns
    -------
    ChoiceResult

    Raises
    ------
    UnknownNameError
        The shot has no prop of that name.
    ArgumentError
        The list of stock has nothing to choose from.

    Notes
    -----
    Candidates come in the order of verdict, visible width (to a tenth of a millimetre), margin (those within 10 %
    and all above 10 are equal), how easy to buy, how easy to shape. Each is graded by the functions that
    `rigcheck.studies.check` uses, on strength, buckling, sag, wobble and settling; the best of them are then given
    the whole check of the prop (`rigcheck.studies.shortlist`), and what comes out worse moves down. A candidate
    whose sag by ``W L^3/(3 E I)`` alone would be more than its free length (`Candidates.least_sag`) is set aside as
    far too soft; settled, it hangs by more than half its length (elastica: 0.60 L at ``W L^2/(E I) = 3``; K. E.
    Bisshopp and D. C. Drucker, Q. Appl. Math. 3, 1945, from memory). What would need the solution for large
    displacement is set aside as too weak where it fails in any case: its buckling factor, which that solution does
    not change, is under 3; or linear theory leaves it less than half the strength it needs (the lever arm of a
    level support shrinks by a quarter at most as far as the first rule lets it droop, so it cannot come back from
    that).
    """
    if stock is not None:
        known = {material.name for material in shot.material}
        added = tuple(material for material in stock.material if material.name not in known)
        items = own_items(stock)
        shot = shot.model_copy(update={"material": (*shot.material, *added)})
    else:
        items = stock_items(shot)
    props = shot.prop if prop is None else (shot.find_prop(prop),)
    made = [Candidates(shot, one, items, counts=counts) for one in props]
    total, done = sum(len(candidates) for candidates in made), 0
    results = []
    for candidates in made:

        def told(count: int, before: int = done) -> None:
            if progress is not None:
                progress(before + count, total)

        results.append(
            _choose_prop(
                candidates, most=most, pareto=pareto, every=every, reach=reach, cures=cures, told=told
            )
        )
        done += len(candidates)
    return ChoiceResult(title=shot.title, props=tuple(results), cautions=cautions(shot.limits.hazard))


def _choose_prop(
    candidates: Candidates,
    *,
    most: int,
    pareto: bool,
    every: bool,
    reach: bool,
    cures: bool,
    told: Callable[[int], None],
) -> PropChoice:
    graded = grade_candidates(candidates, told=told)
    width = visible_width(candidates)
    order = ranked(candidates, graded, width)
    proposals = Proposals(candidates)
    held = np.isfinite(candidates.clamp_diameters[candidates.item])
    shown = proposals.best(order[np.isfinite(graded.sag[order])], graded.rank, max(1, most))
    front = pareto_front(width, graded) if pareto else np.zeros(0, dtype=np.intp)
    reaches = _reaches(candidates, order) if reach and candidates.is_straight() else {}

    def made(index: int) -> Candidate:
        return _candidate(candidates, graded, width, reaches, index, proposals.of(index))

    def as_known(index: int) -> Candidate:
        known = proposals.of(index) if index in proposals else None
        return _candidate(candidates, graded, width, reaches, index, known)

    prop, shot = candidates.prop, candidates.shot
    best = tuple(made(index) for index in shown)
    materials = dict.fromkeys(candidates.items[candidates.item[index]].material for index in shown)
    warned = [text for name in materials for text in stock_material(shot, name).cautions]
    return PropChoice(
        name=prop.name,
        best=best,
        lucky=by_luck(best, candidates.free_length() * 1e3),
        front=tuple(made(index) for index in front.tolist()),
        # One that fails as graded needs no whole check to say why.
        thinner=_why_not_thinner(
            candidates,
            graded,
            width,
            shown,
            proposals,
            lambda index: (made if graded.rank[index] < 2 else as_known)(index),
        ),
        reach=_reach_rows(candidates, reaches),
        cures=tuple(_cures(candidates)) if cures else (),
        every=tuple(as_known(index) for index in _final(order, graded, proposals)) if every else (),
        tried=len(candidates),
        passing=int((graded.rank == 0).sum()),
        cautioned=int((graded.rank == 1).sum()),
        too_soft=int(graded.too_soft.sum()),
        too_weak=int(graded.too_weak.sum()),
        not_held=int((~held).sum()),
        assumptions=_assumptions(candidates, graded, held),
        cautions=cautions(shot.limits.hazard, tuple(dict.fromkeys(warned))),
    )


# -- grading --------------------------------------------------------------------------------------------


def grade_candidates(
    candidates: Candidates,
    chosen: Index | None = None,
    free_length: Array | None = None,
    *,
    quick: bool = False,
    told: Callable[[int], None] | None = None,
) -> Graded:
    """Give every candidate the check.

    Parameters
    ----------
    candidates : Candidates
        All of them.
    chosen : int array, shape (n,), optional
        Which; all if left out. One may come several times, with different lengths.
    free_length : array, shape (n,), optional
        Of each chosen one, in place of the prop's [m].
    quick : bool
        For reach: what sags by more than a tenth of its length counts as a caution without being solved for large
        displacement, and several supports are taken by linear theory.
    told : callable, optional
        Called with how many are done.

    Returns
    -------
    Graded
        In the order of `chosen`.
    """
    chosen = np.arange(len(candidates)) if chosen is None else chosen
    lengths = np.full(len(chosen), candidates.free_length()) if free_length is None else free_length
    graded = Graded.empty(len(chosen))
    graded.too_soft[:] = _least_sag(candidates, chosen, lengths) > TOO_SOFT * lengths
    held = np.isfinite(candidates.clamp_diameters[candidates.item[chosen]])
    places = np.flatnonzero(held & ~graded.too_soft)
    doubtful = _doubtful(candidates, chosen, lengths)
    done = len(chosen) - len(places)

    def task_of(rows: Index) -> Task:
        return candidates.task_of(chosen[rows], None if free_length is None else lengths[rows])

    for rows in _alike(candidates, chosen, lengths, places):
        step = AT_ONCE // int(candidates.count[chosen[rows[0]]])
        droop = []
        for begin in range(0, len(rows), step):
            part = rows[begin : begin + step]
            droop.append(_grade_part(graded, part, task_of, doubtful, quick=quick))
            done += len(part) - len(droop[-1])
            if told is not None:
                told(done)
        # All of one layout together: the solution for large displacement goes in many small steps.
        far = np.concatenate(droop)
        for begin in range(0, len(far), step):
            part = far[begin : begin + step]
            graded.put(part, graded_of(task_of(part), doubtful=doubtful[part]))
            done += len(part)
            if told is not None:
                told(done)
    return graded


def _grade_part(
    graded: Graded,
    part: Index,
    task_of: Callable[[Index], Task],
    doubtful: NDArray[np.bool_],
    *,
    quick: bool,
) -> Index:
    """Grade candidates of one layout by linear theory, and give those that a check would solve further."""
    task = task_of(part)
    linear = replace(task, settings=replace(task.settings, displacement="linear"))
    still = linear.evaluate()
    far = _needs_large(replace(still, settings=task.settings))
    found = _graded(linear, still, doubtful[part])
    near = ~far | (quick & still.solved & (task.settings.displacement == "auto"))
    graded.put(part[near], _rows(found, near))
    if quick:
        length = np.min([support.free_length for support in task.rig.supports], axis=0)
        droops = near & (np.abs(still.sag) > DROOP_SHARE * length)
        graded.rank[part[droops]] = np.maximum(graded.rank[part[droops]], 1)
        return part[:0]
    # The load factor against buckling is that of linear theory in every check, so this one fails in any case.
    folds = far & (still.buckling_factor < BUCKLING_FACTOR)
    graded.values["buckling"][part[folds]] = still.buckling_factor[folds]
    graded.ranks["buckling"][part[folds]] = 2
    required = REQUIRED_FACTOR[task.limits.hazard]
    breaks = far & ~folds & (still.strength_factor < HOPELESS * required)
    graded.too_weak[part[folds | breaks]] = True
    graded.values["yield-factor"][part[breaks]] = still.strength_factor[breaks]
    graded.ranks["yield-factor"][part[breaks]] = 2
    return np.asarray(part[far & ~folds & ~breaks])


def graded_of(task: Task, *, doubtful: NDArray[np.bool_] | None = None) -> Graded:
    """Check one batch.

    Parameters
    ----------
    task : Task
        Rigs of one layout.
    doubtful : array of bool, shape (B,), optional
        Where a check would ask about a value: never a plain pass.

    Returns
    -------
    Graded
    """
    return _graded(task, task.evaluate(), doubtful)


def _graded(task: Task, still: Outcome, doubtful: NDArray[np.bool_] | None) -> Graded:
    batch = task.rig.batch
    motion = task.move(still, course=False)
    grades = grade(still, motion, task.limits, task.eye)
    ranks = {name: _rank(item.status) for name, item in grades.items()}
    # Like `find` of a check: buckling counts only where something is compressed.
    solved = still.solved
    ranks["buckling"] = np.where(np.isfinite(grades["buckling"].value) | ~solved, ranks["buckling"], -1)
    rank = np.max(list(ranks.values()), axis=0)
    rank = np.where(rank < 0, 1, rank)
    if task.limits.hazard == "overhead":
        rank = np.maximum(rank, 1)
    if doubtful is not None:
        rank = np.maximum(rank, doubtful.astype(np.intp))
    known = np.where(solved, 1.0, np.nan)
    blank = Graded.empty(batch)
    none = np.full(batch, np.nan)
    return Graded(
        rank=rank.astype(np.intp),
        ranks=blank.ranks | ranks,
        values=blank.values | {name: item.value * known for name, item in grades.items()},
        sag=still.sag * known,
        frequency=still.natural_frequency[:, 0] * known,
        wobble=none if motion is None else motion.residual * known,
        wobble_px=none if motion is None or motion.residual_px is None else motion.residual_px * known,
        margin=np.where(solved, margin_of(grades, task.limits), 0.0),
        too_soft=blank.too_soft,
        too_weak=blank.too_weak,
        large=still.large,
    )


def _rows(graded: Graded, index: NDArray[np.bool_]) -> Graded:
    """Some of the candidates."""
    taken = {name: getattr(graded, name)[index] for name in _COLUMNS}
    return Graded(
        **taken,
        ranks={name: values[index] for name, values in graded.ranks.items()},
        values={name: values[index] for name, values in graded.values.items()},
    )


def margin_of(grades: dict[str, Grade], limits: Limits) -> Array:
    """Least margin over all findings: limit over value, value over limit for factors; at most `ENOUGH`."""
    margins = []
    for name, item in grades.items():
        if name == "sag" and limits.sag is None:
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = (
                item.value / item.limit if name in ("yield-factor", "buckling") else item.limit / item.value
            )
        margins.append(np.where(np.isnan(ratio), ENOUGH, ratio))
    return np.asarray(np.minimum(np.min(margins, axis=0), ENOUGH))


def _rank(status: NDArray[np.str_]) -> Index:
    rank = np.full(status.shape, -1, dtype=np.intp)
    for number, word in enumerate(_RANKS):
        rank[status == word.value] = number
    return rank


def _least_sag(candidates: Candidates, chosen: Index, lengths: Array) -> Array:
    # Per length cubed, because one candidate may come with several lengths.
    unit = candidates.least_sag(np.ones(len(candidates)))
    return np.asarray(unit[chosen] * lengths**3)


def _doubtful(candidates: Candidates, chosen: Index, lengths: Array) -> NDArray[np.bool_]:
    """Where a check of the candidate would ask whether a unit is right."""
    across = candidates.across[candidates.item[chosen]]
    own = (lengths / across > FAR_TOO_LONG) | (across > FAR_TOO_THICK) | (lengths > 3.0)
    return np.asarray(own | candidates.always_doubtful)


def _alike(candidates: Candidates, chosen: Index, lengths: Array, places: Index) -> list[Index]:
    """Places of candidates that can be one batch: of one form and count, and divided alike along their length."""
    groups = []
    forms, counts = candidates.forms[candidates.item[chosen]], candidates.count[chosen]
    for form in np.unique(forms[places]):
        for count in np.unique(counts[places]):
            rows = places[(forms[places] == form) & (counts[places] == count)]
            if not len(rows):
                continue
            rig: Rig = candidates.task_of(
                chosen[rows], lengths[rows] if candidates.is_straight() else None
            ).rig
            divided = divided_at_ends(rig)
            groups += [part for part in (rows[divided], rows[~divided]) if len(part)]
    return groups


def _final(order: Index, graded: Graded, proposals: Proposals) -> list[int]:
    """All candidates in order, those that had the whole check where that puts them."""
    rank = {
        index: proposals.of(index).rank if index in proposals else int(graded.rank[index])
        for index in order.tolist()
    }
    return sorted(rank, key=rank.__getitem__)


# -- ranking --------------------------------------------------------------------------------------------


def visible_width(candidates: Candidates) -> Array:
    """Width of each candidate as the camera sees it, all its supports together [m], shape (candidates,).

    A round support shows its diameter from every side. A strip lies flat: what shows of it follows from the view;
    seen end-on it shows its width.
    """
    size = candidates.sizes
    width = size["diameter"].copy()
    flat = candidates.forms == "strip"
    if flat.any():
        points = candidates.task.rig.supports[0].points[0]
        along = points[-1] - points[0]
        along = along / np.linalg.norm(along)
        eye = candidates.task.eye
        toward = np.array([0.0, 0.0, 1.0]) if eye is None else eye.camera.toward
        level = np.cross(along, [0.0, 1.0, 0.0])
        level = np.array([1.0, 0.0, 0.0]) if np.linalg.norm(level) < 0.1 else level / np.linalg.norm(level)
        across = np.cross(along, toward)
        if np.linalg.norm(across) < 0.1:
            width[flat] = size["width"][flat]
        else:
            across = across / np.linalg.norm(across)
            wide = abs(float(across @ level))
            thin = abs(float(across @ np.cross(along, level)))
            width[flat] = wide * size["width"][flat] + thin * size["thickness"][flat]
    return np.asarray(width[candidates.item] * candidates.count)


def pixels_per_metre(candidates: Candidates) -> float | None:
    """Of the camera at the prop's mark; None without a camera."""
    eye = candidates.task.eye
    if eye is None:
        return None
    mark = candidates.prop.mark
    at = np.zeros(3) if mark is None else np.array([part.m_as("m") for part in mark])
    return float(eye.camera.pixels_per_metre_at(at))


def ranked(candidates: Candidates, graded: Graded, width: Array) -> Index:
    """The order of the candidates, best first; see `choose`."""
    items = candidates.items
    buy = np.array([item.buy_ease for item in items])[candidates.item]
    shape = np.array([item.shape_ease for item in items])[candidates.item]
    with np.errstate(divide="ignore"):
        step = np.floor(np.log(np.maximum(graded.margin, 1e-12)) / np.log(SAME_MARGIN))
    unknown = graded.ranks["yield-factor"] < 0
    keys = (
        np.arange(len(candidates)),
        candidates.count,
        -shape,
        -buy,
        -step,
        np.round(width * 1e4),
        unknown,
        graded.rank,
    )
    return np.lexsort(keys)


def pareto_front(width: Array, graded: Graded) -> Index:
    """Candidates that none beats in visible width and wobble both, thin to thick; only those that do not fail."""
    rows = np.flatnonzero((graded.rank < 2) & np.isfinite(graded.wobble))
    rows = rows[np.lexsort((-graded.margin[rows], graded.wobble[rows], width[rows]))]
    best = np.minimum.accumulate(graded.wobble[rows])
    first = np.ones(len(rows), dtype=bool)
    first[1:] = graded.wobble[rows][1:] < best[:-1]
    return rows[first]


def _why_not_thinner(
    candidates: Candidates,
    graded: Graded,
    width: Array,
    shown: list[int],
    proposals: Proposals,
    made: Callable[[int], Candidate],
) -> str:
    """Say why the thickest choice that is thinner than the best does not do as well."""
    if not shown:
        return ""
    best = shown[0]
    rank = np.array(
        [
            proposals.of(index).rank if index in proposals else graded.rank[index]
            for index in range(len(width))
        ]
    )
    thinner = np.flatnonzero(
        (np.round(width * 1e4) < np.round(width[best] * 1e4)) & (rank > rank[best]) & ~graded.too_soft
    )
    if not len(thinner):
        return ""
    same = np.array([candidates.items[candidates.item[index]].material for index in thinner])
    mine = same == candidates.items[candidates.item[best]].material
    if mine.any():
        thinner = thinner[mine]
    nearest = int(thinner[np.lexsort((rank[thinner], candidates.count[thinner], -width[thinner]))[0]])
    found = made(nearest)
    return f"The next thinner, {found.words}, does not: {'; '.join(found.fails)}."


def by_luck(best: tuple[Candidate, ...], length_mm: float) -> str:
    """Say which pass only because the move happens to end in step with their swing.

    Parameters
    ----------
    best : tuple of Candidate
        With their reach.
    length_mm : float
        Free length they were tried with.

    Returns
    -------
    str
        Empty where none does.
    """
    short = [
        one.words
        for one in best
        if one.verdict is Status.PASS
        and one.longest_reach_mm is not None
        and one.longest_reach_mm < min(length_mm, LONGEST * 1e3) - _ROUNDING
    ]
    if not short:
        return ""
    return (
        f"By luck at this length: {', '.join(short)}. The move ends in step with the swing; some shorter lengths do"
        " not pass, so go by the chance and the reach."
    )


_ROUNDING = 1.0
"""Reach is in whole millimetres."""


# -- what is handed back --------------------------------------------------------------------------------


def _candidate(
    candidates: Candidates,
    graded: Graded,
    width: Array,
    reaches: dict[tuple[int, int], float],
    index: int,
    proposal: Proposal | None,
) -> Candidate:
    scale = pixels_per_metre(candidates)
    item, count = int(candidates.item[index]), int(candidates.count[index])
    return Candidate(
        item=candidates.items[item],
        count=count,
        verdict=_RANKS[int(graded.rank[index])] if proposal is None else proposal.verdict,
        in_full=proposal is not None,
        chance_of_pass=None if proposal is None else proposal.chance_of_pass,
        sag_mm=None if proposal is not None and proposal.yields else _number(graded.sag[index] * 1e3),
        frequency_hz=_number(graded.frequency[index]),
        residual_wobble_mm=_number(graded.wobble[index] * 1e3),
        residual_wobble_px=_number(graded.wobble_px[index]),
        visible_width_mm=float(width[index] * 1e3),
        visible_width_px=None if scale is None else float(width[index] * scale),
        margin=float(graded.margin[index]),
        longest_reach_mm=_number(reaches.get((item, count), np.nan) * 1e3),
        fails=tuple(
            dict.fromkeys(
                (*_fails(candidates, graded, index), *(() if proposal is None else _also(proposal)))
            )
        ),
    )


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _fails(candidates: Candidates, graded: Graded, index: int) -> tuple[str, ...]:
    if graded.too_soft[index]:
        return ("it is far too soft and would hang down",)
    if not np.isfinite(candidates.clamp_diameters[candidates.item[index]]):
        return ("the grip is too short to hold it",)
    limits = candidates.task.limits
    scale, unit = (NOMINAL_PIXEL * 1e3, "mm") if candidates.task.eye is None else (1.0, "px")
    found = []
    for name in _FINDINGS:
        if graded.ranks[name][index] < 1:
            continue
        value = graded.values[name][index]
        if not np.isfinite(value):
            text = "no settled state" if name != "settle" else "it never comes to rest"
        elif name == "yield-factor":
            text = f"strength factor {value:.3g}"
        elif name == "buckling":
            text = f"buckling factor {value:.3g}"
        elif name == "sag":
            text = f"sag {value * 1e3:.3g} mm"
        elif name == "residual-wobble":
            text = f"wobble {value * scale:.3g} {unit}, limit {limits.wobble * scale:.3g}"
        else:
            text = f"swings on for {value:.3g} s, limit {limits.settle:.2g}"
        found.append(text)
    if not found and graded.rank[index] > 0:
        found.append(
            "a check of it would ask about a value" if limits.hazard != "overhead" else "load overhead"
        )
    return tuple(dict.fromkeys(found))


def _also(proposal: Proposal | None) -> tuple[str, ...]:
    """What fails or is a caution beside the findings that all candidates are graded on."""
    if proposal is None:
        return ()
    return tuple(
        f"{item.label} ({item.status.value})"
        for item in proposal.findings
        if item.status in (Status.CAUTION, Status.FAIL) and item.id not in (*_FINDINGS, *_TOLD)
    )


_TOLD = ("overhead", "doubtful-value")
"""Findings that `_fails` has words for."""


def _reaches(candidates: Candidates, order: Index) -> dict[tuple[int, int], float]:
    """Longest reach of the materials that lead, in every size, and of every other candidate near the top."""
    near = order[: 4 * _MOST_MATERIALS]
    leading = list(
        dict.fromkeys(candidates.items[candidates.item[index]].material for index in near.tolist())
    )[:_MOST_MATERIALS]
    wanted = np.array([item.material in leading for item in candidates.items])[candidates.item]
    wanted &= candidates.count == candidates.count.min()
    wanted[order[:_MOST_LISTED]] = True
    rows = np.flatnonzero(wanted)
    found = longest_reach(
        rows,
        lambda chosen, lengths: grade_candidates(candidates, chosen, lengths, quick=True).rank,
        ceiling=1 if candidates.task.limits.hazard == "overhead" else 0,
    )
    return {
        (int(candidates.item[index]), int(candidates.count[index])): float(length)
        for index, length in zip(rows, found, strict=True)
    }


_MOST_MATERIALS = 4
_MOST_LISTED = 24


def _reach_rows(candidates: Candidates, reaches: dict[tuple[int, int], float]) -> tuple[Reach, ...]:
    least = int(candidates.count.min()) if len(candidates) else 1
    rows = [
        Reach(item=candidates.items[item], length_mm=_number(length * 1e3))
        for (item, count), length in reaches.items()
        if count == least
    ]
    return tuple(
        sorted(rows, key=lambda row: (row.item.material, row.item.section, row.item.across, row.item.label))
    )


def _cures(candidates: Candidates) -> list[Cure]:
    """Single changes that cure the rig as it stands in the file."""
    shot, prop = candidates.shot, candidates.prop
    works = [work_on(shot, one) for one in shot.prop if one is prop or may_meet(shot)]
    place = next(index for index, work in enumerate(works) if work.prop is prop)
    examined = examine(shot, works[place], meetings(shot, works)[place])
    others = [*works[:place], *works[place + 1 :]]
    return proven_cures(shot, examined, others=others, choices=wide_choices(shot, prop, candidates.items))


def _assumptions(candidates: Candidates, graded: Graded, held: NDArray[np.bool_]) -> tuple[str, ...]:
    prop = candidates.prop
    said = [
        f"Supports run as the first one of the file does, {candidates.free_length() * 1e3:.4g} mm free"
        + (f", all in the same clamp ({prop.support[0].clamp})." if prop.support[0].clamp else "."),
    ]
    if (candidates.count > 1).any():
        said.append(
            f"Two stand one above the other and three in a triangle, {candidates.spacing * 1e3:.3g} mm apart"
            " (side by side where they hang), each as wide in the picture as one."
        )
    if graded.too_soft.any():
        said.append(
            f"{int(graded.too_soft.sum())} were set aside as far too soft: by linear theory they would sag by more"
            " than their own free length."
        )
    if graded.too_weak.any():
        said.append(
            f"{int(graded.too_weak.sum())} droop and are too weak or fold by linear theory already; they fail without"
            " further figures."
        )
    if (~held).any():
        said.append(f"{int((~held).sum())} were left out: the grip is too short for their diameter.")
    if prop.support[0].sleeve:
        said.append("Sleeves of the file are left out: each candidate is bare.")
    if candidates.task.eye is None:
        said.append("No [camera] is given: widths are in mm, wobble is graded as if a pixel spanned 0.1 mm.")
    said.append(
        "All are graded on strength, buckling, sag, wobble and settling; those shown had every check of this prop, so"
        " some that were graded a pass may have been passed over. How close props come is left to rigcheck check."
    )
    if candidates.is_straight():
        said.append(
            "Reach is to the first length that does not pass, in whole millimetres; that of several supports is by"
            " linear theory."
        )
    return (*said, *candidates.reading.assumptions)
