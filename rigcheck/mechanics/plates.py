"""Droop of a soft prop over its insert, of both over the support, and what the joint between them gives.

A prop lies level. The support enters at x = 0 and runs along the middle line y = 0 to its tip at the embedded
length. Along means x, across means y. Weights are per area [N/m^2], flexural rigidities per width [N m]: for
a solid sheet E t^3 / 12, as the sheet data give them.

Small-deflection plate theory except where a function says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigcheck.errors import ArgumentError, NotConvergedError, ValidityError
from rigcheck.mechanics._checks import positive
from rigcheck.mechanics.clamps import bed_root

__all__ = [
    "SMALL_DROOP_RATIO",
    "InsertDroop",
    "InsertJoint",
    "SheetChoice",
    "choose_sheets",
    "disc_droop",
    "droop_over_insert",
    "insert_moments",
    "joint_stiffness",
    "rigidity_from_droop_test",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SMALL_DROOP_RATIO = 0.1
"""Droop over overhang up to which the linear droop of a strip is right to 1 %."""

SERIES_LOAD_RATIO = 0.05
FEW_STRIPS = 6
"""Up to so many strips are solved as they are; for more the table pays."""
GENTLE_LOAD_RATIO = 20.0
"""Up to this load ratio Newton's method takes the whole load at once; by trial it does up to 100."""
LARGEST_LOAD_RATIO = 1000.0
"""Weight w L^3 / D of the limpest strip solved; it hangs 98 % of its length down."""

LARGEST_DROOP_RATIO = 0.97
"""Droop over overhang past which a droop test tells little of the stiffness."""

STRIP_NODES = 48
"""Chebyshev nodes along the strip; converged to 1e-11 up to `LARGEST_LOAD_RATIO`."""

TABLE_NODES = 40
"""Chebyshev nodes of the stored droop curve; holds it to 1e-11."""

