"""The order of work: what the crew does first, next and last, with the numbers each step needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rigcheck.studies.fatigue_life import takes_words
from rigcheck.studies.results import PropResult, Status
from rigcheck.studies.sheet.cuts import Cut, SheetBlank, SleeveCut
from rigcheck.studies.sheet.setup import ClampNote, Counterweight, ProofLoad
from rigcheck.studies.words import listed, mass_words

__all__ = ["SetUp", "Step", "order_of_work"]

_COUNTABLE = 3.0
"""Swings a second up to which they can be counted by eye [Hz]; a choice."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SetUp:
    """What the steps need to know of one prop."""

    check: PropResult
    mass_kg: float
    clamps: tuple[ClampNote, ...]
    counterweight: Counterweight | None
    proof: ProofLoad
    mount: tuple[str, ...]
    takes: int
    bent: bool


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step: what to do in a few words, and the details, prop by prop where they differ."""

    title: str
    details: tuple[str, ...] = ()


def order_of_work(
    props: Sequence[SetUp],
    *,
    cuts: Sequence[Cut],
    sleeves: Sequence[SleeveCut],
    blanks: Sequence[SheetBlank],
    hazard: str,
    moves: bool,
) -> tuple[Step, ...]:
    """Put the work in order.

    Parameters
    ----------
    props : sequence of SetUp
        Every prop of the sheet.
    cuts, sleeves, blanks : sequences
        What has to be cut.
    hazard : str
        Who is near.
    moves : bool
        Whether anything moves.

    Returns
    -------
    tuple of Step

    Notes
    -----
    The order itself, the slow first run and the look after each take are common practice, without a source.
    """
    masses = listed([f"{one.check.name} {mass_words(one.mass_kg)}" for one in props])
    failing = [one.check for one in props if one.check.verdict is Status.FAIL]
    steps: list[Step] = []
    if hazard == "overhead":
        steps.append(
            Step(
                title="Hand this sheet to a competent person first",
                details=("People, animals or open flame under a prop: nothing here is a permission.",),
            )
        )
    if failing:
        steps.append(
            Step(
                title=f"Change what fails before anything is cut: {listed([one.name for one in failing])}",
                details=tuple(f"{one.name}: {_what_to_change(one)}" for one in failing),
            )
        )
    steps.append(
        Step(
            title="Weigh and measure again",
            details=(
                f"Weigh each prop as it will hang, without its insert: {masses}.",
                "Measure every diameter with a caliper: 1 % of diameter is 4 % of stiffness.",
                "Where a value is not the file's, check again before you cut.",
            ),
        )
    )
    steps.append(
        Step(
            title="Cut",
            details=(
                f"{_count(sum(cut.count for cut in cuts), 'support')} by the cut list; round the ends and cap them.",
                *(
                    ["Cut sheets with the grain as the list says, and mark it on the sheet."]
                    if blanks
                    else []
                ),
            ),
        )
    )
    if any(one.bent for one in props):
        steps.append(
            Step(
                title="Bend",
                details=(
                    "Mark the bends from the clamp end as the list says.",
                    "Bend each once, round a pin, never in plier jaws.",
                ),
            )
        )
    if sleeves:
        steps.append(
            Step(
                title="Bond the sleeves",
                details=tuple(
                    f"{listed(cut.prop)}: {cut.diameter} tube from {cut.start_mm:g} to"
                    f" {cut.start_mm + cut.length_mm:g} mm from the jaw. A loose sleeve stiffens nothing."
                    for cut in sleeves
                ),
            )
        )
    marked = "Mark each wire at the jaw, so that slipping shows."
    steps.append(Step(title="Clamp", details=(*(_clamping(one) for one in props), marked)))
    steps.append(Step(title="Set the mount before the prop is hung", details=tuple(_mounting(props))))
    steps.append(Step(title="Balance the head", details=tuple(_balancing(props))))
    steps.append(Step(title="Proof load, before the take", details=tuple(_proof(props))))
    steps.append(Step(title="Hang the prop and tap it", details=tuple(_tapping(props))))
    if moves:
        steps.append(
            Step(
                title="Run the moves slowly, then at speed",
                details=(
                    "First at a tenth of the speed, everybody back: look at the closest approach and at cables.",
                    "Then at speed, still without a take.",
                ),
            )
        )
    steps.append(
        Step(
            title="Shoot a test take and look at it",
            details=("Does it arrive still? rigcheck explain finds what wobbles in a track of it.",),
        )
    )
    steps.append(
        Step(
            title="Between takes",
            details=(
                "Look at each wire at the jaw: a bend, a nick or a slipped mark ends its use.",
                *(_lasting(one) for one in props),
            ),
        )
    )
    steps.append(Step(title="Take the props down first, then the rig"))
    return tuple(steps)


def _what_to_change(one: PropResult) -> str:
    """What to do next, or what is wrong where nothing is known to cure it."""
    failed = next((found.says for found in one.findings if found.status is Status.FAIL), "")
    return one.next_step or failed


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _clamping(one: SetUp) -> str:
    parts = []
    for note in one.clamps:
        grip = "grip not given" if note.grip_mm is None else f"{note.grip_mm:g} mm in"
        whose = f"support {note.support}: " if len(one.clamps) > 1 else ""
        parts.append(f"{whose}{note.clamp[:1].lower()}{note.clamp[1:]}, {grip}")
    return f"{one.check.name}: {'; '.join(parts)}."


def _mounting(props: Sequence[SetUp]) -> list[str]:
    return [
        f"{one.check.name}: {one.mount[0]}"
        if one.mount
        else f"{one.check.name}: no offset can be promised; set it by eye with the prop hung."
        for one in props
    ]


def _balancing(props: Sequence[SetUp]) -> list[str]:
    balanced = [
        f"{one.check.name}: {one.counterweight.says}"
        if one.counterweight is not None
        else f"{one.check.name}: not computed, as it finds no rest."
        for one in props
    ]
    if any(one.counterweight is not None and one.counterweight.choices for one in props):
        balanced.append("Bolt a counterweight on, with a stop at the end of its arm: it can fall too.")
    return balanced


def _proof(props: Sequence[SetUp]) -> list[str]:
    details = []
    for one in props:
        proof, name = one.proof, one.check.name
        if not proof.safe:
            details.append(f"{name}: {proof.expect}")
            continue
        details.append(
            f"{name}: hang {mass_words(proof.load_kg)} in all over a cushion for {proof.hold_min:g} minutes."
            f" {proof.expect.split('. ')[0].rstrip('.')}."
        )
    details.append("What to look for stands with each prop below.")
    return details


def _tapping(props: Sequence[SetUp]) -> list[str]:
    details = []
    for one in props:
        if one.proof.swings is None:
            continue
        frequency, swings = one.proof.swings
        if frequency <= _COUNTABLE:
            details.append(f"{one.check.name}: it should swing {swings:.0f} times in ten seconds.")
        else:
            details.append(
                f"{one.check.name}: it should swing {frequency:.3g} times a second; film the tap with a phone in slow"
                " motion and count."
            )
    if details:
        details.append("More than a tenth off: the clamp, the mass or the diameter is not as in the file.")
    return details


def _lasting(one: SetUp) -> str:
    finding = next((found for found in one.check.findings if found.id == "fatigue"), None)
    name = one.check.name
    if finding is None or finding.status is Status.SKIPPED or finding.value is None:
        return f"{name}: how many takes its support lasts is not computed; change it when in doubt."
    lasts = takes_words(finding.value)
    return f"{name}: by typical data its support lasts {lasts}; {one.takes:,} are planned."
