"""Cross-sections of supports: areas, second moments, torsion, shear, and the stress under combined loads.

Local axes of a support: x runs along it, y and z lie in its cross-section. For a flat strip y is the
direction of its width and z that of its thickness. ``second_moment_y`` is the integral of z**2 over the
area: it resists a moment about y, which bends the support along z (for a strip: across its thin side, the
limber way). ``second_moment_z`` is the integral of y**2: it resists a moment about z, which bends the
support along y. ``outer_z`` goes with a moment about y, and ``outer_y`` with a moment about z.
``shear_coefficient_y`` belongs to a shear force along y, ``shear_coefficient_z`` to one along z.

Every field is an array with leading batch axes; a thousand diameters are one call.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError

__all__ = [
    "COARSE_PITCHES",
    "LoadShare",
    "Section",
    "SleevedSection",
    "StressState",
    "coarse_pitch",
    "combined_stress",
    "sleeved",
    "solid_round",
    "strand",
    "strand_diameter",
    "strand_pattern",
    "strip",
    "threaded",
    "tube",
]

Array = NDArray[np.float64]

COARSE_PITCHES: dict[float, float] = {
    1.6e-3: 0.35e-3,
    2e-3: 0.4e-3,
    2.5e-3: 0.45e-3,
    3e-3: 0.5e-3,
    3.5e-3: 0.6e-3,
    4e-3: 0.7e-3,
    5e-3: 0.8e-3,
    6e-3: 1e-3,
    7e-3: 1e-3,
    8e-3: 1.25e-3,
    10e-3: 1.5e-3,
    12e-3: 1.75e-3,
}
"""Coarse pitch [m] of the metric thread of a nominal diameter [m]; ISO 261, from memory."""

# Half the depth of the sharp thread triangle, 3 sqrt(3) / 8, plus a sixth of its height, sqrt(3) / 12,
# times the pitch: the mean of pitch diameter and minor diameter d3 (ISO 898-1, from memory).
STRESS_DIAMETER_PITCHES = (3 * np.sqrt(3) / 8 + 17 * np.sqrt(3) / 24) / 2

MOST_WIRES = 169
"""Wires a strand may have: one core wire and seven full rings around it."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Section:
    """Geometry of one cross-section, or of a batch of them.

    Attributes
    ----------
    area : ndarray, shape (...)
        Area that carries force and has mass [m^2].
    second_moment_y, second_moment_z : ndarray, shape (...)
        Second moments of area [m^4]: integral of z**2 (moment about y) and of y**2 (moment about z).
    torsion_constant : ndarray, shape (...)
        Saint-Venant torsion constant J [m^4]: torque = G J times twist per length.
    polar_moment : ndarray, shape (...)
        Integral of y**2 + z**2 [m^4]; times density it is the mass moment of inertia per length about x.
    shear_coefficient_y, shear_coefficient_z : ndarray, shape (...)
        Timoshenko shear coefficients for shear force along y and along z [1].
    outer_y, outer_z : ndarray, shape (...)
        Distance of the extreme fibre from the axis along y and along z [m].
    torsion_modulus : ndarray, shape (...)
        Largest shear stress is torque / torsion_modulus [m^3].
    shear_peak_factor : ndarray, shape (...)
        Largest transverse shear stress is this times shear force / area [1].
    is_round : ndarray of bool, shape (...)
        True where the two bending directions combine as vectors (round), False where they add (corners).
    """

    area: Array
    second_moment_y: Array
    second_moment_z: Array
    torsion_constant: Array
    polar_moment: Array
    shear_coefficient_y: Array
    shear_coefficient_z: Array
    outer_y: Array
    outer_z: Array
    torsion_modulus: Array
    shear_peak_factor: Array
    is_round: NDArray[np.bool_]

    @property
    def shape(self) -> tuple[int, ...]:
        """Batch shape shared by all fields."""
        return self.area.shape

    @property
    def section_modulus_y(self) -> Array:
        """Elastic section modulus for a moment about y [m^3]."""
        return self.second_moment_y / self.outer_z

    @property
    def section_modulus_z(self) -> Array:
        """Elastic section modulus for a moment about z [m^3]."""
        return self.second_moment_z / self.outer_y

    def with_trailing_axes(self, count: int = 1) -> Section:
        """Give the same sections with `count` axes of length 1 added at the end of the batch shape.

        Use it where one section belongs to many stations or load cases: ``(B,)`` becomes ``(B, 1)``.
        """
        shape = self.shape + (1,) * count
        return Section(**{field.name: getattr(self, field.name).reshape(shape) for field in fields(self)})


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LoadShare:
    """Share of each internal force that one part of a bonded section carries.

    Attributes
    ----------
    axial, bending_y, bending_z, torsion, shear_y, shear_z : ndarray, shape (...)
        Part's stiffness over the whole stiffness, 0 to 1.
    """

    axial: Array
    bending_y: Array
    bending_z: Array
    torsion: Array
    shear_y: Array
    shear_z: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SleevedSection:
    """Stiffness and mass of a core with a sleeve bonded over it.

    Attributes
    ----------
    axial_stiffness : ndarray, shape (...)
        EA [N].
    bending_stiffness_y, bending_stiffness_z : ndarray, shape (...)
        EI for a moment about y and about z [N m^2].
    torsional_stiffness : ndarray, shape (...)
        GJ [N m^2].
    shear_stiffness_y, shear_stiffness_z : ndarray, shape (...)
        kGA for a shear force along y and along z [N].
    mass_per_length : ndarray, shape (...)
        [kg/m].
    polar_inertia_per_length : ndarray, shape (...)
        Mass moment of inertia about x per length [kg m].
    core, sleeve : Section
        The two parts.
    core_share, sleeve_share : LoadShare
        What each part carries. Give the shared forces with the part to `combined_stress`.
    """

    axial_stiffness: Array
    bending_stiffness_y: Array
    bending_stiffness_z: Array
    torsional_stiffness: Array
    shear_stiffness_y: Array
    shear_stiffness_z: Array
    mass_per_length: Array
    polar_inertia_per_length: Array
    core: Section
    sleeve: Section
    core_share: LoadShare
    sleeve_share: LoadShare

    def combined_stress(
        self,
        *,
        axial_force: ArrayLike = 0.0,
        moment_y: ArrayLike = 0.0,
        moment_z: ArrayLike = 0.0,
        torque: ArrayLike = 0.0,
        shear_y: ArrayLike = 0.0,
        shear_z: ArrayLike = 0.0,
    ) -> tuple[StressState, StressState]:
        """Stress in the core and in the sleeve under forces on the whole section.

        Parameters are those of `combined_stress`, for core and sleeve together.

        Returns
        -------
        tuple of StressState
            Core, then sleeve.
        """
        states = [
            combined_stress(
                part,
                axial_force=share.axial * np.asarray(axial_force),
                moment_y=share.bending_y * np.asarray(moment_y),
                moment_z=share.bending_z * np.asarray(moment_z),
                torque=share.torsion * np.asarray(torque),
                shear_y=share.shear_y * np.asarray(shear_y),
                shear_z=share.shear_z * np.asarray(shear_z),
            )
            for part, share in ((self.core, self.core_share), (self.sleeve, self.sleeve_share))
        ]
        return states[0], states[1]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class StressState:
    """Largest stresses over one cross-section, all as magnitudes [Pa], shape (...).

    Attributes
    ----------
    normal : ndarray
        Largest normal stress along the support, axial and bending together.
    shear : ndarray
        Largest shear stress on the cross-section: torsion plus transverse shear.
    equivalent : ndarray
        Largest von Mises stress.
    """

    normal: Array
    shear: Array
    equivalent: Array


