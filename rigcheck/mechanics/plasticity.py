"""Bending past yield: moment and curvature, spring-back, and the bend that stays in a support.

Material law. Stress follows strain on up to three straight lines, the same in tension and compression: the
elastic line up to ``onset_fraction`` times the 0.2 % proof stress; a line from there to the proof stress
reached at 0.2 % plastic strain; then a line of slope ``hardening_ratio`` times E, flat by default. With
``onset_fraction`` 1 this is the elastic-perfectly-plastic law of the handbooks.

Why this and not a Ramberg-Osgood curve: the two things known of a wire are the proof stress and where set
begins (about half the proof stress for soft O-temper metals, common practice, no source), and this law runs
through both; its moments have a closed form; it has a plastic moment, past which the wire folds, where a
power law would go on bearing; and below the onset it leaves no set at all. The law is a sum of two
elastic-perfectly-plastic laws (an overlay), so its unloading is Masing's: the loading curve doubled.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, NotConvergedError
from rigcheck.mechanics._checks import finite, positive

__all__ = [
    "LastingSet",
    "PlasticSection",
    "bending_moment",
    "curvature",
    "lasting_set",
    "plastic_round",
    "plastic_strip",
    "set_at_offset",
    "shared_curvature",
    "yielding_curvature",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Direction = Literal["y", "z"]

PROOF_OFFSET = 0.002
"""Plastic strain at the 0.2 % proof stress, by its definition."""

ROUND_SHAPE_FACTOR = 16 / (3 * np.pi)
FLAT_SHAPE_FACTOR = 1.5

# Points in the part of a span that sets. Perfectly plastic, they hold a span to 1e-6 up to 99 % of the
# plastic moment and to 1e-3 at 99.99 %, where the answer means "about to fold"; with the corner at the proof
# stress inside one long span, to 1e-4.
SPAN_POINTS = 16

MOST_STEPS = 100

MOMENT_TOLERANCE = 4e-15
"""A few rounding steps: near the plastic moment no curvature can be told apart more finely."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PlasticSection:
    """A cross-section with its material law, for bending about local y and z (see `sections`).

    Attributes
    ----------
    bending_stiffness_y, bending_stiffness_z : ndarray, shape (...)
        Elastic EI [N m^2].
    onset_moment_y, onset_moment_z : ndarray, shape (...)
        Moment above which some bend stays [N m].
    yield_moment_y, yield_moment_z : ndarray, shape (...)
        Proof stress times elastic section modulus [N m].
    plastic_moment_y, plastic_moment_z : ndarray, shape (...)
        Proof stress times plastic section modulus [N m]: the support folds there unless it hardens.
    onset_strain : ndarray, shape (...)
        Extreme-fibre strain at the onset moment [1].
    proof_strain_ratio : ndarray, shape (...)
        Strain where the third line begins over `onset_strain`, 1 or more.
    first_share, second_share, hardening_ratio : ndarray, shape (...)
        Shares of E that yield at the onset strain, at the proof strain, and never; they add to 1.
    bore_ratio : ndarray, shape (...)
        Inner over outer diameter; 0 for solid and flat sections.
    is_round : ndarray of bool, shape (...)
        True for round, False for flat.
    """

    bending_stiffness_y: Array
    bending_stiffness_z: Array
    onset_moment_y: Array
    onset_moment_z: Array
    yield_moment_y: Array
    yield_moment_z: Array
    plastic_moment_y: Array
    plastic_moment_z: Array
    onset_strain: Array
    proof_strain_ratio: Array
    first_share: Array
    second_share: Array
    hardening_ratio: Array
    bore_ratio: Array
    is_round: Flags

    @property
    def shape_factor(self) -> Array:
        """Plastic moment over yield moment [1], the same in both directions."""
        return self.plastic_moment_y / self.yield_moment_y


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LastingSet:
    """The bend that stays in a member clamped at its first station after the load is gone.

    Attributes
    ----------
    curvature_y, curvature_z : ndarray, shape (..., n)
        Permanent curvature about y and z at the stations [1/m].
    rotation_y, rotation_z : ndarray, shape (..., n)
        Permanent rotation about y and z at the stations [rad].
    displacement_y, displacement_z : ndarray, shape (..., n)
        Permanent displacement along y and z at the stations [m]; the last one is the tip's.
    peak_strain : ndarray, shape (...)
        Largest extreme-fibre strain while loaded [1].
    sets : ndarray of bool, shape (...)
        True where any bend stays.
    collapses : ndarray of bool, shape (...)
        True where the moment reaches the plastic moment and nothing hardens: the member folds and there is
        no finite answer. Every other array holds not-a-number there.
    """

    curvature_y: Array
    curvature_z: Array
    rotation_y: Array
    rotation_z: Array
    displacement_y: Array
    displacement_z: Array
    peak_strain: Array
    sets: Flags
    collapses: Flags

    @property
    def tip_displacement(self) -> Array:
        """Size of the tip's permanent displacement [m], shape (...)."""
        return np.asarray(np.hypot(self.displacement_y[..., -1], self.displacement_z[..., -1]))


