"""Thin tubes: against the wrinkling stress by hand."""

from __future__ import annotations

import math

import pytest
from check_parts import finding
from lasting_rigs import run, wire

from rigcheck.studies.results import Status

G = 9.80665


def test_thin_tube() -> None:
    size = 'diameter = "12 mm"\nwall = "{}"'
    result, _ = run(wire("50 g", material="aluminium-6063-t6", size=size.format("0.2 mm")))
    found = finding(result, "tube-wall")
    assert (found.status, found.limit) == (Status.CAUTION, 50)
    assert found.value == pytest.approx(60)
    assert found.says == "The tube's wall is thin, 1/60 of its diameter: a touch or the jaw may dent it."
    stout, _ = run(wire("50 g", material="aluminium-6063-t6", size=size.format("0.25 mm")))
    held = finding(stout, "tube-wall")
    assert (held.status, held.value) == (Status.PASS, pytest.approx(48))
    assert "of what a wall of 1/48 of its diameter is sure to hold" in held.says


def test_tube_dents_under_stress() -> None:
    """0.2 x 0.6 E t / R = 0.12 x 69e9 x 0.04 = 331 MPa; M = sigma I / R gives the mass (derived here)."""
    second = math.pi / 4 * (0.005**4 - 0.0048**4)
    mass = 0.12 * 69e9 * 0.2e-3 / 0.005 * second / 0.005 / (G * 0.1)
    for share, dents in ((0.97, False), (1.03, True)):
        result, _ = run(
            wire(
                f"{mass * share} kg",
                material="aluminium-6063-t6",
                size='diameter = "10 mm"\nwall = "0.2 mm"',
                length='length = "100 mm"',
                head='[analysis]\ndisplacement = "linear"\ngravity_stiffness = false',
            )
        )
        assert (finding(result, "tube-wall").status is Status.CAUTION) is dents
        if dents:
            found = finding(result, "tube-wall")
            assert (
                found.says == "The tube may dent: the stress is 1 times what so thin a wall is sure to hold."
            )
            assert found.advice