def _length(name: str, value: ArrayLike) -> Array:
    """Read a length that has to be positive and finite."""
    array = np.asarray(value, dtype=np.float64)
    if not np.all((array > 0.0) & np.isfinite(array)):
        raise ArgumentError(f"{name} is {value!r}: every value must be positive and finite, in metres.")
    return array


def _poissons_ratio(value: ArrayLike) -> Array:
    """Read a Poisson's ratio inside the isotropic range."""
    array = np.asarray(value, dtype=np.float64)
    if not np.all((array > -1.0) & (array <= 0.5)):
        raise ArgumentError(f"poissons_ratio is {value!r}: every value must lie above -1 and up to 0.5.")
    return array


def _section(*, is_round: bool, **values: ArrayLike) -> Section:
    """Broadcast every field to one batch shape."""
    arrays = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values.values()))
    named = dict(zip(values, arrays, strict=True))
    return Section(**named, is_round=np.full(arrays[0].shape, is_round))


def solid_round(diameter: ArrayLike, poissons_ratio: ArrayLike = 0.3) -> Section:
    """Section of a solid round wire or rod.

    Parameters
    ----------
    diameter : array_like, shape (...)
        [m], positive.
    poissons_ratio : array_like, shape (...)
        Used in the shear coefficient only, above -1 to 0.5.

    Returns
    -------
    Section

    Raises
    ------
    ArgumentError
        If a diameter is not positive and finite, or Poisson's ratio is out of range.

    Notes
    -----
    I = pi d^4 / 64, J = 2 I, torsion modulus pi d^3 / 16, largest transverse shear 4 V / (3 A), shear
    coefficient 6 (1 + nu) / (7 + 6 nu).

    References
    ----------
    G. R. Cowper, "The shear coefficient in Timoshenko's beam theory", Journal of Applied Mechanics 33
    (1966), table 1 (from memory).

    Examples
    --------
    >>> float(solid_round(2e-3).second_moment_y)  # doctest: +ELLIPSIS
    7.853...e-13
    """
    d = _length("diameter", diameter)
    nu = _poissons_ratio(poissons_ratio)
    second_moment = np.pi * d**4 / 64
    coefficient = 6 * (1 + nu) / (7 + 6 * nu)
    return _section(
        area=np.pi * d**2 / 4,
        second_moment_y=second_moment,
        second_moment_z=second_moment,
        torsion_constant=2 * second_moment,
        polar_moment=2 * second_moment,
        shear_coefficient_y=coefficient,
        shear_coefficient_z=coefficient,
        outer_y=d / 2,
        outer_z=d / 2,
        torsion_modulus=np.pi * d**3 / 16,
        shear_peak_factor=4 / 3,
        is_round=True,
    )


