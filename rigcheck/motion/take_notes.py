"""What was done to a take, and what cannot be known from it, in plain sentences."""

from __future__ import annotations

import numpy as np

from rigcheck.motion.take_aliases import aliases
from rigcheck.motion.take_cleaning import CleanTrack, MatchedMove, stuck_rows
from rigcheck.motion.take_components import Component
from rigcheck.motion.take_fit import Selection
from rigcheck.motion.take_search import DRIFT_FREQUENCY, ENOUGH_CYCLES, FEW_CYCLES, LEAST_FRAMES, Part

_MOST_NAMED = 3

__all__ = ["cleaning_notes", "criterion", "move_notes", "part_notes"]


def criterion(selection: Selection) -> str:
    """Say how the number of components was chosen.

    Parameters
    ----------
    selection : Selection
        What was tried and chosen.

    Returns
    -------
    str
        The criterion with its figures.
    """
    figures = ", ".join(f"{count}: {value:.1f}" for count, value in sorted(selection.tried.items()))
    count = selection.fit.poles.size
    less = ""
    if count < min(selection.tried, key=lambda number: selection.tried[number]):
        less = (
            " Taken out again: what dies within its first swings, is slow and not seen twice, or does not "
            "stand out of the noise at its own frequency."
        )
    return (
        "Bayesian information criterion, lowest wins, with 6 numbers for a component and 2 for a degree of "
        f"drift. By number of components: {figures}. Chosen: {count}, with a drift of degree "
        f"{selection.fit.degree}.{less}"
    )


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{count} frames"


def cleaning_notes(cleaned: CleanTrack) -> list[str]:
    """Say which frames were left out of a track.

    Parameters
    ----------
    cleaned : CleanTrack
        The track.

    Returns
    -------
    list of str
        A sentence or two for each kind.
    """
    notes = []
    if cleaned.lost:
        notes.append(
            f"{_frames(cleaned.lost)} missing or without a position. The fit uses the true times of the "
            "others, so this costs certainty only."
        )
    if cleaned.repeated:
        notes.append(
            f"{_frames(cleaned.repeated)} left out as a repeat of the one before. If frames were also "
            "dropped without a trace, the times after them are wrong, and with them frequency and damping."
        )
    if cleaned.jumped:
        notes.append(f"{_frames(cleaned.jumped)} left out because the point jumps away and back in them.")
    return notes


def move_notes(move: MatchedMove | None) -> list[str]:
    """Say how the planned move fits the track.

    Parameters
    ----------
    move : MatchedMove or None
        The planned move as made, None where it could not be matched.

    Returns
    -------
    list of str
        Nothing where it fits.
    """
    if move is None:
        return ["The planned move does not match the track and was not taken out; the stop was looked for."]
    notes = []
    if abs(move.scale - 1.0) > 0.05:
        notes.append(
            f"On screen the move is {move.scale:.3g} times as large as planned: field width, distance or the "
            "move itself may differ from the rig file."
        )
    if move.hold is None:
        notes.append(
            "The planned move does not stop for long within the take; what is left beside it was searched."
        )
    return notes


