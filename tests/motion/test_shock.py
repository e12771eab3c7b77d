"""The worst move for a known peak acceleration: nothing admissible may exceed it, and it must be reached."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from rigcheck.errors import ArgumentError
from rigcheck.motion.sampled_load import piecewise_linear_response
from rigcheck.motion.shock import worst_case

DAMPING = [0.0, 0.003, 0.03, 0.1, 0.3]


def _step(zeta, t):
    """Deviation, omega = 1, under a unit acceleration switched on at 0 (textbook step response)."""
    root = np.sqrt(1 - zeta**2)
    late = np.maximum(t, 0.0)
    return -(1 - np.exp(-zeta * late) * (np.cos(root * late) + zeta / root * np.sin(root * late)))


def _bang_coast_bang(zeta, half, coast):
    """Largest deviation, and envelope amplitude at the end, from superposed steps."""
    t = np.linspace(0, 2 * half + coast + 2 * np.pi, 4001)
    q = (
        _step(zeta, t)
        - _step(zeta, t - half)
        - _step(zeta, t - half - coast)
        + _step(zeta, t - 2 * half - coast)
    )
    end = 2 * half + coast
    h = 1e-5
    near = [
        sum(
            sign * _step(zeta, end + x - at)
            for sign, at in ((1, 0), (-1, half), (-1, half + coast), (1, end))
        )
        for x in (0.0, h, 2 * h)
    ]
    rate = (-3 * near[0] + 4 * near[1] - near[2]) / (2 * h)
    return np.abs(q).max(), np.hypot(near[0], (rate + zeta * near[0]) / np.sqrt(1 - zeta**2))


def test_undamped_worst_is_four():
    worst = worst_case(angular_frequency=[1.0, 50.0], damping_ratio=0.0)
    assert worst.peak == pytest.approx(4.0, rel=1e-14)
    assert worst.residual == pytest.approx(4.0, rel=1e-14)
    assert worst.half_duration == pytest.approx([np.pi, np.pi / 50.0], rel=1e-14)


@pytest.mark.parametrize("zeta", DAMPING)
def test_damped_peak_is_its_closed_form_and_is_reached(zeta):
    worst = worst_case(angular_frequency=1.0, damping_ratio=zeta)
    x = np.exp(-np.pi * zeta / np.sqrt(1 - zeta**2))
    assert worst.peak[0] == pytest.approx((1 + x) ** 2, rel=1e-12)
    assert 0.0 <= worst.residual[0] / (1 + x) ** 2 - 1 <= 1.5 * zeta**2 + 1e-14
    peak, _ = _bang_coast_bang(zeta, worst.half_duration[0], 0.0)
    assert peak == pytest.approx(worst.peak[0], rel=1e-5)  # sampled


@pytest.mark.parametrize("zeta", DAMPING)
@pytest.mark.parametrize("duration", [0.4, 1.7, 3.0, 3.5, 5.0, 6.2, 6.4, 9.0])
def test_no_coast_and_no_shorter_move_is_worse(zeta, duration):
    worst = worst_case(angular_frequency=1.0, damping_ratio=zeta, duration=duration)
    tried = [
        _bang_coast_bang(zeta, half, coast)
        for half in np.linspace(0.02, 1, 25) * duration / 2
        for coast in np.linspace(0, 1, 8) * (duration - 2 * half)
    ]
    peaks, residuals = np.array(tried).T
    assert (peaks <= worst.peak[0] * (1 + 1e-12)).all()
    assert (residuals <= worst.residual[0] * (1 + 1e-7)).all()  # differenced rate
    assert peaks.max() == pytest.approx(worst.peak[0], rel=0.02)  # the grid comes near it
    assert residuals.max() == pytest.approx(worst.residual[0], rel=0.02)


def test_undamped_worst_for_a_given_duration():
    """Derived here: 4 sin^2(omega T/4) up to a period of the oscillator, 4 from there."""
    omega = 3.0
    duration = np.array([0.1, 0.7, 1.4, 2.0, 2.2, 5.0])
    worst = worst_case(angular_frequency=omega, damping_ratio=0.0, duration=duration)
    expected = np.where(omega * duration < 2 * np.pi, 4 * np.sin(omega * duration / 4) ** 2, 4.0)
    assert worst.residual == pytest.approx(expected, rel=1e-12)
    assert worst.peak == pytest.approx(expected, rel=1e-12)


@given(
    seed=st.integers(0, 10**6),
    zeta=st.sampled_from(DAMPING),
    duration=st.floats(0.5, 15.0),
)
@settings(max_examples=150, deadline=None)
def test_random_single_pulses_stay_below(seed, zeta, duration):
    """Any one hump up and one hump down, of equal area, each at most 1 high."""
    rng = np.random.default_rng(seed)
    count = 600
    turn = int(rng.integers(count // 10, 9 * count // 10))

    def hump(size):
        crest = int(rng.integers(0, size))
        rise, fall = (
            np.sort(rng.uniform(0, 1, crest + 1) ** rng.uniform(0.05, 3)),
            -np.sort(-(rng.uniform(0, 1, size - crest) ** rng.uniform(0.05, 3))),
        )
        shape = np.concatenate([rise[:crest], fall])[:size]
        return shape / shape.max()

    up, down = hump(turn), hump(count - turn)
    balance = up.sum() / down.sum()
    g = np.concatenate([up * min(1.0, 1 / balance), -down * min(1.0, balance)])
    step = duration / (count + 1)
    load = np.concatenate([[0.0], -g, [0.0], np.zeros(600)])
    q, rate = piecewise_linear_response(load, angular_frequency=1.0, damping_ratio=zeta, time_step=step)
    worst = worst_case(angular_frequency=1.0, damping_ratio=zeta, duration=duration)
    end = count + 1
    left = np.hypot(q[0, end], (rate[0, end] + zeta * q[0, end]) / np.sqrt(1 - zeta**2))
    assert np.abs(q).max() <= worst.peak[0] * (1 + 1e-9)
    assert left <= worst.residual[0] * (1 + 1e-9)


def _most_harmful_single_pulses(weights, turn, crests):
    """Largest sum of weights times g, over all g with one hump up and then one down, of equal area."""
    count = weights.size
    sign = np.where(np.arange(count) < turn, 1.0, -1.0)
    rows = []
    for i in range(count - 1):
        if i + 1 != turn:
            row = np.zeros(count)
            row[i], row[i + 1] = (1.0, -1.0) if i < crests[int(i >= turn)] else (-1.0, 1.0)
            rows.append(row)
    answer = optimize.linprog(
        -weights * sign, A_ub=np.array(rows), b_ub=np.zeros(len(rows)), A_eq=[sign], b_eq=[0.0], bounds=(0, 1)
    )
    return -answer.fun


@pytest.mark.parametrize(("zeta", "duration"), [(0.0, 4.0), (0.0, 7.0), (0.05, 5.5), (0.2, 7.0)])
def test_linear_programmes_over_all_single_pulses_find_nothing_worse(zeta, duration):
    rng = np.random.default_rng(2)
    count = 32
    edges = np.linspace(0.0, duration, count + 1)
    exponent = -zeta + 1j * np.sqrt(1 - zeta**2)
    worst = worst_case(angular_frequency=1.0, damping_ratio=zeta, duration=duration)
    peaks, residuals = [], []
    for trial in range(30):
        turn = count // 2 if trial % 2 else int(rng.integers(2, count - 1))
        crests = int(rng.integers(0, turn)), int(rng.integers(turn, count))
        t = rng.uniform(0.4 * duration, duration + 3.0)
        peak = _step(zeta, t - edges[:-1]) - _step(zeta, t - edges[1:])
        peaks += [_most_harmful_single_pulses(side * peak, turn, crests) for side in (1.0, -1.0)]
        state = (
            np.exp(exponent * (duration - edges[1:])) - np.exp(exponent * (duration - edges[:-1]))
        ) / exponent
        turned = (state * np.exp(1j * rng.uniform(0, 2 * np.pi))).real / exponent.imag
        residuals.append(_most_harmful_single_pulses(turned, turn, crests))
    assert max(peaks) <= worst.peak[0] * (1 + 1e-9)
    assert max(residuals) <= worst.residual[0] * (1 + 1e-9)
    assert max(peaks) > 0.9 * worst.peak[0]  # 30 tries come near it
    assert max(residuals) > 0.8 * worst.residual[0]


def test_a_move_in_step_with_the_support_does_exceed_it():
    # The assumption is not idle: speeding up twice, half a period apart, rings higher than 4.
    n = 400
    on, off = np.ones(n // 2), np.zeros(n // 2)
    g = np.concatenate([on, off, on, -on, off, -on])
    q, _ = piecewise_linear_response(-g, angular_frequency=1.0, damping_ratio=0.0, time_step=2 * np.pi / n)
    assert np.abs(q).max() > 5.0


def test_batches_and_duration_broadcast():
    omega = np.array([[1.0, 5.0], [2.0, 9.0], [0.3, 100.0]])
    duration = np.array([[1.0], [2.0], [0.5]])
    worst = worst_case(angular_frequency=omega, damping_ratio=0.02, duration=duration)
    one = worst_case(angular_frequency=9.0, damping_ratio=0.02, duration=2.0)
    assert worst.peak.shape == worst.residual.shape == worst.half_duration.shape == (3, 2)
    assert worst.peak[1, 1] == pytest.approx(one.peak[0])
    assert worst.half_duration[1, 1] == pytest.approx(one.half_duration[0])


@given(zeta=st.floats(0.0, 0.9), duration=st.floats(0.01, 30.0), more=st.floats(1.0, 3.0))
def test_more_time_is_never_less_and_no_time_limit_is_the_most(zeta, duration, more):
    short = worst_case(angular_frequency=1.0, damping_ratio=zeta, duration=duration)
    longer = worst_case(angular_frequency=1.0, damping_ratio=zeta, duration=duration * more)
    free = worst_case(angular_frequency=1.0, damping_ratio=zeta)
    for name in ("peak", "residual"):
        a, b, c = (float(getattr(case, name)[0]) for case in (short, longer, free))
        assert a <= b * (1 + 1e-12)
        assert b <= c * (1 + 1e-12)


def test_bad_arguments_are_named():
    with pytest.raises(ArgumentError, match="duration: given 0 s"):
        worst_case(angular_frequency=1.0, damping_ratio=0.0, duration=0.0)
    with pytest.raises(ArgumentError, match="they have to fit"):
        worst_case(angular_frequency=[1.0, 2.0], damping_ratio=0.0, duration=[1.0, 2.0, 3.0])
