"""Rest-to-rest motion profiles: how a slide or a roll spreads its stroke over its duration.

A profile is a displacement s(u) that goes from 0 to 1 while the unit time u = t / T goes from 0 to 1. The
move itself is stroke * s(t / T): its velocity is stroke * s'(u) / T, its acceleration stroke * s''(u) / T^2.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from rigcheck.errors import ArgumentError, UnknownNameError
from rigcheck.motion._checks import FloatArray

__all__ = ["PROFILE_NAMES", "RAMPED_PROFILES", "Piece", "Profile", "profile"]

PROFILE_NAMES: tuple[str, ...] = (
    "trapezoidal",
    "s-curve",
    "harmonic",
    "cycloidal",
    "modified-sine",
    "polynomial-345",
    "polynomial-4567",
)
RAMPED_PROFILES: tuple[str, ...] = ("trapezoidal", "s-curve")


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A stretch of unit time in which the acceleration is one polynomial plus one harmonic term.

    With x the unit time since the piece began,
    ``s'' = sum_k polynomial[k] x^k + cosine cos(rate x) + sine sin(rate x)``.

    Attributes
    ----------
    start, length : float
        Where the piece begins and how long it is, in unit time.
    polynomial : tuple of float
        Coefficients of the acceleration, constant term first; may be empty.
    cosine, sine : float
        Amplitudes of the harmonic term.
    rate : float
        Angular rate of the harmonic term [rad per unit time]; 0 where there is none.
    start_displacement, start_velocity : float
        s and s' where the piece begins.
    """

    start: float
    length: float
    polynomial: tuple[float, ...] = ()
    cosine: float = 0.0
    sine: float = 0.0
    rate: float = 0.0
    start_displacement: float = 0.0
    start_velocity: float = 0.0

    def derivative(self, order: int, x: ArrayLike) -> FloatArray:
        """Give s (order 0), s' (1), s'' (2) or s''' (3) at the unit times `x` since the piece began.

        Parameters
        ----------
        order : int
            0 to 3.
        x : array_like
            Unit time since `start`.

        Returns
        -------
        ndarray
            Same shape as `x`.
        """
        x = np.asarray(x, dtype=np.float64)
        total: FloatArray = np.zeros(x.shape)
        for coefficient in reversed(_of_order(order, self.polynomial)):
            total = total * x + coefficient
        if order < 2:
            total = total + self.start_velocity * (x if order == 0 else 1.0)
        if order == 0:
            total = total + self.start_displacement
        if self.rate:
            total = total + self._harmonic(order, x)
        return total

    def _harmonic(self, order: int, x: FloatArray) -> FloatArray:
        """Give what the harmonic term adds, integrated from the start of the piece."""
        rate, cos, sin = self.rate, np.cos(self.rate * x), np.sin(self.rate * x)
        if order == 3:
            return np.asarray(rate * (self.sine * cos - self.cosine * sin))
        if order == 2:
            return np.asarray(self.cosine * cos + self.sine * sin)
        if order == 1:
            return np.asarray((self.cosine * sin + self.sine * (1.0 - cos)) / rate)
        return np.asarray((self.cosine * (1.0 - cos) + self.sine * (rate * x - sin)) / rate**2)


def _of_order(order: int, acceleration: tuple[float, ...]) -> list[float]:
    """Coefficients of s (order 0), s' (1), s'' (2) or s''' (3), with s and s' zero at the start."""
    coefficients = list(acceleration)
    for _ in range(order - 2):
        coefficients = [power * value for power, value in enumerate(coefficients)][1:]
    for _ in range(2 - order):
        coefficients = [0.0, *(value / (power + 1) for power, value in enumerate(coefficients))]
    return coefficients


