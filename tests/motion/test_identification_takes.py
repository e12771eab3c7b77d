"""Identification of whole takes: moves, gaps, edges, and what is said about what cannot be known."""

import numpy as np
import pytest

from rigcheck.errors import ArgumentError
from rigcheck.motion.identification import aliases, identify
from rigcheck.motion.profiles import profile
from rigcheck.motion.response import unit_displacement


def swing(times, frequency, ratio, amplitude, angle=0.0, phase=0.0):
    omega = 2 * np.pi * frequency
    wave = amplitude * np.exp(-ratio * omega * times) * np.cos(omega * np.sqrt(1 - ratio**2) * times + phase)
    return wave[:, None] * [np.cos(angle), np.sin(angle)]


def moved(times, begin, duration, stroke, modes, name="trapezoidal"):
    """Track of a point carried by a move that excites modes (frequency, ratio, gain x, gain y)."""
    shape = profile(name)
    track = shape.displacement(np.clip((times - begin) / duration, 0.0, 1.0))[:, None] * np.asarray(stroke)
    for frequency, ratio, *gains in modes:
        (response,) = unit_displacement(
            shape,
            duration=duration,
            angular_frequency=2 * np.pi * frequency,
            damping_ratio=ratio,
            times=times - begin,
        )
        track = track + np.hypot(*stroke) * response[:, None] * gains
    return track


def noisy(track, noise, seed=1):
    return track + np.random.default_rng(seed).normal(0.0, noise, track.shape)


def said(found, words):
    return any(words in note for note in found.notes)


TAKE = np.arange(600) / 50.0
PATH = moved(TAKE, 1.0, 1.5, (800.0, -250.0), [])
RINGING = moved(TAKE, 1.0, 1.5, (800.0, -250.0), [(3.3, 0.012, 1.0, 0.4)])


class TestThePartAfterTheStop:
    @pytest.mark.parametrize("name", ["trapezoidal", "s-curve", "cycloidal", "polynomial-345"])
    @pytest.mark.parametrize("rate", [24, 120])
    def test_is_found_by_itself(self, name, rate) -> None:
        times = np.arange(9 * rate) / rate
        track = moved(times, 0.8, 0.8, (600.0, 200.0), [(3.3, 0.012, 1.0, 0.4)], name)
        found = identify(times, noisy(track, 0.15))
        # A smooth move is over for the eye a little before it ends, and a quarter period is waited.
        assert -0.2 < found.start_time - 1.6 < 0.2
        (component,) = found.components
        assert component.frequency == pytest.approx(3.3, rel=0.005)
        assert component.damping_ratio == pytest.approx(0.012, rel=0.15)
        assert np.isnan(found.fit[: found.start_index]).all()
        inside = slice(found.start_index, found.stop_index)
        assert found.fit[inside] == pytest.approx(track[inside], abs=0.15)

    @pytest.mark.parametrize("shift", [-0.43, 0.0, 0.6])
    def test_is_known_from_the_planned_move_whenever_it_was_made(self, shift) -> None:
        planned = moved(TAKE, 1.0 - shift, 1.5, (800.0, -250.0), [])
        found = identify(TAKE, noisy(RINGING, 0.15), planned=planned)
        # The prop lags by acceleration/omega^2 and rings: that shifts the best match by a part of a frame.
        assert found.planned_shift == pytest.approx(shift, abs=0.02)
        assert -0.02 < found.start_time - 2.5 < 0.15
        assert found.components[0].frequency == pytest.approx(3.3, rel=0.003)
        inside = slice(found.start_index, found.stop_index)
        assert found.fit[inside] == pytest.approx(RINGING[inside], abs=0.15)

    def test_planned_move_mirrored_and_of_another_size(self) -> None:
        found = identify(TAKE, noisy(RINGING, 0.15), planned=PATH * [1.0, -1.0] / 1.25)
        assert found.components[0].frequency == pytest.approx(3.3, rel=0.003)
        assert said(found, "1.25 times as large as planned")

    def test_planned_move_of_another_take_is_not_used(self) -> None:
        wrong = 100.0 * np.sin(2 * np.pi * 0.8 * TAKE)[:, None] * [1.0, 0.3]
        found = identify(TAKE, noisy(RINGING, 0.15), planned=wrong)
        assert found.planned_shift is None
        assert said(found, "does not match the track")
        assert found.components[0].frequency == pytest.approx(3.3, rel=0.003)

    def test_planned_move_that_goes_on_slowly_is_taken_out(self) -> None:
        creep = np.where(TAKE > 2.5, 6.0 * np.sin(0.9 * (TAKE - 2.5)), 0.0)[:, None] * [1.0, 0.0]
        found = identify(TAKE, noisy(RINGING + creep, 0.1), planned=PATH + creep)
        assert [round(component.frequency, 1) for component in found.components] == [3.3]
        assert said(found, "does not stop for long")

    def test_a_tap_in_a_long_quiet_take(self) -> None:
        times = np.arange(6000) / 50.0
        late = np.maximum(times - 70.0, 0.0)
        track = swing(late, 6.0, 0.03, 4.0, phase=np.pi / 2) * (times >= 70.0)[:, None]
        found = identify(times, noisy(track, 0.1))
        assert found.start_time == pytest.approx(70.0, abs=0.1)
        (component,) = found.components
        assert component.frequency == pytest.approx(6.0, rel=0.005)
        assert component.damping_ratio == pytest.approx(0.03, rel=0.15)

    def test_a_take_that_moves_away_again_at_its_end(self) -> None:
        times = np.arange(800) / 50.0
        mode = [(4.1, 0.01, 1.0, 1.0)]
        track = moved(times, 1.0, 1.0, (700.0, 0.0), mode) + moved(times, 14.0, 1.0, (-700.0, 0.0), mode)
        found = identify(times, noisy(track, 0.1))
        assert 1.9 < found.start_time < 2.2
        assert found.stop_time < 14.0
        assert said(found, "Another move follows")
        assert found.components[0].frequency == pytest.approx(4.1, rel=0.002)

    def test_ringing_long_dead_is_left_out_of_the_fit(self) -> None:
        times = np.arange(3000) / 50.0
        found = identify(times, noisy(swing(times, 4.0, 0.05, 5.0), 0.1))
        assert found.stop_time < 8.0


