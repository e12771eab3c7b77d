"""Exact modal response: limits, scaling, batches, errors. Accuracy is checked in tests/evidence."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ringing import residual_amplitude

from rigcheck.errors import ArgumentError
from rigcheck.motion.profiles import PROFILE_NAMES, profile
from rigcheck.motion.response import (
    decay_extent,
    end_state,
    free_decay,
    unit_displacement,
    unit_response,
)

names = st.sampled_from(PROFILE_NAMES)


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_sudden_move_leaves_the_whole_stroke_and_a_slow_one_nothing(name):
    shape = profile(name)
    for zeta in (0.0, 0.05):
        root = np.sqrt(1 - zeta**2)
        sudden = residual_amplitude(shape, duration=1e-5, angular_frequency=1.0, damping_ratio=zeta)[0]
        assert sudden == pytest.approx(1.0 / root, rel=1e-5)  # a step of the base: q = -1, q' = 0
        slow = residual_amplitude(shape, duration=1.0, angular_frequency=1e4, damping_ratio=zeta)[0]
        assert slow < 1e-6


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_fast_mode_follows_the_acceleration(name):
    """Quasi-static: q = -s''/(omega T)^2, to the order of the next derivative over omega."""
    shape = profile(name)
    u = np.array([0.11, 0.4, 0.63, 0.9])
    q = unit_displacement(shape, duration=3.0, angular_frequency=2000.0, damping_ratio=0.5, times=3.0 * u)[0]
    assert q * 6000.0**2 == pytest.approx(-shape.acceleration(u), abs=0.02)


@given(name=names, scale=st.floats(0.01, 100.0), n=st.floats(0.05, 50.0), zeta=st.floats(0.0, 0.3))
def test_only_frequency_times_duration_matters(name, scale, n, zeta):
    shape = profile(name)
    u = np.array([0.2, 0.7, 1.0, 1.6])
    one, one_rate = unit_response(
        shape, duration=1.0, angular_frequency=2 * np.pi * n, damping_ratio=zeta, times=u
    )
    two, two_rate = unit_response(
        shape, duration=scale, angular_frequency=2 * np.pi * n / scale, damping_ratio=zeta, times=scale * u
    )
    assert two == pytest.approx(one, abs=1e-11)
    assert two_rate * scale == pytest.approx(one_rate, abs=1e-9)


@given(name=names, n=st.floats(0.02, 60.0))
def test_residual_energy_is_the_work_done_by_the_base(name, n):
    """Undamped: the energy left, seen from the moving frame, is minus the integral of a q'."""
    shape, omega = profile(name), 2 * np.pi * n
    nodes, weights = np.polynomial.legendre.leggauss(12)
    work = 0.0
    for piece in shape.pieces:
        edges = piece.start + piece.length * np.linspace(0, 1, int(3 + 2 * omega) + 1)
        half, middle = np.diff(edges) / 2, (edges[1:] + edges[:-1]) / 2
        u = (middle[:, None] + half[:, None] * nodes).ravel()
        _, rate = unit_response(shape, duration=1.0, angular_frequency=omega, damping_ratio=0.0, times=u)
        load = piece.derivative(2, u - piece.start)
        work -= ((load * rate[0]).reshape(-1, 12) * weights * half[:, None]).sum()
    left = residual_amplitude(shape, duration=1.0, angular_frequency=omega, damping_ratio=0.0)[0]
    assert 0.5 * omega**2 * left**2 == pytest.approx(work, abs=1e-10 * (1 + omega**2 * left**2))


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_nothing_jumps_where_the_method_changes_or_the_load_resonates(name):
    """Series and closed form meet at their limit of Omega; harmonics resonate at pi, 4 pi/3, 2 pi, 4 pi."""
    shape = profile(name)
    omega = np.linspace(0.2, 40.0, 40_001)
    for zeta in (0.0, 0.01):
        left = residual_amplitude(shape, duration=1.0, angular_frequency=omega, damping_ratio=zeta)
        assert np.isfinite(left).all()
        # its slope against Omega is at most 1/2 (half a unit of time away from the middle), so a jump would
        # show
        assert np.abs(np.diff(left)).max() < 0.6 * (omega[1] - omega[0])
    for special in (1.0, 3.0, np.pi, 4 * np.pi / 3, 2 * np.pi, 4 * np.pi, np.pi + 1, 2 * np.pi + 1):
        near = special * np.array([1 - 1e-12, 1.0, 1 + 1e-12])
        left = residual_amplitude(shape, duration=1.0, angular_frequency=near, damping_ratio=0.0)
        assert np.ptp(left) < 1e-11


