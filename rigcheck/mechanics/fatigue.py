"""Fatigue: how many takes a support lasts, and how often a soft wire can be bent by hand.

A take is a list of events. Each event is a stress amplitude with a count of cycles: a move that loads the
support once and back is one cycle, and the ring-down after it is a train of cycles that decay. Damage adds
by Miner's rule. The scatter of fatigue life is about a factor of ten either way, so the answers are orders
of magnitude.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, NotConvergedError

__all__ = [
    "JAW_NOTCH_FACTOR",
    "FatigueLine",
    "FatigueResult",
    "bend_strain",
    "fatigue_line",
    "hand_bends_to_failure",
    "reversed_amplitude",
    "ring_down_cycles",
    "takes_to_failure",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

JAW_NOTCH_FACTOR = 2.0
"""Fatigue notch factor at the edge of a jaw, 1.5 to 2.5; common practice, no source."""

SHORT_LIFE_CYCLES = 1e3
"""Life at which the line starts (Shigley, Mechanical Engineering Design, from memory)."""

SHORT_LIFE_SHARE = 0.9
"""Stress amplitude at that life over the ultimate strength (the same, from memory)."""

# Universal slopes (S. S. Manson, "Fatigue: a complex subject", Experimental Mechanics 5, 1965; from memory).
ELASTIC_FACTOR = 3.5
ELASTIC_EXPONENT = -0.12
PLASTIC_EXPONENT = -0.6


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class FatigueLine:
    """Basquin's line for fully reversed stress: amplitude = coefficient * cycles ** exponent.

    Attributes
    ----------
    coefficient : ndarray, shape (...)
        Amplitude at one cycle [Pa].
    exponent : ndarray, shape (...)
        Negative [1].
    tensile_strength : ndarray, shape (...)
        [Pa].
    """

    coefficient: Array
    exponent: Array
    tensile_strength: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class FatigueResult:
    """Damage of one take, shape (...).

    Attributes
    ----------
    damage_per_take : ndarray
        Miner's sum of one take; it breaks at 1.
    takes : ndarray
        Takes to failure, 1 / damage; infinite where nothing is stressed.
    breaks_at_once : ndarray of bool
        True where a peak stress reaches the ultimate strength: not a matter of fatigue. `takes` is 0 and
        `damage_per_take` 1 or more there.
    """

    damage_per_take: Array
    takes: Array
    breaks_at_once: Flags


def _range(name: str, value: ArrayLike, low: float, high: float, *, open_low: bool = False) -> Array:
    """Read values between two bounds."""
    array = np.asarray(value, dtype=np.float64)
    above = array > low if open_low else array >= low
    if not np.all(above & (array <= high) & np.isfinite(array)):
        bound = "above" if open_low else "from"
        top = "and finite" if np.isinf(high) else f"to {high:g}"
        raise ArgumentError(f"{name} is {value!r}: every value must lie {bound} {low:g} {top}.")
    return array


def fatigue_line(
    *, tensile_strength: ArrayLike, fatigue_strength: ArrayLike, fatigue_cycles: ArrayLike
) -> FatigueLine:
    """Line through 0.9 Rm at a thousand cycles and a given fatigue strength.

    Parameters
    ----------
    tensile_strength : array_like, shape (...)
        Rm [Pa], positive.
    fatigue_strength : array_like, shape (...)
        Fully reversed amplitude [Pa], positive and below 0.9 Rm.
    fatigue_cycles : array_like, shape (...)
        Life at that amplitude, above 1e3.

    Returns
    -------
    FatigueLine

    Raises
    ------
    ArgumentError
        If a value is out of its range.

    Notes
    -----
    The line is carried on past `fatigue_cycles` without a limit below which nothing happens: small cycles of
    a ring-down do harm once larger ones have begun a crack, and aluminium and copper have no limit anyway.
    The first point is common for steels; for other metals it is an assumption.
    """
    ultimate = _range("tensile_strength", tensile_strength, 0.0, np.inf, open_low=True)
    strength = _range("fatigue_strength", fatigue_strength, 0.0, np.inf, open_low=True)
    life = _range("fatigue_cycles", fatigue_cycles, SHORT_LIFE_CYCLES, np.inf, open_low=True)
    start = SHORT_LIFE_SHARE * ultimate
    if np.any(strength >= start):
        raise ArgumentError(
            f"fatigue_strength is {fatigue_strength!r} Pa with tensile_strength {tensile_strength!r} Pa: "
            f"it must be below {SHORT_LIFE_SHARE:g} of it."
        )
    exponent = np.log(strength / start) / np.log(life / SHORT_LIFE_CYCLES)
    return FatigueLine(
        coefficient=np.asarray(start * SHORT_LIFE_CYCLES**-exponent),
        exponent=np.asarray(exponent),
        tensile_strength=ultimate,
    )


def reversed_amplitude(
    amplitude: ArrayLike,
    *,
    mean_stress: ArrayLike,
    tensile_strength: ArrayLike,
    notch_factor: ArrayLike = JAW_NOTCH_FACTOR,
) -> tuple[Array, Flags]:
    """Fully reversed amplitude that does the same harm (Goodman), with the notch of the jaw.

    Parameters
    ----------
    amplitude : array_like, shape (...)
        Nominal stress amplitude, half the range [Pa], 0 or more.
    mean_stress : array_like, shape (...)
        Nominal mean stress [Pa]. In bending one side is in tension, so its sign does not matter; the
        magnitude is used.
    tensile_strength : array_like, shape (...)
        [Pa], positive.
    notch_factor : array_like, shape (...)
        1 or more, on the amplitude only; the mean stress at a ductile notch relaxes.

    Returns
    -------
    amplitude : ndarray, shape (...)
        Kf sigma_a / (1 - sigma_m / Rm) [Pa]; Kf sigma_a, without the mean, where it breaks at once.
    breaks_at_once : ndarray of bool, shape (...)
        True where mean plus amplitude, both nominal, reach the ultimate strength.
    """
    alternating = _range("amplitude", amplitude, 0.0, np.inf)
    ultimate = _range("tensile_strength", tensile_strength, 0.0, np.inf, open_low=True)
    notch = _range("notch_factor", notch_factor, 1.0, np.inf)
    mean = np.asarray(mean_stress, dtype=np.float64)
    if not np.all(np.isfinite(mean)):
        raise ArgumentError(f"mean_stress is {mean_stress!r}: every value must be finite.")
    share = np.abs(mean) / ultimate
    breaks = share + alternating / ultimate >= 1.0
    return notch * alternating / (1 - np.where(breaks, 0.0, share)), breaks


def ring_down_cycles(damping_ratio: ArrayLike, exponent: ArrayLike, cycles: ArrayLike | None = None) -> Array:
    """Cycles at the first amplitude that do the harm of a whole ring-down.

    Parameters
    ----------
    damping_ratio : array_like, shape (...)
        0 to below 1; above 0 when `cycles` is left out.
    exponent : array_like, shape (...)
        Basquin exponent b, negative.
    cycles : array_like, shape (...), optional
        Cycles until the next move begins or a hand stops it; endless when left out.

    Returns
    -------
    ndarray, shape (...)
        Equivalent cycles, at least 1 for an endless train.

    Raises
    ------
    ArgumentError
        If a value is out of its range.

    Notes
    -----
    Each cycle is smaller than the one before by q = exp(-2 pi zeta / sqrt(1 - zeta^2)), its harm by q^m with
    m = -1/b: 1 + q^m + q^2m + ... = (1 - q^(m n)) / (1 - q^m). Every cycle counts with its first peak, which
    is the safe side by less than the factor q^(-m).
    """
    zeta = _range("damping_ratio", damping_ratio, 0.0, 1.0, open_low=cycles is None)
    if np.any(zeta >= 1.0):
        raise ArgumentError(f"damping_ratio is {damping_ratio!r}: every value must be below 1.")
    b = np.asarray(exponent, dtype=np.float64)
    if not np.all((b < 0.0) & np.isfinite(b)):
        raise ArgumentError(f"exponent is {exponent!r}: every value must be negative.")
    decay = 2 * np.pi * zeta / np.sqrt(1 - zeta**2) / -b
    if cycles is None:
        return np.asarray(-1 / np.expm1(-decay))
    count = _range("cycles", cycles, 0.0, np.inf)
    count, decay = np.broadcast_arrays(count, decay)
    # expm1 keeps the ratio exact as the damping goes to zero, where it is the count itself.
    return np.divide(np.expm1(-decay * count), np.expm1(-decay), out=count.copy(), where=decay > 0.0)


def takes_to_failure(
    line: FatigueLine,
    *,
    amplitude: ArrayLike,
    cycles: ArrayLike,
    mean_stress: ArrayLike = 0.0,
    notch_factor: ArrayLike = JAW_NOTCH_FACTOR,
) -> FatigueResult:
    """Takes a support lasts when each take holds the given events.

    Parameters
    ----------
    line : FatigueLine
        Batch shape (...).
    amplitude : array_like, shape (..., k)
        Nominal stress amplitude of each event [Pa], 0 or more.
    cycles : array_like, shape (..., k)
        Cycles of each event, for a ring-down from `ring_down_cycles`.
    mean_stress : array_like, shape (..., k)
        Nominal mean stress in each event [Pa], such as that of the hanging weight.
    notch_factor : array_like, shape (..., k)
        1 or more.

    Returns
    -------
    FatigueResult

    Notes
    -----
    Miner: damage = sum n_i / N(sigma_i). An amplitude whose line gives less than one cycle counts as one.
    """
    count = _range("cycles", cycles, 0.0, np.inf)
    stress, breaks = reversed_amplitude(
        amplitude,
        mean_stress=mean_stress,
        tensile_strength=line.tensile_strength[..., None],
        notch_factor=notch_factor,
    )
    # (sigma / a)^(-1/b) is one over the life; written so, zero stress is zero damage without a special case.
    harm = np.minimum((stress / line.coefficient[..., None]) ** (-1 / line.exponent[..., None]), 1.0)
    damage = np.sum(count * np.where(breaks & (count > 0.0), 1.0, harm), axis=-1)
    at_once = np.any(breaks & (count > 0.0), axis=-1)
    damage = np.where(at_once, np.maximum(damage, 1.0), damage)
    takes = np.divide(1.0, damage, out=np.full(damage.shape, np.inf), where=damage > 0.0)
    return FatigueResult(damage_per_take=damage, takes=np.where(at_once, 0.0, takes), breaks_at_once=at_once)


def bend_strain(*, wire_diameter: ArrayLike, inside_radius: ArrayLike) -> Array:
    """Strain of the extreme fibre of a wire bent to an inside radius.

    Parameters
    ----------
    wire_diameter, inside_radius : array_like, shape (...)
        [m], positive; the radius may be 0.

    Returns
    -------
    ndarray, shape (...)
        1 / (2 R / d + 1).
    """
    d = _range("wire_diameter", wire_diameter, 0.0, np.inf, open_low=True)
    R = _range("inside_radius", inside_radius, 0.0, np.inf)
    return 1 / (2 * R / d + 1)


def hand_bends_to_failure(
    strain_range: ArrayLike,
    *,
    tensile_strength: ArrayLike,
    youngs_modulus: ArrayLike,
    reduction_of_area: ArrayLike,
) -> Array:
    """Bends a soft wire takes before it breaks, to an order of magnitude.

    Parameters
    ----------
    strain_range : array_like, shape (...)
        Whole range of strain in one cycle, above 0 to 2: `bend_strain` for bending out and back straight,
        twice it for bending both ways.
    tensile_strength, youngs_modulus : array_like, shape (...)
        [Pa], positive.
    reduction_of_area : array_like, shape (...)
        At break in a tension test, between 0 and 1 [1].

    Returns
    -------
    ndarray, shape (...)
        Cycles; below 1 the first bend may break it.

    Raises
    ------
    ArgumentError
        If a value is out of its range.
    NotConvergedError
        If the equation's root is not found.

    Notes
    -----
    Universal slopes: range = 3.5 (Rm / E) N^-0.12 + D^0.6 N^-0.6, with D = -ln(1 - reduction of area).
    Far outside the range of strains it was fitted to, so no better than a factor of three. Solved for ln N by
    Newton's method; the right side is convex and falling there, so every step from the left stays left.

    References
    ----------
    S. S. Manson, "Fatigue: a complex subject - some simple approximations", Experimental Mechanics 5 (1965)
    (from memory).
    """
    strain = _range("strain_range", strain_range, 0.0, 2.0, open_low=True)
    ultimate = _range("tensile_strength", tensile_strength, 0.0, np.inf, open_low=True)
    E = _range("youngs_modulus", youngs_modulus, 0.0, np.inf, open_low=True)
    area_loss = _range("reduction_of_area", reduction_of_area, 0.0, 1.0, open_low=True)
    if np.any(area_loss >= 1.0):
        raise ArgumentError(f"reduction_of_area is {reduction_of_area!r}: every value must be below 1.")
    elastic = ELASTIC_FACTOR * ultimate / E
    plastic = (-np.log1p(-area_loss)) ** -PLASTIC_EXPONENT
    # Each term alone gives a life that is too short, so the longer of the two lies left of the root.
    log_life = np.maximum(
        np.log(strain / elastic) / ELASTIC_EXPONENT, np.log(strain / plastic) / PLASTIC_EXPONENT
    )
    for _ in range(60):
        first = elastic * np.exp(ELASTIC_EXPONENT * log_life)
        second = plastic * np.exp(PLASTIC_EXPONENT * log_life)
        step = (first + second - strain) / -(ELASTIC_EXPONENT * first + PLASTIC_EXPONENT * second)
        log_life = log_life + step
        if np.all(np.abs(step) < 1e-12 * np.maximum(np.abs(log_life), 1.0)):
            return np.asarray(np.exp(log_life))
    raise NotConvergedError(
        f"life from strain range did not settle in 60 steps; last change {np.max(np.abs(step)):.2g}."
    )