def _plastic_section(
    *,
    second_moment_y: Array,
    second_moment_z: Array,
    outer_y: Array,
    outer_z: Array,
    bore_ratio: Array,
    is_round: bool,
    shape_factor: Array,
    youngs_modulus: ArrayLike,
    yield_strength: ArrayLike,
    onset_fraction: ArrayLike,
    hardening_ratio: ArrayLike,
) -> PlasticSection:
    """Put geometry and material law together, broadcast to one batch shape."""
    E = positive("youngs_modulus", youngs_modulus)
    proof = positive("yield_strength", yield_strength)
    onset = positive("onset_fraction", onset_fraction)
    eta = finite("hardening_ratio", hardening_ratio)
    if np.any(onset > 1.0):
        raise ArgumentError(
            f"onset_fraction is {onset_fraction!r}: every value must lie above 0 and up to 1."
        )
    onset_strain = onset * proof / E
    # Between onset and proof the stress rises (1 - f) Rp while the strain rises (1 - f) Rp / E + 0.002.
    rise = (1.0 - onset) * proof
    slope = rise / (rise / E + PROOF_OFFSET) / E
    perfectly = onset == 1.0
    slope = np.where(perfectly, eta, slope)
    if np.any(eta < 0.0) or np.any(eta > slope) or np.any(eta >= 1.0):
        raise ArgumentError(
            f"hardening_ratio is {hardening_ratio!r}: it must be 0 or more, below 1, and no steeper than "
            f"the line from the onset of set to the proof stress (here {np.min(slope):.3g})."
        )
    # With onset 1 the second line has no length; its ratio must then not enter the plastic moment.
    ratio = np.where(perfectly, 1.0, (proof / E + PROOF_OFFSET) / onset_strain)
    yield_y = proof * second_moment_y / outer_z
    yield_z = proof * second_moment_z / outer_y
    arrays = np.broadcast_arrays(
        E * second_moment_y,
        E * second_moment_z,
        onset * yield_y,
        onset * yield_z,
        yield_y,
        yield_z,
        shape_factor * yield_y,
        shape_factor * yield_z,
        onset_strain,
        ratio,
        1.0 - slope,
        slope - eta,
        eta,
        bore_ratio,
    )
    names = [name for name in PlasticSection.__dataclass_fields__ if name != "is_round"]
    named = dict(zip(names, arrays, strict=True))
    return PlasticSection(**named, is_round=np.full(arrays[0].shape, is_round))


