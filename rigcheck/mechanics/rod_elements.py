"""The elements of rods: shapes, strains, and the gradient and tangent of the strain energy of many at once.

See `rigcheck.mechanics.rods` for the theory. All elements of all variants go together, whichever support they are of,
and each in its own axes. They stand last in most arrays, so that sums run along them; a product with a fixed small
matrix is then one product for all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from rigcheck.mechanics.turns import CROSS, SQUARES

__all__ = [
    "END_FREEDOMS",
    "ElementEnergy",
    "Elements",
    "element_energy",
    "gauss",
    "lagrange_matrices",
    "lobatto",
    "node_order",
    "polynomials_through",
    "section_spins",
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


END_FREEDOMS = 12
"""Of an element's two end nodes."""


@cache
def node_order(order: int) -> Index:
    """Nodes of an element, counted from its start, in the order in which it holds them: its ends, then the others.

    Its freedoms are the displacements of its ends, the spins of its ends, the spins of the others, and the
    displacements of the others: so those of its ends come first, and all spins lie together.

    Parameters
    ----------
    order : int
        p.

    Returns
    -------
    int array, shape (p + 1,)
    """
    return np.array([0, order, *range(1, order)])


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Elements:
    """M elements of one order, which stand last in the arrays.

    Attributes
    ----------
    order : int
        p, of the Lagrange polynomials.
    length : array, shape (M,)
        [m].
    axes : array, shape (3, 3, M)
        Rows are the local x, y, z before any load.
    stiffness : array, shape (6, M)
        EA, kGAy, kGAz, GJ, EIy, EIz.
    pull : array, shape (M,)
        Tension before the weight comes on [N].
    natural : array, shape (3, p, M), or None
        Twist and curvatures that need no moment under the whole load, at the Gauss points [1/m]; None for none.
    """

    order: int
    length: Array
    axes: Array
    stiffness: Array
    pull: Array
    natural: Array | None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ElementEnergy:
    """Derivatives of the strain energy of M elements; nodes and freedoms in the order of `node_order`.

    Attributes
    ----------
    force, carried_force : array, shape (6, p + 1, M)
        By the displacements and spins of the nodes about the fixed axes: from the section forces of the state, and
        from those carried along.
    tangent : array, shape (M, 6 (p + 1), 6 (p + 1))
        Second derivative, by displacements and spins about the axes of each element.
    stress : array, shape (M, p, 6)
        Section forces of the state at the Gauss points in local axes: N, Vy, Vz, T, My, Mz.
    strain_map : array, shape (M, 6, p, 6 (p + 1))
        Change of the strains with the same freedoms as those of `tangent`.
    """

    force: Array
    carried_force: Array
    tangent: Array
    stress: Array
    strain_map: Array


