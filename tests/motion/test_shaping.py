"""Null durations, shortest still durations and the residual envelope."""

from __future__ import annotations

import numpy as np
import pytest
from ringing import residual_amplitude

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.motion.profiles import PROFILE_NAMES, RAMPED_PROFILES, profile
from rigcheck.motion.response import unit_response
from rigcheck.motion.shaping import (
    convolved,
    durations_to_try,
    insensitivity_width,
    lowest_durations,
    residual_envelope,
    shaper_factor,
    shaper_residual,
    still_durations,
    zv_shaper,
    zvd_shaper,
)

CASES = [
    (name, ramp) for name in PROFILE_NAMES for ramp in ([0.1, 0.5] if name in RAMPED_PROFILES else [1 / 3])
]


@pytest.mark.parametrize(("name", "ramp"), CASES)
@pytest.mark.parametrize("zeta", [0.0, 0.02])
def test_envelope_bounds_the_residual_and_only_falls(name, ramp, zeta):
    shape = profile(name, ramp=ramp)
    omega = np.geomspace(1.0, 3000.0, 6001)
    left = residual_amplitude(shape, duration=1.0, angular_frequency=omega, damping_ratio=zeta)
    bound = residual_envelope(shape, duration=1.0, angular_frequency=omega, damping_ratio=zeta)
    finite = np.isfinite(bound)
    assert finite[omega > 20.0].all()
    assert (left[finite] <= bound[finite] * (1 + 1e-9)).all()
    assert (np.diff(bound[finite]) < 0).all()
    fast = omega > 300.0
    assert (left[fast] / bound[fast]).max() > 0.2  # a bound, but not an idle one


def nulls(shape, *, frequency, damping_ratio, up_to):
    """Durations on a null of one mode [Hz], and what the move leaves there."""
    omega = 2 * np.pi * frequency

    def left(time):
        return residual_amplitude(
            shape, duration=time, angular_frequency=omega, damping_ratio=damping_ratio
        ).ravel()

    found = lowest_durations(left, tried=np.arange(1, int(64 * frequency * up_to) + 1) / (64 * frequency))
    return found, left(found)


def test_nulls_of_the_trapezoid_lie_where_ramp_or_ramp_and_cruise_last_whole_periods():
    frequency, ramp = 4.0, 0.4
    found, residual = nulls(
        profile("trapezoidal", ramp=ramp), frequency=frequency, damping_ratio=0.0, up_to=2.1
    )
    k = np.arange(1, 40)
    expected = np.unique(np.round(np.concatenate([k / (ramp * frequency), k / ((1 - ramp) * frequency)]), 9))
    expected = expected[expected < 2.1]
    assert found == pytest.approx(expected, abs=1e-7)
    assert (residual < 1e-7).all()  # a golden section places a null to 1e-8 of a period or so


def test_harmonic_nulls_and_what_ten_percent_do_to_them():
    shape = profile("harmonic")
    found, _ = nulls(shape, frequency=1.0, damping_ratio=0.0, up_to=5.0)
    assert found == pytest.approx([1.5, 2.5, 3.5, 4.5], abs=1e-7)
    errors = np.linspace(0.9, 1.1, 41)
    n = found[:, None] * errors
    off = residual_amplitude(
        shape, duration=found[:, None], angular_frequency=2 * np.pi * errors, damping_ratio=0.0
    )
    assert off == pytest.approx(np.abs(np.cos(np.pi * n) / (1 - 4 * n**2)), rel=1e-9, abs=1e-15)


def test_damped_dips_are_the_lowest_nearby():
    shape, omega, zeta = profile("polynomial-345"), 20.0, 0.03
    found, residual = nulls(shape, frequency=omega / (2 * np.pi), damping_ratio=zeta, up_to=3.0)
    assert found.size > 3
    for time, value in zip(found, residual, strict=True):
        near = residual_amplitude(
            shape,
            duration=time * (1 + np.linspace(-0.01, 0.01, 201)),
            angular_frequency=omega,
            damping_ratio=zeta,
        )
        assert value <= near.min() * (1 + 1e-9)
        assert value > 0.0


def still_move(shape, *, angular_frequency, damping_ratio, weights, amplitude_limit, shaper=None):
    """How long one move has to last, whose modes' amplitudes add up with their weights."""
    omega, weight = np.atleast_1d(angular_frequency), np.atleast_1d(np.abs(weights))
    if shaper is not None:
        weight = weight * shaper_residual(shaper, angular_frequency=omega, damping_ratio=damping_ratio)

    def left(time):
        each = residual_amplitude(
            shape, duration=time[:, None], angular_frequency=omega, damping_ratio=damping_ratio
        )
        return (weight * each).sum(axis=1)

    tried = durations_to_try(
        [shape],
        angular_frequency=omega,
        damping_ratio=damping_ratio,
        weights=weight[None],
        amplitude_limit=amplitude_limit,
    )
    return still_durations(left, tried=tried, limit=amplitude_limit)


