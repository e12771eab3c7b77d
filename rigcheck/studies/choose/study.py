"""What to buy: every size in stock, each given the check, ranked by what matters to the picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Shot
from rigcheck.studies.candidates import Candidates, own_items, stock_items, wide_choices
from rigcheck.studies.cautions import cautions
from rigcheck.studies.choose.grades import RANKS, Graded, grade_candidates
from rigcheck.studies.choose.ranking import as_found, pareto_front, pixels_per_metre, ranked, visible_width
from rigcheck.studies.choose.reach import reach_rows, reaches_of
from rigcheck.studies.choose.results import Candidate, ChoiceResult, PropChoice
from rigcheck.studies.choose.shortlist import Proposal, Proposals
from rigcheck.studies.choose.words import assumptions_of, by_luck, what_fails, why_not_thinner
from rigcheck.studies.cures import Cure
from rigcheck.studies.curing import proven_cures
from rigcheck.studies.examining import examine, meeting_in
from rigcheck.studies.reading.supports import stock_material
from rigcheck.studies.results import Contribution
from rigcheck.studies.work import Work, may_meet, works_for

__all__ = ["choose"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

Progress = Callable[[int, int], None]


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
    the whole check of the prop (`rigcheck.studies.choose.shortlist`), and what comes out worse moves down. A
    candidate whose sag by ``W L^3/(3 E I)`` alone would be more than its free length (`Candidates.least_sag`) is
    set aside as far too soft; settled, it hangs by more than half its length (elastica: 0.60 L at ``W L^2/(E I) =
    3``; K. E. Bisshopp and D. C. Drucker, Q. Appl. Math. 3, 1945, from memory). What would need the solution for
    large displacement is set aside as too weak where it fails in any case: its buckling factor, which that solution
    does not change, is under 3; or linear theory leaves it less than half the strength it needs (the lever arm of a
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
    # Computed once for all: each of them is one of the others that another's cures must keep clear of.
    works = works_for(shot, prop) if cures else ()
    total, done = sum(len(candidates) for candidates in made), 0
    results = []
    for candidates in made:

        def told(count: int, before: int = done) -> None:
            if progress is not None:
                progress(before + count, total)

        results.append(
            _choose_prop(
                candidates, most=most, pareto=pareto, every=every, reach=reach, works=works, told=told
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
    works: Sequence[Work],
    told: Callable[[int], None],
) -> PropChoice:
    graded = grade_candidates(candidates, told=told)
    width = visible_width(candidates)
    order = ranked(candidates, graded, width)
    proposals = Proposals(candidates, graded)
    held = np.isfinite(candidates.clamp_diameters[candidates.item])
    shown = proposals.best(order[np.isfinite(graded.sag[order])], graded.rank, max(1, most), every=every)
    front = pareto_front(width, graded) if pareto else np.zeros(0, dtype=np.intp)
    reaches = {}
    if reach and candidates.is_straight():
        reaches = reaches_of(candidates, order, graded, [*shown, *front.tolist()])

    def as_known(index: int, chance_of_pass: float | None = None) -> Candidate:
        known = proposals.of(index) if index in proposals else None
        return _candidate(candidates, graded, width, reaches, index, known, chance_of_pass)

    def made(indices: Sequence[int]) -> tuple[Candidate, ...]:
        chances = proposals.chances_of_pass(index for index in indices if index in proposals)
        return tuple(as_known(index, chances.get(index)) for index in indices)

    def in_words(index: int) -> Candidate:
        # One that fails as graded needs no whole check to say why.
        if graded.rank[index] < 2:
            proposals.of(index)
        return as_known(index)

    prop, shot = candidates.prop, candidates.shot
    proposals.look(front.tolist())
    best = made(shown)
    materials = dict.fromkeys(candidates.items[candidates.item[index]].material for index in shown)
    warned = [text for name in materials for text in stock_material(shot, name).cautions]
    return PropChoice(
        name=prop.name,
        best=best,
        lucky=by_luck(best, candidates.free_length() * 1e3),
        front=made(front.tolist()),
        thinner=why_not_thinner(candidates, graded, width, shown, proposals, in_words),
        reach=reach_rows(candidates, reaches),
        cures=tuple(_cures(candidates, works)) if works else (),
        every=made(as_found(order, graded, proposals)) if every else (),
        tried=len(candidates),
        passing=int((graded.rank == 0).sum()),
        cautioned=int((graded.rank == 1).sum()),
        too_soft=int(graded.too_soft.sum()),
        too_weak=int(graded.too_weak.sum()),
        not_held=int((~held).sum()),
        assumptions=assumptions_of(candidates, graded, held),
        cautions=cautions(shot.limits.hazard, tuple(dict.fromkeys(warned))),
    )


def _candidate(
    candidates: Candidates,
    graded: Graded,
    width: Array,
    reaches: dict[tuple[int, int], float],
    index: int,
    proposal: Proposal | None,
    chance_of_pass: float | None,
) -> Candidate:
    scale = pixels_per_metre(candidates)
    item, count = int(candidates.item[index]), int(candidates.count[index])
    return Candidate(
        item=candidates.items[item],
        count=count,
        verdict=RANKS[int(graded.rank[index])] if proposal is None else proposal.verdict,
        in_full=proposal is not None,
        chance_of_pass=chance_of_pass,
        sag_mm=None if proposal is not None and proposal.yields else _number(graded.sag[index] * 1e3),
        frequency_hz=_number(graded.frequency[index]),
        residual_wobble_mm=_number(graded.wobble[index] * 1e3),
        residual_wobble_px=_number(graded.wobble_px[index]),
        visible_width_mm=float(width[index] * 1e3),
        visible_width_px=None if scale is None else float(width[index] * scale),
        margin=float(graded.margin[index]),
        longest_reach_mm=_number(reaches.get((item, count), np.nan) * 1e3),
        fails=what_fails(candidates, graded, index, proposal),
    )


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _cures(candidates: Candidates, works: Sequence[Work]) -> list[Cure]:
    """Single changes that cure the rig as it stands in the file; `works` are of it and of what it could meet."""
    shot, prop = candidates.shot, candidates.prop
    place = next(index for index, work in enumerate(works) if work.prop is prop)
    others = [*works[:place], *works[place + 1 :]] if may_meet(shot) else []
    met = Contribution(findings=meeting_in(shot, works, place))
    examined = examine(works[place], met, for_verdict=True)
    return proven_cures(shot, examined, others=others, choices=wide_choices(shot, prop, candidates.items))
