"""The parts of identification by themselves: pencil, fit, noise, cleaning, matching of the planned move."""

import numpy as np
import pytest
from scipy.signal import lfilter

from rigcheck.motion.take_cleaning import clean, match_move, rounding_step, stuck_rows
from rigcheck.motion.take_fit import covariance, fit_given, noise_spectrum, predict, refine, select
from rigcheck.motion.take_part import adjusted_start, frame_noise, on_even_grid, ringing_parts
from rigcheck.motion.take_pencil import candidate_poles, pencil

POLES = np.array([-0.3 + 14.0j, -1.1 + 31.0j])
AMPLITUDES = np.array([[3.0 + 1.0j, 0.5 - 0.2j], [0.4j, 2.0 + 0.0j]])
NOTHING = np.zeros(2)


def waves(times, poles=POLES, amplitudes=AMPLITUDES):
    return (np.exp(times[:, None] * poles) @ amplitudes).real


def test_pencil_is_exact_without_noise() -> None:
    times = np.arange(90) / 25.0
    (factors,) = pencil([waves(times)], (4,))
    expected = np.exp(np.concatenate([POLES, POLES.conj()]) / 25.0)
    for factor in expected:
        assert np.abs(factors - factor).min() < 1e-6  # the square of the matrix keeps half the digits


def test_pencil_joins_stretches() -> None:
    times = np.arange(200) / 25.0
    track = waves(times)
    (factors,) = pencil([track[:50], track[77:110], track[140:]], (4,))
    for factor in np.exp(POLES / 25.0):
        assert np.abs(factors - factor).min() < 1e-6


def test_pencil_has_nothing_to_say_about_too_little() -> None:
    (none,) = pencil([waves(np.arange(7) / 25.0)], (8,))
    assert none.size == 0
    assert pencil([], (4,))[0].size == 0


def test_candidates_hold_the_poles_in_spite_of_gaps_and_drift() -> None:
    times = np.delete(np.arange(300) / 25.0, [20, 21, 90, *range(150, 170)])
    track = waves(times) + np.outer(times, [0.5, -0.2]) + 400.0
    found = candidate_poles(times, track)
    for pole in POLES:
        assert np.abs(found - pole).min() < 0.2


def test_refine_finds_the_poles_to_the_last_digits() -> None:
    times = np.sort(np.random.default_rng(0).uniform(0.0, 6.0, 200))
    times -= times[0]
    track = waves(times) + np.outer(times, [0.5, -0.2])
    fit = refine(times, track, POLES * [1.004, 0.997], 1, NOTHING)
    assert fit.poles == pytest.approx(POLES, rel=1e-8)
    assert fit.amplitudes == pytest.approx(AMPLITUDES, rel=1e-6, abs=1e-7)
    later = np.array([7.0, 9.0])
    assert predict(fit, later) == pytest.approx(waves(later) + np.outer(later, [0.5, -0.2]), abs=1e-5)


def test_criterion_lets_noise_pass_once_in_a_thousand() -> None:
    """Stated for 100 frames in `take_fit`; of 200 takes at most two then (chance of three: 0.1 %)."""
    times = np.arange(100) / 25.0
    false = 0
    for seed in range(200):
        track = np.random.default_rng(seed).normal(0.0, 0.2, (100, 2))
        false += select(times, track, candidate_poles(times, track), NOTHING).fit.poles.size > 0
    assert false <= 2


def test_criterion_counts_its_numbers() -> None:
    """n ln(RSS/n) for x and y + p ln(2 n)/(1 - (p + 1)/(2 n)), p = 6 a component and 2 a coefficient of drift."""
    times = np.arange(100) / 25.0
    track = waves(times) + np.random.default_rng(1).normal(0.0, 0.1, (100, 2))
    fit = fit_given(times, track, POLES, 2, NOTHING)
    p = 2 * 6 + 3 * 2
    sums = (fit.residuals**2).mean(axis=0)
    assert fit.bic == pytest.approx(100 * np.log(sums).sum() + p * np.log(200) / (1 - (p + 1) / 200))


def test_covariance_is_the_scatter_of_the_estimates() -> None:
    times = np.arange(150) / 25.0
    deviation = 0.3
    found, told = [], []
    for seed in range(150):
        track = waves(times) + np.random.default_rng(seed).normal(0.0, deviation, (150, 2))
        fit = refine(times, track, POLES, 1, NOTHING)
        found.append([fit.poles[0].real, fit.poles[0].imag, *fit.amplitudes[0].real, *fit.amplitudes[0].imag])
        matrix = covariance(fit, times)[0].matrix
        told.append(np.diag(matrix)[[0, 1, 2, 4, 3, 5]])
    # A spread from 150 takes is known to 6 %; the colour of the residuals adds some 5 %.
    assert np.sqrt(np.mean(told, axis=0)) == pytest.approx(np.std(found, axis=0), rel=0.2)


