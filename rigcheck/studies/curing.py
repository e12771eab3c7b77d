"""Cures that were proven: each change made in the shot, and the whole check made again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rigcheck.model import Prop, Shot
from rigcheck.studies.cures import KINDS, Cure, Step, effect, find_cures
from rigcheck.studies.examining import Examined, examine, meeting_in, with_prop
from rigcheck.studies.grading import grade
from rigcheck.studies.reading.supports import choices_for
from rigcheck.studies.results import Finding, Status
from rigcheck.studies.task import Choices
from rigcheck.studies.work import Work, work_on, works_together

__all__ = ["proven_cures"]

_CURABLE = ("residual-wobble", "settle", "yield-factor", "sag", "buckling")
_LARGER = 2
"""Larger steps of a change that are tried where the smallest that mends its own finding leaves others wrong."""
_ENOUGH = 3
"""Changes examined for an ordinary check, which needs one piece of advice."""
_ALL_APART = ("other material", "other side")
"""Kinds whose changes are not more or less of the same."""
_ONLY_MOVES = "smoother"
"""Kind of change that leaves the rig at rest as it is."""
_LASTS = ("grip", "clamp-turns", "overhead")
"""Findings, by how their names begin, that more of no change mends: a clamp holds what is thicker by less still."""
_GRAVITY = (Status.SKIPPED, Status.PASS, Status.CAUTION, Status.FAIL)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Proof:
    """A change with what the whole check finds after it."""

    cure: Cure
    after: Work
    left: tuple[Finding, ...]
    worse: tuple[Finding, ...]

    @property
    def names(self) -> frozenset[str]:
        """What it leaves, by id and status."""
        return frozenset(f"{item.id} {item.status.value}" for item in self.left)

    @property
    def order(self) -> tuple[bool, int, int, int]:
        """What makes everything pass comes first, then what leaves less, then what asks less."""
        kind = KINDS.index(self.cure.kind)
        return (bool(self.left), len(self.worse), -len(self.cure.cures), kind)


def proven_cures(
    shot: Shot,
    examined: Examined,
    *,
    others: Sequence[Work] = (),
    choices: Choices | None = None,
) -> list[Cure]:
    """Find single changes that make what is wrong with a prop pass, each computed with the whole check.

    Parameters
    ----------
    shot : Shot
        As it is.
    examined : Examined
        The prop as it is.
    others : sequence of Work
        The shot's other props, for how close they come; left out, that is not looked at.
    choices : Choices, optional
        What could be taken instead, for a thorough search over all kinds of change. Left out, only as much is tried
        as an ordinary check needs: a change that makes everything pass, or the best of a few.

    Returns
    -------
    list of Cure
        Those that make everything pass first, then those that cure most; among equals the kind that asks least
        (`KINDS`). Each says what it leaves. A change that makes another finding fail is left out, one that makes it
        a caution says so. Beside one that makes everything pass, those that leave a failure are left out too: half a
        cure is no advice to somebody who can have a whole one.
    """
    work = examined.work
    wrong = _wrong(examined)
    if not wrong:
        return []
    task, thorough = work.reading.task, choices is not None
    given = (task, work.still, examined.grades, wrong)
    usual = choices_for(shot, work.prop.support[0]) if choices is None else choices
    found = find_cures(*given, usual, thorough=thorough)
    failing = {name for name in wrong if str(examined.grades[name].status[0]) == Status.FAIL}
    if not thorough and failing - {name for cure in found for name in cure.cures}:
        from rigcheck.studies.candidates import wide_choices

        found = find_cures(*given, wide_choices(shot, work.prop), thorough=True)
    prover = _Prover(shot, examined, others)
    if thorough:
        # Those that a whole cure would make needless wait, each for its turn.
        prover.compute([cure for cure in found if Status.FAIL not in cure.step.leaves.values()])
    proofs: list[_Proof] = []
    for cure in found:
        whole = any(not proof.left for proof in proofs)
        if not thorough and (whole or len(proofs) >= _ENOUGH):
            break
        if whole and Status.FAIL in cure.step.leaves.values():
            continue
        tried = cure if thorough else replace(cure, larger=())
        if (proof := prover.prove(tried)) is not None:
            proofs.append(proof)
    return [_worded(proof) for proof in _least(sorted(proofs, key=lambda proof: proof.order))]


def _least(proofs: list[_Proof]) -> list[_Proof]:
    """Without those that ask more of the same kind for the same."""
    kept: list[_Proof] = []
    for proof in proofs:
        mine = proof.cure
        rivals = [
            other
            for other in proofs
            if other is not proof and other.cure.kind == mine.kind and mine.kind not in _ALL_APART
        ]
        if not any(
            other.cure.cures >= mine.cures
            and other.names <= proof.names
            and (other.cure.size, proofs.index(other)) < (mine.size, proofs.index(proof))
            for other in rivals
        ):
            kept.append(proof)
    return kept


def _wrong(examined: Examined) -> set[str]:
    """Findings to cure."""
    reading = examined.work.reading
    wrong = {
        name
        for name in _CURABLE
        if name in examined.grades and str(examined.grades[name].status[0]) in (Status.FAIL, Status.CAUTION)
    }
    # Over people no strength makes a pass, so nothing there is worth trying for one.
    if reading.task.limits.hazard == "overhead":
        wrong -= {"yield-factor"}
    # With a unit that is probably wrong the advice would be too, and 25 m of wire take long to bend.
    return set() if reading.doubts or not examined.work.solved else wrong


class _Prover:
    """Changes in one prop of a shot, each judged once."""

    def __init__(self, shot: Shot, before: Examined, others: Sequence[Work]) -> None:
        self._shot, self._before, self._others = shot, before, others
        self._wrong = _wrong(before)
        self._findings = before.findings
        self._known: dict[Step, _Proof | None] = {}
        self._works: dict[Step, Work] = {}

    def compute(self, cures: Sequence[Cure]) -> None:
        """Compute the rig after the first step of changes together, which takes less than one after another."""
        new = [cure for cure in cures if cure.kind != _ONLY_MOVES and cure.step not in self._works]
        asked = [self._changed(cure.step) for cure in new]
        self._works.update(zip((cure.step for cure in new), works_together(asked), strict=True))

    def _changed(self, step: Step) -> tuple[Shot, Prop]:
        prop = step.edit(self._before.work.prop)
        return with_prop(self._shot, self._before.work.prop, prop), prop

    def _after(self, cure: Cure, step: Step) -> Work:
        """The rig after a step, as far as the prop alone is asked about."""
        if step not in self._works:
            changed = self._changed(step)
            # A smoother move leaves the rig at rest as it is.
            if cure.kind == _ONLY_MOVES:
                self._works[step] = work_on(*changed, self._before.work.still, course=False)
            else:
                self._works[step] = works_together([changed])[0]
        return self._works[step]

    def prove(self, cure: Cure) -> _Proof | None:
        """The smallest step of a change that makes everything pass, else the first that mends what it should."""
        first: _Proof | None = None
        for step in (cure.step, *cure.larger[:_LARGER]):
            if first is not None and step.leaves:
                # Not all passes with it as graded, so not in the whole check either.
                continue
            proof = self._judged(cure, step)
            if proof is None:
                continue
            if not proof.left:
                return self._beside(proof)
            first = first or proof
            if not _may_help(proof.left, cure):
                break
        return None if first is None else self._beside(first)

    def _judged(self, cure: Cure, step: Step) -> _Proof | None:
        """What one step of a change does to the prop alone; None where it cures nothing or breaks something."""
        if step not in self._known:
            self._known[step] = self._judge(cure, step)
        known = self._known[step]
        if known is None:
            return None
        done = known.cure
        return replace(known, cure=replace(cure, says=done.says, cures=done.cures, step=step))

    def _judge(self, cure: Cure, step: Step) -> _Proof | None:
        before = self._before
        after = self._after(cure, step)
        if not after.solved:
            return None
        task = after.reading.task
        grades = grade(after.still, after.motion, task.limits, task.eye)
        graded = {name: (float(item.value[0]), Status(str(item.status[0]))) for name, item in grades.items()}
        passing = frozenset(name for name in self._wrong if graded[name][1] is Status.PASS)
        mended = passing & step.cures
        if passing - mended or not mended:
            # What passes by luck beside it: the next larger step may fail again.
            return None
        left, worse = _compared(self._findings, examine(after, grades=grades, for_verdict=True).findings)
        if any(item.status is Status.FAIL for item in worse):
            return None
        says = effect(step.words, graded, mended, before.grades, before.work.reading.task.eye)
        cure = replace(cure, says=says, cures=mended, step=step)
        return _Proof(cure=cure, after=after, left=left, worse=worse)

    def _beside(self, proof: _Proof) -> _Proof | None:
        """The same among the other props; None where it comes too close to one of them."""
        if not self._others:
            return proof
        shot, prop = self._shot, self._before.work.prop
        place = next(index for index, one in enumerate(shot.prop) if one is prop)
        works = [*self._others[:place], proof.after, *self._others[place:]]
        changed = with_prop(shot, prop, proof.after.prop)
        left, worse = _compared(self._findings, meeting_in(changed, works, place))
        if any(item.status is Status.FAIL for item in worse):
            return None
        return replace(proof, left=(*proof.left, *left), worse=(*proof.worse, *worse))


def _may_help(left: tuple[Finding, ...], cure: Cure) -> bool:
    """Whether a larger step of the change may mend what is left."""
    names = {item.id for item in left}
    if any(name.startswith(_LASTS) for name in names):
        return False
    if cure.kind in ("slower", "smoother"):
        return bool(names & {"residual-wobble", "settle"})
    return bool(names - {"hidden", "meeting", "overhead", "cleanup"})


def _compared(
    before: Sequence[Finding], after: Sequence[Finding]
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Findings that do not pass after a change, and those of them that are worse than before."""
    was: dict[str, int] = {}
    for item in before:
        was[item.id] = max(was.get(item.id, 0), _GRAVITY.index(item.status))
    left = tuple(item for item in after if item.status in (Status.CAUTION, Status.FAIL))
    skipped = _GRAVITY.index(Status.SKIPPED)
    worse = tuple(
        item
        for item in left
        # What could not be checked before is not made worse by being seen now.
        if (old := was.get(item.id, _GRAVITY.index(Status.PASS))) != skipped
        and _GRAVITY.index(item.status) > old
    )
    return left, worse


def _worded(proof: _Proof) -> Cure:
    """The cure with what it leaves."""
    cure = proof.cure
    if not proof.left:
        return replace(cure, says=f"{cure.says}: then it passes", passes=True)
    new = {item.id for item in proof.worse}
    told = [
        ("it brings", [item for item in proof.left if item.id in new]),
        ("that leaves", [item for item in proof.left if item.id not in new]),
    ]
    words = [
        f"{lead} {', '.join(dict.fromkeys(f'{item.label} ({item.status.value})' for item in items))}"
        for lead, items in told
        if items
    ]
    return replace(cure, says=f"{cure.says}: {'; '.join(words)}")