class TestWhatTheCameraDid:
    def test_shake_is_taken_off_by_a_fixed_point(self) -> None:
        rng = np.random.default_rng(5)
        shake = np.cumsum(rng.normal(0.0, 0.4, RINGING.shape), axis=0)
        background = shake + np.array([30.0, 900.0]) + rng.normal(0.0, 0.05, shake.shape)
        found = identify(TAKE, noisy(RINGING + shake, 0.1), background=background)
        (component,) = found.components
        assert component.frequency == pytest.approx(3.3, rel=0.003)
        assert found.noise == pytest.approx(np.hypot(0.1, 0.05), rel=0.1)
        inside = slice(found.start_index, found.stop_index)
        # The fit stands where the point was seen, shake and all; the fixed point has noise of its own.
        assert found.fit[inside] == pytest.approx((RINGING + shake)[inside], abs=0.4)

    def test_frames_without_a_position_and_gaps(self) -> None:
        track = noisy(swing(TAKE, 3.3, 0.01, 5.0, 0.3), 0.1)
        track[40:55] = np.nan
        track[300] = [np.nan, 4.0]
        keep = np.ones(TAKE.size, dtype=bool)
        keep[400:430] = False
        found = identify(TAKE[keep], track[keep])
        (component,) = found.components
        assert component.frequency == pytest.approx(3.3, rel=0.001)
        assert component.damping_ratio == pytest.approx(0.01, rel=0.05)
        assert said(found, "46 frames missing")
        assert np.isnan(found.fit[40:55]).all()

    def test_times_without_any_order(self) -> None:
        times = np.sort(np.random.default_rng(2).uniform(0.0, 12.0, 300))
        (component,) = identify(times, noisy(swing(times, 3.3, 0.01, 5.0, 0.3), 0.1)).components
        assert component.frequency == pytest.approx(3.3, rel=0.001)
        assert component.damping_ratio == pytest.approx(0.01, rel=0.08)

    def test_repeated_frames(self) -> None:
        track = noisy(swing(TAKE, 3.3, 0.01, 5.0, 0.3), 0.05)
        track[[20, 61, 62, 140]] = track[[19, 60, 60, 139]]
        found = identify(TAKE, track)
        assert said(found, "4 frames left out as a repeat")
        assert found.noise == pytest.approx(0.05, rel=0.1)

    def test_a_point_that_jumps_to_something_else(self) -> None:
        track = noisy(swing(TAKE, 3.3, 0.01, 5.0, 0.3), 0.05)
        track[[33, 170]] += 40.0
        found = identify(TAKE, track)
        assert said(found, "2 frames left out because the point jumps")
        assert found.noise == pytest.approx(0.05, rel=0.1)

    @pytest.mark.parametrize("step", [0.0, 0.05])
    def test_a_point_stuck_at_the_edge_of_the_picture(self, step) -> None:
        times = np.arange(300) / 25.0
        track = noisy(swing(times, 2.3, 0.01, 10.0), 0.05)
        if step:
            track = np.round(track / step) * step
        found = identify(times, np.clip(track, -6.0, 6.0))
        assert said(found, "stuck at the edge")
        (component,) = found.components
        assert component.frequency == pytest.approx(2.3, rel=0.001)
        start = 10.0 * np.exp(-0.01 * 2 * np.pi * 2.3 * found.start_time)
        assert component.amplitude == pytest.approx(start, rel=0.02)

    def test_coarse_rounding_is_no_edge(self) -> None:
        times = np.arange(300) / 25.0
        found = identify(times, np.round(swing(times, 2.3, 0.01, 3.0, 0.3)))
        assert said(found, "rounded to 1 px")
        assert not said(found, "stuck")
        (component,) = found.components
        assert component.frequency == pytest.approx(2.3, rel=0.002)


