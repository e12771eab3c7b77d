"""Every candidate given the check: one batch for each layout, graded by the functions of a check."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import keep_freed_memory
from rigcheck.studies.candidates import Candidates
from rigcheck.studies.cautions import REQUIRED_FACTOR
from rigcheck.studies.evaluate import Outcome, Rest, at_rest, needs_large, outcome_of
from rigcheck.studies.grading import BUCKLING_FACTOR, DROOP_SHARE, Grade, Limits, grade, passing_wobble
from rigcheck.studies.reading.doubts import FAR_TOO_LONG, FAR_TOO_SLENDER, FAR_TOO_THICK
from rigcheck.studies.results import Status
from rigcheck.studies.rigs import divided_at_ends
from rigcheck.studies.task import Task

__all__ = ["AT_ONCE", "FINDINGS", "RANKS", "Graded", "grade_candidates", "margin_of"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

AT_ONCE, COUPLED_AT_ONCE = 1536, 3072
"""Supports in one batch, and pairs of supports, whose matrices grow with their number: enough to keep numpy busy, few
enough for little memory, by trial."""
TOO_SOFT = 1.0
"""Least possible linear sag over free length from which a candidate is set aside as far too soft."""
ENOUGH = 10.0
"""Margins above it are all the same: ten times is plenty for anything."""
HOPELESS = 0.5
"""Strength factor by linear theory over the one wanted below which a candidate that droops is set aside."""
RANKS = (Status.PASS, Status.CAUTION, Status.FAIL)
"""In rising order of `Graded.rank`."""
FINDINGS = ("yield-factor", "buckling", "sag", "residual-wobble", "settle")
"""That candidates are graded on."""
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
    "displacement",
    "rotation",
)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
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
    displacement, rotation : array, shape (n, 3)
        Of the settled prop, as in `Outcome`; NaN where not computed.
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
    displacement: Array
    rotation: Array

    @staticmethod
    def empty(count: int) -> Graded:
        """All failing, nothing computed."""

        def none() -> Array:
            return np.full(count, np.nan)

        return Graded(
            rank=np.full(count, 2, dtype=np.intp),
            ranks={name: np.full(count, -1, dtype=np.intp) for name in FINDINGS},
            values={name: none() for name in FINDINGS},
            sag=none(),
            frequency=none(),
            wobble=none(),
            wobble_px=none(),
            margin=np.zeros(count),
            too_soft=np.zeros(count, dtype=bool),
            too_weak=np.zeros(count, dtype=bool),
            large=np.zeros(count, dtype=bool),
            displacement=np.full((count, 3), np.nan),
            rotation=np.full((count, 3), np.nan),
        )

    def put(self, rows: Index, part: Graded) -> None:
        """Write the grades of some candidates."""
        for name in _COLUMNS:
            getattr(self, name)[rows] = getattr(part, name)
        for name, values in part.values.items():
            self.values[name][rows] = values
            self.ranks[name][rows] = part.ranks[name]


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
        For reach, where it only counts whether one passes (with a caution where nobody can do better): all is by
        linear theory, by which one support that sags by more than a tenth of its length is no pass anyway; and wobble
        is given by a bound where that tells.
    told : callable, optional
        Called with how many are done.

    Returns
    -------
    Graded
        In the order of `chosen`.
    """
    keep_freed_memory()
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
        count = int(candidates.count[chosen[rows[0]]])
        most = min(AT_ONCE // count, COUPLED_AT_ONCE // count**2)
        # A few above the most are no batch of their own.
        for part in np.array_split(rows, max(1, round(len(rows) / most))):
            _grade_part(graded, part, task_of, doubtful, quick=quick)
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
) -> None:
    """Grade candidates of one layout: by linear theory those that it serves, and the others as far as it takes."""
    task = task_of(part)
    rest = at_rest(task.rig, task.settings)
    far = needs_large(rest)
    near = ~far | (quick & rest.solved)
    unseen = passing_wobble(task.limits, task.eye) if quick else 0.0

    def put(chosen: NDArray[np.bool_], outcome: Callable[[Rest, bool], Outcome], unseen: float) -> None:
        rows = part[chosen]
        if len(rows):
            own, held = (task, rest) if chosen.all() else (task_of(rows), rest.take(chosen))
            graded.put(rows, _graded(own, outcome(held, own.is_turning), doubtful[rows], unseen=unseen))

    put(near, lambda held, turning: held.outcome(turning=turning), unseen)
    if quick:
        length = np.min([support.free_length for support in task.rig.supports], axis=0)
        droops = near & (np.abs(rest.displacement[:, 1]) > DROOP_SHARE * length)
        graded.rank[part[droops]] = np.maximum(graded.rank[part[droops]], 1)
        return
    # The load factor against buckling is that of linear theory in every check, so this one fails in any case.
    folds = far & (rest.buckling_factor < BUCKLING_FACTOR)
    graded.values["buckling"][part[folds]] = rest.buckling_factor[folds]
    graded.ranks["buckling"][part[folds]] = 2
    required = REQUIRED_FACTOR[task.limits.hazard]
    breaks = far & ~folds & (rest.strength_factor < HOPELESS * required)
    graded.too_weak[part[folds | breaks]] = True
    graded.values["yield-factor"][part[breaks]] = rest.strength_factor[breaks]
    graded.ranks["yield-factor"][part[breaks]] = 2
    put(far & ~folds & ~breaks, lambda held, turning: outcome_of(held, turning=turning), 0.0)


def _graded(task: Task, still: Outcome, doubtful: NDArray[np.bool_] | None, *, unseen: float = 0.0) -> Graded:
    batch = task.rig.batch
    motion = task.move(still, course=False, unseen=unseen)
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
        displacement=still.displacement * known[:, None],
        rotation=still.rotation * known[:, None],
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
    for number, word in enumerate(RANKS):
        rank[status == word.value] = number
    return rank


def _least_sag(candidates: Candidates, chosen: Index, lengths: Array) -> Array:
    # Per length cubed, because one candidate may come with several lengths.
    unit = candidates.least_sag(np.ones(len(candidates)))
    return np.asarray(unit[chosen] * lengths**3)


def _doubtful(candidates: Candidates, chosen: Index, lengths: Array) -> NDArray[np.bool_]:
    """Where a check of the candidate would ask whether a unit is right."""
    across = candidates.across[candidates.item[chosen]]
    own = (lengths / across > FAR_TOO_SLENDER) | (across > FAR_TOO_THICK) | (lengths > FAR_TOO_LONG)
    return np.asarray(own | candidates.always_doubtful)


def _alike(candidates: Candidates, chosen: Index, lengths: Array, places: Index) -> list[Index]:
    """Places of candidates that can be one batch: of one count, and divided alike along their length."""
    groups = []
    counts = candidates.count[chosen]
    for count in sorted(set(counts[places].tolist())):
        rows = places[counts[places] == count]
        divided = candidates.may_bend_at_ends_only(chosen[rows], lengths[rows])
        if divided.any():
            some = rows[divided]
            own = lengths[some] if candidates.is_straight() else None
            divided[divided] = divided_at_ends(candidates.task_of(chosen[some], own).rig)
        groups += [part for part in (rows[divided], rows[~divided]) if len(part)]
    return groups
