"""The desk set as hand-made results: the inkwell passes, the notebook is a caution, the paper crane fails.

The figures are of the size that a cantilever of that wire gives; nothing here is compared with a calculation.
"""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.studies.results import (
    CheckResult,
    Figure,
    Finding,
    Mode,
    MotionResult,
    PropResult,
    StaticResult,
    Status,
)

UNDER = "Keep hands and faces away from below the props while they hang."
TYPICAL = "Material figures are typical, not guaranteed: prove the rig with a dummy of the same mass first."
RULES = "Follow your local rules; for anything over people ask a licensed rigger."
EYES = "Wear eye protection when you cut spring wire; the ends fly."


def inkwell() -> PropResult:
    return PropResult(
        name="inkwell",
        verdict=Status.PASS,
        support="stainless tube 8 mm x 1 mm, 180 mm free, from behind",
        static=StaticResult(
            method="linear",
            sag_mm=0.223,
            prop_displacement_mm=np.array([0.0, -0.223, 0.0]),
            prop_rotation_deg=np.degrees([0.0019, 0.0, 0.0]),
            tip_displacement_mm=np.array([0.0, -0.201, 0.0]),
            root_moment_N_m=0.547,
            peak_stress_MPa=15.9,
            yield_factor=12.9,
            set_mm=0.0,
            buckling_factor=None,
        ),
        modes=(
            Mode(
                frequency_Hz=33.1,
                damping_ratio=0.003,
                direction=(1.0, 0.0, 0.0),
                kind="sway right-left",
            ),
            Mode(frequency_Hz=33.4, damping_ratio=0.003, direction=(0.0, 1.0, 0.02), kind="sway up-down"),
            Mode(frequency_Hz=188.0, damping_ratio=0.003, direction=(0.0, 0.0, 0.0), kind="twist"),
        ),
        motion=MotionResult(
            peak_deviation_mm=0.0312,
            residual_wobble_mm=0.0121,
            residual_wobble_px=0.11,
            settle_s=0.0,
            seen_frequency_Hz=16.7,
        ),
        ranges={"sag_mm": (0.19, 0.27), "frequency_Hz": (30.2, 35.9), "residual_wobble_px": (0.04, 0.24)},
        chance_of_pass=0.971,
        findings=(
            Finding(
                id="sag",
                label="sag",
                status=Status.PASS,
                value=0.223,
                limit=5.0,
                unit="mm",
                says="It hardly sags.",
            ),
            Finding(
                id="residual-wobble",
                label="wobble after the move",
                status=Status.PASS,
                value=0.11,
                limit=1.0,
                unit="px",
                says="It arrives still.",
            ),
            Finding(
                id="settle",
                label="settle time",
                status=Status.PASS,
                value=0.0,
                limit=0.25,
                unit="s",
                says="It is still at once.",
            ),
            Finding(
                id="yield-factor",
                label="strength factor",
                status=Status.PASS,
                value=12.9,
                limit=1.5,
                at_least=True,
                says="The tube carries it with ease.",
            ),
        ),
        assumptions=("Damping 0.003, a guess for a wire in a firm jaw (0.001 to 0.01).",),
        cautions=(UNDER,),
        next_step=None,
        details=(Figure(label="support mass", value="31.2 g", note="from the section and the density"),),
    )


def notebook() -> PropResult:
    return PropResult(
        name="notebook",
        verdict=Status.CAUTION,
        support="music wire 4 mm, 150 mm free, from behind, in a collet",
        static=StaticResult(
            method="linear",
            sag_mm=0.771,
            prop_displacement_mm=np.array([0.0, -0.771, -0.11]),
            prop_rotation_deg=np.array([0.442, 0.0, 0.0]),
            tip_displacement_mm=np.array([0.0, -0.7, 0.0]),
            root_moment_N_m=0.265,
            peak_stress_MPa=42.2,
            yield_factor=35.1,
            set_mm=0.0,
            buckling_factor=None,
        ),
        modes=(
            Mode(frequency_Hz=17.9, damping_ratio=0.003, direction=(0.05, 1.0, 0.0), kind="sway up-down"),
            Mode(frequency_Hz=18.2, damping_ratio=0.003, direction=(-0.7, 0.71, 0.0), kind="sway"),
        ),
        motion=MotionResult(
            peak_deviation_mm=0.21,
            residual_wobble_mm=0.0503,
            residual_wobble_px=0.46,
            settle_s=0.4,
            seen_frequency_Hz=8.95,
        ),
        ranges={"sag_mm": (0.68, 0.9), "residual_wobble_px": (0.2, 1.31), "settle_s": (0.1, float("inf"))},
        chance_of_pass=0.62,
        findings=(
            Finding(
                id="sag",
                label="sag",
                status=Status.PASS,
                value=0.771,
                limit=5.0,
                unit="mm",
                says="It sags 0.77 mm.",
                advice=("Raise the mount 0.77 mm and tilt it up 0.44 deg.",),
            ),
            Finding(
                id="residual-wobble",
                label="wobble after the move",
                status=Status.CAUTION,
                value=0.46,
                limit=1.0,
                unit="px",
                says="It still wobbles by 0.46 px after the move, plain to see on a clean background.",
                advice=(
                    "A cycloidal profile in place of the trapezoidal one leaves 0.03 px.",
                    "A move 0.8 s longer leaves 0.12 px.",
                ),
            ),
            Finding(
                id="settle",
                label="settle time",
                status=Status.CAUTION,
                value=0.4,
                limit=0.25,
                unit="s",
                says="It needs 0.4 s to come to rest.",
            ),
            Finding(
                id="yield-factor",
                label="strength factor",
                status=Status.PASS,
                value=35.1,
                limit=1.5,
                at_least=True,
                says="The wire carries it with ease.",
            ),
            Finding(
                id="insert-droop",
                label="droop of the cover",
                status=Status.SKIPPED,
                says="No flexural rigidity or droop test is given.",
            ),
            Finding(
                id="axis-moment",
                label="moment on the head",
                status=Status.SKIPPED,
                says="No rating is given.",
            ),
            Finding(
                id="axis-payload", label="load on the head", status=Status.SKIPPED, says="No rating is given."
            ),
        ),
        assumptions=("Damping 0.003, a guess for a wire in a firm jaw (0.001 to 0.01).",),
        cautions=(UNDER, EYES),
        next_step="use a cycloidal profile in place of the trapezoidal one: 0.03 px are left.",
    )