def test_noise_spectrum_of_a_known_process() -> None:
    """First-order autoregression, r = 0.6: (1 - r^2)/|1 - r exp(-i w)|^2 of white noise (textbook)."""
    times = np.arange(4000) / 50.0
    white = np.random.default_rng(4).normal(0.0, 1.0, (4000, 2))
    coloured = lfilter([1.0], [1.0, -0.6], white, axis=0)
    frequencies = np.array([2.0, 10.0, 24.0])
    exact = (1 - 0.36) / np.abs(1 - 0.6 * np.exp(-2j * np.pi * frequencies / 50.0)) ** 2
    found = noise_spectrum(coloured, times, frequencies)
    # 24 lags over 4000 samples: the estimate scatters by sqrt(0.54 * 24/4000) = 6 % (Parzen's window).
    assert found == pytest.approx(np.tile(exact, (2, 1)), rel=0.2)
    assert noise_spectrum(white, times, frequencies) == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize(("lag", "window"), [(5, 1 - 6 / 16 + 6 / 64), (10, 0.25), (15, 2 / 64), (20, 0.0)])
def test_noise_spectrum_of_two_blows(lag: int, window: float) -> None:
    """Two equal spikes hang together at one lag only: 1 + w(lag/20) n/(n - lag) cos(2 pi f lag step), with Parzen's
    window 1 - 6 x^2 + 6 x^3 up to one half and 2 (1 - x)^3 beyond (Jenkins and Watts 1968, from memory)."""
    times, frequencies = 7.0 + np.arange(200) / 50.0, np.array([0.0, 3.0, 11.0])
    blows = np.zeros((200, 2))
    blows[[60, 60 + lag], 0] = 0.3
    exact = 1 + window * 200 / (200 - lag) * np.cos(2 * np.pi * frequencies * lag / 50.0)
    assert noise_spectrum(blows, times, frequencies) == pytest.approx(np.stack([exact, np.ones(3)]))


def test_noise_spectrum_leaves_missing_frames_out_pair_by_pair() -> None:
    """Ten frames apart there are 190 pairs in 200 frames, and each of two missing ones takes two of them; a tenth of
    the 198 frames left are 19 lags."""
    kept = np.delete(np.arange(200), [50, 150])
    blows = np.zeros((200, 2))
    blows[[90, 100]] = 0.3
    frequencies = np.array([0.0, 3.0])
    exact = 1 + 2 * (1 - 10 / 19) ** 3 * 198 / 186 * np.cos(2 * np.pi * frequencies * 10 / 50.0)
    found = noise_spectrum(blows[kept], kept / 50.0, frequencies)
    assert found == pytest.approx(np.stack([exact, exact]))


@pytest.mark.parametrize(("last", "white"), [(463, False), (464, True)])
def test_noise_spectrum_gives_up_where_there_is_more_gap_than_track(last: int, white: bool) -> None:
    """Up to four places a frame and 64 more."""
    times = np.append(np.arange(99.0), last) / 25.0
    series = np.outer(np.cos(0.4 * np.arange(100)), [1.0, 1.0])
    found = noise_spectrum(series, times, np.array([0.4 / (2 * np.pi) * 25.0]))
    assert bool((found == 1.0).all()) is white


def test_frame_noise() -> None:
    times = np.arange(3000) / 50.0
    noise = np.random.default_rng(1).normal(0.0, 0.2, (3000, 2))
    assert frame_noise(noise) == pytest.approx(0.2, rel=0.06)
    assert frame_noise(noise + waves(times, POLES[:1] * 0.1j, AMPLITUDES[:1] * 0.0)) == pytest.approx(
        0.2, rel=0.06
    )
    assert frame_noise(noise[:2]) == 0.0


@pytest.mark.parametrize(("share", "begin"), [(0.99, 60), (1.01, 105)])
def test_a_fiftieth_of_the_ringing_may_be_missed(share: float, begin: int) -> None:
    """On a circle of radius 10, one frame missed by 10 e stands in the mean of the five frames of a quarter period
    with e^2/(2/50^2)/5, which may be 1 + 4.5/sqrt(5) (the rule in the docstring). Below that the part begins where
    the fit begins to hold, at row 60; above, after the frame that is missed."""
    times = np.arange(200) / 25.0
    ring = waves(times, np.array([14.0j]), np.array([[10.0, 10.0j]]))
    fit = fit_given(times[100:] - times[100], ring[100:], np.array([14.0j]), 0, NOTHING)
    track = ring.copy()
    track[:60] += 5.0
    track[104] *= 1.0 + share * np.sqrt(2.0 * 5.0 * (1.0 + 4.5 / np.sqrt(5.0))) / 50.0
    assert adjusted_start(times, track, 100, 200, fit, noise=np.full(2, 1e-6)) == begin