def part_notes(
    part: Part,
    cleaned: CleanTrack,
    components: list[Component],
    frame_rate: float,
    noise: float,
    restless: bool,
    changing: int,
    unit: str,
) -> list[str]:
    """Say what cannot be known from the part.

    Parameters
    ----------
    part : Part
        The part with its fit.
    cleaned : CleanTrack
        The track it belongs to.
    components : list of Component
        What was found.
    frame_rate : float
        Frames a second [Hz].
    noise : float
        Of one frame on one axis [unit].
    restless : bool
        Whether the fit leaves well more than the noise from frame to frame.
    changing : int
        How many swings were put together from parts, because they change with their size.
    unit : str
        Of the positions.

    Returns
    -------
    list of str
        Sentences, the general ones first.
    """
    notes: list[str] = []
    fit = part.selection.fit
    duration = fit.duration
    if cleaned.step > 0.0 and cleaned.step > 0.5 * noise:
        notes.append(
            f"Positions are rounded to {cleaned.step:.3g} {unit}; a wobble smaller than that may not show."
        )
    if part.used.size < LEAST_FRAMES:
        notes.append(
            f"Only {_frames(part.used.size)} after the stop: too few to find a wobble. Let the camera run on."
        )
    elif not components and restless:
        notes.append(
            f"In the {duration:.3g} s after the stop the point still moves by more than its noise, but not in "
            "a swing that can be told from drift or from the end of the move. Let the camera run on."
        )
    elif not components:
        # What the criterion would just have let pass: a steady wobble of amplitude A takes n A^2/2 off the sum
        # of squares, and 12 ln(2 n) sigma^2 is needed or a little less (derived here).
        least = noise * np.sqrt(2.0 * 6.0 * np.log(2.0 * part.used.size) / part.used.size)
        notes.append(
            f"Nothing rings above the noise of {noise:.2g} {unit} in the {duration:.3g} s after the stop. A "
            f"lasting wobble of more than about {least:.2g} {unit} to either side would have been found; one "
            f"slower than {1.0 / duration:.2g} Hz would look like drift, and one at {frame_rate:.4g} Hz or a "
            "multiple would stand still in the picture."
        )
    elif restless:
        notes.append(
            f"The fit leaves {noise:.2g} {unit} a frame, well over the noise from frame to frame: frequency or "
            "damping change with the size of the swing, or something else moves the point. The numbers are "
            "means, and the ranges do not cover this."
        )
    if part.stuck:
        notes.append(
            f"{_frames(part.stuck)} left out because the point is stuck at the edge of the track there. The "
            "amplitude is worked out from the rest of the swing."
        )
    elif components and _may_be_stuck(part, cleaned):
        notes.append(
            "The point may be stuck at an edge for part of each swing: then the amplitude is too small, and "
            "frequencies of two and three times the true one may be false."
        )
    if part.earlier:
        notes.append("Another move follows. The stop before it was used, because it shows more cycles.")
    if changing:
        notes.append(
            "A swing changes its frequency or damping as it dies down, as with play in a clamp or friction in a "
            "joint. Its numbers are means, and the ranges say how far they change."
        )
    if _split(components, duration):
        notes.append(
            "Components lie closer together than the take can tell apart. Either two supports or directions "
            "ring at nearly the same frequency, or it is one swing whose damping or frequency changes with "
            "its size, as with friction in a joint; then take them together as one."
        )
    if components:
        notes.append(_alias_note(components, frame_rate))
    for component in components:
        notes += _component_notes(component, duration, frame_rate)
    return notes


def _split(components: list[Component], duration: float) -> bool:
    """Say whether components lie within a cycle and a half over the part of one another."""
    seen = np.sort([component.frequency for component in components])
    return bool((np.diff(seen) * duration < 1.5).any())


def _may_be_stuck(part: Part, cleaned: CleanTrack) -> bool:
    rows = slice(part.start, part.stop)
    return float(stuck_rows(cleaned.track[rows] + cleaned.shake[rows]).mean()) > 0.4


def _alias_note(components: list[Component], frame_rate: float) -> str:
    same = []
    for component in components[:_MOST_NAMED]:
        images = aliases(component.damped_frequency, frame_rate=frame_rate, highest=2.0 * frame_rate)[1:4]
        others = ", ".join(f"{image:.3g}" for image in images)
        same.append(f"{component.frequency:.3g} Hz looks the same as {others} Hz and so on")
    return (
        f"At {frame_rate:.4g} frames a second {', '.join(same)}: the camera alone cannot tell which it is. A take at "
        "another frame rate does."
    )


def _component_notes(component: Component, duration: float, frame_rate: float) -> list[str]:
    name = f"{component.frequency:.3g} Hz"
    notes = []
    if abs(component.damped_frequency - 0.5 * frame_rate) < max(2.0 / duration, 0.03 * frame_rate):
        notes.append(
            f"{name} is near half the frame rate: every swing is caught at almost the same two places, so "
            "amplitude and direction are poorly known, and the swing may be larger than it looks. Film it at "
            "another frame rate."
        )
    if component.frequency < DRIFT_FREQUENCY:
        notes.append(
            f"{name} is slower than props swing on their supports; it may be drift of camera or light."
        )
    if component.cycles < FEW_CYCLES:
        notes.append(
            f"Fewer than two cycles of {name} are in view: its frequency is rough, and its damping cannot be "
            "told from drift. Let the camera run on after the stop, or strike it harder."
        )
    elif component.cycles < ENOUGH_CYCLES and _rough(component):
        notes.append(f"Only {int(component.cycles)} cycles of {name} are in view: its damping is rough.")
    if component.damping_range[0] == 0.0 and component.cycles >= FEW_CYCLES:
        notes.append(
            f"The damping of {name} is too small to be measured in {duration:.3g} s; it is at most "
            f"{component.damping_range[1]:.2g}."
        )
    return notes


def _rough(component: Component) -> bool:
    """Say whether the damping is known to no better than 15 %."""
    low, high = component.damping_range
    return high - low > 0.3 * component.damping_ratio