@pytest.mark.parametrize("name", PROFILE_NAMES)
def test_still_durations_are_still(name):
    shape = profile(name)
    omega, zeta = np.array([25.0, 140.0, 420.0]), np.array([0.003, 0.005, 0.01])
    weights, limit = np.array([0.22, -0.03, 0.01]), 2e-4
    found = still_move(
        shape, angular_frequency=omega, damping_ratio=zeta, weights=weights, amplitude_limit=limit
    )

    def left(times):
        each = residual_amplitude(
            shape, duration=np.asarray(times)[:, None], angular_frequency=omega, damping_ratio=zeta
        )
        return (np.abs(weights) * each).sum(axis=1)

    assert 0.0 < found.first <= found.always
    assert left([found.always])[0] == pytest.approx(limit, rel=1e-6)
    later = left(np.linspace(found.always, 4 * found.always, 20_000))
    assert (later <= limit * (1 + 2e-3)).all()
    # just before either, the limit is exceeded
    assert left([found.always * (1 - 1e-6)])[0] > limit
    assert left([found.first * (1 - 1e-6)])[0] > limit
    assert (left(np.linspace(0.02, 0.999, 3000) * found.first) > limit * (1 - 2e-3)).all()


@pytest.mark.parametrize("limit", [2e-2, 1e-2, 4e-3, 2.7e-3, 1.3e-3, 1e-3, 5.5e-4, 3.1e-4])
def test_trapezoid_still_duration_against_its_closed_form(limit):
    """Undamped, one mode: 4 abs(sin(wTr/2) sin(wT(1 - r)/2))/(r (1 - r)(wT)^2), scanned finely."""
    omega, ramp = 2 * np.pi * 5, 0.3
    times = np.linspace(0.01, 9.0, 900_001)
    x = omega * times
    left = 4 * np.abs(np.sin(x * ramp / 2) * np.sin(x * (1 - ramp) / 2)) / (ramp * (1 - ramp) * x**2)
    found = still_move(
        profile("trapezoidal", ramp=ramp),
        angular_frequency=omega,
        damping_ratio=0.0,
        weights=1.0,
        amplitude_limit=limit,
    )
    assert found.first == pytest.approx(times[np.argmax(left <= limit)], abs=2e-5)  # the scan's step
    assert found.always == pytest.approx(times[np.flatnonzero(left > limit)[-1]], abs=2e-5)


def test_a_generous_limit_needs_no_time_and_a_tiny_one_is_refused():
    kwargs = {"angular_frequency": 30.0, "damping_ratio": 0.01, "weights": 0.1}
    easy = still_move(profile("cycloidal"), amplitude_limit=1.0, **kwargs)
    assert (easy.first, easy.always) == (0.0, 0.0)
    with pytest.raises(ValidityError, match=r"Allow more, or take a smoother profile\."):
        still_move(profile("trapezoidal"), amplitude_limit=1e-13, **kwargs)


def test_a_shaper_shortens_the_still_duration():
    kwargs = {"angular_frequency": [30.0], "damping_ratio": 0.003, "weights": [0.2], "amplitude_limit": 1e-5}
    shaper = zv_shaper(angular_frequency=29.5, damping_ratio=0.003)
    plain = still_move(profile("cycloidal"), **kwargs)
    shaped = still_move(profile("cycloidal"), shaper=shaper, **kwargs)
    assert shaped.always + shaper.delay < plain.always
    one = {"angular_frequency": 30.0, "damping_ratio": 0.003}
    left = residual_amplitude(profile("cycloidal"), duration=shaped.always, **one) * shaper_residual(
        shaper, **one
    )
    assert 0.2 * left[0] == pytest.approx(1e-5, rel=1e-6)


def test_the_search_gives_the_ends_of_the_first_still_stretch():
    """abs(cos) above and below its crossings: cos(2 pi t) = 0.5 at 1/6, and again at 1/3 on the other side."""
    tried = np.linspace(0.01, 1.1, 60)

    def left(time):
        return np.where(time < 1.0, np.abs(np.cos(2 * np.pi * time)), 0.0)

    found = still_durations(left, tried=tried, limit=0.5)
    assert (found.first, found.until) == pytest.approx((1 / 6, 1 / 3), abs=1e-12)
    assert found.always == pytest.approx(1.0, abs=1e-12)
    coarse = still_durations(left, tried=tried, limit=0.5, resolution=1e-3)
    assert coarse.first == pytest.approx(1 / 6, abs=1e-3)
    assert left(np.array([coarse.first, coarse.until, coarse.always])).max() <= 0.5


def test_the_search_says_when_nothing_or_everything_is_still():
    tried = np.linspace(0.1, 2.0, 50)
    never = still_durations(lambda time: 1.0 + time, tried=tried, limit=0.5)
    assert (never.first, never.until, never.always) == (np.inf, np.inf, np.inf)
    at_once = still_durations(lambda time: 0.1 * time, tried=tried, limit=0.5)
    assert (at_once.first, at_once.until, at_once.always) == (0.0, np.inf, 0.0)
    not_for_long = still_durations(lambda time: time, tried=tried, limit=0.5)
    assert not_for_long.first == 0.0
    assert not_for_long.until == pytest.approx(0.5, abs=1e-12)
    assert not_for_long.always == np.inf