PEAK_MOMENT_FACTOR = 2.0
"""Peak over mean moment in a sheet at the end of the wire; common practice, no source."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class InsertDroop:
    """Droop of a level prop over its insert, below the embedded support, shape (...).

    Negative where weight past the support's tip levers a place up.

    Attributes
    ----------
    along : ndarray
        At the far edge on the middle line, past the tip of the support [m].
    across : ndarray
        Largest along the side edge from the root to the support's tip [m].
    corner : ndarray
        At the far corners [m].
    linear_along, linear_across, linear_corner : ndarray
        The same by small-deflection plate theory [m].
    is_large : ndarray of bool
        True where any linear droop passes `SMALL_DROOP_RATIO` of its overhang: figures are estimates there.
    """

    along: Array
    across: Array
    corner: Array
    linear_along: Array
    linear_across: Array
    linear_corner: Array
    is_large: Flags

    @property
    def largest(self) -> Array:
        """Largest of the three [m]."""
        return np.maximum(np.maximum(self.along, self.across), self.corner)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class InsertJoint:
    """Spring between a wire and the sheet it is glued in, at the sheet's edge, shape (...).

    Attributes
    ----------
    pitch : ndarray
        About the axis across the wire in the plane of the sheet [N m/rad].
    roll : ndarray
        About the wire [N m/rad].
    """

    pitch: Array
    roll: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class SheetChoice:
    """Droop and mass with each of several sheets.

    Attributes
    ----------
    droop : ndarray, shape (n,)
        Largest droop of the prop [m].
    insert_mass : ndarray, shape (n,)
        [kg].
    cures : ndarray of bool, shape (n,)
        True where the droop is within the limit.
    order : ndarray of int, shape (n,)
        Sheets that cure first, lightest first; then the others, least droop first.
    """

    droop: Array
    insert_mass: Array
    cures: Flags
    order: NDArray[np.intp]


# ---------------------------------------------------------------------------------------- large droop


def _chebyshev(count: int) -> tuple[Array, Array]:
    """Chebyshev points on [0, 1], rising, and the differentiation matrix on them."""
    k = np.arange(count)
    x = -np.cos(np.pi * k / (count - 1))
    c = np.where((k == 0) | (k == count - 1), 2.0, 1.0) * (-1.0) ** k
    gap = x[:, None] - x[None, :] + np.eye(count)
    matrix = np.outer(c, 1 / c) / gap
    matrix -= np.diag(matrix.sum(axis=1))
    return 0.5 * (x + 1), 2 * matrix


def _map_load(load_ratio: Array) -> Array:
    """Variable in which droop over length is smooth from a board (1) to a rope (0)."""
    return 1 / np.sqrt(1 + load_ratio / 8)


@cache
def _strip_table() -> tuple[Array, Array]:
    """Strips at Chebyshev places of the mapped load: places, and droop over length there."""
    lowest = float(_map_load(np.asarray(LARGEST_LOAD_RATIO)))
    unit, _ = _chebyshev(TABLE_NODES)
    places = lowest + (1 - lowest) * unit
    return places, _solve_strips(8 * (1 / places**2 - 1))


def _solve_strips(loads: Array) -> Array:
    """Droop over length of strips at loads of shape (n,): (n,).

    D theta'' = -w (L - s) cos(theta), theta(0) = 0, theta'(L) = 0, by collocation and Newton's method for all
    loads at once; from the straight strip, a heavy load raised step by step.
    """
    s, derivative = _chebyshev(STRIP_NODES)
    second = derivative @ derivative
    theta = np.zeros((len(loads), STRIP_NODES))
    for part in (1.0,) if loads.max() <= GENTLE_LOAD_RATIO else np.linspace(0.1, 1.0, 10) ** 3:
        load = part * loads[:, None] * (1 - s)
        for _ in range(40):
            wrong = theta @ second.T + load * np.cos(theta)
            slope = second - (load * np.sin(theta))[:, :, None] * np.eye(STRIP_NODES)
            wrong[:, 0], wrong[:, -1] = theta[:, 0], theta @ derivative[-1]
            slope[:, 0], slope[:, -1] = np.eye(STRIP_NODES)[0], derivative[-1]
            change = np.linalg.solve(slope, wrong[..., None])[..., 0]
            # Long steps may jump to a coiled solution, which the equation also has.
            change *= np.minimum(1.0, 0.3 / np.maximum(np.max(np.abs(change), axis=1, keepdims=True), 0.3))
            theta -= change
            if np.max(np.abs(change)) < 1e-11:
                break
        else:
            raise NotConvergedError(
                f"strip under its own weight did not settle; last change {np.max(np.abs(change)):.2g} rad."
            )
    points, weights = np.polynomial.legendre.leggauss(STRIP_NODES)
    inside = _interpolate(s, theta, 0.5 * (points + 1))
    return np.asarray(np.sin(inside) @ weights / 2)


@lru_cache(maxsize=32)
def _kept_strips(loads: bytes) -> Array:
    """The same of the bytes of the loads, kept: a change to the support is proven with the same strips."""
    found = _solve_strips(np.frombuffer(loads))
    found.flags.writeable = False
    return found


def _interpolate(nodes: Array, values: Array, at: Array) -> Array:
    """Barycentric interpolation on Chebyshev points; values (..., n), at (m,) gives (..., m)."""
    count = nodes.size
    weight = (-1.0) ** np.arange(count)
    weight[[0, -1]] *= 0.5
    gap = at[:, None] - nodes
    exact = gap == 0.0
    ratio = weight / np.where(exact, 1.0, gap)
    # A place that is a node takes that node's value.
    on_node = exact.any(axis=1)
    ratio[on_node] = exact[on_node]
    ratio /= ratio.sum(axis=1, keepdims=True)
    return values @ ratio.T


def _strip_series(load_ratio: Array) -> Array:
    """The same for small loads, by series: theta = r theta_1 + r^3 theta_3 with t = 1 - s measured from the end.

    theta_1 = (1 - t^3) / 6 and theta_3'' = t theta_1^2 / 2 give theta_3 = (t^3/6 - t^6/15 + t^9/72 - 41/360) / 72;
    the droop is the integral of theta - theta^3/6. Derived here; the next terms are below 1e-9 of the length up to
    `SERIES_LOAD_RATIO`.
    """
    third = (1 / 24 - 1 / 105 + 1 / 720 - 41 / 360) / 72 - (1 - 3 / 4 + 3 / 7 - 1 / 10) / (6 * 216)
    return np.asarray(load_ratio / 8 + third * load_ratio**3)


def _strip_droop(load_ratio: Array) -> Array:
    """Large droop over length of a level strip that hangs over an edge, at load ratios w L^3 / D of any shape.

    The elastica D theta'' = -w (L - s) cos(theta), solved by collocation. Where the ratio is small the droop is
    w L^4 / (8 D); at 0.8 that is 0.8 % too much. Right to 1e-9 of the length. Inextensible, linear bending: cloth and
    paper with a hysteresis droop more on the way back than on the way out.
    """
    if np.all(load_ratio <= SERIES_LOAD_RATIO):
        return _strip_series(load_ratio)
    if load_ratio.size <= FEW_STRIPS:
        return _kept_strips(load_ratio.tobytes()).reshape(load_ratio.shape)
    places, values = _strip_table()
    return _interpolate(places, values, _map_load(load_ratio).ravel()).reshape(load_ratio.shape)


def rigidity_from_droop_test(*, weight_per_area: ArrayLike, overhang: ArrayLike, droop: ArrayLike) -> Array:
    """Flexural rigidity of a sheet from how far it droops over the edge of a table.

    Parameters
    ----------
    weight_per_area : array_like, shape (...)
        [N/m^2], positive.
    overhang : array_like, shape (...)
        Length past the edge, measured along the sheet [m], positive.
    droop : array_like, shape (...)
        Height of the free end below the table top [m], above 0.0001 and up to 0.97 of the overhang.

    Returns
    -------
    ndarray, shape (...)
        D per width [N m].

    Raises
    ------
    ValidityError
        If the droop is too small or too large a share of the overhang to tell anything.

    Notes
    -----
    Inverts the droop of a strip under its own weight, the elastica D theta'' = -w (L - s) cos(theta). The
    principle of the cantilever test of ASTM D1388, with any droop in place of its fixed angle. A sheet's own
    curl enters: turn it over and take the mean of both sides.
    """
    w = positive("weight_per_area", weight_per_area)
    L = positive("overhang", overhang)
    ratio = np.asarray(positive("droop", droop) / L)
    top = LARGEST_DROOP_RATIO
    if np.any(ratio > top) or np.any(ratio < 1e-4):
        raise ValidityError(
            f"droop is {droop!r} m on overhang {overhang!r} m: it must be between 0.0001 and {top:g} of it. "
            "Use a shorter overhang for a limp sheet, a longer one for a stiff one."
        )
    w, L, ratio = np.broadcast_arrays(w, L, ratio)
    # Bisection on the mapped load: droop falls steadily as it rises from rope to board.
    low = np.full(ratio.shape, float(_map_load(np.asarray(LARGEST_LOAD_RATIO))))
    high = np.ones(ratio.shape)
    for _ in range(50):
        middle = 0.5 * (low + high)
        limp = _strip_droop(8 * (1 / middle**2 - 1)) > ratio
        low = np.where(limp, middle, low)
        high = np.where(limp, high, middle)
    load = 8 * (1 - high) * (1 + high) / high**2
    return np.asarray(w * L**3 / load)


# ---------------------------------------------------------------------------------------- disc


def disc_droop(
    *,
    weight_per_area: ArrayLike,
    outer_radius: ArrayLike,
    hub_radius: ArrayLike,
    flexural_rigidity: ArrayLike,
    poissons_ratio: ArrayLike = 0.3,
) -> Array:
    """Droop of the rim of a level disc held by a rigid hub at its middle, under its own weight.

    Parameters
    ----------
    weight_per_area : array_like, shape (...)
        q [N/m^2], 0 or more.
    outer_radius : array_like, shape (...)
        a [m], positive.
    hub_radius : array_like, shape (...)
        b, clamped inside [m], 0 or more and below the outer radius; 0 is a point clamp.
    flexural_rigidity : array_like, shape (...)
        D [N m], positive. For an orthotropic sheet take the lower one, which errs on the safe side.
    poissons_ratio : array_like, shape (...)
        0 to 0.5.

    Returns
    -------
    ndarray, shape (...)
        [m], small deflections.

    Notes
    -----
    Derived here. With rho = r / a and the plate equation integrated from the free rim, where shear is zero::

        w' = q a^3 / (2 D) (rho^3 / 8 - rho ln(rho) / 2 + rho / 4) + k1 rho + k2 / rho

    k1 and k2 from w' = 0 at the hub and w'' + nu w' / r = 0 at the rim; the rim's droop is the integral of w'
    from hub to rim.

    References
    ----------
    S. Timoshenko and S. Woinowsky-Krieger, *Theory of Plates and Shells*, circular plates with a hole (from
    memory).
    """
    q = positive("weight_per_area", weight_per_area, zero=True)
    a = positive("outer_radius", outer_radius)
    b = positive("hub_radius", hub_radius, zero=True)
    D = positive("flexural_rigidity", flexural_rigidity)
    nu = positive("poissons_ratio", poissons_ratio, zero=True)
    if np.any(b >= a):
        raise ArgumentError(
            f"hub_radius is {hub_radius!r} with outer_radius {outer_radius!r}: it must be the smaller one."
        )
    if np.any(nu > 0.5):
        raise ArgumentError(f"poissons_ratio is {poissons_ratio!r}: every value must lie from 0 to 0.5.")
    h = np.asarray(b / a)
    log = np.log(np.where(h > 0.0, h, 1.0))
    # In units of q a^3 / (2 D), slope f(rho) + k1 rho + k2 / rho.
    at_hub = h**3 / 8 - h * log / 2 + h / 4
    # Rim: f'(1) + nu f(1) = 3/8 - 1/2 + 1/4 + nu 3/8.
    at_rim = 1 / 8 + 3 * nu / 8
    # k1 (1 + nu) - k2 (1 - nu) = -at_rim and k1 h + k2 / h = -at_hub.
    determinant = (1 + nu) + (1 - nu) * h**2
    k1 = -(at_rim + (1 - nu) * h * at_hub) / determinant
    k2 = h * (h * at_rim - (1 + nu) * at_hub) / determinant
    integral = (
        (1 - h**4) / 32
        - (-(1 - h**2) / 4 - h**2 * log / 2) / 2
        + (1 - h**2) / 8
        + k1 * (1 - h**2) / 2
        - k2 * log
    )
    return np.asarray(q * a**4 / (2 * D) * integral)


# ---------------------------------------------------------------------------------------- prop over insert

LINES_BEFORE_TIP = (0.3, 0.65, 0.88, 0.97)
"""Grid lines from the root to the tip of the support, as shares; crowded where the curvature peaks."""

LINES_PAST_TIP = (0.02, 0.08, 0.25, 0.55)
"""Grid lines from the tip of the support to the far edge, as shares."""

LINES_ACROSS = (0.02, 0.08, 0.25, 0.55)
"""Grid lines from the support to the side edge, as shares."""

LEAST_GAP = 5e-4
"""Grid lines closer than this share of the plate count as one."""

HERMITE_POINTS = 4


def _hermite(t: Array, h: Array) -> list[Array]:
    """Cubic Hermite functions on elements of length h (...): value and two derivatives.

    Each (..., 4, points), in the order value and slope at the start, value and slope at the end.
    """
    one = np.ones_like(t)
    h = h[..., None]
    value = [1 - 3 * t**2 + 2 * t**3, h * (t - 2 * t**2 + t**3), 3 * t**2 - 2 * t**3, h * (t**3 - t**2)]
    first = [
        (6 * t**2 - 6 * t) / h,
        one * (1 - 4 * t + 3 * t**2),
        (6 * t - 6 * t**2) / h,
        3 * t**2 - 2 * t,
    ]
    second = [(12 * t - 6) / h**2, (6 * t - 4) / h, (6 - 12 * t) / h**2, (6 * t - 2) / h]
    shape = (*h.shape[:-1], t.size)
    return [
        np.stack([np.broadcast_to(row, shape) for row in rows], axis=-2) for rows in (value, first, second)
    ]


def _element_integrals(lines: Array) -> dict[str, Array]:
    """One-dimensional integrals over the spans between lines (B, n + 1): 4 by 4 each, and the load vector."""
    h = np.diff(lines, axis=-1)
    points, weights = np.polynomial.legendre.leggauss(HERMITE_POINTS)
    value, first, second = _hermite(0.5 * (points + 1), h)
    weight = 0.5 * weights * h[..., None, None]

    def product(left: Array, right: Array) -> Array:
        return np.asarray((left * weight) @ right.swapaxes(-1, -2))

    return {
        "00": product(value, value),
        "11": product(first, first),
        "22": product(second, second),
        "20": product(second, value),
        "0": np.sum(value * weight, axis=-1),
    }


def _apart(lines: Array) -> Array:
    """Sort grid lines (B, n) that run from 0 to 1; of two that coincide, one moves into the widest span.

    Thin elements would cost the solution its digits.
    """
    count = lines.shape[1]
    batch = np.arange(lines.shape[0])
    parted = np.sort(lines, axis=1)
    for _ in range(count):
        gaps = np.diff(parted, axis=1)
        near, wide = np.argmin(gaps, axis=1), np.argmax(gaps, axis=1)
        move = gaps[batch, near] < LEAST_GAP
        if not np.any(move):
            break
        # The ends stay where they are.
        column = np.where(near + 1 < count - 1, near + 1, near)
        middle = 0.5 * (parted[batch, wide] + parted[batch, wide + 1])
        parted[batch, column] = np.where(move, middle, parted[batch, column])
        parted = np.sort(parted, axis=1)
    return parted


def _grid(g: dict[str, Array]) -> tuple[Array, Array, NDArray[np.intp]]:
    """Grid lines along and across in shares of length and half width, and the line of the support's tip."""
    A, B = g["prop_length"], g["prop_width"] / 2
    tip = np.minimum(g["embed_length"] / A, 1.0)[:, None]
    start = (g["insert_start"] / A)[:, None]
    end = start + (g["insert_length"] / A)[:, None]
    zero, one = np.zeros_like(tip), np.ones_like(tip)
    before, past = np.array(LINES_BEFORE_TIP), np.array(LINES_PAST_TIP)
    raw = np.concatenate(
        [zero, before * tip, tip, tip + past * (1 - tip), start, np.minimum(end, 1.0), one], axis=1
    )
    side = (g["insert_width"] / 2 / B)[:, None]
    rows = np.concatenate([zero, zero + np.array(LINES_ACROSS), np.minimum(side, 1.0), one], axis=1)
    columns = _apart(raw)
    return columns, _apart(rows), np.argmin(np.abs(columns - tip), axis=1)