def plastic_round(
    *,
    outer_diameter: ArrayLike,
    youngs_modulus: ArrayLike,
    yield_strength: ArrayLike,
    wall_thickness: ArrayLike | None = None,
    wires: ArrayLike = 1,
    onset_fraction: ArrayLike = 1.0,
    hardening_ratio: ArrayLike = 0.0,
) -> PlasticSection:
    """Solid round, tube, or several equal wires that slip on each other.

    Parameters
    ----------
    outer_diameter : array_like, shape (...)
        [m], positive.
    youngs_modulus : array_like, shape (...)
        [Pa], positive.
    yield_strength : array_like, shape (...)
        0.2 % proof stress [Pa], positive.
    wall_thickness : array_like, shape (...), optional
        [m], up to half the outer diameter; solid when left out.
    wires : array_like, shape (...)
        Number of equal wires that share the moment; 1 for a single one.
    onset_fraction : array_like, shape (...)
        Stress at which set begins over the proof stress, above 0 to 1. 0.5 for soft O-temper metals
        (common practice, no source).
    hardening_ratio : array_like, shape (...)
        Slope of the last line over E, 0 or more.

    Returns
    -------
    PlasticSection

    Raises
    ------
    ArgumentError
        If a value is out of its range.

    Notes
    -----
    Shape factor 16 / (3 pi) solid; (16 / (3 pi)) (1 - m^3) / (1 - m^4) for a tube with m = inner / outer
    diameter. A thin tube may buckle at the compressed side before it reaches this; that holds off up to
    about outer_diameter / wall_thickness = 50 for common metals (common practice, no source).
    """
    R = positive("outer_diameter", outer_diameter) / 2
    count = positive("wires", wires)
    wall = R if wall_thickness is None else positive("wall_thickness", wall_thickness)
    if np.any(wall > R * (1 + 1e-12)):
        raise ArgumentError(
            f"wall_thickness is {wall_thickness!r} with outer_diameter {outer_diameter!r}: "
            "the wall may be at most half the outer diameter."
        )
    r = np.maximum(R - wall, 0.0)
    bore = r / R
    second_moment = count * np.pi * (R - r) * (R + r) * (R**2 + r**2) / 4
    # (1 - m^3) / (1 - m^4) with the factor 1 - m taken out, safe for a thin wall.
    shape_factor = ROUND_SHAPE_FACTOR * (1 + bore + bore**2) / ((1 + bore) * (1 + bore**2))
    return _plastic_section(
        second_moment_y=second_moment,
        second_moment_z=second_moment,
        outer_y=R,
        outer_z=R,
        bore_ratio=bore,
        is_round=True,
        shape_factor=shape_factor,
        youngs_modulus=youngs_modulus,
        yield_strength=yield_strength,
        onset_fraction=onset_fraction,
        hardening_ratio=hardening_ratio,
    )


def plastic_strip(
    *,
    width: ArrayLike,
    thickness: ArrayLike,
    youngs_modulus: ArrayLike,
    yield_strength: ArrayLike,
    onset_fraction: ArrayLike = 1.0,
    hardening_ratio: ArrayLike = 0.0,
) -> PlasticSection:
    """Flat strip, width along y and thickness along z; shape factor 1.5 both ways.

    Parameters
    ----------
    width, thickness : array_like, shape (...)
        [m], positive.
    youngs_modulus : array_like, shape (...)
        [Pa], positive.
    yield_strength : array_like, shape (...)
        0.2 % proof stress [Pa], positive.
    onset_fraction : array_like, shape (...)
        Stress at which set begins over the proof stress, above 0 to 1.
    hardening_ratio : array_like, shape (...)
        Slope of the last line over E, 0 or more.

    Returns
    -------
    PlasticSection

    Raises
    ------
    ArgumentError
        If a value is out of its range.
    """
    b = positive("width", width)
    h = positive("thickness", thickness)
    return _plastic_section(
        second_moment_y=b * h**3 / 12,
        second_moment_z=h * b**3 / 12,
        outer_y=b / 2,
        outer_z=h / 2,
        bore_ratio=np.zeros(()),
        is_round=False,
        shape_factor=np.asarray(FLAT_SHAPE_FACTOR),
        youngs_modulus=youngs_modulus,
        yield_strength=yield_strength,
        onset_fraction=onset_fraction,
        hardening_ratio=hardening_ratio,
    )


def _unit_moment(k: Array, bore: Array, is_round: Flags) -> tuple[Array, Array]:
    """Moment over yield moment, and its slope, of a perfectly plastic section at k times its yield curvature.

    Solid round with s = 1/k < 1: 2 / (3 pi) [3 asin(s) / s + (5 - 2 s^2) sqrt(1 - s^2)]; its slope is the
    elastic core's share of the second moment, 2 / pi [asin(s) - s sqrt(1 - s^2) (1 - 2 s^2)]. A tube is the
    round less its bore at the same curvature. Rectangle: 1.5 - 0.5 s^2, slope s^3. Derived here by
    integrating stress times distance over the elastic core and the yielded caps.
    """

    def solid(ratio: Array) -> tuple[Array, Array]:
        s = 1 / np.maximum(ratio, 1.0)
        root = np.sqrt((1 - s) * (1 + s))
        angle = np.arcsin(s)
        moment = 2 / (3 * np.pi) * (3 * angle / s + (5 - 2 * s**2) * root)
        # Below 0.01 the difference cancels; the series' next term is 1e-9 of it.
        slope = np.where(s < 0.01, s**3 * (8 / 3 - 0.8 * s**2), angle - s * root * (1 - 2 * s**2))
        below = ratio <= 1.0
        return np.where(below, ratio, moment), np.where(below, 1.0, 2 / np.pi * slope)

    outer, outer_slope = solid(k)
    if np.any(bore > 0.0):
        inner, inner_slope = solid(k * bore)
        whole = 1 - bore**4
        outer, outer_slope = (outer - bore**3 * inner) / whole, (outer_slope - bore**4 * inner_slope) / whole
    s = 1 / np.maximum(k, 1.0)
    flat = np.where(k <= 1.0, k, 1.5 - 0.5 * s**2)
    return np.where(is_round, outer, flat), np.where(is_round, outer_slope, s**3)


