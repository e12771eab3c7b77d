"""The frame: supports as polylines in space, joined to one rigid prop, as matrices with a batch axis.

Freedoms are the prop's (displacement and rotation at its centre of mass), then each support's root rotations,
its inner nodes and the internal functions of its elements. Roots do not move; they turn against springs, or
not at all. A tip is a fixed point of the prop, with or without a rotational spring between
(`Support.joint_stiffness`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.batches import cross, runs_of
from rigcheck.mechanics.elements import END_FREEDOMS, Basis, Order

__all__ = [
    "PROP_FREEDOMS",
    "Base",
    "Element",
    "Frame",
    "Prop",
    "Support",
    "cross_matrix",
    "local_axes",
    "mix",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

PROP_FREEDOMS = 6
"""Displacement and rotation of the prop come first among the freedoms of a frame."""


def cross_matrix(vector: Array) -> Array:
    """Matrices that form the cross product ``vector x other``.

    Parameters
    ----------
    vector : array, shape (..., 3)
        Any vectors.

    Returns
    -------
    array, shape (..., 3, 3)
        Skew-symmetric matrices.
    """
    result = np.zeros((*vector.shape, 3))
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    result[..., 0, 1], result[..., 0, 2] = -z, y
    result[..., 1, 0], result[..., 1, 2] = z, -x
    result[..., 2, 0], result[..., 2, 1] = -y, x
    return result


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Support:
    """A batch of supports of one layout: polylines from root to tip, one section a segment.

    Local axes of a segment: x along it from root to tip, y the part of `width_direction` across it, z
    completes them. Bending about z moves the wire along y.

    Attributes
    ----------
    points : array, shape (B, n + 1, 3)
        Root, corners and places where the section changes, tip [m].
    axial_stiffness : array, shape (B, n)
        EA [N].
    torsional_stiffness : array, shape (B, n)
        GJ [N m2].
    bending_stiffness_y, bending_stiffness_z : array, shape (B, n)
        EI about the local axes [N m2].
    shear_stiffness_y, shear_stiffness_z : array, shape (B, n)
        Shear coefficient times GA, along the local axes [N].
    mass_per_length : array, shape (B, n)
        [kg/m].
    rotary_inertia_y, rotary_inertia_z, polar_inertia : array, shape (B, n)
        Mass moments per length: rho I about the local axes, and about the axis itself [kg m].
    width_direction : array, shape (B, n, 3) or None
        See above; None takes up, or toward for a vertical segment (only sections that are alike in both
        directions may leave it out).
    root_axes : array, shape (B, 3, 3) or None
        Rows are the axes of the root's three springs; None takes right, up, toward.
    root_stiffness : array, shape (B, 3)
        Rotational stiffness of the root about `root_axes` [N m/rad]; infinite is allowed.
    joint_stiffness : array, shape (B, 3) or None
        Rotational stiffness between tip and prop about right, up, toward [N m/rad]; None is rigid.
    tension : array, shape (B,)
        Tension pulled into the line before the prop is hung [N].
    """

    points: Array
    axial_stiffness: Array
    torsional_stiffness: Array
    bending_stiffness_y: Array
    bending_stiffness_z: Array
    shear_stiffness_y: Array
    shear_stiffness_z: Array
    mass_per_length: Array
    rotary_inertia_y: Array
    rotary_inertia_z: Array
    polar_inertia: Array
    root_stiffness: Array
    root_axes: Array | None = None
    width_direction: Array | None = None
    joint_stiffness: Array | None = None
    tension: Array | None = None

    @property
    def root(self) -> Array:
        """Where the support is held [m], shape (B, 3)."""
        return self.points[:, 0]

    @property
    def tip(self) -> Array:
        """Where it ends in the prop [m], shape (B, 3)."""
        return self.points[:, -1]

    @property
    def segments(self) -> int:
        """Number of straight pieces."""
        return int(self.points.shape[1]) - 1

    def take(self, chosen: Index) -> Support:
        """Some variants only."""
        return Support(**_taken(self, chosen))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Base:
    """The head that all roots sit on, turning a little about one point.

    Attributes
    ----------
    point : array, shape (B, 3)
        What it turns about [m].
    stiffness : array, shape (B, 3)
        Rotational stiffness about right, up, toward [N m/rad]; finite.
    """

    point: Array
    stiffness: Array

    def take(self, chosen: Index) -> Base:
        """Some variants only."""
        return Base(**_taken(self, chosen))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Prop:
    """A batch of rigid props.

    Attributes
    ----------
    mass : array, shape (B,)
        [kg].
    centre_of_mass : array, shape (B, 3)
        [m], in the same frame as the supports' points.
    inertia : array, shape (B, 3, 3)
        About the centre of mass, axes right, up, toward [kg m2]; zero is a point mass.
    """

    mass: Array
    centre_of_mass: Array
    inertia: Array

    def take(self, chosen: Index) -> Prop:
        """Some variants only."""
        return Prop(**_taken(self, chosen))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Element:
    """One segment in place: its matrices in its own axes and its way into the frame.

    Attributes
    ----------
    support : int
        Which support it belongs to.
    length : array, shape (B,)
        [m].
    axes : array, shape (B, 3, 3)
        Rows are the local x, y, z.
    coefficients : array, shape (B, 6)
        EA, GJ, EIz, EIy, kGAy, kGAz.
    stiffness_scales : array, shape (B, 6)
        What multiplies the constant matrices `Basis.stiffness` [N/m].
    mass_scales : array, shape (B, 4)
        What multiplies `Basis.mass` [kg].
    basis : Basis
        The constant matrices.
    ends : array, shape (B, 12, m)
        Gives the end freedoms from the m frame freedoms in `places`.
    places : tuple of int
        Frame freedoms that move the ends; -1 stands for one that is held.
    internal : slice
        Frame freedoms of its internal functions.
    """

    support: int
    length: Array
    axes: Array
    coefficients: Array
    stiffness_scales: Array
    mass_scales: Array
    basis: Basis
    ends: Array
    places: tuple[int, ...]
    internal: slice

    @cached_property
    def stiffness(self) -> Array:
        """In the element's own scaled freedoms, shape (B, size, size)."""
        return mix(self.stiffness_scales, self.basis.stiffness)

    @cached_property
    def mass(self) -> Array:
        """In the element's own scaled freedoms, shape (B, size, size)."""
        return mix(self.mass_scales, self.basis.mass)