def tube(outer_diameter: ArrayLike, wall_thickness: ArrayLike, poissons_ratio: ArrayLike = 0.3) -> Section:
    """Section of a round tube.

    Parameters
    ----------
    outer_diameter, wall_thickness : array_like, shape (...)
        [m], positive; the wall is at most half the outer diameter (then the tube is solid).
    poissons_ratio : array_like, shape (...)
        Used in the shear coefficient only, above -1 to 0.5.

    Returns
    -------
    Section

    Raises
    ------
    ArgumentError
        If a size is not positive and finite, or the wall is thicker than the radius.

    Notes
    -----
    With outer radius R, inner radius r and m = r / R: I = pi (R^4 - r^4) / 4, J = 2 I, shear coefficient
    6 (1 + nu)(1 + m^2)^2 / [(7 + 6 nu)(1 + m^2)^2 + (20 + 12 nu) m^2], largest transverse shear
    4 V (R^2 + R r + r^2) / [3 A (R^2 + r^2)] (at Poisson's ratio taken as zero across the wall).
    Local flattening of a thin wall (Brazier) is not part of this; it matters below a wall of about
    outer_diameter / 50.

    References
    ----------
    G. R. Cowper, as in `solid_round`, hollow circle (from memory).
    """
    big = _length("outer_diameter", outer_diameter) / 2
    wall = _length("wall_thickness", wall_thickness)
    nu = _poissons_ratio(poissons_ratio)
    # Half a rounding step of slack: 6 mm over 3 mm must stay a solid rod when it comes from inches.
    if np.any(wall > big * (1 + 1e-12)):
        raise ArgumentError(
            f"wall_thickness is {wall_thickness!r} with outer_diameter {outer_diameter!r}: "
            "the wall may be at most half the outer diameter."
        )
    small = np.maximum(big - wall, 0.0)
    m_squared = (small / big) ** 2
    # (R - r)(R + r)(R^2 + r^2) keeps full precision for a thin wall, where R^4 - r^4 cancels.
    area = np.pi * (big - small) * (big + small)
    second_moment = area * (big**2 + small**2) / 4
    ring = (1 + m_squared) ** 2
    coefficient = 6 * (1 + nu) * ring / ((7 + 6 * nu) * ring + (20 + 12 * nu) * m_squared)
    return _section(
        area=area,
        second_moment_y=second_moment,
        second_moment_z=second_moment,
        torsion_constant=2 * second_moment,
        polar_moment=2 * second_moment,
        shear_coefficient_y=coefficient,
        shear_coefficient_z=coefficient,
        outer_y=big,
        outer_z=big,
        torsion_modulus=2 * second_moment / big,
        shear_peak_factor=4 * (big**2 + big * small + small**2) / (3 * (big**2 + small**2)),
        is_round=True,
    )