def _ratio_moment(k: Array, section: PlasticSection) -> tuple[Array, Array]:
    """Moment over onset moment, and its slope, at k >= 0 times the onset curvature."""
    ratio = section.proof_strain_ratio
    first, first_slope = _unit_moment(k, section.bore_ratio, section.is_round)
    second, second_slope = _unit_moment(k / ratio, section.bore_ratio, section.is_round)
    moment = section.first_share * first + section.second_share * ratio * second + section.hardening_ratio * k
    slope = section.first_share * first_slope + section.second_share * second_slope + section.hardening_ratio
    return moment, slope


def _pick(section: PlasticSection, mask: Flags) -> PlasticSection:
    """Take the sections where a mask of the full batch shape is True, as a 1-D batch."""
    return PlasticSection(
        **{
            name: np.broadcast_to(getattr(section, name), mask.shape)[mask]
            for name in PlasticSection.__dataclass_fields__
        }
    )


def _ratio_curvature(m: Array, section: PlasticSection) -> Array:
    """Invert `_ratio_moment` for 1-D arrays with m >= 0 below the plastic moment, where it has one."""
    k = m.copy()
    beyond = m > 1.0
    if not np.any(beyond):
        return k
    target = m[beyond]
    part = _pick(section, beyond)
    last = np.where(part.hardening_ratio > 0.0, part.hardening_ratio, 0.0)
    k[beyond] = _bent_by(target, lambda guess: _ratio_moment(guess, part), first=1.0, last=last)
    return k


def _bent_by(
    moment: Array, law: Callable[[Array], tuple[Array, Array]], *, first: Array | float, last: Array | float
) -> Array:
    """Curvature at which a law, which gives moment and slope, holds moments above 0, shape (n,).

    Newton's method in w = 1 / k^2, in which a rectangle's moment is a straight line and a round's nearly so
    even where the curvature runs away, held inside a shrinking bracket: the law's slope is `first` to begin with and
    falls no lower than `last`.
    """
    low, high = (last / moment) ** 2, (first / moment) ** 2
    w = high.copy()
    for _ in range(MOST_STEPS):
        guess = w**-0.5
        held, slope = law(guess)
        error = held - moment
        low = np.where(error > 0.0, w, low)
        high = np.where(error > 0.0, high, w)
        step = error / np.maximum(0.5 * guess**3 * slope, 1e-300)
        proposed = w + step
        inside = (proposed > low) & (proposed < high)
        following = np.where(inside, proposed, 0.5 * (low + high))
        moved = np.abs(following - w)
        w = np.where(np.abs(error) <= MOMENT_TOLERANCE * moment, w, following)
        if np.all((moved <= 1e-14 * w) | (np.abs(error) <= MOMENT_TOLERANCE * moment)):
            return w**-0.5
    worst = float(np.max(np.abs(error) / moment))
    raise NotConvergedError(
        f"curvature from moment did not settle in {MOST_STEPS} steps; "
        f"the worst moment is still off by {worst:.2g} of itself."
    )


def _direction(section: PlasticSection, about: Direction) -> tuple[Array, Array]:
    """Onset moment and bending stiffness for one direction."""
    if about == "y":
        return section.onset_moment_y, section.bending_stiffness_y
    if about == "z":
        return section.onset_moment_z, section.bending_stiffness_z
    raise ArgumentError(f"about is {about!r}: it must be 'y' or 'z'.")