def _plate(g: dict[str, Array]) -> Array:
    """Linear droop along, across and at the corner (B, 3) of a 1-D batch, by elements on half the plate."""
    A, B = g["prop_length"], g["prop_width"] / 2
    x, y, at_tip = _grid(g)
    of_x, of_y = _element_integrals(x), _element_integrals(y)
    batch, columns, rows = A.size, x.shape[1], y.shape[1]
    size = 4 * columns * rows
    middle_x = 0.5 * (x[:, 1:] + x[:, :-1]) * A[:, None]
    middle_y = 0.5 * (y[:, 1:] + y[:, :-1]) * B[:, None]
    start, end = g["insert_start"][:, None], (g["insert_start"] + g["insert_length"])[:, None]
    under_x, under_y = (middle_x > start) & (middle_x < end), middle_y < g["insert_width"][:, None] / 2
    prop_mixed = np.sqrt(g["prop_rigidity_along"] * g["prop_rigidity_across"])
    insert_mixed = np.sqrt(g["insert_rigidity_along"] * g["insert_rigidity_across"])
    # Of every element (B, columns - 1, rows - 1). Prop and insert bend together without sharing shear, so
    # stiffnesses add, twist and coupling too.
    under = under_x[:, :, None] & under_y[:, None, :]

    def added(prop: Array, insert: Array) -> Array:
        return np.asarray(prop[:, None, None] + np.where(under, insert[:, None, None], 0.0))

    Dx = added(g["prop_rigidity_along"] / A**4, g["insert_rigidity_along"] / A**4)
    Dy = added(g["prop_rigidity_across"] / B**4, g["insert_rigidity_across"] / B**4)
    mixed = added(prop_mixed / (A * B) ** 2, insert_mixed / (A * B) ** 2)
    load = added(g["prop_weight_per_area"], g["insert_weight_per_area"])
    nu = g["poissons_ratio"][:, None, None]

    def products(factor: Array, of_column: Array, of_row: Array) -> Array:
        return np.asarray(np.einsum("bij,bipr,bjqs->bijpqrs", factor, of_column, of_row))

    # w_xx w_yy: the value of one direction stands with the curvature of the other.
    coupling = products(nu * mixed, of_x["20"], of_y["20"].swapaxes(-1, -2))
    blocks = products(Dx, of_x["22"], of_y["00"]) + products(Dy, of_x["00"], of_y["22"])
    blocks += coupling + coupling.transpose(0, 1, 2, 5, 6, 3, 4)
    blocks += products(2 * (1 - nu) * mixed, of_x["11"], of_y["11"])
    forces = np.einsum("bij,bip,bjq->bijpq", load, of_x["0"], of_y["0"])

    K = np.zeros((batch, size, size))
    f = np.zeros((batch, size))
    # Freedom (column, kind along, row, kind across), flattened: those of an element are four next to each other.
    grid = (batch, 2 * columns, 2 * rows)
    by_place, forces_at = K.reshape(*grid, 2 * columns, 2 * rows), f.reshape(grid)
    for i in range(columns - 1):
        along = slice(2 * i, 2 * i + 4)
        for j in range(rows - 1):
            across = slice(2 * j, 2 * j + 4)
            by_place[:, along, across, along, across] += blocks[:, i, j]
            forces_at[:, along, across] += forces[:, i, j]

    # On the middle line the slope across is zero by symmetry; from root to tip the support holds the value,
    # and with it the slope along.
    held = np.zeros((batch, 2 * columns, 2 * rows), dtype=bool)
    held[:, :, 1] = True
    on_support = np.arange(columns) <= at_tip[:, None]
    held[:, 0::2, 0] = on_support
    held[:, 1::2, 0] = on_support
    free = ~held.reshape(batch, size)
    diagonal = np.einsum("bii->bi", K)
    scale = np.where(free, 1 / np.sqrt(diagonal), 0.0)
    K *= scale[:, :, None]
    K *= scale[:, None, :]
    np.einsum("bii->bi", K)[...] = 1.0
    answer = scale * np.linalg.solve(K, (f * scale)[..., None])[..., 0]
    shape = answer.reshape(batch, 2 * columns, 2 * rows)
    edge = np.where(on_support, shape[:, 0::2, -2], -np.inf)
    return np.stack([shape[:, -2, 0], edge.max(axis=1), shape[:, -2, -2]], axis=1)