def strip(width: ArrayLike, thickness: ArrayLike, poissons_ratio: ArrayLike = 0.3) -> Section:
    """Section of a flat strip: width along local y, thickness along local z.

    Parameters
    ----------
    width, thickness : array_like, shape (...)
        [m], positive. Either may be the larger.
    poissons_ratio : array_like, shape (...)
        Used in the shear coefficient only, above -1 to 0.5.

    Returns
    -------
    Section

    Raises
    ------
    ArgumentError
        If a size is not positive and finite, or Poisson's ratio is out of range.

    Notes
    -----
    With long side a and short side b, summing over odd n (Saint-Venant's series, exact to rounding here)::

        J     = a b^3 / 3 [1 - 192 b / (pi^5 a) sum tanh(n pi a / (2 b)) / n^5]
        tau   = T b / J [1 - 8 / pi^2 sum 1 / (n^2 cosh(n pi a / (2 b)))]

    the largest shear standing at the middle of the long side. Shear coefficient
    10 (1 + nu) / (12 + 11 nu) in both directions (Cowper). Largest transverse shear 3 V / (2 A); for shear
    along the thin side of a wide strip the edges carry more than that, but there bending governs.

    References
    ----------
    S. P. Timoshenko and J. N. Goodier, *Theory of Elasticity*, torsion of rectangular bars (from memory).
    """
    y_size = _length("width", width)
    z_size = _length("thickness", thickness)
    nu = _poissons_ratio(poissons_ratio)
    a = np.maximum(y_size, z_size)
    b = np.minimum(y_size, z_size)
    # tanh = 1 - 2 / (exp(2 x) + 1): the part that is 1 sums to 31 zeta(5) / 32, and what is left of both
    # series falls by exp(-pi) or more a term, so twelve terms are exact to rounding.
    n = np.arange(1, 25, 2, dtype=np.float64)
    x = n * np.pi * (a / b)[..., None] / 2
    decay = np.exp(-x)
    zeta_part = 31 / 32 * 1.0369277551433699
    series = zeta_part - np.sum(2 * decay**2 / ((1 + decay**2) * n**5), axis=-1)
    torsion_constant = a * b**3 / 3 * (1 - 192 / np.pi**5 * b / a * series)
    edge = 1 - 8 / np.pi**2 * np.sum(2 * decay / ((1 + decay**2) * n**2), axis=-1)
    second_moment_y = y_size * z_size**3 / 12
    second_moment_z = z_size * y_size**3 / 12
    coefficient = 10 * (1 + nu) / (12 + 11 * nu)
    return _section(
        area=y_size * z_size,
        second_moment_y=second_moment_y,
        second_moment_z=second_moment_z,
        torsion_constant=torsion_constant,
        polar_moment=second_moment_y + second_moment_z,
        shear_coefficient_y=coefficient,
        shear_coefficient_z=coefficient,
        outer_y=y_size / 2,
        outer_z=z_size / 2,
        torsion_modulus=torsion_constant / (b * edge),
        shear_peak_factor=1.5,
        is_round=False,
    )


