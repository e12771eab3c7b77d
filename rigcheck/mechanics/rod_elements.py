"""The elements of a rod: shapes, strains, and the gradient and tangent of the strain energy of one support.

See `rigcheck.mechanics.rods` for the theory.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from typing import Any

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from rigcheck.mechanics.batches import cross
from rigcheck.mechanics.frame import cross_matrix
from rigcheck.mechanics.turns import spin_map, turn_less_identity

__all__ = [
    "Line",
    "LineEnergy",
    "gauss",
    "lagrange_matrices",
    "line_energy",
    "lobatto",
    "polynomials_through",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@cache
def lobatto(order: int) -> Array:
    """Gauss-Lobatto points, the nodes of an element.

    Parameters
    ----------
    order : int
        1 or more.

    Returns
    -------
    array, shape (order + 1,)
        On 0 to 1, both ends included.
    """
    inner = legendre.legroots(legendre.legder(np.eye(order + 1)[order])) if order > 1 else np.zeros(0)
    return (np.concatenate([[-1.0], np.sort(np.real(inner)), [1.0]]) + 1) / 2


def lagrange_matrices(order: int, places: Array) -> tuple[Array, Array]:
    """Lagrange polynomials of an element and their slopes.

    Parameters
    ----------
    order : int
        1 or more; the nodes are Gauss-Lobatto points.
    places : array, shape (n,)
        Places along the element, 0 at its start and 1 at its end.

    Returns
    -------
    values, slopes : array, shape (n, order + 1)
    """
    return polynomials_through(lobatto(order), places)


def polynomials_through(nodes: Array, places: Array) -> tuple[Array, Array]:
    """Values and slopes at places of the polynomials that are 1 at one node and 0 at the others.

    Parameters
    ----------
    nodes : array, shape (m,)
        On 0 to 1.
    places : array, shape (n,)
        The same.

    Returns
    -------
    values, slopes : array, shape (n, m)
    """
    return _polynomials_through(tuple(nodes.tolist()), tuple(places.tolist()))


@cache
def _polynomials_through(nodes: tuple[float, ...], places: tuple[float, ...]) -> tuple[Array, Array]:
    # Kept, because every iteration asks for the same few places again.
    x, at = 2 * np.array(nodes) - 1, 2 * np.array(places) - 1
    coefficients = np.linalg.inv(legendre.legvander(x, len(nodes) - 1))
    values = np.asarray(legendre.legvander(at, len(nodes) - 1) @ coefficients)
    slopes = 2 * legendre.legval(at, legendre.legder(coefficients)).T
    return values, np.asarray(np.broadcast_to(slopes, values.shape))


@cache
def gauss(count: int) -> tuple[Array, Array]:
    """Gauss points and weights on 0 to 1.

    Parameters
    ----------
    count : int
        How many.

    Returns
    -------
    points, weights : array, shape (count,)
    """
    points, weights = legendre.leggauss(count)
    return (points + 1) / 2, weights / 2


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Line:
    """One support, divided into E elements; its nodes follow each other from root to tip.

    Attributes
    ----------
    segment : tuple of int
        Which straight piece each element belongs to.
    length : array, shape (B, E)
        Of each element [m].
    axes : array, shape (B, E, 3, 3)
        Rows are the local x, y, z before any load.
    strain_stiffness : array, shape (B, E, 6)
        EA, kGAy, kGAz, GJ, EIy, EIz.
    mass_per_length : array, shape (B, E)
        [kg/m].
    section_inertia : array, shape (B, E, 3)
        Mass moments per length about the local axes [kg m].
    pull : array, shape (B,)
        Tension before the weight comes on [N].
    natural : array, shape (B, E, p, 3), or None
        Twist and curvatures that need no moment under the whole load, at the Gauss points [1/m]; None for none.
    root_axes : array, shape (B, 3, r)
        Columns are the axes about which the root can turn.
    root_springs : array, shape (B, r)
        [N m/rad].
    joint : array, shape (B, 3) or None
        Stiffness between tip and prop [N m/rad]; None is rigid.
    arm : array, shape (B, 3)
        From the prop's centre of mass to the tip [m].
    first : int
        Its root in the list of all nodes.
    nodes : int
        How many it has.
    root_angles : slice
        Its root's angles in the list of all root angles.
    places : array of int
        Freedoms of its root, its inner nodes, the prop, and its joint, in this order.
    """

    segment: tuple[int, ...]
    length: Array
    axes: Array
    strain_stiffness: Array
    mass_per_length: Array
    section_inertia: Array
    pull: Array
    natural: Array | None
    root_axes: Array
    root_springs: Array
    joint: Array | None
    arm: Array
    first: int
    nodes: int
    root_angles: slice
    places: Index

    @property
    def span(self) -> slice:
        """Its nodes in the list of all nodes."""
        return slice(self.first, self.first + self.nodes)

    def elements(self, order: int) -> Index:
        """Nodes of each element, counted from the root, shape (E, order + 1)."""
        return np.arange(len(self.segment))[:, None] * order + np.arange(order + 1)

    def take(self, chosen: Index) -> Line:
        """The same line for some variants only."""
        parts: dict[str, Any] = {item.name: getattr(self, item.name) for item in fields(self)}
        for name, value in parts.items():
            if isinstance(value, np.ndarray) and name != "places":
                parts[name] = value[chosen]
        return Line(**parts)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LineEnergy:
    """Strain energy of one line and its derivatives by the displacements and spins of its nodes.

    Attributes
    ----------
    energy : array, shape (B,)
        [J].
    force, mixed_force : array, shape (B, nodes, 6)
        Gradient from the section forces of the state, and from those carried along.
    tangent : array, shape (B, E, 6 (p + 1), 6 (p + 1))
        For each element.
    stress, strain_map : array
        As in `rigcheck.mechanics.rods.Evaluation`.
    """

    energy: Array
    force: Array
    mixed_force: Array
    tangent: Array
    stress: Array
    strain_map: Array


def line_energy(
    line: Line, order: int, shift: Array, turn: Array, mixed: Array | None, share: Array | None = None
) -> LineEnergy:
    """Strain energy of one line with its gradient and tangent.

    Parameters
    ----------
    line : Line
        The support.
    order : int
        Of its elements.
    shift : array, shape (B, nodes, 3)
        Displacements of its nodes [m].
    turn : array, shape (B, nodes, 4)
        Their rotations, as quaternions.
    mixed : array, shape (B, E, p, 6), or None
        Section forces for the geometric part of the tangent; those of the state if None.
    share : array, shape (B,), optional
        Share of the line's natural curvature that is there; the whole of it if left out.

    Returns
    -------
    LineEnergy
    """
    batch, count = len(shift), len(line.segment)
    places, weights = gauss(order)
    values, slopes = lagrange_matrices(order, places)
    members = line.elements(order)
    slopes_of = slopes / line.length[..., None, None]  # (B, E, g, a)
    turn = turn[:, members]
    shift = shift[:, members]
    along = line.axes[:, :, 0]
    stretch = slopes_of @ shift
    x = stretch + along[:, :, None]
    q, rise = values @ turn, slopes_of @ turn
    n = np.sum(q * q, axis=-1)[..., None]
    less = turn_less_identity(q)
    back = np.swapaxes(less, -1, -2) + np.eye(3)
    # R^T x' - t, written so that small turns lose no digits.
    strain = np.einsum("...ji,...j->...i", less, x) + stretch
    lever = strain + along[:, :, None]
    spin = _spin_rows(q) * (2 / n[..., None])
    curve = np.einsum("...ij,...j->...i", spin, rise)
    by = np.zeros((*q.shape[:3], 6, 11))
    by[..., :3, :3] = back
    by[..., :3, 3:7] = cross_matrix(lever) @ spin
    by[..., 3:, 3:7] = -_spin_rows(rise) * (2 / n[..., None]) - (curve[..., None] * (2 * q / n)[..., None, :])
    by[..., 3:, 7:] = spin
    axes = line.axes[:, :, None]
    local = np.concatenate(
        [np.einsum("...ij,...j->...i", axes, strain), np.einsum("...ij,...j->...i", axes, curve)], axis=-1
    )
    if line.natural is not None:
        local[..., 3:] -= line.natural if share is None else share[:, None, None, None] * line.natural
    by_local = np.concatenate([axes @ by[..., :3, :], axes @ by[..., 3:, :]], axis=-2)
    stiffness = line.strain_stiffness[:, :, None]
    stress = stiffness * local
    stress[..., 0] += line.pull[:, None, None]
    used = stress if mixed is None else mixed
    weight = weights * line.length[..., None]  # (B, E, g)
    energy = np.einsum("beg,begi->b", weight, stiffness * local**2) / 2
    energy += np.einsum("beg,beg->b", weight, line.pull[:, None, None] * local[..., 0])

    hessian = np.swapaxes(by_local, -1, -2) @ (stiffness[..., None] * by_local)
    pull = np.einsum("...ji,...j->...i", axes, used[..., :3])
    moment = np.einsum("...ji,...j->...i", axes, used[..., 3:])
    _add_geometric(hessian, x=x, q=q, n=n, by=by, lever=lever, curve=curve, pull=pull, moment=moment)
    hessian *= weight[..., None, None]

    # Ways from the spins of the nodes to the quaternion at a Gauss point, and from there to the element's
    # freedoms.
    nodal = np.swapaxes(spin_map(turn), -3, -2).reshape(batch, count, 1, 4, order + 1, 3)
    way = np.zeros((batch, count, order, 11, order + 1, 6))
    for axis in range(3):
        way[..., axis, :, axis] = slopes_of
    way[..., 3:7, :, 3:] = values[:, None, :, None] * nodal
    way[..., 7:, :, 3:] = slopes_of[..., None, :, None] * nodal
    way = way.reshape(batch, count, order, 11, -1)
    block = way.reshape(batch, count, 11 * order, -1)
    tangent = np.swapaxes(block, -1, -2) @ (hessian @ way).reshape(block.shape)

    flux = weight[..., None] * np.einsum("...ij,...i->...j", by_local, stress)
    mixed_flux = weight[..., None] * np.einsum("...ij,...i->...j", by_local, used)
    node_force = np.einsum("...ij,...i->...j", block, flux.reshape(batch, count, -1))
    mixed_force = np.einsum("...ij,...i->...j", block, mixed_flux.reshape(batch, count, -1))
    # The second derivative of a quaternion by its spin is -q/4: the gradient along q enters the tangent.
    ambient = np.einsum("ga,begi->beai", values, mixed_flux[..., 3:7])
    ambient += np.einsum("bega,begi->beai", slopes_of, mixed_flux[..., 7:])
    radial = -np.einsum("beai,beai->bea", ambient, turn) / 4
    for axis in range(3):
        diagonal = np.arange(order + 1) * 6 + 3 + axis
        tangent[..., diagonal, diagonal] += radial

    total, total_mixed = np.zeros((batch, line.nodes, 6)), np.zeros((batch, line.nodes, 6))
    for index, nodes in enumerate(members):
        total[:, nodes] += node_force[:, index].reshape(batch, -1, 6)
        total_mixed[:, nodes] += mixed_force[:, index].reshape(batch, -1, 6)
    return LineEnergy(
        energy=energy, force=total, mixed_force=total_mixed, tangent=tangent, stress=stress,
        strain_map=by_local @ way,
    )  # fmt: skip


def _spin_rows(quaternion: Array) -> Array:
    """Rows E with ``E(q) r = vec(q* r)``, shape (..., 3, 4)."""
    scalar, part = quaternion[..., 0, None, None], quaternion[..., 1:]
    return np.concatenate([-part[..., :, None], scalar * np.eye(3) - cross_matrix(part)], axis=-1)


def _add_geometric(
    hessian: Array,
    *,
    x: Array,
    q: Array,
    n: Array,
    by: Array,
    lever: Array,
    curve: Array,
    pull: Array,
    moment: Array,
) -> None:
    """Add the second derivative of the strains by (x', q, q'), weighted with the section forces.

    Both strains are quotients f = a/n with n = |q|^2, so ``d2f = (d2a - df dn - dn df - f d2n) / n``; ``R^T
    x'`` has a quadratic in q, the curvature one bilinear in q, q'.
    """
    scalar, part = q[..., 0, None, None], q[..., 1:]
    size = n[..., None]
    dot = np.sum(x * pull, axis=-1)[..., None, None]
    turned = cross(pull, x)
    quadratic = np.zeros((*q.shape, 4))
    quadratic[..., 0, 0] = dot[..., 0, 0]
    quadratic[..., 0, 1:] = quadratic[..., 1:, 0] = turned
    outer = x[..., :, None] * pull[..., None, :]
    quadratic[..., 1:, 1:] = outer + np.swapaxes(outer, -1, -2) - dot * np.eye(3)
    mixed = np.empty((*q.shape, 3))
    mixed[..., 0, :] = q[..., :1] * pull + cross(part, pull)
    mixed[..., 1:, :] = (
        scalar * cross_matrix(pull)
        + np.sum(pull * part, axis=-1)[..., None, None] * np.eye(3)
        + pull[..., :, None] * part[..., None, :]
        - part[..., :, None] * pull[..., None, :]
    )
    bilinear = np.zeros((*q.shape, 4))
    bilinear[..., 0, 1:], bilinear[..., 1:, 0] = moment, -moment
    bilinear[..., 1:, 1:] = cross_matrix(moment)
    slope = np.einsum("...ij,...i->...j", by[..., :3, :], pull) + np.einsum(
        "...ij,...i->...j", by[..., 3:, :], moment
    )
    value = np.sum(pull * lever, axis=-1) + np.sum(moment * curve, axis=-1)
    added = np.zeros_like(hessian)
    added[..., 3:7, 3:7] = 2 * quadratic - 2 * value[..., None, None] * np.eye(4)
    added[..., 3:7, :3] = 2 * mixed
    added[..., :3, 3:7] = 2 * np.swapaxes(mixed, -1, -2)
    added[..., 3:7, 7:] = 2 * bilinear
    added[..., 7:, 3:7] = 2 * np.swapaxes(bilinear, -1, -2)
    quotient = 2 * q[..., :, None] * slope[..., None, :]
    added[..., 3:7, :] -= quotient
    added[..., :, 3:7] -= np.swapaxes(quotient, -1, -2)
    hessian += added / size