class TestWhatCannotBeKnown:
    @pytest.mark.parametrize("seed", range(6))
    def test_only_noise(self, seed) -> None:
        found = identify(TAKE, np.random.default_rng(seed).normal(0.0, 0.2, (600, 2)))
        assert found.is_noise
        assert found.components == ()
        assert said(found, "Nothing rings above the noise")
        assert found.noise == pytest.approx(0.2, rel=0.1)

    def test_the_wobble_that_would_have_been_found_is(self) -> None:
        """The note's limit for 600 frames of 0.2 px is 0.2 sqrt(12 ln(1200)/600) = 0.075 px."""
        found = identify(TAKE, noisy(swing(TAKE, 3.3, 0.0, 0.0), 0.2))
        assert said(found, "more than about 0.075 px")
        assert not identify(TAKE, noisy(swing(TAKE, 3.3, 0.0, 1.3 * 0.075), 0.2)).is_noise

    def test_a_move_that_leaves_nothing_ringing(self) -> None:
        found = identify(TAKE, noisy(PATH, 0.1))
        assert found.is_noise
        assert 2.3 < found.start_time < 2.8

    def test_a_point_that_stands_still_to_the_last_digit(self) -> None:
        found = identify(TAKE, np.full((600, 2), 417.25))
        assert found.is_noise
        assert found.noise < 1e-9

    @pytest.mark.parametrize(("cycles", "words"), [(1.4, "Fewer than two cycles"), (1.8, "Fewer than two")])
    def test_fewer_than_two_cycles(self, cycles, words) -> None:
        times = np.arange(int(cycles / 2.3 * 50)) / 50.0
        found = identify(times, noisy(swing(times, 2.3, 0.01, 5.0, 0.6), 0.2))
        assert said(found, words)
        (component,) = found.components
        low, high = component.frequency_range
        assert low < 2.3 < high

    def test_less_than_a_cycle_is_no_wobble_and_no_noise(self) -> None:
        times = np.arange(30) / 50.0
        found = identify(times, noisy(swing(times, 1.2, 0.01, 20.0, 0.6), 0.1))
        assert found.components == ()
        assert not found.is_noise
        assert said(found, "Let the camera run on")

    def test_a_handful_of_frames(self) -> None:
        found = identify(TAKE[:8], swing(TAKE[:8], 3.3, 0.01, 5.0))
        assert said(found, "Only 8 frames")
        assert not found.is_noise

    def test_half_the_frame_rate_exactly(self) -> None:
        times = np.arange(240) / 24.0
        found = identify(times, noisy(swing(times, 12.0, 0.003, 4.0, 0.4), 0.2))
        (component,) = found.components
        assert said(found, "near half the frame rate")
        assert component.frequency_range[0] < 12.0 < component.frequency_range[1]
        assert np.ptp(component.frequency_range) > 0.02
        assert component.damping_ratio == pytest.approx(0.003, rel=0.15)

    def test_the_aliases_are_named(self) -> None:
        times = np.arange(240) / 24.0
        found = identify(times, noisy(swing(times, 7.0, 0.003, 4.0), 0.1))
        assert said(found, "looks the same as 17, 31, 41 Hz")

    def test_damping_too_small_to_measure(self) -> None:
        found = identify(TAKE, noisy(swing(TAKE, 3.3, 0.0, 1.0), 0.3))
        assert found.components[0].damping_range[0] == 0.0
        assert said(found, "too small to be measured")

    def test_friction_that_stops_the_swing(self) -> None:
        """Amplitude falls in a straight line, as with dry friction: one exponential cannot follow."""
        size = np.maximum(6.0 - 0.45 * TAKE, 0.0)
        track = np.stack([size * np.cos(2 * np.pi * 3.0 * TAKE), 0.0 * TAKE], axis=1)
        found = identify(TAKE, noisy(track, 0.02))
        assert found.components[0].frequency == pytest.approx(3.0, rel=0.01)
        assert said(found, "take them together as one") or said(found, "means")

    def test_a_drift_is_no_component(self) -> None:
        drift = 3.0 * np.sin(2 * np.pi * 0.04 * TAKE)[:, None] * [1.0, 0.5]
        found = identify(TAKE, noisy(swing(TAKE, 3.3, 0.01, 3.0, 0.3) + drift, 0.1))
        assert [round(component.frequency, 1) for component in found.components] == [3.3]
        assert found.drift_degree >= 2