def paper_crane() -> PropResult:
    return PropResult(
        name="paper crane",
        verdict=Status.FAIL,
        support="brass rod 1.5 mm, 240 mm free, from behind, in a pin vice",
        static=StaticResult(
            method="large",
            sag_mm=22.8,
            prop_displacement_mm=np.array([0.0, -22.8, -1.4]),
            prop_rotation_deg=np.array([8.1, 0.0, 0.0]),
            tip_displacement_mm=np.array([0.0, -21.1, -1.3]),
            root_moment_N_m=0.0325,
            peak_stress_MPa=98.1,
            yield_factor=3.67,
            set_mm=None,
            buckling_factor=None,
        ),
        modes=(
            Mode(frequency_Hz=3.24, damping_ratio=0.003, direction=(0.0, 0.98, 0.2), kind="sway up-down"),
            Mode(
                frequency_Hz=3.31,
                damping_ratio=0.003,
                direction=(-0.6, 0.5, 0.62),
                kind="sway, oblique",
            ),
        ),
        motion=MotionResult(
            peak_deviation_mm=4.4,
            residual_wobble_mm=0.7,
            residual_wobble_px=6.41,
            settle_s=41.0,
            seen_frequency_Hz=1.62,
        ),
        ranges={"sag_mm": (19.9, 26.4), "residual_wobble_px": (2.2, 9.7)},
        chance_of_pass=0.0,
        findings=(
            Finding(
                id="implausible",
                label="mass of the prop",
                status=Status.CAUTION,
                says="12 g is heavy for folded paper of this size: is the unit right?",
            ),
            Finding(
                id="axis-moment",
                label="moment on the head",
                status=Status.CAUTION,
                value=0.0325,
                limit=0.05,
                unit="N*m",
                says="The head carries 65 % of its rated moment.",
            ),
            Finding(
                id="sag",
                label="sag",
                status=Status.FAIL,
                value=22.8,
                limit=5.0,
                unit="mm",
                says="It sags 22.8 mm, of which 5 mm are allowed.",
                advice=("Music wire of 2.5 mm sags 1.7 mm.",),
            ),
            Finding(
                id="residual-wobble",
                label="wobble after the move",
                status=Status.FAIL,
                value=6.41,
                limit=1.0,
                unit="px",
                says="It wobbles by 6.4 px peak to peak after the move ends.",
            ),
            Finding(
                id="settle",
                label="settle time",
                status=Status.FAIL,
                value=41.0,
                limit=0.25,
                unit="s",
                says="It rings for 41 s.",
            ),
            Finding(
                id="yield-factor",
                label="strength factor",
                status=Status.PASS,
                value=3.67,
                limit=1.5,
                at_least=True,
                says="The rod is strong enough.",
            ),
            Finding(id="fatigue", label="life", status=Status.SKIPPED, says="No number of takes is given."),
        ),
        assumptions=(
            "Damping 0.003, a guess for a wire in a firm jaw (0.001 to 0.01).",
            "Brass rod, half hard: Young's modulus 105 GPa, yield strength 360 MPa.",
        ),
        cautions=(UNDER,),
        next_step="use music wire of 2.5 mm: sag 1.7 mm, wobble 0.6 px.",
    )


@pytest.fixture
def desk_set() -> CheckResult:
    return CheckResult(
        title="Desk set, shot 4",
        verdict=Status.FAIL,
        props=(inkwell(), notebook(), paper_crane()),
        cautions=(TYPICAL, RULES),
    )