def test_before_the_move_all_is_still_and_after_it_rings_freely():
    shape, omega, zeta = profile("s-curve"), np.array([5.0, 40.0]), np.array([0.0, 0.02])
    times = np.array([-1.0, -1e-9, 0.0, 1.5, 1.9, 4.0])
    q, rate = unit_response(shape, duration=1.5, angular_frequency=omega, damping_ratio=zeta, times=times)
    assert (q[:, :3] == 0).all()
    assert (rate[:, :3] == 0).all()
    start = end_state(shape, duration=1.5, angular_frequency=omega, damping_ratio=zeta)
    assert q[:, 3] == pytest.approx(start[0], abs=1e-14)
    assert rate[:, 3] == pytest.approx(start[1], abs=1e-13)
    free, free_rate = free_decay(*start, angular_frequency=omega, damping_ratio=zeta, times=times[3:] - 1.5)
    assert q[:, 3:] == pytest.approx(free, abs=1e-14)
    assert rate[:, 3:] == pytest.approx(free_rate, abs=1e-13)


def test_amplitude_is_the_envelope_of_the_free_vibration():
    shape, omega, zeta = profile("trapezoidal"), 11.0, 0.004
    q, _ = unit_response(
        shape, duration=1.0, angular_frequency=omega, damping_ratio=zeta, times=1 + np.linspace(0, 2, 40_001)
    )
    t = np.linspace(0, 2, 40_001)
    envelope = residual_amplitude(shape, duration=1.0, angular_frequency=omega, damping_ratio=zeta)[
        0
    ] * np.exp(-zeta * omega * t)
    assert (np.abs(q[0]) <= envelope * (1 + 1e-12)).all()
    assert (np.abs(q[0]) / envelope).max() == pytest.approx(1.0, abs=1e-6)


def test_velocity_is_the_slope_of_the_displacement():
    t = np.linspace(0.0, 3.0, 30_001)
    q, rate = unit_response(
        profile("modified-sine"), duration=2.0, angular_frequency=[7.0, 31.0], damping_ratio=0.03, times=t
    )
    slope = np.gradient(q, t, axis=1)[:, 1:-1]
    assert rate[:, 1:-1] == pytest.approx(slope, abs=2e-5 * np.abs(rate).max())


def test_uneven_and_unsorted_times_agree_with_even_ones():
    shape, omega = profile("trapezoidal", ramp=0.2), np.array([[3.0, 300.0], [30.0, 3.5]])
    even = np.linspace(-0.5, 5.0, 701)
    kwargs = {"duration": 3.0, "angular_frequency": omega, "damping_ratio": 0.01}
    q, rate = unit_response(shape, times=even, **kwargs)
    shuffle = np.random.default_rng(0).permutation(even.size)
    other, other_rate = unit_response(shape, times=even[shuffle], **kwargs)
    assert q.shape == (2, 2, 701)
    assert other == pytest.approx(q[..., shuffle], abs=1e-14)
    assert other_rate == pytest.approx(rate[..., shuffle], abs=1e-12)
    few = unit_displacement(shape, times=even[::37], **kwargs)  # under 32: no tables
    assert few == pytest.approx(q[..., ::37], abs=1e-13)


def test_batches_are_the_single_cases_side_by_side():
    rng = np.random.default_rng(5)
    omega = rng.uniform(0.1, 400.0, (700, 3))  # several blocks of rows
    zeta = rng.uniform(0.0, 0.2, (700, 1))
    times = np.linspace(0, 2, 200)
    shape = profile("polynomial-4567")
    q, rate = unit_response(shape, duration=1.3, angular_frequency=omega, damping_ratio=zeta, times=times)
    for row in (0, 350, 699):
        one, one_rate = unit_response(
            shape, duration=1.3, angular_frequency=omega[row], damping_ratio=zeta[row], times=times
        )
        assert q[row] == pytest.approx(one, abs=1e-15)
        assert rate[row] == pytest.approx(one_rate, abs=1e-12)


def test_durations_broadcast_in_the_residual():
    durations = np.array([[0.3], [1.0], [2.5]])
    omega = np.array([4.0, 50.0])
    left = residual_amplitude(
        profile("cycloidal"), duration=durations, angular_frequency=omega, damping_ratio=0.01
    )
    assert left.shape == (3, 2)
    for i, time in enumerate(durations[:, 0]):
        one = residual_amplitude(
            profile("cycloidal"), duration=time, angular_frequency=omega, damping_ratio=0.01
        )
        assert left[i] == pytest.approx(one, rel=1e-13)