class TestComponents:
    def test_a_swing_in_exact_numbers(self) -> None:
        track = swing(TAKE, 3.3, 0.02, 5.0, angle=0.7, phase=0.4) + np.array([960.0, 540.0])
        found = identify(TAKE, track)
        (component,) = found.components
        assert component.frequency == pytest.approx(3.3, rel=1e-7)
        assert component.damped_frequency == pytest.approx(3.3 * np.sqrt(1 - 0.02**2), rel=1e-7)
        assert component.damping_ratio == pytest.approx(0.02, rel=1e-6)
        assert component.amplitude == pytest.approx(5.0, rel=1e-6)
        assert component.direction == pytest.approx([np.cos(0.7), np.sin(0.7)], abs=1e-6)
        assert component.phase == pytest.approx(0.4, abs=1e-6)
        assert component.minor_amplitude == pytest.approx(0.0, abs=1e-5)
        assert (found.start_index, found.start_time) == (0, 0.0)
        assert found.frame_rate == pytest.approx(50.0)
        assert found.fit[: found.stop_index] == pytest.approx(track[: found.stop_index], abs=1e-5)

    @pytest.mark.parametrize("turn", [1.0, -1.0])
    def test_an_ellipse_and_which_way_round(self, turn) -> None:
        """Half axes 5 along 30 degrees and 2 across; from x to y where the turn is positive."""
        angle = np.radians(30.0)
        omega = 2 * np.pi * 3.3
        fade = np.exp(-0.01 * omega * TAKE)
        along, across = 5.0 * np.cos(omega * TAKE) * fade, turn * 2.0 * np.sin(omega * TAKE) * fade
        track = along[:, None] * [np.cos(angle), np.sin(angle)] + across[:, None] * [
            -np.sin(angle),
            np.cos(angle),
        ]
        (component,) = identify(TAKE, noisy(track, 0.05)).components
        assert component.amplitude == pytest.approx(5.0, rel=0.01)
        assert component.minor_amplitude == pytest.approx(turn * 2.0, rel=0.02)
        assert component.direction_range[0] < angle < component.direction_range[1]
        assert np.ptp(component.direction_range) < 0.05

    def test_a_circle_has_no_direction(self) -> None:
        omega = 2 * np.pi * 3.3
        track = 4.0 * np.stack([np.cos(omega * TAKE), np.sin(omega * TAKE)], axis=1)
        (component,) = identify(TAKE, noisy(track, 0.1)).components
        assert np.ptp(component.direction_range) == pytest.approx(np.pi)

    def test_largest_first(self) -> None:
        track = (
            swing(TAKE, 3.3, 0.01, 2.0) + swing(TAKE, 7.0, 0.01, 6.0, 1.0) + swing(TAKE, 12.0, 0.01, 4.0, 0.4)
        )
        found = identify(TAKE, noisy(track, 0.1))
        assert [round(component.frequency) for component in found.components] == [7, 12, 3]
        sizes = [component.amplitude for component in found.components]
        assert sizes == sorted(sizes, reverse=True)

    def test_five_modes(self) -> None:
        frequencies = [2.0, 3.1, 5.2, 8.7, 14.0]
        track = sum(swing(TAKE, f, 0.01, 3.0, 0.5 * i) for i, f in enumerate(frequencies))
        found = identify(TAKE, noisy(track, 0.1))
        assert sorted(component.frequency for component in found.components) == pytest.approx(
            frequencies, rel=1e-3
        )
        assert "Bayesian information criterion" in found.order_criterion
        assert "Chosen: 5" in found.order_criterion

    def test_units_and_the_clock_only_scale_the_answer(self) -> None:
        track = noisy(swing(TAKE, 3.3, 0.01, 5.0, 0.3) + swing(TAKE, 8.0, 0.02, 3.0, 1.2), 0.1)
        plain = identify(TAKE, track)
        scaled = identify(TAKE / 4.0 + 100.0, 0.11 * track + 7.0)
        for one, other in zip(plain.components, scaled.components, strict=True):
            assert other.frequency == pytest.approx(4.0 * one.frequency, rel=1e-5)
            assert other.damping_ratio == pytest.approx(one.damping_ratio, rel=1e-3)
            assert other.amplitude == pytest.approx(0.11 * one.amplitude, rel=1e-4)
        assert scaled.noise == pytest.approx(0.11 * plain.noise, rel=1e-4)

    def test_turning_the_camera_turns_the_directions(self) -> None:
        track = noisy(swing(TAKE, 3.3, 0.01, 5.0, 0.3), 0.1)
        turn = np.array([[np.cos(0.5), np.sin(0.5)], [-np.sin(0.5), np.cos(0.5)]])
        (one,), (other,) = identify(TAKE, track).components, identify(TAKE, track @ turn).components
        assert other.frequency == pytest.approx(one.frequency, rel=1e-5)
        assert other.direction @ [np.cos(0.5), np.sin(0.5)] == pytest.approx(one.direction[0], abs=1e-3)

    def test_known_noise_widens_the_ranges(self) -> None:
        track = noisy(swing(TAKE, 3.3, 0.01, 5.0, 0.3), 0.05)
        narrow, wide = identify(TAKE, track), identify(TAKE, track, noise=0.5)
        ratio = np.ptp(wide.components[0].frequency_range) / np.ptp(narrow.components[0].frequency_range)
        assert ratio == pytest.approx(10.0, rel=0.15)