def test_a_null_between_two_durations_tried_is_found():
    """abs(t - 0.55) dips to nothing between 0.5 and 0.6, where all that are tried exceed the limit."""
    tried = np.arange(0.1, 1.05, 0.1)
    found = still_durations(lambda time: np.abs(time - 0.55), tried=tried, limit=0.01)
    assert (found.first, found.until) == pytest.approx((0.54, 0.56), abs=1e-9)
    assert found.always == np.inf
    assert lowest_durations(lambda time: (time - 0.52) ** 2, tried=tried) == pytest.approx([0.52], abs=1e-7)


def test_durations_to_try_end_where_all_moves_together_are_still():
    shapes = [profile("trapezoidal"), profile("cycloidal")]
    omega, weights, shares, limit = (
        np.array([25.0, 140.0]),
        np.array([[0.2, 0.03], [0.1, 0.0]]),
        [0.5, 1.0],
        1e-3,
    )
    tried = durations_to_try(
        shapes,
        angular_frequency=omega,
        damping_ratio=0.0,
        weights=weights,
        amplitude_limit=limit,
        shares=shares,
    )
    assert (np.diff(tried) > 0).all()
    assert tried[0] < 2 * np.pi / 140.0 / 32
    later = tried[-1] * np.linspace(1.0, 3.0, 4001)
    left = sum(
        (row * residual_amplitude(shape, duration=share * later[:, None], angular_frequency=omega, damping_ratio=0.0))
        .sum(axis=1)
        for shape, row, share in zip(shapes, weights, shares, strict=True)
    )  # fmt: skip
    assert (left <= limit).all()
    # The slower move alone would need less: its share of the time is what decides.
    alone = durations_to_try(
        shapes[:1], angular_frequency=omega, damping_ratio=0.0, weights=weights[:1], amplitude_limit=limit
    )
    assert tried[-1] > 1.5 * alone[-1]


def test_shaper_factor_turns_the_end_of_the_move_into_that_of_the_shaped_one():
    """Against the superposition of delayed moves, with its phase: q' + (zeta omega + i omega_d) q."""
    omega, zeta, duration = np.array([20.0, 33.0]), 0.05, 0.5
    shaper, shape = zvd_shaper(angular_frequency=27.0, damping_ratio=0.02), profile("harmonic")

    def state(times):
        q, rate = unit_response(
            shape, duration=duration, angular_frequency=omega, damping_ratio=zeta, times=[times]
        )
        return (rate + (zeta * omega[:, None] + 1j * omega[:, None] * np.sqrt(1 - zeta**2)) * q)[:, 0]

    total = sum(
        amplitude * state(duration + shaper.delay - delay)
        for delay, amplitude in zip(shaper.times, shaper.amplitudes, strict=True)
    )
    factor = shaper_factor(shaper, angular_frequency=omega, damping_ratio=zeta)
    assert state(duration) * factor == pytest.approx(total, rel=1e-11)
    assert np.abs(factor) == pytest.approx(
        shaper_residual(shaper, angular_frequency=omega, damping_ratio=zeta), rel=1e-14
    )


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (convolved, ArgumentError, "give at least one shaper"),
        (lambda: zv_shaper(angular_frequency=0.0, damping_ratio=0.0), ArgumentError, "given 0 rad/s"),
        (
            lambda: zv_shaper(angular_frequency=1.0, damping_ratio=1.5),
            ArgumentError,
            "damping_ratio: given 1.5",
        ),
        (
            lambda: insensitivity_width(
                zv_shaper(angular_frequency=1.0, damping_ratio=0.0),
                angular_frequency=1.0,
                damping_ratio=0.0,
                limit=2.0,
            ),
            ArgumentError,
            "limit: given 2",
        ),
        (
            lambda: still_move(
                profile("harmonic"),
                angular_frequency=1.0,
                damping_ratio=0.0,
                weights=np.nan,
                amplitude_limit=1.0,
            ),
            ArgumentError,
            r"given shape \(1, 1\); wanted \(1, 1\), all finite",
        ),
        (
            lambda: durations_to_try(
                [profile("harmonic")],
                angular_frequency=[1.0, 2.0],
                damping_ratio=0.0,
                weights=[1.0, 2.0],
                amplitude_limit=1.0,
            ),
            ArgumentError,
            r"given shape \(2,\); wanted \(1, 2\)",
        ),
        (
            lambda: still_durations(lambda time: time, tried=[1.0, 2.0], limit=0.0),
            ArgumentError,
            "limit: given 0",
        ),
    ],
)
def test_bad_arguments_are_named(call, error, message):
    with pytest.raises(error, match=message):
        call()


def test_a_shaper_far_off_its_frequency_has_no_width():
    shaper = zv_shaper(angular_frequency=10.0, damping_ratio=0.0)
    assert insensitivity_width(shaper, angular_frequency=14.0, damping_ratio=0.0) == 0.0
