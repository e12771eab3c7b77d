"""What an explanation of a take hands back: what swings, what causes it, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cause", "Change", "Curves", "ExplainResult", "Fitted", "Implied", "Seen"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One oscillation as seen in the take.

    Attributes
    ----------
    frequency_Hz, damping_ratio, amplitude : float
        Best values; the amplitude is half the longest swing when the part begins [px or mm].
    frequency_range_Hz, damping_range, amplitude_range : tuple of float
        Where each lies nine times in ten.
    amplitude_px, amplitude_mm : float or None
        The amplitude in either unit; None where the scale of the picture is not known.
    direction : tuple of float
        Unit vector of the longest swing on screen.
    direction_words : str
        The same in words: to and fro, as the picture shows it.
    cycles : float
        Swings in view.
    to_a_tenth_s : float or None
        Time in which it dies down to a tenth [s]; None where no damping can be measured.
    aliases_Hz : tuple of float
        Other frequencies that look the same at this frame rate.
    what : str
        The movement of the rig that it most probably is; empty where none fits or no rig is given.
    """

    frequency_Hz: float
    frequency_range_Hz: tuple[float, float]
    damping_ratio: float
    damping_range: tuple[float, float]
    amplitude: float
    amplitude_range: tuple[float, float]
    amplitude_px: float | None
    amplitude_mm: float | None
    direction: tuple[float, float]
    direction_words: str
    cycles: float
    to_a_tenth_s: float | None
    aliases_Hz: tuple[float, ...] = ()
    what: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves:
    """What a figure of the take draws.

    Attributes
    ----------
    times : array, shape (n,)
        Of all frames [s].
    positions, fit : array, shape (n, 2)
        The track as it was given, and as fitted; NaN in frames that were not fitted [unit of the track].
    swing, fitted_swing : array, shape (n, 2)
        The same without planned move, drift and camera shake.
    direction : array, shape (2,)
        Unit vector of the largest swing on screen; x where nothing swings.
    frequencies : array, shape (m,)
        Of the spectra [Hz]; empty where too little was fitted.
    spectrum, fitted_spectrum : array, shape (m,)
        How far the swing and the fitted swing go at each frequency, both axes together [unit of the track].
    """

    times: Array
    positions: Array
    fit: Array
    swing: Array
    fitted_swing: Array
    direction: Array
    frequencies: Array
    spectrum: Array
    fitted_spectrum: Array


@dataclass(frozen=True, kw_only=True)
class Implied:
    """The value that a cause would take.

    Attributes
    ----------
    what : str
        Of what, for people.
    value : float or None
        In `unit`; None where the value is a name.
    low, high : float or None
        Where it lies nine times in ten.
    given : float or None
        What the rig file has.
    unit : str
        Of all of these, empty for a plain ratio.
    name : str
        The value where it is a name, for example of a size that is sold.
    plausible : bool
        Whether such a value occurs in practice.
    says : str
        Why, or why not.
    """

    what: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    given: float | None = None
    unit: str = ""
    name: str = ""
    plausible: bool
    says: str


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One possible cause.

    Attributes
    ----------
    id : str
        Stable name for programs, for example ``clamp-softer``.
    chance : float
        How probable it is among those looked at, 0 to 1.
    says : str
        What it is, in a sentence or two.
    implied : Implied or None
        The value it would take; None where there is no number to it.
    test : str
        What would tell it from the next one.
    cure : str
        What to do, with the computed effect where there is one.
    predicted, after : float or None
        Wobble after the planned move, peak to peak, that the rig with this cause has, and has when it is put
        right [`ExplainResult.predicted_unit`]; None where no move is given or it was not worked out.
    """

    id: str
    chance: float
    says: str
    implied: Implied | None = None
    test: str
    cure: str
    predicted: float | None = None
    after: float | None = None


@dataclass(frozen=True, kw_only=True)
class Change:
    """One value of a rig file that was fitted.

    Attributes
    ----------
    key : str
        ``root_stiffness``, ``mass``, ``centre_of_mass``, ``diameter``, ``material`` or ``damping_ratio``.
    support : int or None
        Which support it belongs to; None for the prop.
    value : float, str or tuple of float
        SI, or a name as the file has it.
    """

    key: str
    support: int | None = None
    value: float | str | tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """What of the rig file the take has measured, to be written back.

    Attributes
    ----------
    prop : str
        Name of the prop.
    take : str
        The take, for the comment in the file.
    changes : tuple of Change
        What to change.
    says : tuple of str
        The same in words, and what could not be written back.
    """

    prop: str
    take: str
    changes: tuple[Change, ...]
    says: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class ExplainResult:
    """A take explained.

    Attributes
    ----------
    take, title, prop : str
        The take's file; the shot's title and the prop's name, empty without a rig.
    unit : str
        Of amplitudes: ``px`` or ``mm``, as the track has it.
    tapped : bool
        Whether the prop was tapped and not moved.
    frame_rate_Hz : float or None
        Of the take.
    part_s : tuple of float or None
        The part after the stop that was looked at [s]; None where no take is given.
    curves : Curves or None
        What a figure draws; None where no take is given.
    noise : float or None
        Of one frame on one axis.
    components : tuple of Seen
        What swings after the stop, largest first.
    background : tuple of Seen
        What the fixed point does.
    seen : float or None
        Wobble peak to peak in the first two periods of that part.
    causes : tuple of Cause
        Most probable first; empty without a rig.
    cures : tuple of str
        What would cure the rig as fitted, each with its effect.
    predicted, predicted_unit : float or None, str
        Wobble after the move that the rig file predicts, peak to peak, and its unit.
    limit : float or None
        Of wobble, peak to peak [predicted_unit]; None without a rig.
    next_step : str
        The one thing to do next.
    fitted : Fitted or None
        What can be written back.
    notes : tuple of str
        What was done to the track and what cannot be known from it.
    order_criterion : str
        How the number of components was chosen.
    assumptions, cautions : tuple of str
        As everywhere.
    """

    take: str
    title: str = ""
    prop: str = ""
    unit: str
    tapped: bool = False
    frame_rate_Hz: float | None
    part_s: tuple[float, float] | None
    curves: Curves | None = None
    noise: float | None
    components: tuple[Seen, ...]
    background: tuple[Seen, ...] = ()
    seen: float | None = None
    causes: tuple[Cause, ...] = ()
    cures: tuple[str, ...] = ()
    predicted: float | None = None
    predicted_unit: str = ""
    limit: float | None = None
    next_step: str
    fitted: Fitted | None = None
    notes: tuple[str, ...]
    order_criterion: str = ""
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
