"""Where rods go under their weight by linear theory, in closed form: the first guess of the search.

Between its ends an unloaded beam of Timoshenko's theory takes a cubic, and uniform weight adds a quartic, so the
elements of `rigcheck.mechanics.rods` are exact for it; nothing is integrated, and only the ends are solved for.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import solved
from rigcheck.mechanics.rod_elements import END_FREEDOMS, gauss, lagrange_matrices, lobatto, node_order
from rigcheck.mechanics.rods import PROP_FREEDOMS, Rods

__all__ = ["linear_step"]

Array = NDArray[np.float64]

# An element bends in two planes: displacement along y with rotation about z, and along z with minus that about y. For
# each: its freedoms among those of its ends (displacements of both, rotations of both), and their signs.
_PLANES = np.array([[1, 8, 4, 11], [2, 7, 5, 10]])
_SIGNS = np.array([[1.0, 1.0, 1.0, 1.0], [1.0, -1.0, 1.0, -1.0]])
# K (1 + f) L^3 / EI by (v1, L r1, v2, L r2) is the first plus f times the second, f = 12 EI / (kGA L^2).
_BENDING = np.array([[12.0, 6, -12, 6], [6, 4, -6, 2], [-12, -6, 12, -6], [6, 2, -6, 4]])
_SHEARING = np.array([[0.0, 0, 0, 0], [0, 1, 0, -1], [0, 0, 0, 0], [0, -1, 0, 1]])
_WEIGHT = np.array([1 / 2, 1 / 12, 1 / 2, -1 / 12])
"""What uniform weight per length does to (v1, L r1, v2, L r2), over w L."""


def linear_step(rods: Rods, gravity: Array) -> tuple[Array, Array]:
    """Step of all freedoms from the given shape to that under the whole load, to first order.

    Parameters
    ----------
    rods : Rods
        Without pretension and without natural curvature.
    gravity : array, shape (B, 3)
        [m/s2].

    Returns
    -------
    step : array, shape (B, n)
        As from a step of Newton's method there, but what the load adds to the stiffness of turning is left out. NaN
        where nothing holds the rods.
    stress : array, shape (B, E, p, 6)
        Section forces that come with it.

    Notes
    -----
    Stiffness and shapes of S. P. Timoshenko's beam as in J. S. Przemieniecki, Theory of Matrix Structural Analysis,
    1968 (from memory).
    """
    length, stiffness = rods.length[..., None], rods.strain_stiffness
    bending = stiffness[..., [5, 4]]
    shear = 12 * bending / (stiffness[..., 1:3] * length**2)
    weight = rods.mass_per_length[..., None] * (rods.axes @ gravity[:, None, :, None])[..., 0]
    # (v1, L r1, v2, L r2) from the freedoms of the ends.
    scale = _SIGNS * np.stack([np.ones_like(length), length] * 2, axis=-1)

    block = (bending / length**3 / (1 + shear))[..., None, None] * (
        _BENDING + shear[..., None, None] * _SHEARING
    )
    block *= scale[..., :, None] * scale[..., None, :]
    ends = np.zeros((*rods.length.shape, END_FREEDOMS, END_FREEDOMS))
    for plane, own in enumerate(_PLANES):
        ends[..., own[:, None], own] = block[..., plane, :, :]
    for own, along in (([0, 3], stiffness[..., 0]), ([6, 9], stiffness[..., 3])):
        ends[..., np.array(own)[:, None], own] = (along / rods.length)[..., None, None] * np.array(
            [[1, -1], [-1, 1]]
        )
    pushed = np.zeros((*rods.length.shape, END_FREEDOMS))
    pushed[..., _PLANES] = (weight[..., 1:] * length)[..., None] * _WEIGHT * scale
    pushed[..., [0, 3]] = weight[..., :1] * length / 2

    maps = rods.ends(rods.rest()).maps
    outer = _outer(rods, gravity, maps, ends, pushed)
    at_ends = (maps @ rods.at_ends(outer))[..., 0]

    # Displacement along y and z, and L times the rotation that goes with it, at the nodes between.
    (drawn, sheared), (own, own_sheared) = _shapes(rods.order)
    factor, bent = shear[..., None], at_ends[..., _PLANES] * scale
    sagged = weight[..., 1:, None] * length[..., None] ** 4 / (24 * bending[..., None])

    def between(field: int) -> Array:
        found = (bent @ drawn[field] + factor * (bent @ sheared[field])) / (1 + factor)
        return np.swapaxes(found + sagged * (own[field] + factor * own_sheared[field]), -1, -2)

    x = lobatto(rods.order)[1:-1]
    straight = np.stack([1 - x, x])
    stretch = weight[..., :1] * length**2 / (2 * stiffness[..., :1]) * (x - x**2)
    shift, turn = (np.empty((*rods.length.shape, len(x), 3)) for _ in range(2))
    shift[..., 0], turn[..., 0] = at_ends[..., [0, 3]] @ straight + stretch, at_ends[..., [6, 9]] @ straight
    shift[..., 1:], turn[..., [2, 1]] = between(0), between(1) * _SIGNS[:, 1] / length[..., None]

    step = np.empty((rods.batch, rods.size))
    step[:, rods.outer_freedoms] = outer[..., 0]
    both = np.concatenate([turn, shift], axis=2) @ rods.axes
    step[:, rods.inner_freedoms] = both.reshape(*rods.length.shape, -1)

    corners = at_ends.reshape(*rods.length.shape, 2, 2, 3)
    values, slopes = lagrange_matrices(rods.order, gauss(rods.order)[0])
    values, slopes = (part[:, node_order(rods.order)] for part in (values, slopes))
    shift = np.concatenate([corners[..., 0, :, :], shift], axis=2)
    turn = np.concatenate([corners[..., 1, :, :], turn], axis=2)
    strain = np.concatenate([slopes @ shift, slopes @ turn], axis=-1) / length[..., None]
    middle = values @ turn
    strain[..., 1] -= middle[..., 2]
    strain[..., 2] += middle[..., 1]
    return step, strain * stiffness[:, :, None]


def _outer(rods: Rods, gravity: Array, maps: Array, ends: Array, pushed: Array) -> Array:
    """The outer freedoms under the whole load, (B, m, 1)."""
    back = np.swapaxes(maps, -1, -2)
    count = len(rods.outer_freedoms)
    stiffness, load = np.zeros((rods.batch, count, count)), np.zeros((rods.batch, count))
    rods.add_outer(stiffness, back @ ends @ maps)
    rods.add_outer_rows(load, (back @ pushed[..., None])[..., 0])
    load[:, :3] += rods.prop.mass[:, None] * gravity
    load[:, :PROP_FREEDOMS] += rods.push
    rods.add_springs(stiffness)
    return solved(stiffness, load[..., None])


@cache
def _shapes(order: int) -> tuple[Array, Array]:
    """Displacement and L times the rotation at the inner nodes, each times 1 and times f.

    For the ends' (v1, L r1, v2, L r2), over 1 + f, shape (2, 2, 4, p - 1); and under the weight, over w L^4 / (24
    EI), shape (2, 2, p - 1).
    """
    x = lobatto(order)[1:-1]
    none = np.zeros_like(x)
    shift = [1 - 3 * x**2 + 2 * x**3, x - 2 * x**2 + x**3, 3 * x**2 - 2 * x**3, x**3 - x**2]
    sheared = [1 - x, (x - x**2) / 2, x, (x**2 - x) / 2]
    turn = [6 * (x**2 - x), 1 - 4 * x + 3 * x**2, 6 * (x - x**2), 3 * x**2 - 2 * x]
    turned = [none, 1 - x, none, x]
    own = [[x**2 * (1 - x) ** 2, 2 * x * (1 - x) * (1 - 2 * x)], [x * (1 - x), none]]
    return np.array([[shift, turn], [sheared, turned]]), np.array(own)