class TestArguments:
    def test_shapes(self) -> None:
        with pytest.raises(
            ArgumentError, match=r"positions: given an array of shape \(600,\); wanted \(600, 2\)"
        ):
            identify(TAKE, RINGING[:, 0])
        with pytest.raises(ArgumentError, match="background: given"):
            identify(TAKE, RINGING, background=RINGING[:5])
        with pytest.raises(ArgumentError, match="planned: given"):
            identify(TAKE, RINGING, planned=RINGING[:, :1])
        with pytest.raises(ArgumentError, match="n at least 4"):
            identify(TAKE[:3], RINGING[:3])

    def test_values(self) -> None:
        with pytest.raises(ArgumentError, match="does not come after"):
            identify(TAKE[::-1], RINGING)
        with pytest.raises(ArgumentError, match="infinite"):
            identify(TAKE, np.where(TAKE[:, None] == 0.0, np.inf, RINGING))
        with pytest.raises(ArgumentError, match="only 3 of 600 frames have a position"):
            identify(TAKE, np.where(TAKE[:, None] < 0.05, RINGING, np.nan))
        with pytest.raises(ArgumentError, match="planned: not all are finite"):
            identify(TAKE, RINGING, planned=np.full((600, 2), np.nan))
        with pytest.raises(ArgumentError, match="noise: given -1 px"):
            identify(TAKE, RINGING, noise=-1.0)

    def test_aliases(self) -> None:
        assert aliases(17.0, frame_rate=24.0, highest=30.0) == [7.0, 17.0]
        assert aliases(0.0, frame_rate=24.0, highest=50.0) == [0.0, 24.0, 48.0]
        assert aliases(12.0, frame_rate=24.0, highest=61.0) == [12.0, 36.0, 60.0]
        with pytest.raises(ArgumentError, match="frequency: given -1 Hz"):
            aliases(-1.0, frame_rate=24.0, highest=30.0)
        with pytest.raises(ArgumentError, match="frame_rate: given 0 Hz"):
            aliases(1.0, frame_rate=0.0, highest=30.0)
        with pytest.raises(ArgumentError, match="highest: given 1e\\+12 Hz"):
            aliases(1.0, frame_rate=24.0, highest=1e12)


def test_72000_frames() -> None:
    """Ten minutes at 120 frames a second."""
    times = np.arange(72_000) / 120.0
    modes = [(3.2, 0.003, 1.0, 0.3), (5.1, 0.003, 0.3, 1.0)]
    track = noisy(moved(times, 1.0, 1.0, (800.0, 300.0), modes, "cycloidal"), 0.2)
    found = identify(times, track)
    assert [round(component.frequency, 2) for component in found.components] == [3.2, 5.1]