def test_ringing_part_of_steps_and_holds() -> None:
    rows = np.arange(400)
    path = np.clip((rows - 60) / 40.0, 0.0, 1.0)[:, None] * [300.0, 0.0]
    ring = np.where(rows[:, None] >= 100, waves((rows - 100) / 25.0) * np.exp(-0.0), 0.0)
    track = path + ring + np.random.default_rng(0).normal(0.0, 0.1, (400, 2))
    start, stop = ringing_parts(track, floor=1e-9)[0]
    assert stop == 400
    assert 95 <= start <= 112


def test_even_grid_cuts_off_what_lies_ages_before() -> None:
    times = np.concatenate([np.arange(50) / 25.0, 1e6 + np.arange(80) / 25.0])
    grid, even = on_even_grid(times, np.outer(times, [1.0, 2.0]))
    assert grid[0] == 1e6
    assert even.shape == (80, 2)


class TestCleaning:
    def test_rounding_step(self) -> None:
        values = np.random.default_rng(0).normal(0.0, 3.0, 500)
        assert rounding_step(np.round(values * 8.0) / 8.0) == pytest.approx(0.125)
        assert rounding_step(values) == 0.0
        assert rounding_step(np.ones(500)) == 0.0

    def test_counts(self) -> None:
        times = np.delete(np.arange(100) / 25.0, [50, 51])
        track = 5.0 * np.stack([np.sin(7.0 * times), np.cos(5.0 * times)], axis=1)
        track += np.random.default_rng(3).normal(0.0, 0.01, track.shape)
        track[10] = np.nan
        track[30] = track[29]
        track[70] += 50.0
        cleaned = clean(times, track, None)
        assert (cleaned.lost, cleaned.repeated, cleaned.jumped) == (3, 1, 1)
        assert set(range(98)) - set(cleaned.rows.tolist()) == {10, 30, 70}

    def test_a_quick_move_in_a_long_take_is_timed(self) -> None:
        """A fifth of a second in a minute, half a minute later than planned: good to a fifth of a frame."""
        times = np.arange(3000) / 50.0
        planned, shown = (
            np.clip((times - begin) / 0.2, 0.0, 1.0)[:, None] * [0.0, 220.0] for begin in (2.0, 33.3)
        )
        move = match_move(times, shown, planned)
        assert move is not None
        assert move.shift == pytest.approx(31.3, abs=0.004)
        assert move.scale == pytest.approx(1.0, rel=1e-3)

    @pytest.mark.parametrize(("frames", "seen"), [(8, 1), (7, 0)])
    def test_repeats_are_looked_for_from_eight_frames_on(self, frames: int, seen: int) -> None:
        track = np.outer(np.arange(float(frames)) ** 1.1, [2.0, 1.0])
        track[4] = track[3]
        assert clean(np.arange(frames) / 25.0, track, None).repeated == seen

    def test_stillness_is_no_repeat(self) -> None:
        times = np.arange(100) / 25.0
        track = np.zeros((100, 2))
        track[50:, 0] = np.arange(50.0) ** 1.1
        assert clean(times, track, None).repeated == 0

    def test_stuck_rows(self) -> None:
        swing = 5.0 * np.sin(np.arange(200) / 4.0)
        clipped = np.stack([np.minimum(swing, 3.0), np.zeros(200)], axis=1)
        assert (stuck_rows(clipped) == (swing >= 3.0)).all()
        assert not stuck_rows(np.stack([swing, np.zeros(200)], axis=1)).any()

    def test_move_matched_in_time_size_and_turn(self) -> None:
        times = np.arange(500) / 50.0
        planned = np.clip((times - 2.0) / 3.0, 0.0, 1.0)[:, None] ** 2 * [0.0, 220.0]
        shown = np.clip((times - 2.7) / 3.0, 0.0, 1.0)[:, None] ** 2 * [900.0, 1200.0] + 77.0
        move = match_move(times, shown, planned)
        assert move is not None
        assert move.shift == pytest.approx(0.7, abs=0.002)
        assert move.scale == pytest.approx(1500.0 / 220.0, rel=1e-3)
        assert move.path == pytest.approx(shown, abs=2.0)
        assert move.hold == (285, 500)

    @pytest.mark.parametrize(
        ("stops", "hold"), [((20, 14), (50, 70)), ((30, 26), (100, 126)), ((11, 11), None)]
    )
    def test_the_stop_to_look_at(self, stops: tuple[int, int], hold: tuple[int, int] | None) -> None:
        """The last of 24 frames or more, or else the longest of 12 or more."""
        steps = np.repeat([0.0, 3.0, 0.0, -4.0, 0.0, 5.0], [20, 30, stops[0], 20, stops[1], 25])
        path = np.outer(np.concatenate([[0.0], np.cumsum(steps)]), [1.0, 0.4])
        times = np.arange(len(path)) / 50.0
        move = match_move(times, path, path)
        assert move is not None
        assert move.scale == pytest.approx(1.0, rel=1e-3)
        assert move.hold == hold

    def test_move_that_is_none(self) -> None:
        times = np.arange(500) / 50.0
        assert match_move(times, np.outer(times, [1.0, 1.0]), np.zeros((500, 2))) is None
