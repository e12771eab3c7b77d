"""Fatigue: the line, mean stress, ring-down sums, takes, and hand bending against the materials data."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.fatigue import (
    bend_strain,
    fatigue_line,
    hand_bends_to_failure,
    reversed_amplitude,
    ring_down_cycles,
    takes_to_failure,
)

# 1100-O of the materials data: Rm 90 MPa, 34.5 MPa at 5e8 cycles.
SOFT = {"tensile_strength": 90e6, "fatigue_strength": 34.5e6, "fatigue_cycles": 5e8}


def cycles(line, amplitude):
    """Life at a fully reversed amplitude [Pa]: amplitude = coefficient * cycles ** exponent, solved for it."""
    return (amplitude / line.coefficient) ** (1 / line.exponent)


def test_line_runs_through_its_two_points():
    line = fatigue_line(**SOFT)
    np.testing.assert_allclose(line.coefficient * 1e3**line.exponent, 0.9 * 90e6)
    np.testing.assert_allclose(line.coefficient * 5e8**line.exponent, 34.5e6)


def test_worked_slope():
    """Shigley's S = a N^b, f = 0.9, Se at 1e6: a = (f Rm)^2 / Se, b = -log10(f Rm / Se) / 3 (from memory)."""
    line = fatigue_line(tensile_strength=690e6, fatigue_strength=345e6, fatigue_cycles=1e6)
    np.testing.assert_allclose(line.coefficient, (0.9 * 690e6) ** 2 / 345e6)
    np.testing.assert_allclose(line.exponent, -np.log10(0.9 * 690 / 345) / 3)


def test_goodman_by_hand():
    amplitude, breaks = reversed_amplitude(20e6, mean_stress=30e6, tensile_strength=90e6, notch_factor=2.0)
    np.testing.assert_allclose(amplitude, 60e6)
    assert not breaks
    pushed, _ = reversed_amplitude(20e6, mean_stress=-30e6, tensile_strength=90e6, notch_factor=2.0)
    np.testing.assert_allclose(pushed, 60e6)


def test_reaching_the_ultimate_strength_is_flagged():
    amplitude, breaks = reversed_amplitude([50e6, 1e6], mean_stress=[40e6, 95e6], tensile_strength=90e6)
    np.testing.assert_array_equal(breaks, True)
    assert np.isfinite(amplitude).all()


@given(zeta=st.floats(1e-4, 0.3), exponent=st.floats(-0.3, -0.05), count=st.integers(0, 400))
def test_ring_down_against_adding_cycle_by_cycle(zeta, exponent, count):
    """Miner's sum over the cycles, each with the stress of its first peak."""
    line = fatigue_line(**SOFT)
    peaks = np.exp(-2 * np.pi * zeta / np.sqrt(1 - zeta**2) * np.arange(count))
    expected = np.sum(peaks ** (-1 / exponent))
    np.testing.assert_allclose(ring_down_cycles(zeta, exponent, count), expected, rtol=1e-11, atol=1e-300)
    assert line.exponent < 0


def test_endless_ring_down_is_the_limit_of_a_long_one():
    np.testing.assert_allclose(ring_down_cycles(0.003, -0.1), ring_down_cycles(0.003, -0.1, 1e5))
    np.testing.assert_allclose(ring_down_cycles([0.003, 0.9], -0.1)[1], 1.0, rtol=1e-12)


def test_undamped_train_counts_every_cycle():
    np.testing.assert_allclose(ring_down_cycles(0.0, -0.1, [0, 1, 250]), [0, 1, 250])
    np.testing.assert_allclose(ring_down_cycles(1e-12, -0.1, 250), 250, rtol=1e-6)


def test_takes_add_the_damage_of_all_events():
    line = fatigue_line(**SOFT)
    one = takes_to_failure(line, amplitude=[20e6], cycles=[3.0], notch_factor=2.0)
    np.testing.assert_allclose(one.takes, cycles(line, 40e6) / 3)
    two = takes_to_failure(line, amplitude=[20e6, 10e6], cycles=[3.0, 50.0], notch_factor=2.0)
    expected = 3 / cycles(line, 40e6) + 50 / cycles(line, 20e6)
    np.testing.assert_allclose(two.damage_per_take, expected)
    np.testing.assert_allclose(two.takes * two.damage_per_take, 1.0)


def test_takes_are_batched():
    line = fatigue_line(tensile_strength=np.array([90e6, 300e6]), fatigue_strength=34.5e6, fatigue_cycles=5e8)
    result = takes_to_failure(line, amplitude=np.full((2, 3), 20e6), cycles=np.ones(3))
    assert result.takes.shape == (2,)
    for row, ultimate in enumerate((90e6, 300e6)):
        alone = fatigue_line(tensile_strength=ultimate, fatigue_strength=34.5e6, fatigue_cycles=5e8)
        single = takes_to_failure(alone, amplitude=[20e6] * 3, cycles=[1.0] * 3)
        np.testing.assert_allclose(result.takes[row], single.takes)