@lru_cache(maxsize=32)
def _kept_plate(names: tuple[str, ...], values: tuple[bytes, ...]) -> Array:
    """The same of the bytes of each input, kept: a change to the support is proven with the same plate."""
    found = _plate({name: np.frombuffer(value) for name, value in zip(names, values, strict=True)})
    found.flags.writeable = False
    return found


def droop_over_insert(
    *,
    prop_length: ArrayLike,
    prop_width: ArrayLike,
    embed_length: ArrayLike,
    prop_weight_per_area: ArrayLike,
    prop_rigidity_along: ArrayLike,
    prop_rigidity_across: ArrayLike | None = None,
    insert_length: ArrayLike = 0.0,
    insert_width: ArrayLike = 0.0,
    insert_start: ArrayLike | None = None,
    insert_weight_per_area: ArrayLike = 0.0,
    insert_rigidity_along: ArrayLike = 0.0,
    insert_rigidity_across: ArrayLike = 0.0,
    poissons_ratio: ArrayLike = 0.3,
) -> InsertDroop:
    """Droop of a level rectangular prop over an insert, or over the bare support without one.

    Parameters
    ----------
    prop_length, prop_width : array_like, shape (...)
        Plan size along and across the support [m], positive. The support enters at one end, in the middle.
    embed_length : array_like, shape (...)
        Length of the support inside the prop [m], positive; it may reach to the far edge or past it.
    prop_weight_per_area : array_like, shape (...)
        [N/m^2], 0 or more.
    prop_rigidity_along, prop_rigidity_across : array_like, shape (...)
        D per width of the prop itself [N m], positive; across is as along when left out.
    insert_length, insert_width : array_like, shape (...)
        Plan size of the insert along and across the support [m], within the prop; both 0 for none.
    insert_start : array_like, shape (...), optional
        Distance from the edge where the support enters to the insert [m]; centred when left out.
    insert_weight_per_area : array_like, shape (...)
        [N/m^2], 0 or more.
    insert_rigidity_along, insert_rigidity_across : array_like, shape (...)
        D per width of the insert [N m], 0 or more.
    poissons_ratio : array_like, shape (...)
        Of both, 0 to 0.5.

    Returns
    -------
    InsertDroop

    Raises
    ------
    ArgumentError
        If a size or stiffness is out of range or the insert does not lie inside the prop.

    Notes
    -----
    Orthotropic plate on half the plan by conforming elements (bicubic Hermite, the grid crowded at the
    support's tip, where the curvature peaks), which minimise ::

        1/2 int Dx w_xx^2 + Dy w_yy^2 + 2 nu sqrt(Dx Dy) w_xx w_yy + 2 (1 - nu) sqrt(Dx Dy) w_xy^2  -  int q w

    with Huber's estimate of twist and coupling. The prop stays on the insert but does not share shear with it
    (their stiffnesses add). The support counts as rigid and straight inside the prop; its own bending belongs
    to the frame. Against extrapolated elements of another kind: within 1 % (see the evidence tests). Strips
    along and across, added, would come out up to 30 % too low at the corner.

    Past small droops each value is that of a strip clamped at the support, of the overhang's length and with
    the same linear droop, by the elastica D theta'' = -w (L - s) cos(theta): an estimate that never passes
    the overhang's length.
    """
    given: dict[str, ArrayLike] = {
        "prop_length": prop_length,
        "prop_width": prop_width,
        "embed_length": embed_length,
        "prop_rigidity_along": prop_rigidity_along,
        "prop_rigidity_across": (
            prop_rigidity_along if prop_rigidity_across is None else prop_rigidity_across
        ),
        "prop_weight_per_area": prop_weight_per_area,
        "insert_length": insert_length,
        "insert_width": insert_width,
        "insert_weight_per_area": insert_weight_per_area,
        "insert_rigidity_along": insert_rigidity_along,
        "insert_rigidity_across": insert_rigidity_across,
        "poissons_ratio": poissons_ratio,
    }
    read = {name: positive(name, value, zero=place > 4) for place, (name, value) in enumerate(given.items())}
    centred = (read["prop_length"] - read["insert_length"]) / 2
    read["insert_start"] = (
        centred if insert_start is None else positive("insert_start", insert_start, zero=True)
    )
    arrays = np.broadcast_arrays(*read.values())
    shape = arrays[0].shape
    g = {name: array.ravel() for name, array in zip(read, arrays, strict=True)}
    if np.any(g["poissons_ratio"] > 0.5):
        raise ArgumentError(f"poissons_ratio is {poissons_ratio!r}: every value must lie from 0 to 0.5.")
    slack = 1 + 1e-9
    if np.any(g["insert_start"] + g["insert_length"] > g["prop_length"] * slack) or np.any(
        (g["insert_width"] > g["prop_width"] * slack) | (g["insert_start"] < 0.0)
    ):
        raise ArgumentError(
            f"insert_length is {insert_length!r} and insert_width {insert_width!r} in a prop of "
            f"{prop_length!r} by {prop_width!r} m: the insert must lie inside the prop."
        )
    chunk = 32  # of matrices of about 1 MB each
    linear = np.concatenate(
        [
            _kept_plate(tuple(g), tuple(array[first : first + chunk].tobytes() for array in g.values()))
            for first in range(0, g["prop_length"].size, chunk)
        ]
    )
    past = np.maximum(g["prop_length"] - g["embed_length"], 0.0)
    half = g["prop_width"] / 2
    overhang = np.stack([past, half, np.hypot(past, half)], axis=1)
    ratio = linear / np.where(overhang > 0.0, overhang, np.inf)
    # A far edge can rise where heavy sides lever it up; a rise stays as it is.
    load = np.clip(8 * ratio, 0.0, LARGEST_LOAD_RATIO)
    large = np.where(linear > 0.0, overhang * _strip_droop(load), linear)
    return InsertDroop(
        along=large[:, 0].reshape(shape),
        across=large[:, 1].reshape(shape),
        corner=large[:, 2].reshape(shape),
        linear_along=linear[:, 0].reshape(shape),
        linear_across=linear[:, 1].reshape(shape),
        linear_corner=linear[:, 2].reshape(shape),
        is_large=np.any(ratio > SMALL_DROOP_RATIO, axis=1).reshape(shape),
    )