def bending_moment(section: PlasticSection, curvature: ArrayLike, *, about: Direction = "y") -> Array:
    """Moment that holds a curvature, on first loading.

    Parameters
    ----------
    section : PlasticSection
    curvature : array_like, shape (...)
        [1/m], either sign.
    about : {"y", "z"}
        Axis of bending.

    Returns
    -------
    ndarray, shape (...)
        [N m], with the sign of the curvature.

    Notes
    -----
    Rectangle, perfectly plastic: M = M_p [1 - (kappa_y / kappa)^2 / 3]. Solid round with
    s = kappa_y / kappa: M = Rp R^3 / 6 [3 asin(s) / s + (5 - 2 s^2) sqrt(1 - s^2)]. Tube: the round less its
    bore. Plane sections, small strain (below about 10 %).

    References
    ----------
    W. Prager and P. G. Hodge, *Theory of Perfectly Plastic Solids* (from memory) for the rectangle; the round
    derived here.
    """
    kappa = finite("curvature", curvature)
    onset, stiffness = _direction(section, about)
    ratio, _ = _ratio_moment(np.abs(kappa) * stiffness / onset, section)
    return np.asarray(np.sign(kappa) * ratio * onset)


def shared_curvature(sections: Sequence[PlasticSection], moment: ArrayLike, *, elastic: float = 0.0) -> Array:
    """Curvature of layers that are bonded, so that they share it, under a moment on first loading.

    Parameters
    ----------
    sections : sequence of PlasticSection
        One section each, bent about y.
    moment : array_like, shape (...)
        What they hold together [N m], 0 or more and, where none of them hardens, below the sum of their plastic
        moments.
    elastic : float
        Bending stiffness of further layers that do not yield [N m^2].

    Returns
    -------
    ndarray, shape (...)
        [1/m].

    Raises
    ------
    ArgumentError
        If a moment is not finite.
    NotConvergedError
        If the curvature is not found.

    Notes
    -----
    ``M = sum M_i(kappa) + EI kappa``: plane sections stay plane over all layers.
    """
    M = finite("moment", moment)
    stiffness = elastic + sum(section.bending_stiffness_y for section in sections)
    found = np.asarray(M / stiffness)
    beyond = found > np.min([_scale(section, "y") for section in sections], initial=np.inf)
    if not beyond.any():
        return found

    def law(kappa: Array) -> tuple[Array, Array]:
        held, slope = elastic * kappa, np.full(kappa.shape, elastic)
        for section in sections:
            onset, own = _direction(section, "y")
            ratio, change = _ratio_moment(kappa * own / onset, section)
            held, slope = held + ratio * onset, slope + change * own
        return held, slope

    found[beyond] = _bent_by(
        M[beyond],
        law,
        first=stiffness,
        last=elastic + sum(section.hardening_ratio * section.bending_stiffness_y for section in sections),
    )
    return found


def _collapse_ratio(section: PlasticSection) -> Array:
    """Moment over onset moment at which nothing more can be borne; infinite with hardening."""
    return np.where(section.hardening_ratio > 0.0, np.inf, section.plastic_moment_y / section.onset_moment_y)


def _residual_ratio(use: Array, section: PlasticSection) -> tuple[Array, Array, Flags]:
    """Permanent and loaded curvature over onset curvature for moments over onset moment >= 0.

    Only members past the onset enter the iteration. Not-a-number where the section collapses.
    """
    # A hair under the plastic moment, where the curvature is already some ten thousand times the onset's.
    collapses = use >= _collapse_ratio(section) * (1 - 1e-9)
    beyond = (use > 1.0) & ~collapses
    loaded = np.where(collapses, np.nan, use)
    residual = np.where(collapses, np.nan, 0.0)
    if np.any(beyond):
        part, m = _pick(section, beyond), use[beyond]
        k = _ratio_curvature(m, part)
        loaded[beyond] = k
        # Masing: unloading follows the loading curve at double scale. Below twice the onset moment that is
        # the elastic line; above it the surface yields backwards while springing back.
        residual[beyond] = np.maximum(k - 2 * _ratio_curvature(m / 2, part), 0.0)
    return residual, loaded, collapses


def curvature(section: PlasticSection, moment: ArrayLike, *, about: Direction = "y") -> tuple[Array, Flags]:
    """Curvature under a moment, on first loading.

    Parameters
    ----------
    section : PlasticSection
    moment : array_like, shape (...)
        [N m], either sign.
    about : {"y", "z"}
        Axis of bending.

    Returns
    -------
    curvature : ndarray, shape (...)
        [1/m], with the sign of the moment; not-a-number where it collapses.
    collapses : ndarray of bool, shape (...)
        True where the moment reaches the plastic moment (to 1e-9) and nothing hardens.

    Raises
    ------
    ArgumentError
        If a moment is not finite.
    NotConvergedError
        If the inverse does not settle.
    """
    M = finite("moment", moment)
    onset, _ = _direction(section, about)
    _, loaded, collapses = _residual_ratio(np.abs(M) / onset, section)
    return np.asarray(np.sign(M) * loaded * _scale(section, about)), collapses