def test_no_stress_no_damage_and_overload_no_takes():
    line = fatigue_line(**SOFT)
    still = takes_to_failure(line, amplitude=[0.0], cycles=[10.0], mean_stress=[20e6])
    assert still.damage_per_take == 0
    assert np.isinf(still.takes)
    over = takes_to_failure(line, amplitude=[0.0, 60e6], cycles=[10.0, 1.0], mean_stress=[0.0, 40e6])
    assert over.breaks_at_once
    assert over.takes == 0
    assert over.damage_per_take >= 1
    # An event that never happens does no harm, however large.
    assert not takes_to_failure(line, amplitude=[100e6], cycles=[0.0]).breaks_at_once


def test_more_stress_mean_notch_or_cycles_never_means_more_takes():
    line = fatigue_line(**SOFT)
    base = {"amplitude": [15e6], "cycles": [5.0], "mean_stress": [10e6], "notch_factor": 1.5}
    takes = takes_to_failure(line, **base).takes
    for change in ({"amplitude": [16e6]}, {"cycles": [6.0]}, {"mean_stress": [12e6]}, {"notch_factor": 2.5}):
        assert takes_to_failure(line, **{**base, **change}).takes < takes


@pytest.mark.parametrize(("radius", "percent"), [(1, 33), (2, 20), (4, 11), (10, 4.8)])
def test_bend_strain_of_the_materials_data(radius, percent):
    # Materials data, section 6: two printed digits.
    np.testing.assert_allclose(
        100 * bend_strain(wire_diameter=1e-3, inside_radius=radius * 1e-3), percent, rtol=0.02
    )


BENDS = {
    # Materials data, section 6: 1100-O, copper, annealed 304, annealed steel; bent out and back.
    (1, 1): (13, 9, 8, 7),
    (2, 1): (32, 21, 19, 16),
    (4, 1): (86, 57, 52, 43),
    # Bent both ways.
    (1, 2): (4, 3, 2, 2),
    (2, 2): (10, 7, 6, 5),
    (4, 2): (27, 18, 16, 13),
}


@pytest.mark.parametrize("case", BENDS)
def test_hand_bends_of_the_materials_data(case):
    radius, ways = case
    bends = hand_bends_to_failure(
        ways * bend_strain(wire_diameter=1.0, inside_radius=radius),
        tensile_strength=np.array([90e6, 234e6, 515e6, 305e6]),
        youngs_modulus=np.array([68.9e9, 117e9, 193e9, 200e9]),
        reduction_of_area=np.array([0.88, 0.75, 0.70, 0.65]),
    )
    # Whole bends; the data's row was computed with inputs that may differ in their last digit, so one bend.
    np.testing.assert_allclose(bends, BENDS[case], rtol=0, atol=0.75)


@given(strain=st.floats(1e-3, 2.0), ultimate=st.floats(50e6, 2e9), loss=st.floats(0.05, 0.95))
def test_hand_bends_satisfy_the_universal_slopes(strain, ultimate, loss):
    E = 200e9
    N = hand_bends_to_failure(strain, tensile_strength=ultimate, youngs_modulus=E, reduction_of_area=loss)
    ductility = np.log(1 / (1 - loss))
    np.testing.assert_allclose(3.5 * ultimate / E * N**-0.12 + ductility**0.6 * N**-0.6, strain, rtol=1e-9)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: fatigue_line(**{**SOFT, "fatigue_strength": 85e6}), "must be below 0.9 of it"),
        (lambda: fatigue_line(**{**SOFT, "fatigue_cycles": 500.0}), "above 1000 and finite"),
        (lambda: reversed_amplitude(-1.0, mean_stress=0, tensile_strength=1.0), "from 0 and finite"),
        (lambda: reversed_amplitude(1.0, mean_stress=np.inf, tensile_strength=9.0), "mean_stress is inf"),
        (
            lambda: reversed_amplitude(1.0, mean_stress=0, tensile_strength=9.0, notch_factor=0.5),
            "notch_factor is 0.5",
        ),
        (lambda: ring_down_cycles(0.0, -0.1), "damping_ratio is 0.0"),
        (lambda: ring_down_cycles(1.0, -0.1), "below 1"),
        (lambda: ring_down_cycles(0.1, 0.1), "must be negative"),
        (lambda: bend_strain(wire_diameter=0.0, inside_radius=1.0), "wire_diameter is 0.0"),
        (
            lambda: hand_bends_to_failure(
                0.1, tensile_strength=1e6, youngs_modulus=1e9, reduction_of_area=1.0
            ),
            "reduction_of_area is 1.0",
        ),
    ],
)
def test_wrong_input_says_what_is_allowed(call, says):
    with pytest.raises(ArgumentError, match=says):
        call()
