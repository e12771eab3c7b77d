"""How many takes the supports last, and how often soft wire bends by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rigcheck.stock import practice
from rigcheck.studies.contributions import skipped
from rigcheck.studies.evaluate import Outcome, stress_of
from rigcheck.studies.layers import Layer
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.words import share_words
from rigcheck.studies.work import Work

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial

__all__ = ["FATIGUE_LABEL", "check_fatigue", "hand_bends", "takes_words"]

FATIGUE_LABEL = "takes it lasts"
TAKES_IN_HAND = 10.0
"""Life over takes for a pass: fatigue life scatters by about a factor of ten; common practice, no source."""
MOST_TAKES = 1e6
USUAL_FATIGUE_CYCLES = 1e7
"""Cycles of a fatigue strength whose source gives none; common practice, no source."""
HAND_RADIUS = 2.0
"""Inside radius of a bend by hand in wire diameters, for the figure."""


def check_fatigue(work: Work, layers: list[Layer], *, first_yield: float) -> Contribution:
    """Check how many takes the supports last.

    Parameters
    ----------
    work : Work
        One prop computed, with a settled state.
    layers : list of Layer
        Of all supports.
    first_yield : float
        Multiple of the settled load at which a surface reaches its yield strength.

    Returns
    -------
    Contribution
        Finding ``fatigue``.
    """

    def none(reason: str) -> Contribution:
        return Contribution(findings=(skipped("fatigue", FATIGUE_LABEL, reason),))

    still, motion = work.still, work.motion
    if motion is None:
        return none("No move is given.")
    if first_yield < 1:
        return none("It bends for good under the prop alone; cure that first.")
    damping = float(still.rig.damping_ratio[0])
    if damping <= 0:
        return none("Without damping it never stops ringing.")
    stresses = _stresses(still, motion)
    lives: list[_Life] = []
    assumptions: list[str] = []
    for place, layer in enumerate(layers):
        life = _life(layer, *stresses[place], moves=len(work.prop.move), damping=damping)
        if isinstance(life, str):
            return none(life)
        lives.append(life)
        assumptions += life.assumptions
    shortest = min(lives, key=lambda life: life.takes)
    limit = float(work.shot.limits.takes)
    takes = shortest.takes
    if takes >= TAKES_IN_HAND * limit:
        status = Status.PASS
        says = f"It lasts {takes_words(takes)}, by typical data."
    elif takes >= limit:
        status = Status.CAUTION
        says = (
            f"By typical data it lasts {takes_words(takes)};"
            " life scatters by a factor of ten, so it may break before."
        )
    elif takes < 1:
        status = Status.FAIL
        says = "The first take can break it."
    else:
        status = Status.FAIL
        says = f"It is likely to break at the clamp after {takes_words(takes)}."
    advice: list[str] = []
    if status is not Status.PASS:
        if takes / TAKES_IN_HAND >= 1:
            advice.append(f"Put in a fresh one every {_rounded(takes / TAKES_IN_HAND)} takes.")
        if takes >= 1:
            # Takes go with stress to the power 1/b, and what a move adds with its duration to the power -2.
            wanted = TAKES_IN_HAND * limit
            stress = (wanted / takes) ** shortest.exponent
            longer = f"Make the move about {stress**-0.5:.2g} times as long"
            lasts = f"the swing stress falls to {share_words(stress)}, and it lasts {takes_words(wanted)}"
            advice.append(f"{longer}: {lasts}.")
        advice.append("Take a thicker one, or a shorter free length, so that it swings less.")
    return Contribution(
        findings=(
            Finding(
                id="fatigue",
                label=FATIGUE_LABEL,
                status=status,
                value=min(takes, MOST_TAKES),
                limit=limit,
                at_least=True,
                unit="takes",
                says=says,
                advice=tuple(advice),
            ),
        ),
        assumptions=(
            "Fatigue life scatters by a factor of ten: a pass wants ten times the takes (common practice).",
            *dict.fromkeys(assumptions),
            "The way back to the start of each take is made slowly and adds nothing to fatigue.",
        ),
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Life:
    takes: float
    exponent: float
    assumptions: tuple[str, ...]


def _life(
    layer: Layer, settled: float, swing: float, ringing: float, *, moves: int, damping: float
) -> _Life | str:
    """Takes that a layer lasts under its stresses [Pa], or why that is not known.

    Each take is one cycle at the peak of each move, and the ring-down, about the settled stress as mean.
    """
    from rigcheck.mechanics.fatigue import (
        SHORT_LIFE_SHARE,
        fatigue_line,
        ring_down_cycles,
        takes_to_failure,
    )

    stock = layer.stock
    strength, ultimate = stock.fatigue_strength, stock.ultimate_strength()
    if strength is None or ultimate is None:
        reason = stock.fatigue_reason.rstrip(".")
        return f"No fatigue strength is known for {stock.name}" + (f": {reason}." if reason else ".")
    if strength.value >= SHORT_LIFE_SHARE * ultimate.value:
        return f"The fatigue strength of {stock.name} is too close to its strength to say anything."
    assumptions = []
    cycles = stock.fatigue_cycles
    if cycles is None:
        cycles = USUAL_FATIGUE_CYCLES
        assumptions.append(f"The fatigue strength of {stock.name} is taken to be for {cycles:.0e} cycles.")
    notch = practice("jaw-notch").datum if stock.fatigue_notch_factor is None else stock.fatigue_notch_factor
    low, high = notch.bounds
    where = "The edge of the jaw" if stock.fatigue_notch_factor is None else "The thread"
    spread = f" ({low:g} to {high:g})" if high > low else ""
    assumptions.append(
        f"{where} multiplies the swing stress by {notch.value:g}{spread} in fatigue ({notch.mark})."
    )
    line = fatigue_line(
        tensile_strength=ultimate.value, fatigue_strength=strength.value, fatigue_cycles=cycles
    )
    result = takes_to_failure(
        line,
        amplitude=[swing, ringing],
        cycles=[float(moves), float(ring_down_cycles(damping, line.exponent))],
        mean_stress=settled,
        notch_factor=notch.value,
    )
    return _Life(takes=float(result.takes), exponent=float(line.exponent), assumptions=tuple(assumptions))


def _stresses(still: Outcome, motion: MotionOutcome) -> list[tuple[float, float, float]]:
    """Settled, swing and ringing stress of each part [Pa]; that of all bounds the ringing of each."""
    ringing = float(motion.ringing_stress[0])
    if len(still.parts) == 1:
        return [(float(still.peak_stress[0]), float(motion.swing_stress[0]), ringing)]
    settled = stress_of(still.parts, still.forces)
    swing = stress_of(still.parts, motion.swing_forces)
    return [
        (float(one[0].max()), float(other[0].max()), min(float(other[0].max()), ringing))
        for one, other in zip(settled, swing, strict=True)
    ]


def takes_words(takes: float) -> str:
    """How many takes a support lasts, with the two digits that typical data bear out."""
    if takes >= MOST_TAKES:
        return "more than a million takes"
    return f"about {_rounded(takes)} take{'s' if takes >= 1.5 else ''}"


def _rounded(count: float) -> str:
    """A count with two digits, for example ``12,000``."""
    return f"{float(f'{count:.2g}'):,.0f}"


def hand_bends(layers: list[Layer]) -> Contribution:
    """How often soft wire bends by hand before it breaks.

    Parameters
    ----------
    layers : list of Layer
        Of all supports.

    Returns
    -------
    Contribution
        A figure for each soft wire.
    """
    figures = {}
    for layer in layers:
        stock = layer.stock
        area_loss, ultimate = stock.reduction_of_area, stock.tensile_strength
        if layer.sleeve is not None or layer.support.form not in ("round", "strand"):
            continue
        # Only soft wire, which is bent by hand, has a reduction of area in the data.
        if area_loss is None or ultimate is None:
            continue
        if stock.name not in figures:
            figures[stock.name] = _hand_bends_of(stock, float(layer.support.diameter[0]))
    return Contribution(figures=tuple(figures.values()))


def _hand_bends_of(stock: StockMaterial, diameter: float) -> Figure:
    from rigcheck.mechanics.fatigue import bend_strain, hand_bends_to_failure

    assert stock.reduction_of_area is not None  # the caller has looked
    assert stock.tensile_strength is not None
    bends = hand_bends_to_failure(
        bend_strain(wire_diameter=diameter, inside_radius=HAND_RADIUS * diameter),
        tensile_strength=stock.tensile_strength.value,
        youngs_modulus=stock.youngs_modulus.value,
        reduction_of_area=stock.reduction_of_area.value,
    )
    return Figure(
        label=f"{stock.name}: bends by hand",
        value=f"about {_rounded(float(bends))}",
        note="to 90 degrees and back over an inside radius of two diameters; order of magnitude only",
    )
