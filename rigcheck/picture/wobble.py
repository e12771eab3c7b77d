"""A wobble as the camera and the viewer see it: size, apparent frequency, blur.

A film is a row of samples. What swings faster than half the frame rate folds back to a slower swing, and what
is shown at another rate than it was shot at is slowed down or sped up with everything else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError
from rigcheck.picture._checks import FloatArray, not_negative, positive, positive_number, vectors

__all__ = [
    "PeakToPeak",
    "SeenWobble",
    "blur_length",
    "exposure_smoothing",
    "exposure_time",
    "lookalike_frequencies",
    "peak_to_peak",
    "seen_frequency",
    "seen_wobble",
    "vibration_blur",
]

_MOST_PAIRED = 360  # places up to which all pairs are compared
_DIRECTIONS = 180
_MOST_LOOKALIKES = 10_000


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PeakToPeak:
    """Extent of a path in the picture.

    Attributes
    ----------
    extent : ndarray, (...)
        Largest distance between any two of its places, in their unit.
    direction : ndarray, (..., 2)
        Unit vector between those two places; zero for a path that stands still.
    """

    extent: FloatArray
    direction: FloatArray


def peak_to_peak(path: ArrayLike) -> PeakToPeak:
    """Give the peak-to-peak extent of paths along their worst direction.

    Parameters
    ----------
    path : array_like, (..., n, 2)
        Places over time, in pixels or any other unit.

    Returns
    -------
    PeakToPeak

    Raises
    ------
    ArgumentError
        If the array has another shape or no places.

    Notes
    -----
    Up to 360 places all pairs are compared. With more, the extreme places in 180 directions are: the two
    places farthest apart are extreme in their own direction, at most half a degree from one of those, so the
    result is at most ``1 - cos(0.5 deg) = 4e-5`` of itself too small, and never too large (derived here).
    """
    places = vectors("path", path, length=2, axes=2)
    count = places.shape[-2]
    if count < 1:
        raise ArgumentError("path: given no places; at least one is needed.")
    square = np.zeros(places.shape[:-2])
    vector = np.zeros((*places.shape[:-2], 2))
    if count <= _MOST_PAIRED:
        for shift in range(1, count):
            square, vector = _longer(square, vector, places[..., shift:, :] - places[..., :-shift, :])
    else:
        for angle in np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS:
            along = places @ np.array([np.cos(angle), np.sin(angle)])
            high, low = (
                np.take_along_axis(places, pick(along, axis=-1)[..., None, None], axis=-2)
                for pick in (np.argmax, np.argmin)
            )
            square, vector = _longer(square, vector, high - low)
    extent = np.sqrt(square)
    moving = extent > 0.0
    return PeakToPeak(extent=extent, direction=vector / np.where(moving, extent, 1.0)[..., None])


def _longer(square: FloatArray, vector: FloatArray, steps: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The longest of the steps (..., m, 2) and the vector so far."""
    squares = (steps**2).sum(axis=-1)
    pick = squares.argmax(axis=-1)[..., None]
    best = np.take_along_axis(squares, pick, axis=-1)[..., 0]
    step = np.take_along_axis(steps, pick[..., None], axis=-2)[..., 0, :]
    longer = best > square
    return np.where(longer, best, square), np.where(longer[..., None], step, vector)