def _scale(section: PlasticSection, about: Direction) -> Array:
    """Onset curvature [1/m]."""
    onset, stiffness = _direction(section, about)
    return onset / stiffness


def _use(section: PlasticSection, moment_y: Array, moment_z: Array) -> Array:
    """Moment over onset moment for both directions together.

    Round: the vector sum, exact. Flat: the corner stress, the sum of both.
    """
    about_y = np.abs(moment_y) / section.onset_moment_y
    about_z = np.abs(moment_z) / section.onset_moment_z
    return np.where(section.is_round, np.hypot(about_y, about_z), about_y + about_z)


def _with_stations(section: PlasticSection, count: int) -> PlasticSection:
    """Add axes at the end of the section's batch, for stations and points inside the spans."""
    return PlasticSection(
        **{
            name: getattr(section, name)[(..., *(np.newaxis,) * count)]
            for name in PlasticSection.__dataclass_fields__
        }
    )


def yielding_curvature(
    section: PlasticSection, *, moment_y: ArrayLike, moment_z: ArrayLike = 0.0
) -> tuple[Array, Array, Flags]:
    """Curvature that yielding adds to the elastic one while a first load is on: ``kappa(M) - M / EI``.

    Parameters
    ----------
    section : PlasticSection
        Batch shape (...).
    moment_y, moment_z : array_like, shape (..., n)
        Bending moments about local y and z [N m].

    Returns
    -------
    about_y, about_z : ndarray, shape (..., n)
        [1/m]; not-a-number where it collapses.
    collapses : ndarray of bool, shape (..., n)

    Raises
    ------
    ArgumentError
        If a moment is not finite.
    """
    about_y, about_z = np.broadcast_arrays(finite("moment_y", moment_y), finite("moment_z", moment_z))
    found_y, found_z, collapses, _ = _permanent(_with_stations(section, 1), about_y, about_z, hung=True)
    return found_y, found_z, collapses


def lasting_set(
    section: PlasticSection,
    *,
    stations: ArrayLike,
    moment_y: ArrayLike,
    moment_z: ArrayLike = 0.0,
    hung: bool = False,
) -> LastingSet:
    """Bend that stays in a member clamped at its first station, from its moment diagram.

    Parameters
    ----------
    section : PlasticSection
        Batch shape (...), the same section along the member.
    stations : array_like, shape (n,)
        Distance along the member from the clamp [m], rising, two or more.
    moment_y, moment_z : array_like, shape (..., n)
        Bending moments about local y and z at the stations [N m], straight between them. For a round section
        the two combine as vectors, which is exact when both grow together.
    hung : bool
        True gives what yielding adds while the load is still on, beside the elastic bend.

    Returns
    -------
    LastingSet

    Raises
    ------
    ArgumentError
        If the stations do not rise or a value is not finite.

    Notes
    -----
    The permanent curvature is integrated twice, with 16 Gauss points in the part of each span that sets:
    dz/dx = -rotation_y and dy/dx = rotation_z. First order in
    the rotation: the shape is right to 2 % up to about 0.3 rad. The moments are those of the unbent support;
    as it sets they change, so a large set is a sign, not a figure. In a flat section bent both ways the ratio
    of permanent to elastic curvature at the corner is used for both directions; safe side.
    """
    s = finite("stations", stations)
    if s.ndim != 1 or s.size < 2 or np.any(np.diff(s) <= 0.0):
        raise ArgumentError("stations must be two or more rising distances in one row.")
    about_y, about_z = np.broadcast_arrays(finite("moment_y", moment_y), finite("moment_z", moment_z))
    if about_y.shape[-1:] != s.shape:
        raise ArgumentError(
            f"moment_y and moment_z have last axis {about_y.shape[-1:]}: "
            f"give one value at each of the {s.size} stations."
        )
    at_stations = _with_stations(section, 1)
    station_y, station_z, collapses, strain = _permanent(at_stations, about_y, about_z, hung=hung)

    place, weight = _span_points(_use(at_stations, about_y, about_z))

    def inside(moment: Array) -> Array:
        return moment[..., :-1, None] * (1 - place) + moment[..., 1:, None] * place

    curvature_y, curvature_z, _, _ = _permanent(
        _with_stations(section, 2), inside(about_y), inside(about_z), hung=hung
    )
    span = np.diff(s)

    def integrate(kappa: Array) -> tuple[Array, Array]:
        area = span * np.sum(weight * kappa, axis=-1)
        first_moment = span**2 * np.sum(weight * (1 - place) * kappa, axis=-1)
        rotation = np.concatenate([np.zeros((*area.shape[:-1], 1)), np.cumsum(area, axis=-1)], axis=-1)
        rise = rotation[..., :-1] * span + first_moment
        shape = np.concatenate([np.zeros((*area.shape[:-1], 1)), np.cumsum(rise, axis=-1)], axis=-1)
        return rotation, shape

    rotation_y, toward_minus_z = integrate(curvature_y)
    rotation_z, toward_y = integrate(curvature_z)
    folds = np.any(collapses, axis=-1)
    bad = folds[..., None]
    return LastingSet(
        curvature_y=np.where(bad, np.nan, station_y),
        curvature_z=np.where(bad, np.nan, station_z),
        rotation_y=np.where(bad, np.nan, rotation_y),
        rotation_z=np.where(bad, np.nan, rotation_z),
        displacement_y=np.where(bad, np.nan, toward_y),
        displacement_z=np.where(bad, np.nan, -toward_minus_z),
        peak_strain=np.where(folds, np.nan, np.max(strain, axis=-1)),
        sets=np.any(_use(at_stations, about_y, about_z) > 1.0, axis=-1),
        collapses=folds,
    )