class Frame:
    """Matrices of a batch of frames of one layout.

    Parameters
    ----------
    supports : sequence of Support
        One or several; all with the same batch length.
    prop : Prop
        The rigid prop.
    order : Order, optional
        Internal functions of each element.
    base : Base, optional
        What the roots sit on; rigid if left out.

    Attributes
    ----------
    stiffness, mass : array, shape (B, n, n)
        Elastic stiffness and consistent mass.

    Notes
    -----
    Stiffness K, mass M and tension stiffness K_G follow from the element energies
    ``1/2 int EA u'^2 + GJ r'^2 + EI v_b''^2 + kGA s'^2``, ``1/2 int rho A (u^2 + v^2 + w^2) + rho I v_b'^2``
    and ``1/2 int N (v'^2 + w'^2)``. Left out: warping of strips, the coupling of bending moments with twist
    (lateral-torsional buckling of a strip on edge), and Wagner torsion (a relative stiffening of N/GA).
    """

    def __init__(
        self,
        supports: tuple[Support, ...] | list[Support],
        prop: Prop,
        order: Order | None = None,
        base: Base | None = None,
    ) -> None:
        self.supports = tuple(supports)
        self.prop = prop
        self.order = order or Order()
        self.basis = Basis.of(self.order)
        self.batch = len(prop.mass)
        self.size = PROP_FREEDOMS
        self.springs: list[tuple[list[int], Array]] = []
        self.elements: list[Element] = []
        self.base = base
        self.base_places: list[int] = []
        if base is not None:
            self.base_places = self._take(3)
            self.springs.append((self.base_places, np.einsum("bi,ij->bij", base.stiffness, np.eye(3))))
        for index, support in enumerate(self.supports):
            self._add(index, support)

    def take(self, chosen: Index) -> Frame:
        """The same layout for some variants only."""
        supports = [support.take(chosen) for support in self.supports]
        base = None if self.base is None else self.base.take(chosen)
        return Frame(supports, self.prop.take(chosen), self.order, base)

    # -- layout -----------------------------------------------------------------------------------------

    def _take(self, count: int) -> list[int]:
        start = self.size
        self.size += count
        return list(range(start, self.size))

    def _add(self, index: int, support: Support) -> None:
        batch = self.batch
        steps = np.diff(support.points, axis=1)
        lengths = np.linalg.norm(steps, axis=2)
        axes = local_axes(steps / lengths[..., None], support.width_direction)
        start_map, start_places = self._root(support, lengths[:, 0])
        for segment in range(support.segments):
            if segment == support.segments - 1:
                end_map, end_places = self._tip(support)
            else:
                end_places = self._take(6)
                end_map = np.broadcast_to(np.eye(6), (batch, 6, 6))
            internal = self._take(self.basis.size - END_FREEDOMS)
            self.elements.append(
                self._element(
                    index, support, segment, lengths[:, segment], axes[:, segment],
                    (start_map, end_map), (start_places, end_places), internal,
                )
            )  # fmt: skip
            start_map, start_places = end_map, end_places

    def _root(self, support: Support, length: Array) -> tuple[Array, list[int]]:
        held = np.isinf(support.root_stiffness)
        free = [axis for axis in range(3) if not held[:, axis].all()]
        directions = (
            np.broadcast_to(np.eye(3), (self.batch, 3, 3)) if support.root_axes is None else support.root_axes
        )
        places = self._take(len(free))
        way = np.zeros((self.batch, 6, len(free)))
        # A rigid root among flexible ones in one batch keeps its freedom, but the freedom moves nothing.
        # Its spring only keeps the stiffness regular, so any size near the others will do.
        stiff = np.maximum(support.bending_stiffness_y, support.bending_stiffness_z).max(axis=1) / length
        for column, axis in enumerate(free):
            way[:, 3:, column] = np.where(held[:, axis, None], 0.0, directions[:, axis])
            spring = np.where(held[:, axis], stiff, support.root_stiffness[:, axis])
            self.springs.append(([places[column]], spring[:, None, None]))
        if self.base is None:
            return way, places
        # The root's own freedoms turn it against the base; the base carries it along.
        carried = np.zeros((self.batch, 6, 3))
        carried[:, :3] = -cross_matrix(support.root - self.base.point)
        carried[:, 3:] = np.eye(3)
        return np.concatenate([way, carried], axis=2), places + self.base_places

    def _tip(self, support: Support) -> tuple[Array, list[int]]:
        arm = support.tip - self.prop.centre_of_mass
        link = np.zeros((self.batch, 6, PROP_FREEDOMS))
        link[:, :3, :3] = link[:, 3:, 3:] = np.eye(3)
        link[:, :3, 3:] = -cross_matrix(arm)
        places = list(range(PROP_FREEDOMS))
        if support.joint_stiffness is None:
            return link, places
        turn = self._take(3)
        spring = np.zeros((self.batch, 6, 6))
        diagonal = np.einsum("bi,ij->bij", support.joint_stiffness, np.eye(3))
        spring[:, :3, :3] = spring[:, 3:, 3:] = diagonal
        spring[:, :3, 3:] = spring[:, 3:, :3] = -diagonal
        self.springs.append(([3, 4, 5, *turn], spring))
        way = np.zeros((self.batch, 6, 9))
        way[:, :3, :6] = link[:, :3]
        way[:, 3:, 6:] = np.eye(3)
        return way, places + turn

    def _element(
        self,
        index: int,
        support: Support,
        segment: int,
        length: Array,
        axes: Array,
        maps: tuple[Array, Array],
        places: tuple[list[int], list[int]],
        internal: list[int],
    ) -> Element:
        stiff = np.stack(
            [
                support.axial_stiffness[:, segment],
                support.torsional_stiffness[:, segment],
                support.bending_stiffness_z[:, segment],
                support.bending_stiffness_y[:, segment],
                support.shear_stiffness_y[:, segment],
                support.shear_stiffness_z[:, segment],
            ],
            axis=1,
        )
        heavy = np.stack(
            [
                support.mass_per_length[:, segment] * length,
                support.rotary_inertia_z[:, segment] / length,
                support.rotary_inertia_y[:, segment] / length,
                support.polar_inertia[:, segment] / length,
            ],
            axis=1,
        )
        scale = 1 / np.stack([length, length**3, length**3, length**3, length, length], axis=1)
        turn = np.zeros((self.batch, END_FREEDOMS, sum(way.shape[2] for way in maps)))
        column = 0
        for end, way in enumerate(maps):
            for block, factor in ((0, None), (3, length)):
                rows = slice(6 * end + block, 6 * end + block + 3)
                local = axes @ way[:, block : block + 3]
                turn[:, rows, column : column + way.shape[2]] = (
                    local if factor is None else local * factor[:, None, None]
                )
            column += way.shape[2]
        return Element(
            support=index,
            length=length,
            axes=axes,
            coefficients=stiff,
            stiffness_scales=stiff * scale,
            mass_scales=heavy,
            basis=self.basis,
            ends=turn,
            places=(*places[0], *places[1]),
            internal=slice(internal[0], internal[-1] + 1) if internal else slice(self.size, self.size),
        )

    # -- matrices ---------------------------------------------------------------------------------------

    @cached_property
    def stiffness(self) -> Array:
        """Elastic stiffness with root and joint springs, shape (B, n, n)."""
        result = self._assemble([element.stiffness for element in self.elements])
        for places, spring in self.springs:
            result[:, np.array(places)[:, None], np.array(places)] += spring
        return result

    @cached_property
    def mass(self) -> Array:
        """Consistent mass with the prop's, shape (B, n, n)."""
        result = self._assemble([element.mass for element in self.elements])
        result[:, [0, 1, 2], [0, 1, 2]] += self.prop.mass[:, None]
        result[:, 3:6, 3:6] += self.prop.inertia
        return result

    def tension_stiffness(self, tensions: list[Array], tip_forces: list[Array]) -> Array:
        """Stiffness that the supports' tension and the prop's hanging add.

        Parameters
        ----------
        tensions : list of array, shape (B, 2)
            Tension at the start and the end of each element [N]; compression is negative.
        tip_forces : list of array, shape (B, 3)
            Force that the prop puts on each support's tip [N].

        Returns
        -------
        array, shape (B, n, n)

        Notes
        -----
        An element adds ``int N (v'^2 + w'^2)``. The prop's rotation t moves a tip at the arm d from the
        centre of mass by ``t x d + 1/2 t x (t x d)``; the tip force f does work on the second part. Of f the
        part N along the wire enters whole, ``1/2 (N d^T + d N^T) - (N.d) I``; the part V across it as
        ``-(V.d)(I - V V^T/|V|^2)``, because its other terms belong with the coupling of bending moments and
        twist that the elements leave out. For a prop that hangs h below a tip both give m g h about the two
        level axes.
        """
        local = [
            mix(pull / element.length[:, None], self.basis.tension)
            for pull, element in zip(tensions, self.elements, strict=True)
        ]
        result = self._assemble(local)
        result[:, 3:6, 3:6] += self.turning_stiffness(tip_forces)
        return result

    def turning_stiffness(self, tip_forces: list[Array] | Array) -> Array:
        """Stiffness that forces on the tips add to the prop's rotation; see `tension_stiffness`.

        Parameters
        ----------
        tip_forces : list of array, shape (B, 3), or array, shape (B, supports, 3)
            Force that the prop puts on each support's tip [N].

        Returns
        -------
        array, shape (B, 3, 3)
            About right, up, toward [N m/rad].
        """
        force = tip_forces if isinstance(tip_forces, np.ndarray) else np.stack(tip_forces, axis=1)
        along, arm = self._tips
        pull = np.sum(force * along, axis=2, keepdims=True) * along
        return _follow(pull, arm) + _hang(force - pull, arm)

    @cached_property
    def _tips(self) -> tuple[Array, Array]:
        """Direction of each support at its tip, and the tip from the centre of mass, (B, supports, 3)."""
        last = {element.support: element for element in self.elements}
        arms = [support.tip - self.prop.centre_of_mass for support in self.supports]
        axes = [last[index].axes[:, 0] for index in range(len(self.supports))]
        return np.stack(axes, axis=1), np.stack(arms, axis=1)

    def inertial_load(
        self, offset: Array, gradient: Array | None = None, about: Array | None = None
    ) -> Array:
        """Load of a field of acceleration that all mass feels: gravity, or the ground's motion reversed.

        Parameters
        ----------
        offset : array, shape (B, 3) or (3,)
            Acceleration at the point `about` [m/s2].
        gradient : array, shape (B, 3, 3), optional
            Change of it with place [1/s2]: the field is ``offset + gradient (x - about)``.
        about : array, shape (B, 3), optional
            [m]; the origin if left out.

        Returns
        -------
        array, shape (B, n)
            Generalised forces.
        """
        offset = np.broadcast_to(np.asarray(offset, dtype=float), (self.batch, 3))
        spread = (
            np.zeros((self.batch, 3, 3))
            if gradient is None
            else np.broadcast_to(gradient, (self.batch, 3, 3))
        )
        origin = np.zeros((self.batch, 3)) if about is None else np.broadcast_to(about, (self.batch, 3))
        turn = (spread - spread.transpose(0, 2, 1)) / 2
        spin = np.stack([turn[:, 2, 1], turn[:, 0, 2], turn[:, 1, 0]], axis=1)
        load = np.zeros((self.batch, self.size))
        prop = self.prop
        at = offset + np.einsum("bij,bj->bi", spread, prop.centre_of_mass - origin)
        load[:, :3] = prop.mass[:, None] * at
        load[:, 3:6] = _field_couple(prop.inertia, spread)
        seen: dict[int, int] = {}
        for element in self.elements:
            support = self.supports[element.support]
            segment = seen.get(element.support, 0)
            seen[element.support] = segment + 1
            local = np.zeros((self.batch, self.basis.size))
            ends = [
                offset + np.einsum("bij,bj->bi", spread, support.points[:, segment + end] - origin)
                for end in (0, 1)
            ]
            start, stop = (np.einsum("bij,bj->bi", element.axes, value) for value in ends)
            local[:, :3], local[:, 6:9] = start, stop
            local[:, 5] = local[:, 11] = stop[:, 1] - start[:, 1]
            local[:, 4] = local[:, 10] = start[:, 2] - stop[:, 2]
            twist = np.einsum("bi,bi->b", element.axes[:, 0], spin) * element.length
            local[:, 3] = local[:, 9] = twist
            force = np.einsum("bij,bj->bi", element.mass, local)
            self._spread(load, element, force)
        return load

    def element_vector(self, element: Element, state: Array) -> Array:
        """The element's own vector (scaled, own axes) from frame freedoms.

        Parameters
        ----------
        element : Element
            One of `elements`.
        state : array, shape (B, n) or (B, n, k)
            Frame freedoms, one or several states.

        Returns
        -------
        array, shape (B, size) or (B, size, k)
        """
        many = state if state.ndim == 3 else state[..., None]
        kept = [column for column, place in enumerate(element.places) if place >= 0]
        places = [element.places[column] for column in kept]
        result = np.concatenate(
            [element.ends[:, :, kept] @ many[:, places], many[:, element.internal]], axis=1
        )
        return result if state.ndim == 3 else result[..., 0]

    def _assemble(self, local: list[Array]) -> Array:
        result = np.zeros((self.batch, self.size, self.size))
        for element, matrix in zip(self.elements, local, strict=True):
            inner = element.internal
            ends = element.ends
            side = np.ascontiguousarray(ends.transpose(0, 2, 1))
            outer = side @ (matrix[:, :END_FREEDOMS, :END_FREEDOMS] @ ends)
            mixed = side @ matrix[:, :END_FREEDOMS, END_FREEDOMS:]
            runs = runs_of(element.places)
            for rows, to_rows in runs:
                for columns, to_columns in runs:
                    result[:, to_rows, to_columns] += outer[:, rows, columns]
                result[:, to_rows, inner] += mixed[:, rows]
                result[:, inner, to_rows] += mixed[:, rows].transpose(0, 2, 1)
            result[:, inner, inner] += matrix[:, END_FREEDOMS:, END_FREEDOMS:]
        return result

    @staticmethod
    def _spread(load: Array, element: Element, force: Array) -> None:
        ends = np.einsum("bij,bi->bj", element.ends, force[:, :END_FREEDOMS])
        for column, place in enumerate(element.places):
            load[:, place] += ends[:, column]
        load[:, element.internal] += force[:, END_FREEDOMS:]