def insert_moments(
    *,
    prop_length: ArrayLike,
    prop_width: ArrayLike,
    embed_length: ArrayLike,
    weight_per_area: ArrayLike,
    insert_length: ArrayLike,
    insert_width: ArrayLike,
    peak_factor: ArrayLike = PEAK_MOMENT_FACTOR,
) -> tuple[Array, Array]:
    """Bending moments per width that an insert has to carry at the support.

    Parameters
    ----------
    prop_length, prop_width, embed_length : array_like, shape (...)
        As in `droop_over_insert` [m], positive.
    weight_per_area : array_like, shape (...)
        Of prop and insert together [N/m^2], 0 or more; taken over the whole prop.
    insert_length, insert_width : array_like, shape (...)
        [m], positive, the insert centred in the prop.
    peak_factor : array_like, shape (...)
        Peak over mean, at the end of the support; 2 is common practice, no source. Thin-plate theory has no
        finite peak there.

    Returns
    -------
    along : ndarray, shape (...)
        Moment that bends the insert along the support, at the support's tip [N m/m]; 0 where the support
        reaches to the far edge of the insert.
    across : ndarray, shape (...)
        Moment that bends it across the support, along it [N m/m].

    Notes
    -----
    From equilibrium: the moment of all weight past the support's tip over the insert's width; the moment of
    one side's weight about the support over the length of the support that lies under the insert. The prop's
    own stiffness carries nothing (safe side).
    """
    A, width = positive("prop_length", prop_length), positive("prop_width", prop_width)
    embed = positive("embed_length", embed_length)
    q = positive("weight_per_area", weight_per_area, zero=True)
    length, insert_across = positive("insert_length", insert_length), positive("insert_width", insert_width)
    peak = positive("peak_factor", peak_factor)
    start = (A - length) / 2
    past = np.maximum(A - embed, 0.0)
    far = (start + length) * (1 - 1e-9)  # their sum is rounded
    along = np.where(embed >= far, 0.0, q * past**2 / 2 * width / insert_across)
    under = np.minimum(embed, start + length) - start
    if np.any(under <= 0.0):
        raise ValidityError(
            f"embed_length is {embed_length!r} m and the insert begins {np.max(start):.3g} m into the prop: "
            "the support does not reach the insert."
        )
    return np.asarray(peak * along), np.asarray(peak * q * (width / 2) ** 2 / 2 * A / under)