def element_energy(
    elements: Elements, shift: Array, turn: Array, carried: Array | None, share: Array | None = None
) -> ElementEnergy:
    """Gradient and tangent of the strain energy of many elements.

    Parameters
    ----------
    elements : Elements
        What they are.
    shift : array, shape (3, p + 1, M)
        Displacements of their nodes about the fixed axes [m].
    turn : array, shape (4, p + 1, M)
        Rotations of their nodes, as quaternions about the fixed axes.
    carried : array, shape (M, p, 6), or None
        Section forces for the geometric part of the tangent; those of the state if None.
    share : array, shape (M,), optional
        Share of the natural curvature that is there; the whole of it if left out.

    Returns
    -------
    ElementEnergy

    Notes
    -----
    With x the slope of the centre line, q the quaternion and r its slope, n = |q|^2, and E(q) the rows with ``E(q) r
    = vec(q* r)``, the strains are ``R(q)^T x - t`` and ``2 E(q) r / n``. Both are quotients ``f = a / n``, so ``d2f =
    (d2a - df dn - dn df - f d2n) / n``. Weighted with the section forces it couples only q with x, q and r: with its
    rows of q, that among q halved, as Y and the ways W from the freedoms to (x, q, r), it is ``W_q^T Y W`` and the
    same transposed. The second derivative of a node's quaternion by its spin is -q / 4.
    """
    order, count = elements.order, len(elements.length)
    shapes, weights = _shapes(order)
    axes, per_length = elements.axes, 1 / elements.length
    weight = weights[:, None] * elements.length
    nodes = np.empty((7, order + 1, count))
    np.sum(axes[:, :, None] * shift, axis=1, out=nodes[:3])
    nodes[3] = turn[0]
    np.sum(axes[:, :, None] * turn[1:], axis=1, out=nodes[4:])

    # Strains (6) and their slopes by x (3), and by q and r (8). All arrays end in (Gauss points, elements).
    at = shapes[:, None] @ nodes
    at[1] *= per_length
    stretch, q, r = at[1, :3], at[0, 3:], at[1, 3:]
    x = stretch.copy()
    x[0] += 1.0
    squares = (_SQUARES @ (q[:, None] * q).reshape(16, -1)).reshape(10, order, count)
    twice = 2 / squares[9]
    by_x, by = np.zeros((10, 3, order, count)), np.zeros((10, 8, order, count))
    less = np.multiply(squares[:9].reshape(3, 3, order, count), twice, out=by_x[:3])
    strain = np.empty((6, order, count))
    # R^T x - t, written so that small turns lose no digits.
    np.sum(less * x, axis=1, out=strain[:3])
    strain[:3] += stretch
    for axis in range(3):
        by_x[axis, axis] += 1.0
    spin = np.take(at[:, 3:], _SPIN_PARTS, axis=1)
    spin *= _SPIN_SIGNS[..., None, None] * twice
    along, rising = spin
    np.sum(along[:3] * r, axis=1, out=strain[3:])
    lever = strain[_WRAPPED]
    lever[::3] += 1.0
    np.multiply(lever[1:4, None], along[2:], out=by[:3, :4])
    by[:3, :4] -= lever[2:, None] * along[1:4]
    np.multiply(strain[3:, None], -twice * q, out=by[3:6, :4])
    by[3:6, :4] -= rising[:3]
    by[3:6, 4:] = along[:3]

    elastic = strain
    if elements.natural is not None:
        elastic = strain.copy()
        elastic[3:] -= elements.natural if share is None else share * elements.natural
    stress = elements.stiffness[:, None] * elastic
    stress[0] += elements.pull
    # Those carried along first.
    both = np.stack([stress if carried is None else carried.transpose(2, 1, 0), stress])
    used = both[0]

    # Four more rows: those of q in the second derivative.
    flux = np.concatenate(
        [np.sum(by_x[:3] * both[:, :3, None], axis=1), np.sum(by[:6] * both[:, :, None], axis=1)], axis=1
    )
    source = np.empty((25, order, count))
    np.multiply(q[:, None], used[:3], out=source[:12].reshape(4, 3, order, count))
    np.multiply(x[:, None], used[:3], out=source[12:21].reshape(3, 3, order, count))
    source[21:24] = used[3:]
    np.sum(used[:3] * lever[:3], axis=0, out=source[24])
    source[24] += np.sum(used[3:] * strain[3:], axis=0)
    bend = (_BEND @ source.reshape(25, -1)).reshape(4, 11, order, count)
    bend -= q[:, None] * flux[0]
    bend *= twice * weight
    by_x[6:], by[6:] = bend[:, :3], bend[:, 3:]
    by_x *= per_length
    by[:, 4:] *= per_length
    flux *= weight
    flux[:, :3] *= per_length
    flux[:, 7:] *= per_length

    # From x, q and r to the freedoms, and from there to the tangent; elements now stand first.
    local = np.take(nodes[3:], _WAY_PARTS, axis=0)
    local *= _WAY_SIGNS[..., None, None]
    ways = shapes.transpose(0, 2, 1)[:, None, :, None, :, None] * local.transpose(0, 2, 1, 3)[:, :, :, None]
    way = _elements_first(ways.reshape(2, 4, 3 * (order + 1), order, count), (0, 1, 3, 2))
    rows = np.empty((count, 10, order, 6 * (order + 1)))
    spins = slice(6, 9 + 3 * order)
    np.matmul(
        _elements_first(by, (0, 2, 1)).transpose(0, 2, 1, 3),
        way.reshape(count, 8, order, -1).transpose(0, 2, 1, 3),
        out=rows[..., spins].transpose(0, 2, 1, 3),
    )
    shifted = by_x[:, None] * shapes[1].T[:, None, :, None]
    shifted = shifted.reshape(10, 3 * (order + 1), order, count).transpose(3, 0, 2, 1)
    rows[..., :6], rows[..., spins.stop :] = shifted[..., :6], shifted[..., 6:]
    strain_map = rows[:, :6]
    flat = strain_map.reshape(count, 6 * order, -1)
    stiff = _elements_first(elements.stiffness[:, None] * weight, (0, 1)).reshape(count, 6 * order, 1)
    tangent = np.swapaxes(flat, 1, 2) @ (stiff * flat)
    turned = np.swapaxes(rows[:, 6:].reshape(count, 4 * order, -1), 1, 2) @ way[:, 0].reshape(
        count, 4 * order, -1
    )
    tangent[:, :, spins] += turned
    tangent[:, spins] += np.swapaxes(turned, 1, 2)

    to_nodes = np.swapaxes(shapes, 1, 2)
    ambient = to_nodes[0] @ flux[:, 3:7] + to_nodes[1] @ flux[:, 7:]
    diagonal = tangent.reshape(count, -1)[:, :: 6 * order + 7][:, spins]
    diagonal -= np.repeat(np.sum(ambient[0] * nodes[3:], axis=0).T / 4, 3, axis=1)
    force = np.stack([to_nodes[1] @ flux[:, :3], np.sum(local * ambient[:, :, None], axis=1)], axis=1)
    # About the fixed axes.
    force = np.sum(axes[:, :, None] * force[:, :, :, None], axis=2).reshape(2, 6, order + 1, count)
    return ElementEnergy(
        force=force[1],
        carried_force=force[0],
        tangent=tangent,
        stress=_elements_first(stress, (1, 0)),
        strain_map=strain_map,
    )