@dataclass(frozen=True, kw_only=True)
class Profile:
    """A rest-to-rest displacement from 0 to 1 over unit time, piece by piece.

    Attributes
    ----------
    name : str
        One of `PROFILE_NAMES`, or your own.
    ramp : float or None
        Share of the duration spent speeding up, for the two profiles that have it.
    pieces : tuple of Piece
        In order, without gaps, from 0 to 1.
    """

    name: str
    ramp: float | None
    pieces: tuple[Piece, ...]

    def displacement(self, unit_time: ArrayLike) -> FloatArray:
        """Give s at the unit times: 0 before the move, 1 after it."""
        return self._derivative(0, unit_time)

    def velocity(self, unit_time: ArrayLike) -> FloatArray:
        """Give s' at the unit times: 0 outside the move."""
        return self._derivative(1, unit_time)

    def acceleration(self, unit_time: ArrayLike) -> FloatArray:
        """Give s'' at the unit times: 0 outside the move.

        At a jump it is the value of the later piece; at the very end, u = 1, that of the last piece.
        """
        return self._derivative(2, unit_time)

    def jerk(self, unit_time: ArrayLike) -> FloatArray:
        """Give s''' at the unit times: 0 outside the move, the value of the later piece at a jump."""
        return self._derivative(3, unit_time)

    @property
    def boundaries(self) -> tuple[float, ...]:
        """Unit times at which a piece begins or ends, from 0 to 1."""
        return (*(piece.start for piece in self.pieces), 1.0)

    @cached_property
    def peak_velocity(self) -> float:
        """Largest abs(s'): times stroke / T it is the peak speed."""
        return self._peak(1)

    @cached_property
    def peak_acceleration(self) -> float:
        """Largest abs(s''): times stroke / T^2 it is the peak acceleration."""
        return self._peak(2)

    def _derivative(self, order: int, unit_time: ArrayLike) -> FloatArray:
        u = np.asarray(unit_time, dtype=np.float64)
        result = np.zeros(u.shape)
        index = np.searchsorted(self.boundaries, u, side="right") - 1
        for number, piece in enumerate(self.pieces):
            inside = index == number
            result[inside] = piece.derivative(order, u[inside] - piece.start)
        if order == 0:
            result[u >= 1.0] = 1.0
        elif order == 2:
            last = self.pieces[-1]
            result[u == 1.0] = float(last.derivative(2, last.length))
        return result

    def _peak(self, order: int) -> float:
        """Largest absolute value: at a piece's ends, or where the next derivative changes sign."""
        largest = 0.0
        for piece in self.pieces:
            x = np.linspace(0.0, piece.length, 257)
            slope = piece.derivative(order + 1, x)
            turning = np.flatnonzero(np.sign(slope[:-1]) * np.sign(slope[1:]) < 0.0)
            low, high, sign = x[turning], x[turning + 1], np.sign(slope[turning])
            # A bracket of 1/256 to 2e-10: a peak is flat, so its value is then right to the last bit.
            for _ in range(24 if turning.size else 0):
                middle = 0.5 * (low + high)
                left = np.sign(piece.derivative(order + 1, middle)) == sign
                low, high = np.where(left, middle, low), np.where(left, high, middle)
            values = piece.derivative(order, np.concatenate([x, low]))
            largest = max(largest, float(np.abs(values).max()))
        return largest