def _span_points(use: Array) -> tuple[Array, Array]:
    """Places (0 to 1 along each span) and weights that integrate permanent curvature over the spans.

    `use` is moment over onset moment at the stations, shape (..., n); the results have shape
    (..., n - 1, SPAN_POINTS). Only the part of a span that sets is covered. The points crowd at its heavier
    end as a square, which takes away the 1/sqrt peak of the curvature near a plastic hinge.
    """
    start, end = use[..., :-1], use[..., 1:]
    heavy, light = np.maximum(start, end), np.minimum(start, end)
    drop = heavy - light
    covered = np.divide(heavy - 1.0, drop, out=np.ones_like(drop), where=(light < 1.0) & (drop > 0.0))
    covered = np.clip(covered, 0.0, 1.0)[..., None]
    points, weights = np.polynomial.legendre.leggauss(SPAN_POINTS)
    t = 0.5 * (1 + points)
    from_heavy = covered * t**2
    place = np.where((start >= end)[..., None], from_heavy, 1 - from_heavy)
    return place, covered * t * weights


def _permanent(
    section: PlasticSection, moment_y: Array, moment_z: Array, *, hung: bool
) -> tuple[Array, Array, Flags, Array]:
    """Curvature about y and z that stays, or that yielding adds under load, collapse flags and loaded strain."""
    use = _use(section, moment_y, moment_z)
    residual, loaded, collapses = _residual_ratio(use, section)
    added = np.maximum(loaded - use, 0.0) if hung else residual
    share = np.divide(added, use, out=np.zeros_like(use), where=use > 0.0)
    return (
        share * moment_y / section.bending_stiffness_y,
        share * moment_z / section.bending_stiffness_z,
        collapses,
        loaded * section.onset_strain,
    )


def set_at_offset(lasting: LastingSet, offset: ArrayLike) -> Array:
    """Permanent displacement of a point fixed to the tip, such as the prop's centre of mass.

    Parameters
    ----------
    lasting : LastingSet
    offset : array_like, shape (..., 3)
        From the tip to the point in local x, y, z [m].

    Returns
    -------
    ndarray, shape (..., 3)
        Displacement along local x, y, z [m]: tip displacement plus rotation times offset, first order.
    """
    arm = finite("offset", offset)
    if arm.shape[-1:] != (3,):
        raise ArgumentError(f"offset has shape {arm.shape}: the last axis must hold x, y, z.")
    tilt_y, tilt_z = lasting.rotation_y[..., -1], lasting.rotation_z[..., -1]
    return np.stack(
        [
            tilt_y * arm[..., 2] - tilt_z * arm[..., 1],
            lasting.displacement_y[..., -1] + tilt_z * arm[..., 0],
            lasting.displacement_z[..., -1] - tilt_y * arm[..., 0],
        ],
        axis=-1,
    )