def section_spins(elements: Elements, turn: Array) -> tuple[Array, Array]:
    """How the sections turn with the nodes, at one Gauss point more than the order.

    Parameters
    ----------
    elements : Elements
        What they are.
    turn : array, shape (4, p + 1, M)
        As in `element_energy`.

    Returns
    -------
    spins : array, shape (M, p + 1, 3, 3 (p + 1))
        Spin of a section in its own turned axes for spins of the nodes in the axes of the element.
    axes : array, shape (M, p + 1, 3, 3)
        Rows are the turned axes of the section.
    """
    order, count = elements.order, len(elements.length)
    places, _ = gauss(order + 1)
    values = lagrange_matrices(order, places)[0][:, node_order(order)]
    nodes = np.concatenate([turn[:1], np.sum(elements.axes[:, :, None] * turn[1:], axis=1)])
    q = values @ nodes
    squares = (_SQUARES @ (q[:, None] * q).reshape(16, -1)).reshape(10, order + 1, count)
    twice = 2 / squares[9]
    spin = q[_SPIN_PARTS[:3]] * _SPIN_SIGNS[:3, ..., None, None] * twice
    local = nodes[_WAY_PARTS] * _WAY_SIGNS[..., None, None]
    # Rows of the section, columns of the quaternion; rows of the quaternion, columns of the nodes' spins.
    way = values.T[:, None, :, None] * local.transpose(0, 2, 1, 3)[:, :, :, None]
    way = _elements_first(way.reshape(4, 3 * (order + 1), order + 1, count), (2, 0, 1))
    back = (squares[:9] * twice).reshape(3, 3, order + 1, count)
    turned = np.sum(back[:, :, None] * elements.axes[:, :, None], axis=1) + elements.axes[:, :, None]
    return _elements_first(spin, (2, 0, 1)) @ way, _elements_first(turned, (2, 0, 1))