def seen_frequency(
    natural_frequency: ArrayLike, frame_rate: ArrayLike, playback_rate: ArrayLike | None = None
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Give the frequency at which a wobble appears on screen.

    Parameters
    ----------
    natural_frequency : array_like
        Of the wobble on set [Hz], at least 0.
    frame_rate : array_like
        As shot [1/s], above 0.
    playback_rate : array_like or None
        As shown [1/s], above 0; None shows it as shot.

    Returns
    -------
    tuple of ndarray
        The frequency on screen [Hz], and whether it is a false one: the wobble is faster than half the frame
        rate.

    Raises
    ------
    ArgumentError
        If a number is out of its range.

    Notes
    -----
    ``f_seen = |f - N r| playback / r`` with the frame rate r and the whole number N that makes it smallest. A
    wobble at a multiple of the frame rate stands still in the picture, but blurs. At exactly half the frame
    rate every second frame is alike and the size seen depends on the moment the frames catch; that is not
    counted as false.

    References
    ----------
    C. E. Shannon, "Communication in the presence of noise", Proc. IRE 37, 1949, theorem 1 (from memory).
    P. F. Dunn, "Measurement and Data Analysis for Engineering and Science", 2nd ed., section 10.2, folding
    diagram, example problems 10.1 and 10.2.

    Examples
    --------
    >>> seen, false = seen_frequency(30.0, 50.0, 25.0)
    >>> float(seen), bool(false)  # 30 Hz folds to 20 Hz at 50 frames a second, and is shown half as fast
    (10.0, True)
    """
    frequency = not_negative("natural_frequency", natural_frequency, "Hz")
    rate = positive("frame_rate", frame_rate, "1/s")
    shown = rate if playback_rate is None else positive("playback_rate", playback_rate, "1/s")
    folded = np.abs(frequency - rate * np.round(frequency / rate))
    return np.asarray(folded * shown / rate), np.asarray(frequency > rate / 2.0)


def lookalike_frequencies(
    seen: float, frame_rate: float, playback_rate: float | None = None, *, highest: float
) -> FloatArray:
    """Give the true frequencies that would appear at a frequency seen on screen.

    Parameters
    ----------
    seen : float
        Frequency on screen [Hz], 0 to half the playback rate.
    frame_rate : float
        As shot [1/s], above 0.
    playback_rate : float or None
        As shown [1/s]; None shows it as shot.
    highest : float
        The list ends here [Hz], above 0.

    Returns
    -------
    ndarray, (m,)
        [Hz], rising.

    Raises
    ------
    ArgumentError
        If a number is out of its range, or the list would be longer than 10,000.

    Notes
    -----
    With f the frequency between the frames as shot, ``N r + f`` and ``N r - f`` for every whole number N.

    Examples
    --------
    >>> lookalike_frequencies(10.0, 50.0, 25.0, highest=100.0)
    array([20., 30., 70., 80.])
    """
    rate = positive_number("frame_rate", frame_rate, "1/s")
    shown = rate if playback_rate is None else positive_number("playback_rate", playback_rate, "1/s")
    top = positive_number("highest", highest, "Hz")
    on_screen = float(not_negative("seen", seen, "Hz"))
    if on_screen > shown / 2.0:
        raise ArgumentError(
            f"seen: given {on_screen:g} Hz; {shown:g} frames a second show nothing faster than "
            f"{shown / 2.0:g} Hz."
        )
    if top / rate > _MOST_LOOKALIKES / 2:
        raise ArgumentError(f"highest: given {top:g} Hz, {top / rate:.3g} times the frame rate; give less.")
    folded = on_screen * rate / shown
    multiples = rate * np.arange(int(top / rate) + 2)
    both = np.array(sorted({*(multiples + folded).tolist(), *(multiples - folded).tolist()}))
    return both[(both >= 0.0) & (both <= top)]


def exposure_time(shutter_angle: ArrayLike, frame_rate: ArrayLike) -> FloatArray:
    """Give how long the shutter is open for a frame.

    Parameters
    ----------
    shutter_angle : array_like
        [rad], above 0, at most a full turn, 2 pi.
    frame_rate : array_like
        [1/s], above 0.

    Returns
    -------
    ndarray
        ``shutter_angle / (2 pi frame_rate)`` [s].

    Raises
    ------
    ArgumentError
        If a number is out of its range.

    References
    ----------
    B. Brown, "Cinematography: Theory and Practice", Focal Press, 2002, p. 125, as cited in an encyclopaedia
    (the book itself not seen).
    """
    angle = positive("shutter_angle", shutter_angle, "rad")
    if (angle > 2.0 * np.pi * (1.0 + 1e-12)).any():
        raise ArgumentError(
            f"shutter_angle: given {float(angle.max()):g} rad; allowed is up to a full turn, 2 pi rad = "
            "360 degrees."
        )
    return np.asarray(angle / (2.0 * np.pi * positive("frame_rate", frame_rate, "1/s")))


def blur_length(velocity: ArrayLike, exposure: ArrayLike) -> FloatArray:
    """Give the length over which a steady movement smears.

    Parameters
    ----------
    velocity : array_like, (..., 2)
        In the picture [px/s].
    exposure : array_like, (...)
        [s], above 0.

    Returns
    -------
    ndarray, (...)
        [px]

    Raises
    ------
    ArgumentError
        If a number is out of its range.
    """
    speed = np.linalg.norm(vectors("velocity", velocity, length=2), axis=-1)
    return np.asarray(speed * positive("exposure", exposure, "s"))


def exposure_smoothing(natural_frequency: ArrayLike, exposure: ArrayLike) -> FloatArray:
    """Give the share of a wobble's size that is left between frames.

    Parameters
    ----------
    natural_frequency : array_like
        [Hz], at least 0.
    exposure : array_like
        [s], above 0.

    Returns
    -------
    ndarray
        0 to 1.

    Raises
    ------
    ArgumentError
        If a number is out of its range.

    Notes
    -----
    A frame shows the mean place over the exposure T; the mean of ``sin(2 pi f t)`` over T is a sine of the
    share ``|sin(pi f T) / (pi f T)|`` (derived here). The rest of the movement is not gone, it is blur: see
    `vibration_blur`.
    """
    cycles = not_negative("natural_frequency", natural_frequency, "Hz") * positive("exposure", exposure, "s")
    return np.asarray(np.abs(np.sinc(cycles)))


def vibration_blur(natural_frequency: ArrayLike, extent: ArrayLike, exposure: ArrayLike) -> FloatArray:
    """Give the longest smear of a wobble in one frame.

    Parameters
    ----------
    natural_frequency : array_like
        [Hz], at least 0.
    extent : array_like
        Peak to peak [px], at least 0.
    exposure : array_like
        [s], above 0.

    Returns
    -------
    ndarray
        [px], in the frame that catches the wobble at its fastest.

    Raises
    ------
    ArgumentError
        If a number is out of its range.

    Notes
    -----
    ``extent sin(pi f T)`` while the exposure T is under half a period, the whole extent above (derived here).
    """
    cycles = not_negative("natural_frequency", natural_frequency, "Hz") * positive("exposure", exposure, "s")
    share = np.where(cycles < 0.5, np.sin(np.pi * np.minimum(cycles, 0.5)), 1.0)
    return np.asarray(not_negative("extent", extent, "px") * share)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SeenWobble:
    """A wobble as one frame rate shows it.

    Attributes
    ----------
    frequency : ndarray
        On screen [Hz].
    aliased : ndarray of bool
        Whether that is a false frequency, folded at half the frame rate.
    extent : ndarray
        Peak to peak from frame to frame [px], after the exposure has smoothed it.
    blur : ndarray
        Longest smear in one frame [px].
    """

    frequency: FloatArray
    aliased: NDArray[np.bool_]
    extent: FloatArray
    blur: FloatArray


def seen_wobble(
    natural_frequency: ArrayLike,
    extent: ArrayLike,
    *,
    frame_rate: ArrayLike,
    shutter_angle: ArrayLike,
    playback_rate: ArrayLike | None = None,
) -> SeenWobble:
    """Give what one wobble looks like at one or several frame rates.

    Parameters
    ----------
    natural_frequency : array_like
        On set [Hz], at least 0.
    extent : array_like
        Peak to peak in the picture [px], at least 0.
    frame_rate : array_like
        As shot [1/s], above 0; several to compare them.
    shutter_angle : array_like
        [rad], above 0, at most 2 pi.
    playback_rate : array_like or None
        As shown [1/s]; None shows it as shot.

    Returns
    -------
    SeenWobble

    Raises
    ------
    ArgumentError
        If a number is out of its range.

    Notes
    -----
    The extent is the one the frames can show over many of them; a wobble at a multiple of half the frame rate
    can show less, down to nothing.
    """
    exposure = exposure_time(shutter_angle, frame_rate)
    frequency, aliased = seen_frequency(natural_frequency, frame_rate, playback_rate)
    size = not_negative("extent", extent, "px")
    return SeenWobble(
        frequency=frequency,
        aliased=aliased,
        extent=np.asarray(size * exposure_smoothing(natural_frequency, exposure)),
        blur=vibration_blur(natural_frequency, size, exposure),
    )