@cache
def strand_pattern(wires: int) -> tuple[tuple[float, float], ...]:
    """Centres of the wires of a closely packed strand, in wire diameters from the strand's axis.

    Parameters
    ----------
    wires : int
        1 to 169.

    Returns
    -------
    tuple of (y, z) pairs

    Raises
    ------
    ArgumentError
        If `wires` is out of range.

    Notes
    -----
    Two to five wires lie on one ring, each touching its neighbours. From six on they take the places of a
    hexagonal packing with the smallest sum of squared distances (7 is one core and six around it, 19 one,
    six and twelve). A regular pattern: a laid rope of several strands is looser than this.
    """
    if not 1 <= wires <= MOST_WIRES:
        raise ArgumentError(f"wires is {wires}: a strand may have 1 to {MOST_WIRES} wires.")
    if wires == 1:
        return ((0.0, 0.0),)
    if wires <= 5:
        angle = 2 * np.pi * np.arange(wires) / wires
        radius = 0.5 / np.sin(np.pi / wires)
        points = radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    else:
        reach = np.arange(-9, 10, dtype=np.float64)
        across, up = np.meshgrid(reach, reach)
        lattice = np.stack([across + up / 2, up * np.sqrt(3) / 2], axis=-1).reshape(-1, 2)
        # The three kinds of symmetric centre: on a wire, between two, between three.
        candidates = []
        for centre in ((0.0, 0.0), (0.5, 0.0), (0.5, np.sqrt(3) / 6)):
            away = lattice - np.array(centre)
            chosen = away[np.argsort(np.sum(away**2, axis=-1), kind="stable")[:wires]]
            candidates.append(chosen - chosen.mean(axis=0))
        points = min(candidates, key=lambda chosen: float(np.sum(chosen**2)))
    return tuple((float(y), float(z)) for y, z in points)


def strand_diameter(wire_diameter: ArrayLike, wires: int) -> Array:
    """Diameter of the circle round a closely packed strand: what a caliper finds.

    Parameters
    ----------
    wire_diameter : array_like, shape (...)
        Diameter of one wire [m], positive.
    wires : int
        1 to 169.

    Returns
    -------
    ndarray, shape (...)
        [m].

    Raises
    ------
    ArgumentError
        If a diameter or the count is out of range.

    Examples
    --------
    >>> float(strand_diameter(1e-3, 7))
    0.003
    """
    farthest = max(float(np.hypot(*place)) for place in strand_pattern(wires))
    return np.asarray(_length("wire_diameter", wire_diameter) * (1 + 2 * farthest))