@lru_cache(maxsize=256)
def profile(name: str, *, ramp: float = 1.0 / 3.0) -> Profile:
    """Give one of the seven rest-to-rest profiles.

    Parameters
    ----------
    name : str
        One of `PROFILE_NAMES`.
    ramp : float
        Share of the duration spent speeding up, in (0, 0.5]; slowing down takes as long. Used by
        trapezoidal and s-curve only.

    Returns
    -------
    Profile
        The profile.

    Raises
    ------
    UnknownNameError
        The name is none of the seven.
    ArgumentError
        `ramp` is outside (0, 0.5].

    Notes
    -----
    With r the ramp:

    - *trapezoidal*: constant acceleration 1/(r(1 - r)) over r, constant speed, the same backward.
    - *s-curve*: within each ramp the jerk is constant, +J in its first half and -J in its second, so that the
      acceleration is a symmetric triangle of height 2/(r(1 - r)). No share of constant acceleration.
    - *harmonic* (simple harmonic): s = (1 - cos(pi u))/2. Its acceleration jumps at both ends.
    - *cycloidal*: s = u - sin(2 pi u)/(2 pi).
    - *modified-sine*: the acceleration is a quarter of a fast sine up to u = 1/8, half a slow cosine to
      7/8 and a quarter of the fast sine again; peak 4 pi^2/(4 + pi).
    - *polynomial-345*: s = 10 u^3 - 15 u^4 + 6 u^5.
    - *polynomial-4567*: s = 35 u^4 - 84 u^5 + 70 u^6 - 20 u^7.

    References
    ----------
    R. L. Norton, *Cam Design and Manufacturing Handbook*, chapters on double-dwell motions (from memory).

    Examples
    --------
    >>> cycloidal = profile("cycloidal")
    >>> float(cycloidal.displacement(0.5))
    0.5
    >>> round(profile("trapezoidal", ramp=1 / 3).peak_velocity, 6)
    1.5
    """
    if name not in PROFILE_NAMES:
        raise UnknownNameError(f'profile: "{name}" is not known; choose one of {", ".join(PROFILE_NAMES)}.')
    if not 0.0 < ramp <= 0.5:
        raise ArgumentError(
            f"ramp: given {ramp:g}; it is the share of the time spent speeding up, above 0 and at most 0.5."
        )
    return Profile(
        name=name, ramp=ramp if name in RAMPED_PROFILES else None, pieces=_joined(_pieces(name, ramp))
    )


def _pieces(name: str, ramp: float) -> list[Piece]:
    """List the accelerations; `_joined` fills in displacement and velocity."""
    pi = np.pi
    if name == "trapezoidal":
        top = 1.0 / (ramp * (1.0 - ramp))
        return [
            Piece(start=0.0, length=ramp, polynomial=(top,)),
            Piece(start=ramp, length=1.0 - 2.0 * ramp),
            Piece(start=1.0 - ramp, length=ramp, polynomial=(-top,)),
        ]
    if name == "s-curve":
        top, half = 2.0 / (ramp * (1.0 - ramp)), 0.5 * ramp
        jerk = top / half
        return [
            Piece(start=0.0, length=half, polynomial=(0.0, jerk)),
            Piece(start=half, length=half, polynomial=(top, -jerk)),
            Piece(start=ramp, length=1.0 - 2.0 * ramp),
            Piece(start=1.0 - ramp, length=half, polynomial=(0.0, -jerk)),
            Piece(start=1.0 - half, length=half, polynomial=(-top, jerk)),
        ]
    if name == "harmonic":
        return [Piece(start=0.0, length=1.0, cosine=0.5 * pi**2, rate=pi)]
    if name == "cycloidal":
        return [Piece(start=0.0, length=1.0, sine=2.0 * pi, rate=2.0 * pi)]
    if name == "modified-sine":
        top = 4.0 * pi**2 / (4.0 + pi)
        return [
            Piece(start=0.0, length=0.125, sine=top, rate=4.0 * pi),
            Piece(start=0.125, length=0.75, cosine=top, rate=4.0 * pi / 3.0),
            Piece(start=0.875, length=0.125, cosine=-top, rate=4.0 * pi),
        ]
    if name == "polynomial-345":
        return [Piece(start=0.0, length=1.0, polynomial=(0.0, 60.0, -180.0, 120.0))]
    return [Piece(start=0.0, length=1.0, polynomial=(0.0, 0.0, 420.0, -1680.0, 2100.0, -840.0))]


def _joined(pieces: list[Piece]) -> tuple[Piece, ...]:
    """Carry displacement and velocity from piece to piece; leave out empty ones (no cruise at ramp 0.5)."""
    joined: list[Piece] = []
    displacement = velocity = 0.0
    for piece in pieces:
        if piece.length <= 0.0:
            continue
        whole = Piece(
            start=piece.start,
            length=piece.length,
            polynomial=piece.polynomial,
            cosine=piece.cosine,
            sine=piece.sine,
            rate=piece.rate,
            start_displacement=displacement,
            start_velocity=velocity,
        )
        joined.append(whole)
        displacement = float(whole.derivative(0, whole.length))
        velocity = float(whole.derivative(1, whole.length))
    return tuple(joined)