def mix(scales: Array, matrices: Array) -> Array:
    """Sums of constant matrices, each with a factor of its own in every variant.

    Parameters
    ----------
    scales : array, shape (..., k)
        Factors.
    matrices : array, shape (k, n, m)
        Constant matrices.

    Returns
    -------
    array, shape (..., n, m)
    """
    mixed: Array = scales.reshape(-1, len(matrices)) @ matrices.reshape(len(matrices), -1)
    return mixed.reshape(*scales.shape[:-1], *matrices.shape[1:])


def local_axes(along: Array, width: Array | None) -> Array:
    """Local axes of straight pieces.

    Parameters
    ----------
    along : array, shape (..., 3)
        Unit vectors from root to tip.
    width : array, shape (..., 3) or None
        Direction whose part across the piece becomes local y; None takes up, or toward for a steep piece.

    Returns
    -------
    array, shape (..., 3, 3)
        Rows are the local x, y and z.
    """
    if width is None:
        upright = np.abs(along[..., 1:2]) > 0.9
        width = np.where(upright, np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]))
    across = width - np.sum(width * along, axis=-1, keepdims=True) * along
    across = across / np.linalg.norm(across, axis=-1, keepdims=True)
    return np.stack([along, across, cross(along, across)], axis=-2)


def _taken(batch: Support | Prop | Base, chosen: Index) -> dict[str, Array]:
    """Every array of it for some variants only."""
    found = {item.name: getattr(batch, item.name) for item in fields(batch)}
    return {name: value[chosen] for name, value in found.items() if value is not None}