def choose_sheets(
    *,
    limit: float,
    insert_weight_per_area: ArrayLike,
    insert_rigidity_along: ArrayLike,
    insert_rigidity_across: ArrayLike,
    insert_length: float,
    insert_width: float,
    gravity: float = 9.80665,
    **prop: float,
) -> SheetChoice:
    """Compare sheets for an insert of one size: which bring the droop under a limit, lightest first.

    Parameters
    ----------
    limit : float
        Largest droop allowed [m], positive.
    insert_weight_per_area, insert_rigidity_along, insert_rigidity_across : array_like, shape (n,)
        One of each a sheet, as in `droop_over_insert`.
    insert_length, insert_width : float
        [m], positive.
    gravity : float
        [m/s^2], turns weight into mass.
    **prop : float
        The other arguments of `droop_over_insert`.

    Returns
    -------
    SheetChoice
    """
    bound = float(positive("limit", limit))
    weight = np.atleast_1d(positive("insert_weight_per_area", insert_weight_per_area, zero=True))
    result = droop_over_insert(
        insert_length=insert_length,
        insert_width=insert_width,
        insert_weight_per_area=weight,
        insert_rigidity_along=insert_rigidity_along,
        insert_rigidity_across=insert_rigidity_across,
        **prop,
    )
    droop = result.largest
    mass = np.broadcast_to(
        weight * insert_length * insert_width / float(positive("gravity", gravity)), droop.shape
    )
    cures = droop <= bound
    return SheetChoice(
        droop=droop,
        insert_mass=mass,
        cures=cures,
        order=np.lexsort((np.where(cures, mass, droop), ~cures)),
    )