def strand(
    wire_diameter: ArrayLike,
    wires: ArrayLike,
    bond: ArrayLike = 0.0,
    poissons_ratio: ArrayLike = 0.3,
) -> Section:
    """Section of a strand of equal round wires, between slipping freely and bonded into one.

    Parameters
    ----------
    wire_diameter : array_like, shape (...)
        Diameter of one wire [m], positive.
    wires : array_like of int, shape (...)
        Count, 1 to 169.
    bond : array_like, shape (...)
        0 where the wires slip on each other (the limber bound), 1 where they are held together as one piece
        (the stiff bound); linear between. Friction holds the wires until the bend overcomes it, so a strand that
        trembles is near the stiff bound and one that sags far near the limber one (K. O. Papailiou, On the bending
        stiffness of transmission line conductors, IEEE Trans. Power Delivery 12, 1997, from memory).
    poissons_ratio : array_like, shape (...)
        Used in the shear coefficient only.

    Returns
    -------
    Section

    Raises
    ------
    ArgumentError
        If a diameter, the count or the bond is out of range.

    Notes
    -----
    With I1 and A1 of one wire and the pattern's distances r: slipping I = n I1, J = 2 n I1; bonded
    I = n I1 + A1 sum(r^2) / 2 and J = 2 I. The lay turns the pattern along the length, so both directions get
    the mean. The extreme fibre stands at d/2 + bond R, with R the farthest wire centre, which makes the
    stress at a given curvature linear in the bond too. The mass moment uses the packed places always. The
    lay angle is left out: a wire laid at angle a is about cos(a)^3 as stiff along the axis, 6 % less at
    10 degrees plus 5 % more wire.
    """
    d = _length("wire_diameter", wire_diameter)
    nu = _poissons_ratio(poissons_ratio)
    share = np.asarray(bond, dtype=np.float64)
    if not np.all((share >= 0.0) & (share <= 1.0)):
        raise ArgumentError(f"bond is {bond!r}: every value must lie from 0 (slipping) to 1 (bonded).")
    count = np.asarray(wires)
    if not np.all(np.equal(np.mod(count, 1), 0)):
        raise ArgumentError(f"wires is {wires!r}: a strand has a whole number of wires, 1 to {MOST_WIRES}.")
    spread = np.empty(count.shape)
    farthest = np.empty(count.shape)
    for number in np.unique(count):
        squared = np.sum(np.array(strand_pattern(int(number))) ** 2, axis=-1)
        spread[count == number] = np.sum(squared)
        farthest[count == number] = np.sqrt(np.max(squared))
    n = count.astype(np.float64)
    one_area = np.pi * d**2 / 4
    one_moment = np.pi * d**4 / 64
    packing = one_area * d**2 * spread / 2
    second_moment = n * one_moment + share * packing
    outer = d * (0.5 + share * farthest)
    coefficient = 6 * (1 + nu) / (7 + 6 * nu)
    return _section(
        area=n * one_area,
        second_moment_y=second_moment,
        second_moment_z=second_moment,
        torsion_constant=2 * second_moment,
        polar_moment=2 * (n * one_moment + packing),
        shear_coefficient_y=coefficient,
        shear_coefficient_z=coefficient,
        outer_y=outer,
        outer_z=outer,
        torsion_modulus=2 * second_moment / outer,
        shear_peak_factor=4 / 3,
        is_round=True,
    )


_UNDER_SIZE, _OVER_SIZE = 0.05, 0.01
"""How far a thread may be from its nominal diameter and still be known by it: rods are rolled a little under size
(ISO 965-1, class 6g: up to 4 % at M3, from memory)."""


def coarse_pitch(nominal_diameter: ArrayLike) -> Array:
    """Coarse pitch of metric threads by diameter.

    Parameters
    ----------
    nominal_diameter : array_like, shape (...)
        [m]; one of the keys of `COARSE_PITCHES`, or as a caliper finds it: up to 5 % under or 1 % over.

    Returns
    -------
    ndarray, shape (...)
        Pitch [m].

    Raises
    ------
    ArgumentError
        If a diameter is not in the table.

    References
    ----------
    ISO 261, coarse series (from memory).
    """
    d = _length("nominal_diameter", nominal_diameter)
    known = np.array(list(COARSE_PITCHES))
    nearest = np.argmin(np.abs(d[..., None] - known), axis=-1)
    off = d / known[nearest] - 1
    if np.any((off < -_UNDER_SIZE) | (off > _OVER_SIZE)):
        names = ", ".join(f"M{size * 1e3:g}" for size in known)
        raise ArgumentError(
            f"nominal_diameter is {nominal_diameter!r} m: coarse threads are known for {names}. "
            "Give the pitch for another thread."
        )
    return np.asarray(np.array(list(COARSE_PITCHES.values()))[nearest], dtype=np.float64)


