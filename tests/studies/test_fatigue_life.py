"""Fatigue and bending by hand: against the same lines worked out by hand."""

from __future__ import annotations

import math
import re

import pytest
from check_parts import computed, figure, finding
from lasting_rigs import OWN, SOFT, move, run, wire

from rigcheck.studies.lasting import lasting
from rigcheck.studies.results import Status


def test_fatigue_life_by_hand() -> None:
    """Basquin from 0.9 Rm at 1e3 to 34.5 MPa at 5e8, Goodman, Kf 2, Miner (the lines of the data file, by hand)."""
    work = computed(wire("2 g", move=move("200 mm", "1.2 s"), head="[limits]\ntakes = 1"))
    still, motion = work.still, work.motion
    assert motion is not None
    result, _ = lasting(work)
    exponent = math.log(34.5 / (0.9 * 90)) / math.log(5e8 / 1e3)
    coefficient = 0.9 * 90e6 / 1e3**exponent
    mean = 1 - float(still.peak_stress[0]) / 90e6
    decay = math.exp(-2 * math.pi * 0.003 / math.sqrt(1 - 0.003**2) / -exponent)
    harm = 0.0
    for stress_, count in ((motion.swing_stress[0], 1.0), (motion.ringing_stress[0], 1 / (1 - decay))):
        harm += count * (2 * float(stress_) / mean / coefficient) ** (-1 / exponent)
    found = finding(result, "fatigue")
    assert found.value == pytest.approx(min(1 / harm, 1e6), rel=1e-9)
    assert found.unit == "takes"
    assert found.at_least


def takes_rig(takes: float) -> str:
    return wire(
        "3 g",
        length='length = "150 mm"',
        move=move("200 mm", "0.35 s"),
        head=f"[limits]\ntakes = {int(takes)}",
    )


def test_fatigue_status_by_takes() -> None:
    life = finding(run(takes_rig(1))[0], "fatigue").value
    assert life is not None
    assert 100 < life < 1e6
    for takes, status in (
        (life / 10 - 1, Status.PASS),
        (life / 10 + 1, Status.CAUTION),
        (life - 1, Status.CAUTION),
        (life + 1, Status.FAIL),
    ):
        found = finding(run(takes_rig(takes))[0], "fatigue")
        assert found.status is status
        assert found.limit == int(takes)


def test_fatigue_words() -> None:
    result, _ = run(wire("2 g", move=move("20 mm", "4 s")))
    found = finding(result, "fatigue")
    assert (found.status, found.value) == (Status.PASS, 1e6)
    assert found.says == "It lasts more than a million takes, by typical data."
    assert result.assumptions[0].startswith("Fatigue life scatters by a factor of ten")
    assert (
        "The edge of the jaw multiplies the swing stress by 2 (1.5 to 2.5) in fatigue (common-practice)."
        in (result.assumptions)
    )
    life = finding(run(takes_rig(1))[0], "fatigue").value
    assert life is not None
    caution = finding(run(takes_rig(life / 5))[0], "fatigue")
    assert "life scatters by a factor of ten, so it may break before." in caution.says
    fail = finding(run(takes_rig(life * 2))[0], "fatigue")
    assert fail.says.startswith("It is likely to break at the clamp after about")
    fresh = re.fullmatch(r"Put in a fresh one every (\d+) takes\.", fail.advice[0])
    assert fresh
    assert float(fresh[1]) == pytest.approx(life / 10, rel=0.05)
    assert fail.advice[1].startswith("Make the move about ")
    at_once = finding(
        run(wire("3 g", length='length = "150 mm"', move=move("500 mm", "0.1 s")))[0], "fatigue"
    )
    assert (at_once.status, at_once.value) == (Status.FAIL, 0.0)
    assert at_once.says == "The first take can break it."


def test_fatigue_life_goes_with_the_advised_duration() -> None:
    """A move slow beside the wire swings it with the square of its duration; five times 23 Hz is near enough."""
    life = finding(run(takes_rig(1))[0], "fatigue").value
    assert life is not None
    advice = finding(run(takes_rig(life))[0], "fatigue").advice[1]
    factor = float(advice.split("about ")[1].split(" ")[0])
    longer = wire(
        "3 g",
        length='length = "150 mm"',
        move=move("200 mm", f"{0.35 * factor} s"),
        head=f"[limits]\ntakes = {int(life)}",
    )
    after = finding(run(longer)[0], "fatigue").value
    assert after is not None
    assert after > 3 * life


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (wire("2 g"), "No move is given."),
        (wire("14 g", move=move()), "It bends for good under the prop alone; cure that first."),
        (
            wire("2 g", material="tungsten-wire", move=move()),
            "No fatigue strength is known for tungsten-wire: no fatigue value found for tungsten wire.",
        ),
        (
            wire(
                "2 g",
                material="weightless",
                head=OWN.format(yield_strength="90 MPa", damping=0.0),
                move=move(),
            ),
            "Without damping it never stops ringing.",
        ),
        (
            wire(
                "2 g",
                material="weightless",
                head=OWN.format(yield_strength="90 MPa", damping=0.003),
                move=move(),
            ),
            "No fatigue strength is known for weightless: no fatigue strength was given.",
        ),
    ],
)
def test_fatigue_is_skipped(text: str, reason: str) -> None:
    found = finding(run(text)[0], "fatigue")
    assert (found.status, found.says) == (Status.SKIPPED, reason)


def test_fatigue_says_what_it_assumes() -> None:
    tube, _ = run(
        wire(
            "50 g", material="stainless-316l-annealed", size='diameter = "4 mm"\nwall = "0.5 mm"', move=move()
        )
    )
    assert (
        "The fatigue strength of stainless-316l-annealed is taken to be for 1e+07 cycles." in tube.assumptions
    )
    rod, _ = run(wire("50 g", material="threaded-rod-4.6", size='diameter = "M4"', move=move()))
    assert any(said.startswith("The thread multiplies the swing stress by ") for said in rod.assumptions)


# -- bending by hand ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("material", "printed"),
    [(SOFT, 32), ("copper-annealed", 21), ("stainless-304-annealed", 19), ("annealed-steel", 16)],
)
def test_bends_by_hand(material: str, printed: float) -> None:
    """Project's data file, section 6: bend to 90 degrees and back over R = 2 d (derived there, universal slopes)."""
    result, _ = run(wire("1 g", material=material))
    said = float(figure(result, f"{material}: bends by hand").split(" ")[1])
    assert said == pytest.approx(printed, abs=1)