def _follow(force: Array, arm: Array) -> Array:
    """Of forces (B, S, 3) that keep to their supports, summed, (B, 3, 3)."""
    product = _across(force) @ arm
    return np.asarray(
        (product + _across(product)) / 2 - np.sum(force * arm, axis=(1, 2))[:, None, None] * np.eye(3)
    )


def _hang(force: Array, arm: Array) -> Array:
    """Of forces (B, S, 3) that act across their supports, summed, (B, 3, 3)."""
    size = np.sum(force * force, axis=2, keepdims=True)
    unit = force / np.sqrt(np.where(size > 0, size, 1.0))
    work = np.sum(force * arm, axis=2, keepdims=True)
    return np.asarray(_across(unit) @ (work * unit) - work.sum(axis=1, keepdims=True) * np.eye(3))


def _across(matrix: Array) -> Array:
    return np.swapaxes(matrix, 1, 2)


def _field_couple(inertia: Array, gradient: Array) -> Array:
    """Couple of the field on the rigid prop about its centre of mass: ``int r x (G r) dm``, shape (B, 3)."""
    # With the planar moments P = int r r^T dm = tr(I)/2 - I, the couple's k-th part is eps_kij (P G^T)_ij.
    planar = np.einsum("bii,jk->bjk", inertia, np.eye(3)) / 2 - inertia
    mixed = planar @ gradient.transpose(0, 2, 1)
    return np.stack(
        [mixed[:, 1, 2] - mixed[:, 2, 1], mixed[:, 2, 0] - mixed[:, 0, 2], mixed[:, 0, 1] - mixed[:, 1, 0]],
        axis=1,
    )