def test_each_batch_member_can_have_its_own_times_in_free_decay():
    omega, zeta = np.array([[6.0, 40.0], [9.0, 70.0]]), np.array([[0.0], [0.05]])
    q0, rate0 = np.array([[1.0, -0.2], [0.3, 0.1]]), np.array([[0.0, 3.0], [-1.0, 2.0]])
    times = np.linspace(0, 1, 50) * np.array([[2.0], [0.7]])
    q, rate = free_decay(q0, rate0, angular_frequency=omega, damping_ratio=zeta, times=times)
    assert q.shape == (2, 2, 50)
    t = times[:, None, :]
    damped, decay = (omega * np.sqrt(1 - zeta**2))[..., None], (zeta * omega)[..., None]
    other = (rate0[..., None] + decay * q0[..., None]) / damped
    expected = np.exp(-decay * t) * (q0[..., None] * np.cos(damped * t) + other * np.sin(damped * t))
    assert q == pytest.approx(expected, abs=1e-13)
    one, one_rate = free_decay(
        q0[1], rate0[1], angular_frequency=omega[1], damping_ratio=0.05, times=times[1]
    )
    assert q[1] == pytest.approx(one, abs=1e-14)
    assert rate[1] == pytest.approx(one_rate, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"duration": 0.0}, r"duration: given 0 s; it has to be a finite number above 0 s\."),
        ({"duration": float("nan")}, "duration: given nan s"),
        ({"duration": [1.0, 2.0]}, "duration: given 2 values; one number in s is wanted here"),
        ({"angular_frequency": [3.0, -1.0]}, r"angular_frequency: given -1 rad/s"),
        ({"damping_ratio": 1.0}, r"damping_ratio: given 1; allowed is 0 up to, but not including, 1"),
        ({"damping_ratio": -0.01}, r"damping_ratio: given -0\.01"),
        ({"damping_ratio": [0.1, 0.1, 0.1]}, r"damping_ratio has shape \(3,\), angular_frequency \(2,\)"),
        ({"times": [0.0, float("inf")]}, "all finite, in seconds"),
        ({"times": 1.0}, r"times: given an array of shape \(\); wanted \(n,\)"),
    ],
)
def test_bad_arguments_are_named(change, message):
    kwargs = {"duration": 1.0, "angular_frequency": [3.0, 9.0], "damping_ratio": 0.0, "times": [0.0, 1.0]}
    with pytest.raises(ArgumentError, match=message):
        unit_response(profile("harmonic"), **{**kwargs, **change})


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ArgumentError, match="they have to broadcast"):
        end_state(
            profile("harmonic"), duration=[1.0, 2.0, 3.0], angular_frequency=[3.0, 9.0], damping_ratio=0.0
        )
    with pytest.raises(ArgumentError, match="shapes do not fit"):
        free_decay([1.0, 2.0, 3.0], 0.0, angular_frequency=[3.0, 9.0], damping_ratio=0.0, times=[0.0])
    with pytest.raises(ArgumentError, match="not all are finite"):
        free_decay([np.nan], 0.0, angular_frequency=3.0, damping_ratio=0.0, times=[0.0])


@given(
    q=st.floats(-1, 1),
    rate=st.floats(-50, 50),
    omega=st.floats(1.0, 300.0),
    zeta=st.floats(0.0, 0.4),
    periods=st.floats(0.02, 5.0),
)
def test_extent_of_a_decay_is_that_of_its_samples(q, rate, omega, zeta, periods):
    duration = periods * 2 * np.pi / omega
    times = np.linspace(0, duration, 20_001)
    # Every turn too, by the slope changing sign between samples.
    path, slope = (
        part[0] for part in free_decay([q], [rate], angular_frequency=omega, damping_ratio=zeta, times=times)
    )
    found = decay_extent(q, rate, angular_frequency=omega, damping_ratio=zeta, duration=duration)[0]
    step = np.abs(slope).max() * (times[1] - times[0])
    assert np.ptp(path) <= found + 1e-12
    assert found <= np.ptp(path) + step


def test_extent_of_decays_whose_turns_are_known():
    """Let go at rest it turns after half a period at exp(-pi zeta/sqrt(1 - zeta^2)) of the start (derived)."""
    zeta = np.array([0.0, 0.01, 0.2])
    back = np.exp(-np.pi * zeta / np.sqrt(1 - zeta**2))
    omega = 2 * np.pi * 7.0
    for seconds in (0.1, 2.0):
        found = decay_extent(3.0, 0.0, angular_frequency=omega, damping_ratio=zeta, duration=seconds)
        np.testing.assert_allclose(found, 3.0 * (1 + back), rtol=1e-12)
    # Too short to turn: as far as it gets.
    short = decay_extent(1.0, 0.0, angular_frequency=1.0, damping_ratio=0.0, duration=1.0)
    assert short == pytest.approx(1 - np.cos(1.0), rel=1e-12)
    assert decay_extent(0.0, 0.0, angular_frequency=1.0, damping_ratio=0.0, duration=1.0) == 0.0
