"""One straight beam element of high order: the matrices that every support is made of.

The element carries axial, twisting and two bending fields on ``0 <= xi <= 1``. Bending is split into a
slope-true part and a shear part, ``v = v_b + s`` with section rotation ``v_b'`` and shear strain ``s'``, so
that the strain energy is ``EI v_b''^2 + kGA s'^2`` without coupling: it neither locks for a thin wire nor
loses shear in a stubby rod, and leaving out ``s`` gives Euler-Bernoulli exactly. Each field is its end
values plus internal polynomials (integrated Legendre polynomials), so static results under end loads and
uniform weight are exact and frequencies converge exponentially with the order.

Every matrix is a sum of physical coefficients times constant matrices, so a batch of elements is one product.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

__all__ = ["END_FREEDOMS", "Basis", "Field", "Fields", "Order"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

END_FREEDOMS = 12
"""Three displacements and three rotations at each end come first in every element vector."""


@dataclass(frozen=True, kw_only=True)
class Order:
    """How many internal polynomials each field of an element has.

    Attributes
    ----------
    bending, shear, axial, torsion : int
        Internal functions of each field, per plane where there are two. At least 1 of each (2 of bending)
        makes the static solution under uniform weight exact; `shear` None leaves shear deformation and the
        rotary inertia of the section out (Euler-Bernoulli).
    """

    bending: int = 9
    shear: int | None = 7
    axial: int = 3
    torsion: int = 3


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Fields:
    """The element's fields as rows that multiply its vector, at given stations; shape (stations, freedoms).

    All freedoms are lengths: rotations and twists are multiplied by the element's length, so a field's n-th
    derivative along the axis is its row divided by the length to the power n (one more for twist and
    rotation).
    """

    axial_strain: Array
    twist_rate: Array
    slope_v: Array
    slope_w: Array
    curvature_v: Array
    curvature_w: Array
    curvature_rate_v: Array
    curvature_rate_w: Array
    shear_v: Array
    shear_w: Array
    displacement: Array  # (stations, 3, freedoms): u, v, w


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Field:
    """A field of the element that neither elasticity nor inertia nor tension couples with the others.

    Stretch, twist, which tension leaves alone both, and bending are such parts of a straight element. Bending comes
    in two planes that are alike once rotations in the second are counted the other way. The matrices are those of
    the `Basis` cut down to one plane, its e end freedoms first.

    Attributes
    ----------
    ends : int array, shape (planes, e)
        Which of the twelve end freedoms belong to each plane.
    signs : array, shape (planes, e)
        -1 for those that are counted the other way.
    stiffness_kinds, mass_kinds : int array, shape (planes, kinds)
        Which coefficients of `Basis.stiffness` and `Basis.mass` each plane has.
    stiffness, mass, tension : array, shape (kinds, e + i, e + i)
        Constant matrices of these coefficients and of the tension at start and end.
    push : array, shape (planes, e + i, 3)
        To be multiplied by rho A L: load of a unit acceleration along x, y, z.
    is_tensioned : bool
        Whether a tension in the element works on it.
    """

    ends: Index
    signs: Array
    stiffness_kinds: Index
    mass_kinds: Index
    stiffness: Array
    mass: Array
    tension: Array
    push: Array
    is_tensioned: bool

    @property
    def planes(self) -> int:
        """How many there are of it in an element."""
        return len(self.ends)

    @property
    def count(self) -> int:
        """End freedoms in one plane."""
        return int(self.ends.shape[1])


def _internal(count: int, points: Array, integrations: int) -> list[Array]:
    """Functions that vanish at both ends: Legendre polynomials integrated once or twice.

    The lowest degree equals the number of integrations, which makes the function (and, integrated twice, its
    slope) zero at both ends. Returns the functions, then each derivative up to one beyond the Legendre
    polynomial itself: ``integrations + 2`` arrays of shape (points, count).
    """
    top = integrations + count + 2
    x = 2 * points - 1
    value = legendre.legvander(x, top)
    slope = np.zeros_like(value)
    slope[:, 1] = 1.0
    for degree in range(1, top):
        slope[:, degree + 1] = slope[:, degree - 1] + (2 * degree + 1) * value[:, degree]
    n = np.arange(integrations, integrations + count)
    # From -1 the integral of P_n is (P_(n+1) - P_(n-1)) / (2 n + 1); x runs twice as far as xi.
    once = (value[:, n + 1] - value[:, n - 1]) / (2 * (2 * n + 1))
    levels = [once, value[:, n], 2 * slope[:, n]]
    if integrations == 2:
        after = (value[:, n + 2] - value[:, n]) / (2 * n + 3)
        before = (value[:, n] - value[:, n - 2]) / (2 * n - 1)
        levels.insert(0, (after - before) / (4 * (2 * n + 1)))
    return [np.asarray(level * np.sqrt(2 * n + 1)) for level in levels]


class Basis:
    """Constant matrices of the element for one `Order`; get it from `Basis.of`, which keeps them.

    The vector is ``u v w rx ry rz`` at the start, the same at the end, then internal axial, torsion, and for
    each of the two planes bending and shear functions. Rotations enter multiplied by the length.

    Attributes
    ----------
    size : int
        Length of the element vector.
    stiffness : array, shape (6, size, size)
        To be multiplied by EA/L, GJ/L^3, EIz/L^3, EIy/L^3, kGAy/L, kGAz/L.
    mass : array, shape (4, size, size)
        To be multiplied by rho A L, rho Iz/L, rho Iy/L, rho Ip/L.
    tension : array, shape (2, size, size)
        To be multiplied by N/L at the start and N/L at the end, with the tension N linear between.
    """

    def __init__(self, order: Order) -> None:
        self.order = order
        shear = order.shear
        per_plane = order.bending + (0 if shear is None else 1 + shear)
        self.size = END_FREEDOMS + order.axial + order.torsion + 2 * per_plane
        degree = max(order.bending + 3, order.axial + 1, order.torsion + 1, (shear or 0) + 1)
        nodes, weights = legendre.leggauss(degree + 2)
        points, weights = (nodes + 1) / 2, weights / 2
        values = self._evaluate(points)

        def energy(rows: Array, scale: Array | None = None) -> Array:
            factor = weights if scale is None else weights * scale
            return np.asarray((rows * factor[:, None]).T @ rows)

        zero = np.zeros((self.size, self.size))
        sheared = shear is not None
        self.stiffness: Array = np.stack(
            [
                energy(values["u'"]),
                energy(values["r'"]),
                energy(values["vb''"]),
                energy(values["wb''"]),
                energy(values["sv'"]),
                energy(values["sw'"]),
            ]
        )
        self.mass: Array = np.stack(
            [
                energy(values["u"]) + energy(values["v"]) + energy(values["w"]),
                energy(values["vb'"]) if sheared else zero,
                energy(values["wb'"]) if sheared else zero,
                energy(values["r"]),
            ]
        )
        slopes = [energy(values["v'"], scale) + energy(values["w'"], scale) for scale in (1 - points, points)]
        self.tension: Array = np.stack(slopes)

    @cached_property
    def separate_fields(self) -> tuple[Field, ...]:
        """Stretch, twist and bending, whose internal functions follow each other in the element's vector."""
        order = self.order
        inside = order.bending + (0 if order.shear is None else 1 + order.shear)
        # The slope of w is minus the rotation about y.
        plan = (
            (((0, 6),), ((1, 1),), order.axial, ((0,),), ((0,),), False),
            (((3, 9),), ((1, 1),), order.torsion, ((1,),), ((3,),), False),
            (
                ((1, 5, 7, 11), (2, 4, 8, 10)),
                ((1, 1, 1, 1), (1, -1, 1, -1)),
                inside,
                ((2, 4), (3, 5)),
                ((0, 1), (0, 2)),
                True,
            ),
        )
        push = self.mass[0, :, :3] + self.mass[0, :, 6:9]
        result, column = [], END_FREEDOMS
        for ends, signs, count, stiff, heavy, is_tensioned in plan:
            places = [
                np.array([*plane, *range(column + index * count, column + (index + 1) * count)])
                for index, plane in enumerate(ends)
            ]
            column += count * len(ends)
            block = np.ix_(places[0], places[0])
            turned = [np.array([*sign, *[1] * count])[:, None] for sign in signs]
            result.append(
                Field(
                    ends=np.array(ends),
                    signs=np.array(signs, dtype=float),
                    stiffness_kinds=np.array(stiff),
                    mass_kinds=np.array(heavy),
                    stiffness=np.stack([self.stiffness[kind][block] for kind in stiff[0]]),
                    mass=np.stack([self.mass[kind][block] for kind in heavy[0]]),
                    tension=np.stack([matrix[block] for matrix in self.tension]),
                    push=np.stack([push[own] * sign for own, sign in zip(places, turned, strict=True)]),
                    is_tensioned=is_tensioned,
                )
            )
        return tuple(result)

    @staticmethod
    @cache
    def of(order: Order) -> Basis:
        """The basis of an order, built once."""
        return Basis(order)

    def fields(self, stations: Array) -> Fields:
        """Rows that recover strains and displacements at stations along the element.

        Parameters
        ----------
        stations : array, shape (n,)
            Places along the element, 0 at its start and 1 at its end.

        Returns
        -------
        Fields
            See there for the scaling with the length.
        """
        return self._fields(tuple(float(station) for station in stations))

    def force_rows(self, stations: Array) -> Array:
        """Rows that recover what the section forces are made of, with the sign of each, at stations.

        Parameters
        ----------
        stations : array, shape (n,)
            Places along the element, 0 at its start and 1 at its end.

        Returns
        -------
        array, shape (6 n, size)
            Strain, twist rate, curvature about y and about z, then shear strain along y and along z (without shear
            deformation: minus the rate of curvature), n rows each; see `Fields` for the scaling with the length.
        """
        return self._force_rows(tuple(float(station) for station in stations))

    @cache  # noqa: B019 - as below
    def _force_rows(self, stations: tuple[float, ...]) -> Array:
        rows = self._fields(stations)
        shears = (rows.shear_v, rows.shear_w)
        if self.order.shear is None:
            shears = (-rows.curvature_rate_v, -rows.curvature_rate_w)
        return np.concatenate(
            [rows.axial_strain, rows.twist_rate, -rows.curvature_w, rows.curvature_v, *shears]
        )

    @cache  # noqa: B019 - a basis is kept for good anyway, and its stations are few
    def _fields(self, stations: tuple[float, ...]) -> Fields:
        values = self._evaluate(np.array(stations))
        return Fields(
            axial_strain=values["u'"],
            twist_rate=values["r'"],
            slope_v=values["v'"],
            slope_w=values["w'"],
            curvature_v=values["vb''"],
            curvature_w=values["wb''"],
            curvature_rate_v=values["vb'''"],
            curvature_rate_w=values["wb'''"],
            shear_v=values["sv'"],
            shear_w=values["sw'"],
            displacement=np.stack([values["u"], values["v"], values["w"]], axis=1),
        )

    def _evaluate(self, points: Array) -> dict[str, Array]:
        order, n = self.order, len(points)
        rows = {key: np.zeros((n, self.size)) for key in ("u", "u'", "r", "r'", "sv", "sv'", "sw", "sw'")} | {
            plane + dashes: np.zeros((n, self.size))
            for plane in ("vb", "wb")
            for dashes in ("", "'", "''", "'''")
        }
        column = END_FREEDOMS
        for name, start, end, count in (("u", 0, 6, order.axial), ("r", 3, 9, order.torsion)):
            rows[name][:, start], rows[name][:, end] = 1 - points, points
            rows[name + "'"][:, start], rows[name + "'"][:, end] = -1, 1
            inner = slice(column, column + count)
            rows[name][:, inner], rows[name + "'"][:, inner] = _internal(count, points, 1)[:2]
            column += count
        hermite = (
            (
                1 - 3 * points**2 + 2 * points**3,
                -6 * points + 6 * points**2,
                -6 + 12 * points,
                12 + 0 * points,
            ),
            (
                points - 2 * points**2 + points**3,
                1 - 4 * points + 3 * points**2,
                -4 + 6 * points,
                6 + 0 * points,
            ),
            (3 * points**2 - 2 * points**3, 6 * points - 6 * points**2, 6 - 12 * points, -12 + 0 * points),
            (-(points**2) + points**3, -2 * points + 3 * points**2, -2 + 6 * points, 6 + 0 * points),
        )
        # The slope of v is the rotation about z; the slope of w is minus the rotation about y.
        for plane, sign, places in (("v", 1.0, (1, 5, 7, 11)), ("w", -1.0, (2, 4, 8, 10))):
            bend = [rows[plane + "b" + dashes] for dashes in ("", "'", "''", "'''")]
            for index, (place, shapes) in enumerate(zip(places, hermite, strict=True)):
                for row, shape in zip(bend, shapes, strict=True):
                    row[:, place] = shape * (sign if index % 2 else 1.0)
            inner = slice(column, column + order.bending)
            for row, values in zip(bend, _internal(order.bending, points, 2), strict=True):
                row[:, inner] = values
            column += order.bending
            if order.shear is not None:
                # The end displacement is v_b + s; s starts at zero and has its end value as a freedom of its own.
                for row, shape in zip(bend, hermite[2], strict=True):
                    row[:, column] = -shape
                shear, slope = rows["s" + plane], rows["s" + plane + "'"]
                shear[:, column], slope[:, column] = points, 1.0
                inner = slice(column + 1, column + 1 + order.shear)
                shear[:, inner], slope[:, inner] = _internal(order.shear, points, 1)[:2]
                column += 1 + order.shear
            for dashes in ("", "'"):
                rows[plane + dashes] = rows[plane + "b" + dashes] + rows["s" + plane + dashes]
        return rows