# ---------------------------------------------------------------------------------------- joint

# Mean deflection of a strip clamped at the wire, evenly loaded, is p h^4 / (20 D); both sides carry 2 h p.
PITCH_BED_FACTOR = 40.0
# A load that grows with the distance from the wire turns the mass by 11 p h^3 / (140 D) under 2 p h^2 / 3.
ROLL_BED_FACTOR = 280 / 33


def joint_stiffness(
    *,
    embed_length: ArrayLike,
    insert_width: ArrayLike,
    insert_rigidity_across: ArrayLike,
    wire_bending_stiffness: ArrayLike,
    wire_torsional_stiffness: ArrayLike,
    glue_modulus: ArrayLike | None = None,
) -> InsertJoint:
    """Rotational springs between a wire and the insert it is glued in.

    Parameters
    ----------
    embed_length : array_like, shape (...)
        Glued length of the wire in the sheet [m], positive.
    insert_width : array_like, shape (...)
        Across the wire, the wire in the middle [m], positive.
    insert_rigidity_across : array_like, shape (...)
        D per width for bending across the wire [N m], positive.
    wire_bending_stiffness, wire_torsional_stiffness : array_like, shape (...)
        EI and GJ of the wire [N m^2], positive.
    glue_modulus : array_like, shape (...), optional
        Force per length per displacement of the glue line [N/m^2], in series with the sheet; rigid when left
        out.

    Returns
    -------
    InsertJoint

    Notes
    -----
    The sheet stands as an elastic bed of cantilever strips on both sides of the wire, half width h. Pitch:
    bed modulus k = 40 D / h^3 (the mean sinking of evenly spread mass), and the wire in it as in `bed_root`.
    Roll: torsion bed c = 280 D / (33 h) per length, and sqrt(GJ c) tanh(l sqrt(c / GJ)). Derived here. The
    strips do not help each other, so this is a lower bound: good where the sheet is about as stiff across as
    along and the embedded length is at least the half width; for a short wire in a wide sheet the joint is
    stiffer. In the plane of the sheet (yaw) the sheet counts as rigid.
    """
    length = positive("embed_length", embed_length)
    half = positive("insert_width", insert_width) / 2
    D = positive("insert_rigidity_across", insert_rigidity_across)
    GJ = positive("wire_torsional_stiffness", wire_torsional_stiffness)
    bed = PITCH_BED_FACTOR * D / half**3
    if glue_modulus is not None:
        glue = positive("glue_modulus", glue_modulus)
        bed = bed * glue / (bed + glue)
    root = bed_root(bending_stiffness=wire_bending_stiffness, bed_modulus=bed, grip_length=length)
    torsion_bed = ROLL_BED_FACTOR * D / half
    roll = np.sqrt(GJ * torsion_bed) * np.tanh(length * np.sqrt(torsion_bed / GJ))
    pitch, roll = np.broadcast_arrays(root.rotational_stiffness, roll)
    return InsertJoint(pitch=pitch, roll=roll)
