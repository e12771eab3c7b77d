"""Sample times: dense enough, few enough, on every event."""

from __future__ import annotations

import numpy as np
import pytest

from rigcheck.errors import ArgumentError, ValidityError
from rigcheck.motion.distance_measures import peak_distance
from rigcheck.motion.profiles import profile
from rigcheck.motion.response import unit_displacement
from rigcheck.motion.sampling import sample_times, traced_frequency


def test_even_and_dense_enough():
    found = sample_times(start=1.0, stop=3.0, angular_frequency=[10.0, 300.0])
    assert (found.times[0], found.times[-1], found.thinned) == (1.0, 3.0, False)
    steps = np.diff(found.times)
    assert steps == pytest.approx(steps[0], rel=1e-9)
    assert steps[0] <= 2 * np.pi / 300.0 / 48 * (1 + 1e-9)


def test_short_moves_still_get_enough_points_for_their_path():
    found = sample_times(start=0.0, stop=0.1, angular_frequency=[1.0])
    assert found.times.size >= 401


def test_modes_without_a_share_are_not_followed():
    with_all = sample_times(start=0.0, stop=9.0, angular_frequency=[10.0, 300.0])
    without = sample_times(start=0.0, stop=9.0, angular_frequency=[10.0, 300.0], share=[1.0, 1e-5])
    assert without.times.size < with_all.times.size / 5
    batch = sample_times(
        start=0.0,
        stop=9.0,
        angular_frequency=[[10.0, 30.0], [20.0, 300.0]],
        share=[[1.0, 1.0], [1e-9, 1e-12]],
    )
    assert batch.step == pytest.approx(2 * np.pi / 30.0 / 48)  # each member against its own largest


def test_a_sample_falls_on_every_event_inside():
    events = [0.5, 1.2345678, 7.0]
    found = sample_times(start=0.0, stop=2.0, angular_frequency=[40.0], events=events)
    assert set(events[:2]) <= set(found.times.tolist())
    assert found.times[-1] == 2.0
    assert (np.diff(found.times) > 0).all()


def test_long_moves_are_thinned_and_still_find_the_peak():
    duration, omega = 300.0, np.array([20.0, 900.0])
    shape = profile("trapezoidal", ramp=0.1)
    found = sample_times(
        start=0.0,
        stop=duration,
        angular_frequency=omega,
        events=duration * np.array(shape.boundaries),
        most=60_000,
    )
    assert found.thinned
    assert found.times.size <= 60_000

    def path(times):
        q = unit_displacement(
            shape, duration=duration, angular_frequency=omega, damping_ratio=0.003, times=times
        )
        return np.stack([q[0], 500.0 * q[1], np.zeros(times.size)])

    everything = np.arange(0.0, duration, 2 * np.pi / 900.0 / 48)
    thin = path(found.times)
    dense = path(everything)
    assert float(peak_distance(thin, refine=False)) == pytest.approx(float(peak_distance(dense)), rel=3e-3)


def test_what_cannot_be_thinned_is_refused_in_words():
    with pytest.raises(ValidityError, match=r"1000 are allowed: modes from 0\.159 Hz to 1\.59e\+03 Hz"):
        sample_times(start=0.0, stop=1000.0, angular_frequency=[1.0, 1e4], most=1000)


def test_a_hundred_thousand_samples_are_taken_evenly_and_no_more():
    """At 48 a period, and two ends: 99,997.5 steps are taken evenly, one more is thinned."""
    omega = 2.0 * np.pi * 1000.0
    for periods, thinned in ((99_997.5 / 48, False), (99_998.5 / 48, True)):
        found = sample_times(start=0.0, stop=periods / 1000.0, angular_frequency=[omega])
        assert (found.thinned, found.times.size <= 100_000) == (thinned, True)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"stop": 0.0}, "start, stop: given 0 s and 0 s; stop has to come after start"),
        ({"samples_per_period": 2.0}, "samples_per_period: given 2; at least 8"),
        ({"angular_frequency": [0.0]}, "angular_frequency: given 0 rad/s"),
    ],
)
def test_bad_arguments_are_named(change, message):
    with pytest.raises(ArgumentError, match=message):
        sample_times(**{"start": 0.0, "stop": 1.0, "angular_frequency": [5.0], **change})


def test_a_mode_is_sampled_for_by_its_share():
    found = traced_frequency(
        [[10.0, 400.0, 9000.0], [10.0, 400.0, 9000.0]], [[1.0, 1e-2, 1e-4], [0.0, 0.0, 0.0]]
    )
    # The third swings too little to be followed; a hundredth asks for the fourth root of the samples.
    assert found == pytest.approx([400.0 * 0.01**0.25, 0.0], rel=1e-12)