def threaded(
    nominal_diameter: ArrayLike, poissons_ratio: ArrayLike = 0.3, *, pitch: ArrayLike | None = None
) -> Section:
    """Section of a threaded rod, taken as a solid round of the stress diameter.

    Parameters
    ----------
    nominal_diameter : array_like, shape (...)
        [m]: 4e-3 is M4.
    poissons_ratio : array_like, shape (...)
        Used in the shear coefficient only.
    pitch : array_like, shape (...), optional
        [m]; the coarse metric pitch when left out.

    Returns
    -------
    Section
        Stiffness, stress and mass all use the stress diameter d - 0.9382 p. The stress concentration at the
        thread root belongs to fatigue and is not in it.

    Raises
    ------
    ArgumentError
        If the diameter has no coarse thread and no pitch is given, or the pitch leaves no core.

    Notes
    -----
    The stress diameter is the mean of pitch diameter d - (3 sqrt(3) / 8) p and core diameter
    d - (17 sqrt(3) / 24) p. Bending follows the core more closely than the stress diameter, by about 20 % in
    stiffness between the two.

    References
    ----------
    ISO 898-1, nominal stress area (from memory).
    """
    d = _length("nominal_diameter", nominal_diameter)
    p = coarse_pitch(d) if pitch is None else _length("pitch", pitch)
    stress_diameter = d - STRESS_DIAMETER_PITCHES * p
    if np.any(stress_diameter <= 0.0):
        raise ArgumentError(
            f"pitch is {pitch!r} with nominal_diameter {nominal_diameter!r}: no core is left."
        )
    return solid_round(stress_diameter, poissons_ratio)


def sleeved(
    core: Section,
    sleeve: Section,
    *,
    core_youngs_modulus: ArrayLike,
    sleeve_youngs_modulus: ArrayLike,
    core_shear_modulus: ArrayLike,
    sleeve_shear_modulus: ArrayLike,
    core_density: ArrayLike,
    sleeve_density: ArrayLike,
) -> SleevedSection:
    """Bonded composite of a core and a concentric sleeve.

    Parameters
    ----------
    core, sleeve : Section
        Both about the same axis; batch shapes broadcast.
    core_youngs_modulus, sleeve_youngs_modulus : array_like, shape (...)
        [Pa], positive.
    core_shear_modulus, sleeve_shear_modulus : array_like, shape (...)
        [Pa], positive.
    core_density, sleeve_density : array_like, shape (...)
        [kg/m^3], positive.

    Returns
    -------
    SleevedSection

    Raises
    ------
    ArgumentError
        If a modulus or density is not positive and finite.

    Notes
    -----
    Plane sections stay plane through both parts, so stiffnesses add and each part carries its stiffness's
    share. The shear stiffness is the sum too, an approximation (each part with its own coefficient). The
    bond carries no stiffness and has no mass. That the core fits is not checked here.
    """
    given = {
        "core_youngs_modulus": core_youngs_modulus,
        "sleeve_youngs_modulus": sleeve_youngs_modulus,
        "core_shear_modulus": core_shear_modulus,
        "sleeve_shear_modulus": sleeve_shear_modulus,
        "core_density": core_density,
        "sleeve_density": sleeve_density,
    }
    values = {name: np.asarray(value, dtype=np.float64) for name, value in given.items()}
    for name, array in values.items():
        if not np.all((array > 0.0) & np.isfinite(array)):
            raise ArgumentError(f"{name} is {given[name]!r}: every value must be positive and finite.")

    def stiffness(part: Section, E: Array, G: Array) -> dict[str, Array]:
        return {
            "axial": E * part.area,
            "bending_y": E * part.second_moment_y,
            "bending_z": E * part.second_moment_z,
            "torsion": G * part.torsion_constant,
            "shear_y": G * part.area * part.shear_coefficient_y,
            "shear_z": G * part.area * part.shear_coefficient_z,
        }

    of_core = stiffness(core, values["core_youngs_modulus"], values["core_shear_modulus"])
    of_sleeve = stiffness(sleeve, values["sleeve_youngs_modulus"], values["sleeve_shear_modulus"])
    whole = {name: of_core[name] + of_sleeve[name] for name in of_core}
    rho_core, rho_sleeve = values["core_density"], values["sleeve_density"]
    return SleevedSection(
        axial_stiffness=whole["axial"],
        bending_stiffness_y=whole["bending_y"],
        bending_stiffness_z=whole["bending_z"],
        torsional_stiffness=whole["torsion"],
        shear_stiffness_y=whole["shear_y"],
        shear_stiffness_z=whole["shear_z"],
        mass_per_length=rho_core * core.area + rho_sleeve * sleeve.area,
        polar_inertia_per_length=rho_core * core.polar_moment + rho_sleeve * sleeve.polar_moment,
        core=core,
        sleeve=sleeve,
        core_share=LoadShare(**{name: of_core[name] / whole[name] for name in whole}),
        sleeve_share=LoadShare(**{name: of_sleeve[name] / whole[name] for name in whole}),
    )