def _elements_first(values: Array, order: tuple[int, ...]) -> Array:
    """A copy with the last axis first and the others in the order given."""
    return np.ascontiguousarray(values.transpose(values.ndim - 1, *order))


@cache
def _shapes(order: int) -> tuple[Array, Array]:
    """Values and slopes of the nodes' shapes at the Gauss points, (2, p, p + 1), and the weights of these."""
    places, weights = gauss(order)
    return np.stack(lagrange_matrices(order, places))[:, :, node_order(order)], weights


_EYE = np.eye(3)
_WRAPPED = np.array([0, 1, 2, 0, 1])
"""Axes, so that a cross product is a difference of two products of slices."""


def _spin_terms() -> Array:
    """E from the parts of q, (3, 4, 4)."""
    result = np.zeros((3, 4, 4))
    result[:, 0, 1:] = -_EYE
    result[:, 1:, 0] = _EYE
    result[:, 1:, 1:] = CROSS
    return result


def _way_terms() -> Array:
    """Change of q with a spin about the fixed axes, from the parts of q, (4, 3, 4)."""
    result = np.zeros((4, 3, 4))
    result[0, :, 1:] = -_EYE / 2
    result[1:] = _spin_terms()[:, 1:] / 2
    return result


def _bend_terms() -> Array:
    """Rows of q by x, q and r, times n / 2, from ``q_i p_j``, ``x_i p_j``, m and ``f . (p, m)``, (44, 25).

    Section forces p, moments m, strains f with the direction of the rod; without what comes from dn.
    """
    with_q, with_x = np.zeros((4, 11, 4, 3)), np.zeros((4, 11, 3, 3))
    with_m, with_f = np.zeros((4, 11, 3)), np.zeros((4, 11))
    # By x: the derivative of R p n / 2, h = q0 p + v x p first, and [h]x + (p . v) 1.
    head = np.zeros((3, 4, 3))
    head[:, 0] = _EYE
    head[:, 1:] = CROSS
    with_q[0, :3] = head
    with_q[1:, :3] = -np.einsum("kcm,mab->kcab", CROSS, head)
    for axis in range(3):
        with_q[1 + axis, axis, 1:] += _EYE
    # By q: half of the quadratic form of p . R^T x n.
    with_x[0, 3] = _EYE / 2
    with_x[0, 4:7] = with_x[1:, 3] = -CROSS / 2
    for i in range(3):
        for j in range(3):
            with_x[1 + i, 4 + j, i, j] += 0.5
            with_x[1 + i, 4 + j, j, i] += 0.5
        with_x[1 + i, 4 + i] -= _EYE / 2
    with_f[:, 3:7] = -np.eye(4) / 2
    # By r: m . E(q) r.
    with_m[0, 8:] = _EYE
    with_m[1:, 7] = -_EYE
    with_m[1:, 8:] = -CROSS
    return np.concatenate(
        [
            with_q.reshape(44, 12),
            with_x.reshape(44, 9),
            with_m.reshape(44, 3),
            with_f.reshape(44, 1),
        ],
        axis=1,
    )


def _parts_and_signs(terms: Array) -> tuple[Index, Array]:
    """For terms that have one part each: which, and its factor."""
    parts = np.argmax(np.abs(terms), axis=-1)
    return parts, np.take_along_axis(terms, parts[..., None], axis=-1)[..., 0]


_SQUARES = SQUARES[[*range(0, 9, 3), *range(1, 9, 3), *range(2, 9, 3), 9]]
"""The same of R transposed."""
_BEND = _bend_terms()
_SPIN_PARTS, _SPIN_SIGNS = _parts_and_signs(_spin_terms()[_WRAPPED])
_WAY_PARTS, _WAY_SIGNS = _parts_and_signs(_way_terms())
