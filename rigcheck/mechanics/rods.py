"""Rods that bend and turn by any amount: energy, its gradient and its tangent, for a batch of one layout.

The rod of Reissner and Simo: a centre line ``x(s)`` and a rotation ``R(s)`` of the section, with the strains
``gamma = R^T x' - t`` (stretch and shear) and ``kappa = 2 vec(q* q')`` (curvature and twist), q the
quaternion of R, t the direction of the straight piece. The section keeps its shape and its stiffness. Root
springs, the joint at the tip and the rigid prop are the same as in `rigcheck.mechanics.frame`; weights keep
their direction.

Every piece is divided into Lagrange elements of one order p with p Gauss points, which is what keeps them
from locking: the section forces are then free polynomials of degree p - 1, so with p = 3 or more the nodes
are exact for a straight support under uniform weight in linear theory. Positions and quaternions are
interpolated alike, and the quaternion is brought back to unit length where it is used; turning the whole
model turns the result.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from rigcheck.mechanics.batches import cross, runs_of
from rigcheck.mechanics.frame import Prop, Support, cross_matrix, local_axes
from rigcheck.mechanics.rod_elements import (
    END_FREEDOMS,
    Elements,
    element_energy,
    gauss,
    lagrange_matrices,
    lobatto,
    node_order,
    polynomials_through,
    section_spins,
)
from rigcheck.mechanics.turns import (
    conjugate,
    from_vector,
    logarithm_derivatives,
    product,
    rotation_matrix,
    slope_and_bend,
    spin_map,
    turn_less_identity,
)

__all__ = ["Ends", "Evaluation", "Inertia", "Line", "Rods", "State"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

PROP_FREEDOMS = 6
_STIFF = 1e7
"""Shear stiffness, in EI/L^2, of a rod without shear deformation: 3e-7 of its sag, and few digits lost to
rounding."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class State:
    """Where everything is.

    Attributes
    ----------
    shift : array, shape (B, N, 3)
        Displacement of every node [m]; node 0 is the prop's centre of mass.
    turn : array, shape (B, N, 4)
        Rotation of every node from its unloaded direction, as a quaternion.
    root_angle : array, shape (B, supports, 3)
        Rotation vector of each root about its axes [rad]; zero about those that cannot turn.
    """

    shift: Array
    turn: Array
    root_angle: Array

    def take(self, chosen: Index) -> State:
        """Some variants only."""
        return State(shift=self.shift[chosen], turn=self.turn[chosen], root_angle=self.root_angle[chosen])

    def put(self, chosen: Index, other: State) -> None:
        """Overwrite some variants."""
        self.shift[chosen], self.turn[chosen] = other.shift, other.turn
        self.root_angle[chosen] = other.root_angle


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Ends:
    """How the ends of lines move with the freedoms about a state.

    Attributes
    ----------
    maps : array, shape (B, E, 12, k)
        Displacements and spins of the ends of each element, in its own axes and in the order of
        `rod_elements.node_order`, for its freedoms in `Rods.end_freedoms`.
    root : array, shape (B, supports, 3, 3)
        Spin of each root for unit rates of its angles.
    arm : array, shape (B, supports, 3)
        From the prop's centre of mass to each tip [m].
    lever : array, shape (B, supports, 3, 3)
        Matrices that form the cross product with it.
    """

    maps: Array
    root: Array
    arm: Array
    lever: Array

    def take(self, chosen: Index) -> Ends:
        """Some variants only."""
        return Ends(
            maps=self.maps[chosen], root=self.root[chosen], arm=self.arm[chosen], lever=self.lever[chosen]
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Evaluation:
    """Gradient and tangent of the potential energy at a state. E elements of all supports.

    Attributes
    ----------
    gradient : array, shape (B, n)
        By the freedoms; zero in equilibrium. Rotations are small spins about the fixed axes on top of the
        state, those of a root the rates of its angles.
    element_tangent : array, shape (B, E, 6 (p + 1), 6 (p + 1))
        Second derivative, of each element by the freedoms of its nodes in its own axes; symmetric; exact where
        `stress` was that of the state. `Rods.tangent` puts them together.
    corner : array, shape (B, m, m)
        What roots, joints, turned arms and couples add to it, among the `Rods.outer_freedoms`.
    ends : Ends
        From the freedoms to the elements.
    unbalanced : array, shape (B, N, 6)
        Force and moment that the lines need at every node beyond the dead forces on it.
    stress : array, shape (B, E, p, 6)
        Section forces of the state at the Gauss points in local axes: N, Vy, Vz, T, My, Mz.
    strain_map : array, shape (B, E, 6, p, 6 (p + 1))
        Change of the strains with the freedoms of the element's nodes, as those of `element_tangent`.
    """

    gradient: Array
    element_tangent: Array
    corner: Array
    ends: Ends
    unbalanced: Array
    stress: Array
    strain_map: Array

    @property
    def arrays(self) -> list[Array]:
        """All of them."""
        return [
            self.gradient, self.element_tangent, self.corner, self.ends.maps, self.ends.root, self.ends.arm,
            self.ends.lever,            self.unbalanced, self.stress, self.strain_map,
        ]  # fmt: skip

    @staticmethod
    def _of(arrays: Iterator[Array]) -> Evaluation:
        gradient, element_tangent, corner, maps, root, arm, lever, unbalanced, stress, strain_map = arrays
        return Evaluation(
            gradient=gradient,
            element_tangent=element_tangent,
            corner=corner,
            ends=Ends(maps=maps, root=root, arm=arm, lever=lever),
            unbalanced=unbalanced,
            stress=stress,
            strain_map=strain_map,
        )

    def unknown(self, batch: int) -> Evaluation:
        """One of the same layout for a batch of variants, all NaN."""
        return self._of(np.full((batch, *value.shape[1:]), np.nan) for value in self.arrays)

    @staticmethod
    def joined(parts: list[Evaluation]) -> Evaluation:
        """Those of several batches after each other."""
        return Evaluation._of(
            np.concatenate(arrays) for arrays in zip(*(part.arrays for part in parts), strict=True)
        )

    def take(self, chosen: Index) -> Evaluation:
        """Some variants only."""
        return self._of(value[chosen] for value in self.arrays)

    def put(self, chosen: Index, other: Evaluation, rows: Index) -> None:
        """Overwrite some variants with rows of another."""
        for mine, theirs in zip(self.arrays, other.arrays, strict=True):
            mine[chosen] = theirs[rows]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Inertia:
    """Of all elements about a state, at the p + 1 Gauss points of each.

    Attributes
    ----------
    spins : array, shape (B, E, p + 1, 3, 3 (p + 1))
        Spin of the section in its own turned axes for spins of the nodes in the element's axes.
    turn : array, shape (B, E, p + 1, 3, 3)
        Rows are the turned axes of the section.
    """

    spins: Array
    turn: Array

    def take(self, chosen: Index) -> Inertia:
        """Some variants only."""
        return Inertia(spins=self.spins[chosen], turn=self.turn[chosen])


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Line:
    """Where one support, divided into elements, is among all elements, nodes and freedoms.

    Attributes
    ----------
    segment : tuple of int
        Which straight piece each element belongs to.
    elements : slice
        Its elements.
    first : int
        Its root in the list of all nodes; they follow each other from root to tip.
    nodes : int
        How many it has.
    free : int array
        About which of its root's axes it can turn in some variant.
    root, joint : int array
        Freedoms of these turns, and of the tip's own rotation: three, or none where the joint is rigid.
    """

    segment: tuple[int, ...]
    elements: slice
    first: int
    nodes: int
    free: Index
    root: Index
    joint: Index

    @property
    def tip(self) -> int:
        """Its tip in the list of all nodes."""
        return self.first + self.nodes - 1


class Rods:
    """A batch of rods of one layout with a prop.

    Parameters
    ----------
    supports : sequence of Support
        One or several, as for `Frame`.
    prop : Prop
        The rigid prop.
    order : int
        Of the Lagrange elements, 2 or more.
    elements : int
        For each support; every straight piece has at least one, in proportion to its length.
    shear : bool
        False leaves shear deformation and the rotary inertia of the section out.
    push : array, shape (B, 6), optional
        Steady force on the prop and couple about its centre of mass, raised together with the weight [N], [N m].
    natural : list of array, shape (B, segments, n, 3), optional
        Twist about the local x and curvatures about y and z of each support that need no moment, at n even places
        along each straight piece from its start to its end, straight between them; they come on with the weight
        [1/m].

    Attributes
    ----------
    batch, size, node_count : int
        Variants, freedoms, nodes. The first six freedoms are the prop's displacement and rotation.
    lines : tuple of Line
        The supports.
    points : array, shape (B, N, 3)
        All nodes before any load [m]; node 0 is the prop's centre of mass.
    length, mass_per_length, pull : array, shape (B, E)
        Of each element [m], [kg/m], and the tension before the weight comes on [N].
    axes : array, shape (B, E, 3, 3)
        Rows are the local x, y, z before any load.
    strain_stiffness : array, shape (B, E, 6)
        EA, kGAy, kGAz, GJ, EIy, EIz.
    section_inertia : array, shape (B, E, 3)
        Mass moments per length about the local axes [kg m].
    natural : array, shape (B, E, p, 3), or None
        Twist and curvatures that need no moment under the whole load, at the Gauss points [1/m]; None for none.
    root_axes : array, shape (B, supports, 3, 3)
        Columns are the axes about which each root can turn; zero where it cannot.
    root_springs : array, shape (B, supports, 3)
        [N m/rad].
    joint_stiffness : array, shape (B, joints, 3)
        Of the joints that are not rigid [N m/rad].
    arm : array, shape (B, supports, 3)
        From the prop's centre of mass to each tip before any load [m].
    members : int array, shape (E, p + 1)
        Nodes of each element, in the order of `rod_elements.node_order`.
    roots, tips, first_elements, last_elements : int array, shape (supports,)
        Nodes and elements at the ends of the supports.
    jointed, rigid : int array
        Supports with a joint at the tip that gives, and with none.
    inner_freedoms : int array, shape (E, 6 (p - 1))
        Of the nodes inside each element: spins, then displacements.
    end_freedoms : int array, shape (E, k)
        Of its start: six, or those of the root's three angles and three of none. Of its end: six, at the tip the
        prop's. Where there are joints, three more of the joint. `size` stands for none.
    outer_freedoms : int array, shape (m,)
        All that are not inside an element; the prop's come first.
    root_freedoms, joint_freedoms : int array, shape (supports, 3) and (joints, 3)
        Of the roots' angles, and of the tips' own rotations.
    node_freedoms, step_freedoms : int array, shape (N, 6)
        Of the displacement and spin of each node between root and tip; and, with those of prop and tips, of what a
        step adds to all.
    """

    def __init__(
        self,
        supports: tuple[Support, ...] | list[Support],
        prop: Prop,
        *,
        order: int,
        elements: int,
        shear: bool,
        push: Array | None = None,
        natural: list[Array] | None = None,
    ) -> None:
        self.order, self.prop = order, prop
        self.batch = len(prop.mass)
        parts = [
            _divided(support, order, elements, shear, None if natural is None else natural[index])
            for index, support in enumerate(supports)
        ]

        def joined(name: str) -> Array:
            return np.concatenate([getattr(part, name) for part in parts], axis=1)

        self.length, self.axes, self.pull = joined("length"), joined("axes"), joined("pull")
        self.strain_stiffness, self.mass_per_length = joined("strain_stiffness"), joined("mass_per_length")
        self.section_inertia = joined("section_inertia")
        self.natural = None if natural is None else joined("natural")
        self.points: Array = np.concatenate(
            [prop.centre_of_mass[:, None], *(part.points for part in parts)], axis=1
        )
        self.node_count = self.points.shape[1]
        self.root_axes = np.stack([part.root_axes for part in parts], axis=1)
        self.root_springs = np.stack([part.root_springs for part in parts], axis=1)
        joints = [support.joint_stiffness for support in supports if support.joint_stiffness is not None]
        self.joint_stiffness = np.stack(joints, axis=1) if joints else np.zeros((self.batch, 0, 3))
        self.arm = np.stack([support.tip for support in supports], axis=1) - prop.centre_of_mass[:, None]
        self._lay_out(parts)
        self.balance_force: Array = np.zeros((self.batch, self.node_count, 3))
        self.balance_couple: Array = np.zeros((self.batch, 3))
        self.push: Array = np.zeros((self.batch, 6)) if push is None else push
        if np.any(self.pull):
            self._balance()

    def take(self, chosen: Index) -> Rods:
        """The same layout for some variants only."""
        result = object.__new__(Rods)
        result.__dict__.update(self.__dict__)
        for name in _CACHED:
            result.__dict__.pop(name, None)
        result.batch = len(chosen)
        result.prop = self.prop.take(chosen)
        for name in _BATCHED:
            setattr(result, name, getattr(self, name)[chosen])
        result.natural = None if self.natural is None else self.natural[chosen]
        return result

    # -- layout -----------------------------------------------------------------------------------------

    def _lay_out(self, parts: list[_Divided]) -> None:
        """Number the freedoms, and say where each element, node, root and tip finds its own."""
        order = self.order
        inside = 6 * (order - 1)
        size, first = PROP_FREEDOMS, 1

        def following(count: int) -> Index:
            nonlocal size
            size += count
            return np.arange(size - count, size)

        lines: list[Line] = []
        members: list[Index] = []
        inner, starts, stops = [], [], []
        for part in parts:
            count = len(part.segment)
            root = following(len(part.free))
            between: list[Index] = []
            for index in range(count):
                inner.append(following(inside))
                if index < count - 1:
                    between.append(following(6))
            line = Line(
                segment=part.segment,
                elements=slice(len(members), len(members) + count),
                first=first,
                nodes=count * order + 1,
                free=part.free,
                root=root,
                joint=following(3 if part.jointed else 0),
            )
            members.extend(first + index * order + node_order(order) for index in range(count))
            starts.extend([None, *between])
            stops.extend([*between, None])
            lines.append(line)
            first += line.nodes
        self.lines, self.size = tuple(lines), size
        self.members = np.array(members)
        self.inner_freedoms = np.array(inner)
        self.roots = np.array([line.first for line in lines])
        self.tips = np.array([line.tip for line in lines])
        self.first_elements = np.array([line.elements.start for line in lines])
        self.last_elements = np.array([line.elements.stop - 1 for line in lines])
        jointed = np.array([len(line.joint) > 0 for line in lines])
        self.jointed, self.rigid = np.flatnonzero(jointed), np.flatnonzero(~jointed)
        self.joint_freedoms = np.concatenate([line.joint for line in lines]).reshape(-1, 3)
        self.root_freedoms = np.full((len(lines), 3), size)
        self.node_freedoms = np.full((self.node_count, 6), size)
        ends = np.full((len(members), END_FREEDOMS + (3 if len(self.jointed) else 0)), size)
        for index, (start, stop) in enumerate(zip(starts, stops, strict=True)):
            if start is not None:
                ends[index, :6] = start
            if stop is not None:
                ends[index, 6:12] = stop
                self.node_freedoms[self.members[index, 1]] = stop
        spins = self.inner_freedoms[:, : inside // 2].reshape(-1, order - 1, 3)
        shifts = self.inner_freedoms[:, inside // 2 :].reshape(-1, order - 1, 3)
        self.node_freedoms[self.members[:, 2:]] = np.concatenate([shifts, spins], axis=2)
        self.step_freedoms = self.node_freedoms.copy()
        self.step_freedoms[0] = np.arange(PROP_FREEDOMS)
        for index, line in enumerate(lines):
            self.root_freedoms[index, line.free] = line.root
            ends[line.elements.start, :3] = self.root_freedoms[index]
            ends[line.elements.stop - 1, 6:12] = np.arange(PROP_FREEDOMS)
            ends[line.elements.stop - 1, 12:] = line.joint if len(line.joint) else size
            self.step_freedoms[line.tip, 3:] = line.joint if len(line.joint) else np.arange(3, PROP_FREEDOMS)
        self.end_freedoms = ends
        outside = np.ones(size, dtype=bool)
        outside[self.inner_freedoms] = False
        self.outer_freedoms = np.flatnonzero(outside)

    @cached_property
    def outer_ends(self) -> Index:
        """`end_freedoms` counted among the outer freedoms."""
        places = np.full(self.size + 1, len(self.outer_freedoms))
        places[self.outer_freedoms] = np.arange(len(self.outer_freedoms))
        return np.asarray(places[self.end_freedoms])

    def add_outer(self, result: Array, blocks: Array) -> None:
        """Add matrices among the `end_freedoms`, (B, E, k, k), to one among the outer freedoms, (B, m, m)."""
        for index, runs in enumerate(self.outer_runs):
            for rows, place in runs:
                for columns, other in runs:
                    result[:, place, other] += blocks[:, index, rows, columns]

    def add_outer_rows(self, result: Array, rows: Array) -> None:
        """Add rows for the `end_freedoms`, (B, E, k, ...), to those of the outer freedoms, (B, m, ...)."""
        for index, runs in enumerate(self.outer_runs):
            for own, place in runs:
                result[:, place] += rows[:, index, own]

    def add_springs(self, result: Array) -> None:
        """Add the springs of roots and joints in the given shape to a matrix among the outer freedoms, (B, m, m)."""
        for index, line in enumerate(self.lines):
            own = np.searchsorted(self.outer_freedoms, line.root)
            result[:, own, own] += self.root_springs[:, index, line.free]
        prop = np.arange(3, PROP_FREEDOMS)
        for index, freedoms in enumerate(self.joint_freedoms):
            own, spring = np.searchsorted(self.outer_freedoms, freedoms), self.joint_stiffness[:, index]
            result[:, prop, prop] += spring
            result[:, own, own] += spring
            result[:, prop, own] -= spring
            result[:, own, prop] -= spring

    def at_ends(self, outer: Array) -> Array:
        """Of the outer freedoms, (B, m, k), those of the ends of each element, in the order of `end_freedoms`."""
        none = np.zeros((len(outer), 1, outer.shape[2]))
        return np.asarray(np.concatenate([outer, none], axis=1)[:, self.outer_ends])

    @cached_property
    def outer_runs(self) -> list[list[tuple[slice, slice]]]:
        """For each element the stretches of its end freedoms, and where they lie among the outer freedoms."""
        return [_runs(places, len(self.outer_freedoms)) for places in self.outer_ends]

    @cached_property
    def _end_runs(self) -> list[list[tuple[slice, slice]]]:
        return [_runs(places, self.size) for places in self.end_freedoms]

    @cached_property
    def angular(self) -> NDArray[np.bool_]:
        """Which freedoms are angles, shape (n,)."""
        result = np.zeros(self.size + 1, dtype=bool)
        result[self.step_freedoms[:, 3:]] = True
        result[self.root_freedoms] = True
        return result[:-1]

    @cached_property
    def elements(self) -> Elements:
        """All elements of all variants, those of one variant beside each other."""
        count = self.length.size
        natural = self.natural
        return Elements(
            order=self.order,
            length=self.length.reshape(count),
            axes=np.ascontiguousarray(self.axes.reshape(count, 3, 3).transpose(1, 2, 0)),
            stiffness=np.ascontiguousarray(self.strain_stiffness.reshape(count, 6).T),
            pull=self.pull.reshape(count),
            natural=None
            if natural is None
            else np.ascontiguousarray(natural.reshape(count, self.order, 3).transpose(2, 1, 0)),
        )

    @cached_property
    def _still_ends(self) -> Array:
        """What of `Ends.maps` is the same in all states."""
        result = np.zeros(
            (self.batch, *self.end_freedoms.shape[:1], END_FREEDOMS, self.end_freedoms.shape[1])
        )
        inner = np.ones(len(self.members), dtype=bool)
        inner[self.first_elements] = False
        result[:, inner, :3, :3] = result[:, inner, 6:9, 3:6] = self.axes[:, inner]
        result[:, :, 3:6, 6:9] = self.axes
        result[:, :, 9:, 9:12] = self.axes
        jointed = self.last_elements[self.jointed]
        result[:, jointed, 9:, 9:12] = 0.0
        if len(jointed):
            result[:, jointed, 9:, 12:] = self.axes[:, jointed]
        return result

    def _balance(self) -> None:
        """Find the forces that hold the given shape under pretension: at corners of lines, on the prop."""
        needed = self.evaluate(self.rest(), np.zeros((self.batch, self.node_count, 3))).unbalanced[..., :3]
        on_tips = needed[:, self.tips]
        held = needed.copy()
        held[:, self.roots] = held[:, self.tips] = 0.0
        held[:, 0] = np.sum(on_tips, axis=1)
        self.balance_force = held
        self.balance_couple = np.sum(cross(self.arm, on_tips), axis=1)

    # -- state ------------------------------------------------------------------------------------------

    def rest(self) -> State:
        """The given shape."""
        turn = np.zeros((self.batch, self.node_count, 4))
        turn[..., 0] = 1.0
        return State(
            shift=np.zeros((self.batch, self.node_count, 3)),
            turn=turn,
            root_angle=np.zeros((self.batch, len(self.lines), 3)),
        )

    def rest_stress(self) -> Array:
        """Section forces of the given shape: the tension pulled into the lines, as `Evaluation.stress`."""
        stress = np.zeros((*self.length.shape, self.order, 6))
        stress[..., 0] = self.pull[..., None]
        return stress

    def advance(self, state: State, step: Array) -> State:
        """Add a step of the freedoms.

        Parameters
        ----------
        state : State
            Where it starts.
        step : array, shape (B, n)
            Displacements, spins and changes of root angles.

        Returns
        -------
        State
        """
        padded = _padded(step)
        moved = padded[:, self.step_freedoms]
        shift = state.shift + moved[..., :3]
        turn = product(from_vector(moved[..., 3:]), state.turn)
        turn /= np.sqrt(np.sum(turn * turn, axis=-1, keepdims=True))
        root_angle = state.root_angle + padded[:, self.root_freedoms]
        turn[:, self.roots] = from_vector(self._root_vector(root_angle))
        less = turn_less_identity(turn[:, 0])
        shift[:, self.tips] = shift[:, :1] + self.arm @ np.swapaxes(less, 1, 2)
        return State(shift=shift, turn=turn, root_angle=root_angle)

    def _root_vector(self, root_angle: Array) -> Array:
        """Rotation vectors of all roots about the fixed axes, (B, supports, 3)."""
        return np.asarray((self.root_axes @ root_angle[..., None])[..., 0])

    def _ends(self, state: State, root: Array) -> Ends:
        """How the ends of lines move with the freedoms."""
        maps = self._still_ends.copy()
        first, last = self.first_elements, self.last_elements
        arm = self.arm + (state.shift[:, self.tips] - state.shift[:, :1])
        lever = cross_matrix(arm)
        maps[:, first, 6:9, :3] = self.axes[:, first] @ root
        maps[:, last, 3:6, 9:12] = -self.axes[:, last] @ lever
        return Ends(maps=maps, root=root, arm=arm, lever=lever)

    def ends(self, state: State) -> Ends:
        """How the ends of lines move with the freedoms about a state."""
        vector = self._root_vector(state.root_angle)
        return self._ends(state, slope_and_bend(vector, self.root_axes, np.zeros_like(vector))[0])

    def element_steps(self, ends: Ends, step: Array) -> Array:
        """Displacements and spins of each element's nodes in its own axes for small steps.

        Parameters
        ----------
        ends : Ends
            Of the state where they start.
        step : array, shape (B, n, k)
            Freedoms.

        Returns
        -------
        array, shape (B, E, 6 (p + 1), k)
        """
        batch, many = step.shape[0], step.shape[2]
        count = len(self.members)
        padded = np.concatenate([step, np.zeros((batch, 1, many))], axis=1)
        inner = step[:, self.inner_freedoms].reshape(batch, count, -1, 3, many)
        return np.concatenate(
            [
                ends.maps @ padded[:, self.end_freedoms],
                (self.axes[:, :, None] @ inner).reshape(batch, count, -1, many),
            ],
            axis=2,
        )

    # -- loads ------------------------------------------------------------------------------------------

    def weight(self, gravity: Array) -> Array:
        """Forces of a uniform field of acceleration on all nodes.

        Parameters
        ----------
        gravity : array, shape (B, 3)
            [m/s2].

        Returns
        -------
        array, shape (B, N, 3)
            [N].
        """
        share = np.sum(_mass_shapes(self.order), axis=1)
        mass = self._on_nodes((self.mass_per_length * self.length)[..., None, None] * share[:, None])
        mass[:, 0, 0] = self.prop.mass
        return np.asarray(mass * gravity[:, None])

    def _on_nodes(self, values: Array) -> Array:
        """Sums at all nodes of what the elements have at theirs, (..., E, p + 1, c) to (..., N, c)."""
        result = np.zeros((*values.shape[:-3], self.node_count, values.shape[-1]))
        result[..., self.members[:, 1:], :] = values[..., 1:, :]
        result[..., self.members[:, 0], :] += values[..., 0, :]
        return result

    def _generalised(self, nodal: Array, ends: Ends) -> Array:
        """Forces by the freedoms, and by one of none, of forces and moments on the nodes of lines, (..., B, N, 6)."""
        result = np.empty((*nodal.shape[:-2], self.size + 1))
        result[..., self.node_freedoms.ravel()] = nodal.reshape(*nodal.shape[:-2], -1)
        on_tips = nodal[..., self.tips, :]
        result[..., :3] = np.sum(on_tips[..., :3], axis=-2)
        turning = (ends.lever @ on_tips[..., :3, None])[..., 0]
        turning[..., self.rigid, :] += on_tips[..., self.rigid, 3:]
        result[..., 3:PROP_FREEDOMS] = np.sum(turning, axis=-2)
        result[..., self.joint_freedoms] = on_tips[..., self.jointed, 3:]
        roots = np.swapaxes(ends.root, -1, -2) @ nodal[..., self.roots, 3:, None]
        result[..., self.root_freedoms] = roots[..., 0]
        return result

    # -- energy, gradient, tangent ----------------------------------------------------------------------

    def load(self, gravity: Array) -> Array:
        """Dead forces on all nodes under the whole load: the weight, and the push on the prop.

        Parameters
        ----------
        gravity : array, shape (B, 3)
            [m/s2].

        Returns
        -------
        array, shape (B, N, 3)
            [N]; the push's couple is not in it.
        """
        result = self.weight(gravity)
        result[:, 0] += self.push[:, :3]
        return result

    def evaluate(
        self, state: State, force: Array, stress: Array | None = None, *, share: Array | None = None
    ) -> Evaluation:
        """Gradient and tangent of the energy.

        Parameters
        ----------
        state : State
            Where to evaluate.
        force : array, shape (B, N, 3)
            Dead forces on all nodes [N].
        stress : array, shape (B, E, p, 6), optional
            Section forces for the geometric part of the tangent, as from `stress_change`; those of the
            state if left out.
        share : array, shape (B,), optional
            Share of the load's couple and of the natural curvature that acts; the whole of both if left out.

        Returns
        -------
        Evaluation

        Notes
        -----
        Taking the geometric part from section forces that were carried along linearly, and not from
        those of the state, is the Newton iteration of the mixed problem with the section forces eliminated.
        It has the same solution and does not suffer from the spurious stretch that a finite rotation step
        puts into a thin wire.
        """
        batch, count, order = self.batch, len(self.members), self.order
        parts = element_energy(
            self.elements,
            np.ascontiguousarray(state.shift[:, self.members].reshape(-1, order + 1, 3).transpose(2, 1, 0)),
            np.ascontiguousarray(state.turn[:, self.members].reshape(-1, order + 1, 4).transpose(2, 1, 0)),
            None if stress is None else stress.reshape(-1, order, 6),
            None if share is None else np.repeat(share, count),
        )
        total = force + self.balance_force
        unbalanced = self._on_nodes(parts.force.T.reshape(batch, count, order + 1, 6))
        unbalanced[:, 1:, :3] -= total[:, 1:]
        # What follows the geometric part.
        carried = parts.carried_force.reshape(6, order + 1, batch, count)
        at_root = carried[3:, 0][:, :, self.first_elements].transpose(1, 2, 0)
        at_tip = carried[:3, 1][:, :, self.last_elements].transpose(1, 2, 0) - total[:, self.tips]

        root, bend = slope_and_bend(self._root_vector(state.root_angle), self.root_axes, at_root)
        ends = self._ends(state, root)
        gradient = self._generalised(unbalanced, ends)[:, :-1]
        corner = np.zeros((batch, len(self.outer_freedoms), len(self.outer_freedoms)))
        springs = self.root_springs * state.root_angle
        for index, line in enumerate(self.lines):
            if len(line.root):
                gradient[:, line.root] += springs[:, index, line.free]
                own = np.searchsorted(self.outer_freedoms, line.root)
                block = bend[:, index][:, line.free[:, None], line.free]
                corner[:, own[:, None], own] = block + self.root_springs[:, index, line.free, None] * np.eye(
                    len(own)
                )
        corner[:, 3:6, 3:6] = np.sum(_swing(at_tip, ends.arm), axis=1)
        gradient[:, :3] -= total[:, 0]
        if len(self.jointed):
            self._add_joints(state, gradient, corner)
        pushed = self.push[:, 3:] if share is None else share[:, None] * self.push[:, 3:]
        couple = self.balance_couple + pushed
        if np.any(couple):
            _add_couple(state, couple, gradient, corner)
        return Evaluation(
            gradient=gradient,
            element_tangent=parts.tangent.reshape(batch, count, *parts.tangent.shape[1:]),
            corner=corner,
            ends=ends,
            unbalanced=unbalanced,
            stress=parts.stress.reshape(batch, count, order, 6),
            strain_map=parts.strain_map.reshape(batch, count, *parts.strain_map.shape[1:]),
        )

    def tangent(self, evaluation: Evaluation) -> Array:
        """Second derivative of the energy by the freedoms, shape (B, n, n); see `Evaluation`."""
        return self._assembled(evaluation.element_tangent, evaluation.ends, evaluation.corner)

    def node_force(self, evaluation: Evaluation) -> Array:
        """Force and moment that the lines need from outside at every node, their weight counted, shape (B, N, 6).

        The forces that hold a given shape under pretension are among them.
        """
        result = evaluation.unbalanced.copy()
        result[:, 1:, :3] += self.balance_force[:, 1:]
        return result

    def stress_change(self, strain_map: Array, steps: Array) -> Array:
        """Change of the section forces with small steps.

        Parameters
        ----------
        strain_map : array
            Of the `Evaluation` where they start.
        steps : array, shape (B, E, 6 (p + 1), k)
            As from `element_steps`.

        Returns
        -------
        array, shape (B, E, p, 6, k)
        """
        # All points of an element in one product.
        rows = strain_map.reshape(*strain_map.shape[:2], -1, strain_map.shape[4]) @ steps
        change = rows.reshape(*strain_map.shape[:4], steps.shape[3])
        change *= self.strain_stiffness[:, :, :, None, None]
        return np.swapaxes(change, 2, 3)

    def _assembled(self, blocks: Array, ends: Ends, corner: Array | None = None) -> Array:
        """The matrix of the rods from those of the elements in their own axes, (B, E, 6 (p + 1), 6 (p + 1))."""
        maps, back = ends.maps, np.swapaxes(ends.maps, -1, -2)
        outer = back @ blocks[..., :END_FREEDOMS, :END_FREEDOMS] @ maps
        link = self._turned_columns(back @ blocks[..., :END_FREEDOMS, END_FREEDOMS:])
        # Symmetric: turned by its columns, its rows, and its columns again.
        inner = self._turned_columns(
            np.swapaxes(self._turned_columns(blocks[..., END_FREEDOMS:, END_FREEDOMS:]), -1, -2)
        )
        result = np.zeros((len(blocks), self.size, self.size))
        if corner is not None:
            result[:, self.outer_freedoms[:, None], self.outer_freedoms] = corner
        for index, (runs, inside) in enumerate(zip(self._end_runs, self.inner_freedoms, strict=True)):
            own = slice(inside[0], inside[-1] + 1)
            result[:, own, own] = inner[:, index]
            for rows, whole in runs:
                result[:, whole, own] = link[:, index, rows]
                result[:, own, whole] = np.swapaxes(link[:, index, rows], -1, -2)
                for columns, place in runs:
                    result[:, whole, place] += outer[:, index, rows, columns]
        return result

    def _turned_columns(self, blocks: Array) -> Array:
        """Columns by the element's axes made columns by the fixed axes."""
        threes = np.ascontiguousarray(blocks).reshape(*blocks.shape[:2], -1, 3)
        return np.asarray(threes @ self.axes).reshape(blocks.shape)

    def _turned_at_joints(self, state: State) -> Array:
        """Rotation of each tip on a joint relative to the prop, as quaternions, (B, joints, 4)."""
        return product(conjugate(state.turn[:, :1]), state.turn[:, self.tips[self.jointed]])

    def _add_joints(self, state: State, gradient: Array, corner: Array) -> None:
        """Springs between the prop and the tips: add to gradient and tangent."""
        spring = self.joint_stiffness
        relative = self._turned_at_joints(state)
        angle, first, second = logarithm_derivatives(relative)
        moment = spring * angle
        slope = np.einsum("bji,bjik->bjk", moment, first)
        bend = np.swapaxes(first, -1, -2) @ (spring[..., None] * first) + np.einsum(
            "bji,bjikl->bjkl", moment, second
        )
        way = spin_map(relative)
        along = np.einsum("bjik,bji->bjk", way, slope)
        stiff = np.swapaxes(way, -1, -2) @ bend @ way
        stiff -= np.sum(slope * relative, axis=-1)[..., None, None] / 4 * np.eye(3)
        turn = rotation_matrix(state.turn[:, 0])[:, None]
        torque = (turn @ along[..., None])[..., 0]
        stiff = turn @ stiff @ np.swapaxes(turn, -1, -2)
        # The small rotation between them is, to second order, the difference of the spins less half their
        # product.
        mixed = cross_matrix(torque) / 2
        gradient[:, 3:6] -= np.sum(torque, axis=1)
        gradient[:, self.joint_freedoms] += torque
        corner[:, 3:6, 3:6] += np.sum(stiff, axis=1)
        for index, freedoms in enumerate(self.joint_freedoms):
            start = int(np.searchsorted(self.outer_freedoms, freedoms[0]))
            own = slice(start, start + 3)
            corner[:, own, own] += stiff[:, index]
            corner[:, 3:6, own] += mixed[:, index] - stiff[:, index]
            corner[:, own, 3:6] -= mixed[:, index] + stiff[:, index]

    # -- inertia ----------------------------------------------------------------------------------------

    def inertia(self, state: State) -> Inertia:
        """What the mass and loads of all elements about a state have in common."""
        order = self.order
        turn = np.ascontiguousarray(state.turn[:, self.members].reshape(-1, order + 1, 4).transpose(2, 1, 0))
        spins, axes = section_spins(self.elements, turn)
        shape = self.length.shape
        return Inertia(
            spins=spins.reshape(*shape, *spins.shape[1:]), turn=axes.reshape(*shape, *axes.shape[1:])
        )

    def element_mass(self, inertia: Inertia) -> Array:
        """Consistent mass about a state, of each element as in `Evaluation.element_tangent`."""
        order = self.order
        nodes = order + 1
        shifts, spins = (
            np.array([*range(6), *range(6 + 3 * nodes, 6 * nodes)]).reshape(-1, 3),
            slice(6, 6 + 3 * nodes),
        )
        shape = np.zeros((6 * nodes, 6 * nodes))
        for axis in range(3):
            shape[shifts[:, None, axis], shifts[:, axis]] = _mass_shapes(order)
        blocks = (self.mass_per_length * self.length)[..., None, None] * shape
        rows = inertia.spins.reshape(*self.length.shape, -1, 3 * nodes)
        heavy = self._section_moments.reshape(*self.length.shape, -1, 1)
        blocks[..., spins, spins] = np.swapaxes(rows, -1, -2) @ (heavy * rows)
        return np.asarray(blocks)

    def prop_mass(self, state: State) -> Array:
        """The prop's mass about a state, shape (B, 6, 6)."""
        result = np.zeros((self.batch, PROP_FREEDOMS, PROP_FREEDOMS))
        result[:, [0, 1, 2], [0, 1, 2]] = self.prop.mass[:, None]
        result[:, 3:, 3:] = self._prop_inertia(state)
        return result

    def mass(self, state: State, ends: Ends, inertia: Inertia) -> Array:
        """Consistent mass about a state, shape (B, n, n), with what `ends` and `inertia` say there."""
        result = self._assembled(self.element_mass(inertia), ends)
        result[:, :PROP_FREEDOMS, :PROP_FREEDOMS] += self.prop_mass(state)
        return result

    def inertial_load(
        self,
        state: State,
        ends: Ends,
        inertia: Inertia,
        offset: Array,
        gradient: Array | None,
        about: Array,
    ) -> Array:
        """Load of fields of acceleration on the moved rods.

        Parameters
        ----------
        state : State
            Where they are.
        ends : Ends
            Of this state.
        inertia : Inertia
            The same.
        offset, about : array, shape (..., B, 3)
            The field is ``offset + gradient (x - about)`` [m/s2], [m].
        gradient : array, shape (..., B, 3, 3), or None
            [1/s2]; None for a uniform field.

        Returns
        -------
        array, shape (..., B, n)
            Generalised forces.
        """
        if gradient is None:
            field = np.broadcast_to(offset[..., None, :], (*offset.shape[:-1], self.node_count, 3))
        else:
            moved = self.points + state.shift - about[..., None, :]
            field = offset[..., None, :] + moved @ np.swapaxes(gradient, -1, -2)
        mass = (self.mass_per_length * self.length)[..., None, None]
        on_elements = np.zeros((*field.shape[:-2], *self.members.shape, 6))
        on_elements[..., :3] = mass * (_mass_shapes(self.order) @ field[..., self.members, :])
        if gradient is not None:
            own = inertia.turn @ gradient[..., None, None, :, :] @ np.swapaxes(inertia.turn, -1, -2)
            couple = _field_couple(self._section_moments[..., None] * np.eye(3), own)
            turned = np.einsum("begij,...begi->...bej", inertia.spins, couple)
            turned = turned.reshape(*turned.shape[:-1], -1, 3) @ self.axes
            on_elements[..., 3:] = turned
        result = self._generalised(self._on_nodes(on_elements), ends)[..., :-1]
        result[..., :3] += self.prop.mass[:, None] * field[..., 0, :]
        if gradient is not None:
            result[..., 3:6] += _field_couple(self._prop_inertia(state), gradient)
        return np.asarray(result)

    @property
    def _section_moments(self) -> Array:
        """Mass moments that each of the p + 1 Gauss points of the elements stands for, (B, E, p + 1, 3)."""
        _, weights = gauss(self.order + 1)
        return np.asarray(self.length[..., None, None] * weights[:, None] * self.section_inertia[:, :, None])

    def _prop_inertia(self, state: State) -> Array:
        turn = rotation_matrix(state.turn[:, 0])
        return np.asarray(turn @ self.prop.inertia @ np.swapaxes(turn, 1, 2))

    # -- what stands where ------------------------------------------------------------------------------

    def section_stress(self, line: Line, stress: Array, stations: Array) -> list[Array]:
        """Section forces at stations of each straight piece, from those at the Gauss points.

        Parameters
        ----------
        line : Line
            One of `lines`.
        stress : array, shape (B, E, p, 6, ...)
            As in `Evaluation.stress`, of all elements.
        stations : array, shape (s,)
            Places along each piece, 0 at its start and 1 at its end.

        Returns
        -------
        list of array, shape (B, s, 6, ...)
            For each piece.

        Notes
        -----
        Strains are best at the Gauss points; drawn on from those of one element to its ends they lose an order. Along
        a straight piece section forces are smooth, so two neighbouring elements share a polynomial, fitted to their
        points by least squares: about ten times closer at a clamp (superconvergent patch recovery; O. C. Zienkiewicz
        and J. Z. Zhu, Int. J. Numer. Meth. Engng 33, 1992, from memory).
        """
        results = []
        owner = np.array(line.segment)
        for piece in range(owner[-1] + 1):
            own = line.elements.start + np.flatnonzero(owner == piece)
            values = _recovery(self.order, len(own), tuple(np.asarray(stations).tolist()))
            known = stress[:, own[0] : own[-1] + 1].reshape(len(stress), len(own) * self.order, -1)
            found = values @ known
            results.append(found.reshape(len(stress), len(values), *stress.shape[3:]))
        return results

    def moment_jump(self, state: State, evaluation: Evaluation) -> Array:
        """Largest jump of a section moment at a node, over the largest moment of the variant.

        Parameters
        ----------
        state : State
            In equilibrium.
        evaluation : Evaluation
            There.

        Returns
        -------
        array, shape (B,)
            Falls with the size of the elements; roots and tips are compared with the forces they need.
        """
        points, _ = gauss(self.order)
        ends, _ = polynomials_through(points, np.array([0.0, 1.0]))
        moment = (ends @ evaluation.stress[..., 3:]) @ self.axes
        force = evaluation.unbalanced[..., 3:, None]

        def held(nodes: Index) -> Array:
            return (np.swapaxes(rotation_matrix(state.turn[:, nodes]), -1, -2) @ force[:, nodes])[..., 0]

        starts = np.ones(len(self.members), dtype=bool)
        starts[self.first_elements] = False
        later = np.flatnonzero(starts)
        jumps = [
            held(self.roots) + moment[:, self.first_elements, 0],
            held(self.tips) - moment[:, self.last_elements, 1],
            moment[:, later, 0] - moment[:, later - 1, 1],
        ]
        jump = np.max(np.linalg.norm(np.concatenate(jumps, axis=1), axis=2), axis=1)
        most = np.max(np.linalg.norm(moment, axis=3), axis=(1, 2))
        return np.asarray(np.where(most > 0, jump / np.where(most > 0, most, 1.0), most))

    def centre_line(self, state: State, line: Line, stations: Array) -> Array:
        """Places of the moved centre line, shape (B, pieces times stations, 3)."""
        moved = self.points + state.shift
        pieces = []
        for element, share in _locate(line, stations):
            values, _ = lagrange_matrices(self.order, share)
            nodes = self.members[line.elements.start + element]
            pieces.append(np.einsum("sa,bsai->bsi", values[:, node_order(self.order)], moved[:, nodes]))
        return np.concatenate(pieces, axis=1)


_BATCHED = (
    "length", "axes", "pull", "strain_stiffness", "mass_per_length", "section_inertia", "points", "root_axes",
    "root_springs", "joint_stiffness", "arm", "balance_force", "balance_couple", "push",
)  # fmt: skip
_CACHED = ("elements", "_still_ends")
"""What is kept for one batch and must not go with others."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Divided:
    """One support divided into elements; arrays as in `Rods`."""

    segment: tuple[int, ...]
    points: Array
    length: Array
    axes: Array
    strain_stiffness: Array
    mass_per_length: Array
    section_inertia: Array
    pull: Array
    natural: Array | None
    root_axes: Array
    root_springs: Array
    free: Index
    jointed: bool


def _divided(support: Support, order: int, elements: int, shear: bool, natural: Array | None) -> _Divided:
    batch = len(support.points)
    steps = np.diff(support.points, axis=1)
    lengths = np.linalg.norm(steps, axis=2)
    axes = local_axes(steps / lengths[..., None], support.width_direction)
    share = np.max(lengths / np.sum(lengths, axis=1, keepdims=True), axis=0)
    counts = np.maximum(np.ceil(elements * share - 1e-9).astype(int), 1)
    segment = np.repeat(np.arange(support.segments), counts)
    within = np.concatenate([np.arange(count) for count in counts])
    places = (within[:, None] + lobatto(order)[:-1]) / counts[segment][:, None]
    starts = support.points[:, segment, None] + places[..., None] * steps[:, segment, None]
    bending = np.stack([support.bending_stiffness_y, support.bending_stiffness_z], axis=2)
    shears = np.stack([support.shear_stiffness_y, support.shear_stiffness_z], axis=2)
    inertia = np.stack([support.polar_inertia, support.rotary_inertia_y, support.rotary_inertia_z], axis=2)
    if not shear:
        shears = np.maximum(shears, _STIFF * np.max(bending, axis=2, keepdims=True) / lengths[..., None] ** 2)
        inertia = inertia * np.array([1.0, 0.0, 0.0])
    sections = np.concatenate(
        [support.axial_stiffness[..., None], shears, support.torsional_stiffness[..., None], bending], axis=2
    )
    held = np.isinf(support.root_stiffness)
    directions = np.eye(3) if support.root_axes is None else np.swapaxes(support.root_axes, 1, 2)
    # A root that is rigid in some variants only keeps its freedom there, but the freedom moves nothing.
    # Its spring only keeps the tangent regular, so any size near the others will do.
    springs = np.where(held, (np.max(bending, axis=(1, 2)) / lengths[:, 0])[:, None], support.root_stiffness)
    if natural is not None:
        natural = _at_places(
            natural[:, segment], (within[:, None] + gauss(order)[0]) / counts[segment][:, None]
        )
    pull = np.zeros(batch) if support.tension is None else support.tension
    return _Divided(
        segment=tuple(int(index) for index in segment),
        points=np.concatenate([starts.reshape(batch, -1, 3), support.points[:, -1:]], axis=1),
        length=lengths[:, segment] / counts[segment],
        axes=axes[:, segment],
        strain_stiffness=sections[:, segment],
        mass_per_length=support.mass_per_length[:, segment],
        section_inertia=inertia[:, segment],
        pull=np.repeat(pull[:, None], len(segment), axis=1),
        natural=natural,
        root_axes=np.where(held[:, None], 0.0, directions),
        root_springs=springs,
        free=np.flatnonzero(~held.all(axis=0)),
        jointed=support.joint_stiffness is not None,
    )


@cache
def _mass_shapes(order: int) -> Array:
    """Products of the nodes' shapes over an element of unit length, (p + 1, p + 1)."""
    places, weights = gauss(order + 1)
    values = lagrange_matrices(order, places)[0][:, node_order(order)]
    return np.asarray(values.T @ (weights[:, None] * values))


def _padded(step: Array) -> Array:
    """A step with that of one more freedom, which stands for none."""
    return np.concatenate([step, np.zeros((len(step), 1))], axis=1)


def _runs(places: Index, none: int) -> list[tuple[slice, slice]]:
    """Stretches of places that follow each other, without those of none."""
    apart = np.where(places == none, -none - 2, places)
    return [(rows, whole) for rows, whole in runs_of(tuple(apart.tolist())) if whole.start >= 0]


def _add_couple(state: State, couple: Array, gradient: Array, corner: Array) -> None:
    """Couple on the prop, that balances the pretension or comes with the load, as three pairs of dead forces."""
    turn = rotation_matrix(state.turn[:, 0])
    for axis in np.eye(3):
        force, arm = cross(couple, axis) / 2, turn @ axis
        gradient[:, 3:6] -= cross(arm, force)
        corner[:, 3:6, 3:6] -= _swing(force, arm)


@cache
def _recovery(order: int, count: int, stations: tuple[float, ...]) -> Array:
    """Values at stations of a piece from those at the Gauss points of its elements, shape (s, elements times p)."""
    points, _ = gauss(order)
    result = np.zeros((len(stations), count * order))
    together = min(count, 2)
    degree = order + 1 if together == 2 else order - 1
    known = np.concatenate([points + place for place in range(together)]) / together
    fit = np.linalg.pinv(legendre.legvander(2 * known - 1, degree))
    for row, station in enumerate(stations):
        first = int(np.clip(round(station * count) - 1, 0, count - together))
        place = (station * count - first) / together
        columns = slice(first * order, (first + together) * order)
        result[row, columns] = legendre.legvander(np.array([2 * place - 1]), degree)[0] @ fit
    return result


def _locate(line: Line, stations: Array) -> list[tuple[Index, Array]]:
    """For each straight piece: the element of every station, and the place in that element."""
    owner = np.array(line.segment)
    results = []
    for piece in range(owner[-1] + 1):
        own = np.flatnonzero(owner == piece)
        place = stations * len(own)
        element = np.minimum(place.astype(int), len(own) - 1)
        results.append((own[element], place - element))
    return results


def _swing(force: Array, arm: Array) -> Array:
    """Second derivative by the spin of ``force . (R arm)``, for the turned arm, shape (..., 3, 3)."""
    outer = force[..., :, None] * arm[..., None, :]
    along = np.sum(force * arm, axis=-1)[..., None, None]
    return np.asarray((outer + np.swapaxes(outer, -1, -2)) / 2 - along * np.eye(3))


def _at_places(values: Array, places: Array) -> Array:
    """Values at even places along each element's piece, taken straight between them at others, (B, E, p, 3)."""
    steps = values.shape[2] - 1
    before = np.minimum((places * steps).astype(int), steps - 1)
    share = (places * steps - before)[..., None]
    rows = np.arange(len(before))[:, None]
    return np.asarray(values[:, rows, before] * (1 - share) + values[:, rows, before + 1] * share)


def _field_couple(inertia: Array, gradient: Array) -> Array:
    """Couple ``int r x (G r) dm`` of a field on a small body about its centre, shape (..., 3)."""
    planar = np.trace(inertia, axis1=-2, axis2=-1)[..., None, None] / 2 * np.eye(3) - inertia
    mixed = planar @ np.swapaxes(gradient, -1, -2)
    skew = mixed - np.swapaxes(mixed, -1, -2)
    return np.stack([skew[..., 1, 2], skew[..., 2, 0], skew[..., 0, 1]], axis=-1)