def combined_stress(
    section: Section,
    *,
    axial_force: ArrayLike = 0.0,
    moment_y: ArrayLike = 0.0,
    moment_z: ArrayLike = 0.0,
    torque: ArrayLike = 0.0,
    shear_y: ArrayLike = 0.0,
    shear_z: ArrayLike = 0.0,
) -> StressState:
    """Largest elastic stresses over a cross-section under all internal forces at once.

    Parameters
    ----------
    section : Section
    axial_force : array_like, shape (...)
        [N], either sign.
    moment_y, moment_z : array_like, shape (...)
        Bending moments about local y and z [N m].
    torque : array_like, shape (...)
        About local x [N m].
    shear_y, shear_z : array_like, shape (...)
        Shear forces along local y and z [N].

    Returns
    -------
    StressState

    Notes
    -----
    Round: bending stress is the vector sum of both directions, and meets the full torsion stress somewhere
    on the perimeter, so the equivalent stress there is exact. Flat: the two bending stresses add at the
    corner, where torsion stress is zero, but the torsion stress of the middle of the long side is put with
    it; that errs on the safe side by at most the torsion part. Transverse shear is checked apart, at the
    neutral axis, where it adds to torsion and bending stress is zero; the equivalent stress is the larger of
    the two places. von Mises: sqrt(sigma^2 + 3 tau^2).

    For a strand it holds for one wire at the bond given; for a threaded rod at the stress diameter.
    """
    axial = np.abs(np.asarray(axial_force, dtype=np.float64)) / section.area
    about_y = np.abs(np.asarray(moment_y, dtype=np.float64)) / section.section_modulus_y
    about_z = np.abs(np.asarray(moment_z, dtype=np.float64)) / section.section_modulus_z
    bending = np.where(section.is_round, np.hypot(about_y, about_z), about_y + about_z)
    normal = axial + bending
    torsion = np.abs(np.asarray(torque, dtype=np.float64)) / section.torsion_modulus
    force = np.hypot(np.asarray(shear_y, dtype=np.float64), np.asarray(shear_z, dtype=np.float64))
    shear = torsion + section.shear_peak_factor * force / section.area
    at_surface = np.sqrt(normal**2 + 3 * torsion**2)
    at_neutral_axis = np.sqrt(axial**2 + 3 * shear**2)
    return StressState(
        normal=np.asarray(normal),
        shear=np.asarray(shear),
        equivalent=np.asarray(np.maximum(at_surface, at_neutral_axis)),
    )
