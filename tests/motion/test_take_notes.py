"""The sentences about a take say what is the case, with its numbers, and keep silent where it is not.

What a person reads is held word for word; the bounds are held from both sides.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rigcheck.motion.take_cleaning import CleanTrack, MatchedMove
from rigcheck.motion.take_components import Component
from rigcheck.motion.take_fit import Fit, Selection
from rigcheck.motion.take_notes import cleaning_notes, criterion, move_notes, part_notes
from rigcheck.motion.take_search import Part

FIT = Fit(
    poles=np.array([-0.1 + 20.0j]),
    amplitudes=np.ones((1, 2), dtype=np.complex128),
    drift=np.zeros((2, 2)),
    duration=4.0,
    residuals=np.zeros((100, 2)),
    bic=-10.0,
)
SELECTION = Selection(fit=FIT, tried={1: -10.04, 0: 250.26})
PART = Part(start=0, stop=100, used=np.arange(100) / 25.0, selection=SELECTION)
ROWS = np.arange(100)
TRACK = CleanTrack(
    rows=ROWS,
    times=ROWS / 25.0,
    track=np.stack([np.sin(0.7 * ROWS), np.cos(0.3 * ROWS)], axis=1),
    shake=np.zeros((100, 2)),
    lost=0,
    repeated=0,
    jumped=0,
    step=0.0,
)
SWING = Component(
    frequency=3.0,
    frequency_range=(2.9, 3.1),
    damped_frequency=3.0,
    damping_ratio=0.01,
    damping_range=(0.009, 0.011),
    amplitude=4.0,
    amplitude_range=(3.9, 4.1),
    minor_amplitude=0.0,
    direction=np.array([1.0, 0.0]),
    direction_range=(-0.1, 0.1),
    phase=0.0,
    cycles=12.0,
)
ALIASES = (
    "At 25 frames a second 3 Hz looks the same as 22, 28, 47 Hz and so on: the camera alone cannot tell which "
    "it is. A take at another frame rate does."
)


def notes_of(*swings: Component, part: Part = PART, track: CleanTrack = TRACK, **said) -> list[str]:
    words = {"noise": 0.1, "restless": False, "changing": 0, "unit": "px"} | said
    return part_notes(part, track, list(swings), 25.0, **words)


def test_a_plain_swing_needs_only_its_images() -> None:
    assert notes_of(SWING) == [ALIASES]


def test_only_three_swings_are_named_with_their_images() -> None:
    (note,) = notes_of(*(replace(SWING, frequency=f, damped_frequency=f) for f in (3.0, 5.0, 7.0, 9.0)))
    assert note.count("looks the same as") == 3
    assert "5 Hz looks the same as 20, 30, 45 Hz and so on, 7 Hz looks the same as 18, 32, 43 Hz" in note


def test_criterion_tells_its_figures() -> None:
    start = (
        "Bayesian information criterion, lowest wins, with 6 numbers for a component and 2 for a degree of "
        "drift. By number of components: 0: 250.3, 1: -10.0. Chosen: "
    )
    assert criterion(SELECTION) == start + "1, with a drift of degree 1."
    bare = replace(FIT, poles=np.zeros(0, dtype=np.complex128), drift=np.zeros((3, 2)))
    assert criterion(replace(SELECTION, fit=bare)) == start + (
        "0, with a drift of degree 2. Taken out again: what dies within its first swings, is slow and not seen "
        "twice, or does not stand out of the noise at its own frequency."
    )


def test_cleaning_says_what_was_left_out() -> None:
    assert cleaning_notes(TRACK) == []
    assert cleaning_notes(replace(TRACK, lost=1, repeated=2, jumped=1)) == [
        (
            "1 frame missing or without a position. The fit uses the true times of the others, so this costs "
            "certainty only."
        ),
        (
            "2 frames left out as a repeat of the one before. If frames were also dropped without a trace, the "
            "times after them are wrong, and with them frequency and damping."
        ),
        "1 frame left out because the point jumps away and back in them.",
    ]


def test_the_planned_move_is_spoken_of_where_it_does_not_fit() -> None:
    move = MatchedMove(path=np.zeros((100, 2)), shift=0.0, scale=1.04, hold=(3, 90))
    larger = [
        (
            "On screen the move is 1.06 times as large as planned: field width, distance or the move itself "
            "may differ from the rig file."
        )
    ]
    assert move_notes(move) == move_notes(replace(move, scale=0.96)) == []
    assert move_notes(replace(move, scale=1.06)) == larger
    assert move_notes(replace(move, scale=0.94)) == [larger[0].replace("1.06", "0.94")]
    assert move_notes(replace(move, hold=None)) == [
        "The planned move does not stop for long within the take; what is left beside it was searched."
    ]
    assert move_notes(None) == [
        "The planned move does not match the track and was not taken out; the stop was looked for."
    ]


def test_rounding_is_told_from_half_the_noise_on() -> None:
    rounded = replace(TRACK, step=0.25)
    assert notes_of(SWING, track=rounded, noise=0.5) == [ALIASES]
    assert notes_of(SWING, track=rounded, noise=0.49) == [
        "Positions are rounded to 0.25 px; a wobble smaller than that may not show.",
        ALIASES,
    ]
    assert notes_of(SWING, noise=0.0) == [ALIASES]


@pytest.mark.parametrize(("count", "short"), [(11, True), (12, False)])
def test_few_frames_find_nothing(count: int, short: bool) -> None:
    first = notes_of(part=replace(PART, used=np.arange(count) / 25.0))[0]
    few = f"Only {count} frames after the stop: too few to find a wobble. Let the camera run on."
    assert (first == few) is short


def test_nothing_found_says_what_would_have_been() -> None:
    """A steady wobble takes n A^2/2 off the sum of squares, and 12 ln(2 n) sigma^2 is asked for (derived in the
    module): with n = 100 and sigma = 0.1, A = 0.1 sqrt(2 x 6 ln 200/100) = 0.0797."""
    assert notes_of() == [
        (
            "Nothing rings above the noise of 0.1 px in the 4 s after the stop. A lasting wobble of more than "
            "about 0.08 px to either side would have been found; one slower than 0.25 Hz would look like "
            "drift, and one at 25 Hz or a multiple would stand still in the picture."
        )
    ]
    assert notes_of(restless=True) == [
        (
            "In the 4 s after the stop the point still moves by more than its noise, but not in a swing that "
            "can be told from drift or from the end of the move. Let the camera run on."
        )
    ]


def test_what_makes_the_numbers_means() -> None:
    assert notes_of(SWING, restless=True, changing=1, part=replace(PART, earlier=True)) == [
        (
            "The fit leaves 0.1 px a frame, well over the noise from frame to frame: frequency or damping "
            "change with the size of the swing, or something else moves the point. The numbers are means, and "
            "the ranges do not cover this."
        ),
        "Another move follows. The stop before it was used, because it shows more cycles.",
        (
            "A swing changes its frequency or damping as it dies down, as with play in a clamp or friction in "
            "a joint. Its numbers are means, and the ranges say how far they change."
        ),
        ALIASES,
    ]


def test_a_point_at_the_edge_of_its_track() -> None:
    """Seen in the raw track, with the shake of the camera put back, and only in the rows of the part."""
    may_be = (
        "The point may be stuck at an edge for part of each swing: then the amplitude is too small, and "
        "frequencies of two and three times the true one may be false."
    )
    clipped = np.clip(4.0 * TRACK.track, -1.0, 1.0)
    shake = np.outer(np.sin(1.1 * ROWS), [1.0, 1.0])
    held = replace(TRACK, track=clipped - shake, shake=shake)
    assert notes_of(SWING, track=held) == [may_be, ALIASES]
    assert may_be not in notes_of(track=held)
    half = replace(TRACK, track=np.concatenate([clipped[:50], TRACK.track[50:]]))
    assert notes_of(SWING, track=half, part=replace(PART, stop=50)) == [may_be, ALIASES]
    assert notes_of(SWING, track=half, part=replace(PART, start=50)) == [ALIASES]
    assert notes_of(SWING, track=held, part=replace(PART, stuck=1))[0] == (
        "1 frame left out because the point is stuck at the edge of the track there. The amplitude is worked "
        "out from the rest of the swing."
    )


def test_components_within_a_cycle_and_a_half_are_told_as_close() -> None:
    """Over 4 s, 1.5 cycles are 0.375 Hz; the order in which they are named does not matter."""

    def close(*frequencies: float) -> bool:
        notes = notes_of(*(replace(SWING, frequency=f, damped_frequency=f) for f in frequencies))
        return notes[0] == (
            "Components lie closer together than the take can tell apart. Either two supports or directions "
            "ring at nearly the same frequency, or it is one swing whose damping or frequency changes with its "
            "size, as with friction in a joint; then take them together as one."
        )

    assert close(3.0, 3.374)
    assert not close(3.0, 3.375)
    assert close(3.0, 6.0, 3.2)
    assert not close(6.0, 3.0)


def about(swing: Component, duration: float = 4.0) -> list[str]:
    """What is said of one swing, its images left out."""
    part = replace(PART, selection=replace(SELECTION, fit=replace(FIT, duration=duration)))
    return notes_of(swing, part=part)[1:]


@pytest.mark.parametrize(
    ("duration", "frequency", "near"),
    [
        (2.0, 11.51, True),  # 2/duration is 1 Hz
        (2.0, 11.49, False),
        (2.0, 13.49, True),
        (100.0, 11.76, True),  # 3 % of the frame rate is 0.75 Hz
        (100.0, 11.74, False),
    ],
)
def test_near_half_the_frame_rate(duration: float, frequency: float, near: bool) -> None:
    """The swings counted decide, the natural frequency is named."""
    said = about(replace(SWING, frequency=frequency + 0.1, damped_frequency=frequency), duration)
    assert said == near * [
        (
            f"{frequency + 0.1:.3g} Hz is near half the frame rate: every swing is caught at almost the same "
            "two places, so amplitude and direction are poorly known, and the swing may be larger than it "
            "looks. Film it at another frame rate."
        )
    ]


def test_slow_swings_may_be_drift() -> None:
    slow = replace(SWING, frequency=0.19, damped_frequency=0.19)
    assert about(slow) == [
        "0.19 Hz is slower than props swing on their supports; it may be drift of camera or light."
    ]
    assert about(replace(slow, frequency=0.2)) == []


def test_few_swings_are_rough() -> None:
    vague = replace(SWING, damping_range=(0.008, 0.0111))  # 31 % of the ratio
    assert about(replace(vague, cycles=1.99)) == [
        (
            "Fewer than two cycles of 3 Hz are in view: its frequency is rough, and its damping cannot be told "
            "from drift. Let the camera run on after the stop, or strike it harder."
        )
    ]
    for cycles in (2.0, 7.99):
        assert about(replace(vague, cycles=cycles)) == [
            f"Only {int(cycles)} cycles of 3 Hz are in view: its damping is rough."
        ]
    assert about(replace(vague, cycles=8.0)) == []
    assert about(replace(vague, cycles=5.0, damping_range=(0.008, 0.0109))) == []


def test_damping_too_small_to_measure() -> None:
    undamped = replace(SWING, damping_ratio=0.0, damping_range=(0.0, 0.00234))
    told = ["The damping of 3 Hz is too small to be measured in 4 s; it is at most 0.0023."]
    assert about(undamped) == about(replace(undamped, cycles=8.0)) == told
    assert about(replace(undamped, cycles=2.0))[1:] == told
    assert len(about(replace(undamped, cycles=1.99))) == 1
