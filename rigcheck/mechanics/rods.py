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

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from rigcheck.mechanics.batches import cross
from rigcheck.mechanics.frame import Prop, Support, cross_matrix, local_axes
from rigcheck.mechanics.rod_elements import (
    Line,
    LineEnergy,
    gauss,
    lagrange_matrices,
    line_energy,
    lobatto,
    polynomials_through,
)
from rigcheck.mechanics.turns import (
    conjugate,
    from_vector,
    from_vector_derivatives,
    from_vector_slope,
    logarithm_derivatives,
    product,
    rotation_matrix,
    spin_map,
    turn_less_identity,
)

__all__ = ["Evaluation", "LineInertia", "Rods", "State"]

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
    root_angle : array, shape (B, r)
        Rotation vectors of all roots, along the axes that can turn [rad].
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

    def copy(self) -> State:
        """A copy that shares nothing."""
        return State(shift=self.shift.copy(), turn=self.turn.copy(), root_angle=self.root_angle.copy())


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Evaluation:
    """Gradient and tangent of the potential energy at a state.

    Attributes
    ----------
    energy : array, shape (B,)
        Strain energy less the work of the weight [J].
    gradient : array, shape (B, n)
        By the freedoms; zero in equilibrium. Rotations are small spins about the fixed axes on top of the
        state, those of a root the rates of its angles.
    tangent : array, shape (B, n, n)
        Second derivative, symmetric; exact where `stress` was that of the state.
    node_force : list of array, shape (B, nodes, 6)
        Force and moment that each line needs from outside at its nodes, its weight counted.
    stress : list of array, shape (B, E, p, 6)
        Section forces of the state at the Gauss points in local axes: N, Vy, Vz, T, My, Mz.
    strain_map : list of array, shape (B, E, p, 6, 6 (p + 1))
        Change of the strains with the freedoms of the element's nodes.
    """

    energy: Array
    gradient: Array
    tangent: Array
    node_force: list[Array]
    stress: list[Array]
    strain_map: list[Array]

    @property
    def arrays(self) -> list[Array]:
        """All of them."""
        return [self.energy, self.gradient, self.tangent, *self.node_force, *self.stress, *self.strain_map]

    def unknown(self, batch: int) -> Evaluation:
        """One of the same layout for a batch of variants, all NaN."""

        def blank(value: Array) -> Array:
            return np.full((batch, *value.shape[1:]), np.nan)

        return Evaluation(
            energy=blank(self.energy),
            gradient=blank(self.gradient),
            tangent=blank(self.tangent),
            node_force=[blank(value) for value in self.node_force],
            stress=[blank(value) for value in self.stress],
            strain_map=[blank(value) for value in self.strain_map],
        )

    def put(self, chosen: Index, other: Evaluation, rows: Index) -> None:
        """Overwrite some variants with rows of another."""
        for mine, theirs in zip(self.arrays, other.arrays, strict=True):
            mine[chosen] = theirs[rows]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LineInertia:
    """Of one line about a state, at the p + 1 Gauss points of each of its E elements.

    Attributes
    ----------
    weight : array, shape (B, E, p + 1)
        Length that each point stands for [m].
    values : array, shape (p + 1, p + 1)
        The nodes' shapes there.
    spins : array, shape (B, E, p + 1, 3, 3 (p + 1))
        Spin of the section for spins of the nodes.
    section : array, shape (B, E, p + 1, 3, 3)
        Mass moments per length about the fixed axes [kg m].
    """

    weight: Array
    values: Array
    spins: Array
    section: Array

    def take(self, chosen: Index) -> LineInertia:
        """Some variants only."""
        return LineInertia(
            weight=self.weight[chosen],
            values=self.values,
            spins=self.spins[chosen],
            section=self.section[chosen],
        )


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
        self.order, self.shear = order, shear
        self.prop = prop
        self.batch = len(prop.mass)
        self.size, self.angle_count = PROP_FREEDOMS, 0
        points = [prop.centre_of_mass[:, None]]
        lines = []
        for index, support in enumerate(supports):
            line, nodes = self._divide(
                support,
                elements,
                sum(part.shape[1] for part in points),
                None if natural is None else natural[index],
            )
            lines.append(line)
            points.append(nodes)
        self.lines = tuple(lines)
        self.points: Array = np.concatenate(points, axis=1)
        self.node_count = self.points.shape[1]
        self.balance_force: Array = np.zeros((self.batch, self.node_count, 3))
        self.balance_couple: Array = np.zeros((self.batch, 3))
        self.push: Array = np.zeros((self.batch, 6)) if push is None else push
        if any(np.any(line.pull) for line in self.lines):
            self._balance()

    def take(self, chosen: Index) -> Rods:
        """The same layout for some variants only."""
        result = object.__new__(Rods)
        result.__dict__.update(self.__dict__)
        result.batch = len(chosen)
        result.lines = tuple(line.take(chosen) for line in self.lines)
        prop = self.prop
        result.prop = Prop(
            mass=prop.mass[chosen], centre_of_mass=prop.centre_of_mass[chosen], inertia=prop.inertia[chosen]
        )
        result.points = self.points[chosen]
        result.balance_force, result.balance_couple = self.balance_force[chosen], self.balance_couple[chosen]
        result.push = self.push[chosen]
        return result

    # -- layout -----------------------------------------------------------------------------------------

    def _divide(
        self, support: Support, elements: int, first: int, natural: Array | None
    ) -> tuple[Line, Array]:
        steps = np.diff(support.points, axis=1)
        lengths = np.linalg.norm(steps, axis=2)
        axes = local_axes(steps / lengths[..., None], support.width_direction)
        share = np.max(lengths / np.sum(lengths, axis=1, keepdims=True), axis=0)
        counts = np.maximum(np.ceil(elements * share - 1e-9).astype(int), 1)
        segment = np.repeat(np.arange(support.segments), counts)
        within = np.concatenate([np.arange(count) for count in counts])
        order = self.order
        places = (within[:, None] + lobatto(order)[:-1]) / counts[segment][:, None]
        starts = support.points[:, segment, None] + places[..., None] * steps[:, segment, None]
        nodes = np.concatenate([starts.reshape(self.batch, -1, 3), support.points[:, -1:]], axis=1)
        bending = np.stack([support.bending_stiffness_y, support.bending_stiffness_z], axis=2)
        shears = np.stack([support.shear_stiffness_y, support.shear_stiffness_z], axis=2)
        if not self.shear:
            shears = np.maximum(
                shears, _STIFF * np.max(bending, axis=2, keepdims=True) / lengths[..., None] ** 2
            )
        sections = np.concatenate(
            [support.axial_stiffness[..., None], shears, support.torsional_stiffness[..., None], bending],
            axis=2,
        )
        inertia = np.stack(
            [support.polar_inertia, support.rotary_inertia_y, support.rotary_inertia_z], axis=2
        )
        if not self.shear:
            inertia = inertia * np.array([1.0, 0.0, 0.0])
        held = np.isinf(support.root_stiffness)
        free = np.flatnonzero(~held.all(axis=0))
        directions = (
            np.broadcast_to(np.eye(3), (self.batch, 3, 3)) if support.root_axes is None else support.root_axes
        )
        # A root that is rigid in some variants only keeps its freedom there, but the freedom moves nothing.
        # Its spring only keeps the tangent regular, so any size near the others will do.
        springs = np.where(
            held, (np.max(bending, axis=(1, 2)) / lengths[:, 0])[:, None], support.root_stiffness
        )
        inner = 6 * (nodes.shape[1] - 2)
        own = self._take_freedoms(len(free) + inner)
        joint = self._take_freedoms(3 if support.joint_stiffness is not None else 0)
        line = Line(
            segment=tuple(int(index) for index in segment),
            length=lengths[:, segment] / counts[segment],
            axes=axes[:, segment],
            strain_stiffness=sections[:, segment],
            mass_per_length=support.mass_per_length[:, segment],
            section_inertia=inertia[:, segment],
            pull=np.zeros(self.batch) if support.tension is None else support.tension,
            natural=None
            if natural is None
            else _at_places(
                natural[:, segment], (within[:, None] + gauss(order)[0]) / counts[segment][:, None]
            ),
            root_axes=np.where(held[:, None], 0.0, directions.transpose(0, 2, 1))[:, :, free],
            root_springs=springs[:, free],
            joint=support.joint_stiffness,
            arm=support.tip - self.prop.centre_of_mass,
            first=first,
            nodes=nodes.shape[1],
            root_angles=slice(self.angle_count, self.angle_count + len(free)),
            places=np.concatenate([own, np.arange(PROP_FREEDOMS), joint]),
        )
        self.angle_count += len(free)
        return line, nodes

    def _take_freedoms(self, count: int) -> Index:
        self.size += count
        return np.arange(self.size - count, self.size)

    def _balance(self) -> None:
        """Find the forces that hold the given shape under pretension: at corners of lines, on the prop."""
        plain = self.evaluate(self.rest(), np.zeros((self.batch, self.node_count, 3)))
        for line, force in zip(self.lines, plain.node_force, strict=True):
            self.balance_force[:, line.first + 1 : line.first + line.nodes - 1] = force[:, 1:-1, :3]
            self.balance_force[:, 0] += force[:, -1, :3]
            self.balance_couple += cross(line.arm, force[:, -1, :3])

    # -- state ------------------------------------------------------------------------------------------

    def rest(self) -> State:
        """The given shape."""
        turn = np.zeros((self.batch, self.node_count, 4))
        turn[..., 0] = 1.0
        return State(
            shift=np.zeros((self.batch, self.node_count, 3)),
            turn=turn,
            root_angle=np.zeros((self.batch, self.angle_count)),
        )

    def rest_stress(self) -> list[Array]:
        """Section forces of the given shape: the tension pulled into the lines, as in `Evaluation.stress`."""
        result = []
        for line in self.lines:
            stress = np.zeros((self.batch, len(line.segment), self.order, 6))
            stress[..., 0] = line.pull[:, None, None]
            result.append(stress)
        return result

    @cached_property
    def inner_freedoms(self) -> list[tuple[Index, Index]]:
        """Freedoms of the nodes inside each element, and the other freedoms that the element touches.

        Pairs of shape (E, k) and (E, m), one for each size of element.
        """
        sizes: dict[tuple[int, int], list[tuple[Index, Index]]] = {}
        for line in self.lines:
            count, last = line.root_springs.shape[1], len(line.segment) - 1
            own = line.places[: count + 6 * (line.nodes - 2)]
            nodes = own[count:].reshape(-1, 6)
            for element in range(last + 1):
                start, stop = element * self.order, (element + 1) * self.order
                inner = nodes[start : stop - 1].ravel()
                before = own[:count] if element == 0 else nodes[start - 1]
                after = line.places[len(own) :] if element == last else nodes[stop - 1]
                around = np.concatenate([before, after])
                sizes.setdefault((len(inner), len(around)), []).append((inner, around))
        return [
            (np.stack([one[0] for one in each]), np.stack([one[1] for one in each]))
            for each in sizes.values()
        ]

    @cached_property
    def outer_freedoms(self) -> Index:
        """All freedoms that are not inside an element."""
        outside = np.ones(self.size, dtype=bool)
        for inner, _ in self.inner_freedoms:
            outside[inner] = False
        return np.flatnonzero(outside)

    @cached_property
    def angular(self) -> NDArray[np.bool_]:
        """Which freedoms are angles, shape (n,)."""
        result = np.zeros(self.size, dtype=bool)
        result[3:PROP_FREEDOMS] = True
        for line in self.lines:
            count = line.root_springs.shape[1]
            inner = line.places[count : count + 6 * (line.nodes - 2)].reshape(-1, 6)
            result[line.places[:count]] = True
            result[inner[:, 3:]] = True
            if line.joint is not None:
                result[line.places[-3:]] = True
        return result

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
        shift, spin = np.zeros_like(state.shift), np.zeros_like(state.shift)
        shift[:, 0], spin[:, 0] = step[:, :3], step[:, 3:6]
        root_angle = state.root_angle.copy()
        for line in self.lines:
            count = line.root_springs.shape[1]
            root_angle[:, line.root_angles] += step[:, line.places[:count]]
            inner = step[:, line.places[count : count + 6 * (line.nodes - 2)]].reshape(self.batch, -1, 6)
            shift[:, line.first + 1 : line.first + line.nodes - 1] = inner[..., :3]
            spin[:, line.first + 1 : line.first + line.nodes - 1] = inner[..., 3:]
            spin[:, line.first + line.nodes - 1] = (
                step[:, 3:6] if line.joint is None else step[:, line.places[-3:]]
            )
        shift = state.shift + shift
        turn = product(from_vector(spin), state.turn)
        turn = turn / np.linalg.norm(turn, axis=-1, keepdims=True)
        for line in self.lines:
            turn[:, line.first] = from_vector(self._root_vector(line, root_angle))
            less = turn_less_identity(turn[:, 0])
            shift[:, line.first + line.nodes - 1] = shift[:, 0] + np.einsum("bij,bj->bi", less, line.arm)
        return State(shift=shift, turn=turn, root_angle=root_angle)

    @staticmethod
    def _root_vector(line: Line, root_angle: Array) -> Array:
        return np.asarray(np.einsum("bij,bj->bi", line.root_axes, root_angle[:, line.root_angles]))

    def _node_step(self, state: State, line: Line, step: Array) -> Array:
        """Displacement and spin of a line's nodes for small steps, shape (B, nodes, 6[, k])."""
        many = step if step.ndim == 3 else step[..., None]
        count = line.root_springs.shape[1]
        result = np.zeros((self.batch, line.nodes, 6, many.shape[2]))
        spin = from_vector_slope(self._root_vector(line, state.root_angle), line.root_axes)
        result[:, 0, 3:] = spin @ many[:, line.places[:count]]
        inner = line.places[count : count + 6 * (line.nodes - 2)]
        result[:, 1:-1] = many[:, inner].reshape(self.batch, -1, 6, many.shape[2])
        result[:, -1] = self._tip_map(state, line) @ many[:, line.places[count + len(inner) :]]
        return result if step.ndim == 3 else result[..., 0]

    def _tip_map(self, state: State, line: Line) -> Array:
        """The tip's displacement and spin from the prop's and the joint's spin, shape (B, 6, 6 or 9)."""
        result = np.zeros((self.batch, 6, 6 if line.joint is None else 9))
        result[:, :3, :3] = np.eye(3)
        result[:, :3, 3:6] = -cross_matrix(self._turned_arm(state, line))
        result[:, 3:, -3:] = np.eye(3)
        return result

    @staticmethod
    def _turned_arm(state: State, line: Line) -> Array:
        return np.asarray(line.arm + np.einsum("bij,bj->bi", turn_less_identity(state.turn[:, 0]), line.arm))

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
        result = np.zeros((self.batch, self.node_count, 3))
        result[:, 0] = self.prop.mass[:, None] * gravity
        places, weights = gauss(self.order + 1)
        share = weights @ lagrange_matrices(self.order, places)[0]
        for line in self.lines:
            force = (line.mass_per_length * line.length)[..., None] * share
            for index, nodes in enumerate(line.elements(self.order) + line.first):
                result[:, nodes] += force[:, index, :, None] * gravity[:, None]
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
        self, state: State, force: Array, stress: list[Array] | None = None, *, share: Array | None = None
    ) -> Evaluation:
        """Energy, gradient and tangent.

        Parameters
        ----------
        state : State
            Where to evaluate.
        force : array, shape (B, N, 3)
            Dead forces on all nodes [N].
        stress : list of array, optional
            Section forces for the geometric part of the tangent, as from `predicted_stress`; those of the
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
        size = self.size
        gradient, tangent = np.zeros((self.batch, size)), np.zeros((self.batch, size, size))
        total = force + self.balance_force
        energy = -np.einsum("bni,bni->b", total, state.shift)
        node_force, stresses, maps = [], [], []
        for index, line in enumerate(self.lines):
            parts = line_energy(
                line,
                self.order,
                state.shift[:, line.span],
                state.turn[:, line.span],
                None if stress is None else stress[index],
                share,
            )
            load = total[:, line.span]
            parts.force[..., :3] -= load
            parts.mixed_force[..., :3] -= load
            self._reduce(state, line, parts, gradient, tangent)
            own = force[:, line.span].copy()
            shown = parts.force.copy()
            shown[..., :3] += load - own
            node_force.append(shown)
            stresses.append(parts.stress)
            maps.append(parts.strain_map)
            energy += parts.energy
            angle = state.root_angle[:, line.root_angles]
            energy += np.einsum("bi,bi,bi->b", line.root_springs, angle, angle) / 2
            if line.joint is not None:
                energy += self._joint(state, line, line.joint, gradient, tangent)
        gradient[:, :3] -= total[:, 0]
        pushed = self.push[:, 3:] if share is None else share[:, None] * self.push[:, 3:]
        couple = self.balance_couple + pushed
        if np.any(couple):
            energy += self._couple(state, couple, gradient, tangent)
        return Evaluation(
            energy=energy,
            gradient=gradient,
            tangent=tangent,
            node_force=node_force,
            stress=stresses,
            strain_map=maps,
        )

    def predicted_stress(self, state: State, evaluation: Evaluation, step: Array) -> list[Array]:
        """Section forces after a step, carried along linearly.

        Parameters
        ----------
        state : State
            Where `evaluation` was made.
        evaluation : Evaluation
            See there.
        step : array, shape (B, n)
            Freedoms.

        Returns
        -------
        list of array, shape (B, E, p, 6)
        """
        changes = self.stress_change(state, evaluation.strain_map, step)
        return [stress + change for stress, change in zip(evaluation.stress, changes, strict=True)]

    def stress_change(self, state: State, strain_map: list[Array], step: Array) -> list[Array]:
        """Change of the section forces with small steps.

        Parameters
        ----------
        state : State
            Where it starts.
        strain_map : list of array
            Of the `Evaluation` there.
        step : array, shape (B, n) or (B, n, k)
            Freedoms.

        Returns
        -------
        list of array, shape (B, E, p, 6) or (B, E, p, 6, k)
        """
        many = step if step.ndim == 3 else step[..., None]
        result = []
        for line, strains in zip(self.lines, strain_map, strict=True):
            nodes = self._node_step(state, line, many)[:, line.elements(self.order)]
            local = nodes.reshape(*nodes.shape[:2], -1, many.shape[2])
            # All points of an element in one product.
            rows = strains.reshape(*strains.shape[:2], -1, strains.shape[4]) @ local
            change = rows.reshape(*strains.shape[:4], many.shape[2])
            change *= line.strain_stiffness[:, :, None, :, None]
            result.append(change[..., 0] if step.ndim == 2 else change)
        return result

    def _reduce(self, state: State, line: Line, parts: LineEnergy, gradient: Array, tangent: Array) -> None:
        """From six freedoms at every node of a line to those of the rods."""
        spin, bend = from_vector_derivatives(self._root_vector(line, state.root_angle), line.root_axes)
        tip = self._tip_map(state, line)
        self._spread(tangent, line, parts.tangent, spin, tip)
        root = line.places[: spin.shape[2]]
        mixed = parts.mixed_force
        tangent[:, root[:, None], root] += np.einsum("bi,bijk->bjk", mixed[:, 0, 3:], bend)
        tangent[:, root, root] += line.root_springs
        tangent[:, 3:6, 3:6] += _swing(mixed[:, -1, :3], self._turned_arm(state, line))
        self._spread_vector(gradient, line, parts.force, spin, tip)
        gradient[:, root] += line.root_springs * state.root_angle[:, line.root_angles]

    def _spread(self, result: Array, line: Line, blocks: Array, spin: Array, tip: Array) -> None:
        """Add the matrices of a line's elements, shape (B, E, 6 (p + 1), 6 (p + 1)), to that of the rods."""
        last = len(line.segment) - 1
        place = int(line.places[0])
        for index in range(last + 1):
            block = blocks[:, index]
            if index == 0:
                block = np.concatenate([block[..., 3:6] @ spin, block[..., 6:]], axis=2)
                block = np.concatenate([spin.transpose(0, 2, 1) @ block[:, 3:6], block[:, 6:]], axis=1)
            width = block.shape[1] - 6
            if index < last:
                reach = slice(place, place + width + 6)
                result[:, reach, reach] += block
                place += width
                continue
            block = np.concatenate([block[..., :-6], block[..., -6:] @ tip], axis=2)
            block = np.concatenate([block[:, :-6], tip.transpose(0, 2, 1) @ block[:, -6:]], axis=1)
            pieces = [(slice(place, place + width), slice(width)), (slice(6), slice(width, width + 6))]
            if line.joint is not None:
                joint = int(line.places[-3])
                pieces.append((slice(joint, joint + 3), slice(width + 6, width + 9)))
            for rows, own_rows in pieces:
                for columns, own_columns in pieces:
                    result[:, rows, columns] += block[:, own_rows, own_columns]

    def _spread_vector(self, result: Array, line: Line, force: Array, spin: Array, tip: Array) -> None:
        """Add forces on a line's nodes, shape (B, nodes, 6), to those of the rods."""
        result[:, line.places] += np.concatenate(
            [
                np.einsum("bij,bi->bj", spin, force[:, 0, 3:]),
                force[:, 1:-1].reshape(self.batch, -1),
                np.einsum("bij,bi->bj", tip, force[:, -1]),
            ],
            axis=1,
        )

    def _joint(self, state: State, line: Line, spring: Array, gradient: Array, tangent: Array) -> Array:
        """Spring between the prop and a tip: adds to gradient and tangent, returns the energy."""
        tip = state.turn[:, line.first + line.nodes - 1]
        relative = product(conjugate(state.turn[:, 0]), tip)
        angle, first, second = logarithm_derivatives(relative)
        moment = spring * angle
        slope = np.einsum("bi,bij->bj", moment, first)
        bend = np.swapaxes(first, 1, 2) @ (spring[..., None] * first) + np.einsum(
            "bi,bijk->bjk", moment, second
        )
        way = spin_map(relative)
        along = np.einsum("bij,bi->bj", way, slope)
        stiff = np.swapaxes(way, 1, 2) @ bend @ way
        stiff -= np.einsum("bi,bi->b", slope, relative)[:, None, None] / 4 * np.eye(3)
        turn = rotation_matrix(state.turn[:, 0])
        torque = np.einsum("bij,bj->bi", turn, along)
        stiff = turn @ stiff @ np.swapaxes(turn, 1, 2)
        # The small rotation between them is, to second order, the difference of the spins less half their
        # product.
        mixed = cross_matrix(torque) / 2
        prop, own = np.arange(3, 6), line.places[-3:]
        for rows, columns, block in (
            (prop, prop, stiff),
            (own, own, stiff),
            (prop, own, mixed - stiff),
            (own, prop, -mixed - stiff),
        ):
            tangent[:, rows[:, None], columns] += block
        gradient[:, prop] -= torque
        gradient[:, own] += torque
        return np.asarray(np.einsum("bi,bi->b", moment, angle) / 2)

    def _couple(self, state: State, couple: Array, gradient: Array, tangent: Array) -> Array:
        """Couple on the prop, that balances the pretension or comes with the load, as three pairs of dead forces."""
        less = turn_less_identity(state.turn[:, 0])
        energy = np.zeros(self.batch)
        for axis in np.eye(3):
            force = cross(couple, axis) / 2
            arm = axis + less @ axis
            energy -= np.einsum("bi,bi->b", force, less @ axis)
            gradient[:, 3:6] -= cross(arm, force)
            tangent[:, 3:6, 3:6] -= _swing(force, arm)
        return energy

    # -- inertia ----------------------------------------------------------------------------------------

    def inertia(self, state: State) -> list[LineInertia]:
        """What the mass and loads of every line about a state have in common."""
        return [self._inertia(state, line) for line in self.lines]

    def mass(self, state: State, inertia: list[LineInertia] | None = None) -> Array:
        """Consistent mass about a state, shape (B, n, n); with `inertia` of the same state where it is known."""
        result = np.zeros((self.batch, self.size, self.size))
        for line, part in zip(self.lines, inertia or self.inertia(state), strict=True):
            weight, values, spins = part.weight, part.values, part.spins
            heavy = np.einsum("beg,be,ga,gc->beac", weight, line.mass_per_length, values, values)
            turned = weight[..., None, None] * (part.section @ spins)
            rows = (*spins.shape[:2], -1, spins.shape[-1])
            local = np.swapaxes(spins.reshape(rows), -1, -2) @ turned.reshape(rows)
            nodes = self.order + 1
            block = np.zeros((*heavy.shape[:2], nodes, 6, nodes, 6))
            for axis in range(3):
                block[:, :, :, axis, :, axis] = heavy
            block[:, :, :, 3:, :, 3:] = local.reshape(*heavy.shape[:2], nodes, 3, nodes, 3)
            block = block.reshape(*heavy.shape[:2], 6 * nodes, 6 * nodes)
            spin = from_vector_slope(self._root_vector(line, state.root_angle), line.root_axes)
            self._spread(result, line, block, spin, self._tip_map(state, line))
        result[:, [0, 1, 2], [0, 1, 2]] += self.prop.mass[:, None]
        result[:, 3:6, 3:6] += self._prop_inertia(state)
        return result

    def inertial_load(
        self,
        state: State,
        offset: Array,
        gradient: Array,
        about: Array,
        inertia: list[LineInertia] | None = None,
    ) -> Array:
        """Load of a field of acceleration on the moved rods.

        Parameters
        ----------
        state : State
            Where they are.
        offset, about : array, shape (B, 3)
            The field is ``offset + gradient (x - about)`` [m/s2], [m].
        gradient : array, shape (B, 3, 3)
            [1/s2].
        inertia : list of LineInertia, optional
            Of the same state, where it is known.

        Returns
        -------
        array, shape (B, n)
            Generalised forces.
        """
        result = np.zeros((self.batch, self.size))
        moved = self.points + state.shift - about[:, None]
        field = offset[:, None] + np.einsum("bij,bnj->bni", gradient, moved)
        result[:, :3] = self.prop.mass[:, None] * field[:, 0]
        result[:, 3:6] = _field_couple(self._prop_inertia(state), gradient)
        turning = bool(np.any(gradient))
        for line, part in zip(self.lines, inertia or self.inertia(state), strict=True):
            weight, values, members = part.weight, part.values, line.elements(self.order)
            node = np.zeros((self.batch, line.nodes, 6))
            pushed = (
                weight[..., None]
                * line.mass_per_length[..., None, None]
                * (values @ field[:, line.span][:, members])
            )
            force = np.swapaxes(values, -1, -2) @ pushed
            for index, own in enumerate(members):
                node[:, own, :3] += force[:, index]
            if turning:
                couple = weight[..., None] * _field_couple(part.section, gradient[:, None, None])
                turned = np.einsum("begij,begi->bej", part.spins, couple).reshape(*force.shape)
                for index, own in enumerate(members):
                    node[:, own, 3:] += turned[:, index]
            spin = from_vector_slope(self._root_vector(line, state.root_angle), line.root_axes)
            self._spread_vector(result, line, node, spin, self._tip_map(state, line))
        return result

    def _prop_inertia(self, state: State) -> Array:
        turn = rotation_matrix(state.turn[:, 0])
        return np.asarray(turn @ self.prop.inertia @ np.swapaxes(turn, 1, 2))

    def _inertia(self, state: State, line: Line) -> LineInertia:
        places, weights = gauss(self.order + 1)
        values, _ = lagrange_matrices(self.order, places)
        members = line.elements(self.order)
        turn = state.turn[:, line.span][:, members]
        q = values @ turn
        n = np.sum(q * q, axis=-1)[..., None, None]
        nodal = np.swapaxes(spin_map(turn), -3, -2)[:, :, None]
        way = (values[:, None, :, None] * nodal).reshape(*q.shape, -1)
        spins = np.swapaxes(spin_map(q), -1, -2) @ way * (4 / n)
        axes = line.axes[:, :, None] @ np.swapaxes(rotation_matrix(q), -1, -2)
        inertia = np.swapaxes(axes, -1, -2) @ (line.section_inertia[:, :, None, :, None] * axes)
        return LineInertia(
            weight=weights * line.length[..., None], values=values, spins=spins, section=inertia
        )

    # -- what stands where ------------------------------------------------------------------------------

    def section_stress(self, line: Line, stress: Array, stations: Array) -> list[Array]:
        """Section forces at stations of each straight piece, from those at the Gauss points.

        Parameters
        ----------
        line : Line
            One of `lines`.
        stress : array, shape (B, E, p, 6, ...)
            As in `Evaluation.stress`.
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
            own = np.flatnonzero(owner == piece)
            values = _recovery(self.order, len(own), tuple(np.asarray(stations).tolist()))
            known = stress[:, own].reshape(len(stress), len(own) * self.order, *stress.shape[3:])
            results.append(np.asarray(np.einsum("sg,bg...->bs...", values, known)))
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
        most, jump = np.zeros(self.batch), np.zeros(self.batch)
        for line, stress, force in zip(self.lines, evaluation.stress, evaluation.node_force, strict=True):
            local = np.einsum("sg,begi->besi", ends, stress[..., 3:])
            moment = np.einsum("beji,besj->besi", line.axes, local)
            turn = rotation_matrix(state.turn[:, [line.first, line.first + line.nodes - 1]])
            held = np.einsum("bnji,bnj->bni", turn, force[:, [0, -1], 3:])
            before = np.concatenate([-held[:, :1], moment[:, :, 1]], axis=1)
            after = np.concatenate([moment[:, :, 0], held[:, 1:]], axis=1)
            jump = np.maximum(jump, np.max(np.linalg.norm(after - before, axis=2), axis=1))
            most = np.maximum(most, np.max(np.linalg.norm(moment, axis=3), axis=(1, 2)))
        return np.asarray(np.where(most > 0, jump / np.where(most > 0, most, 1.0), most))

    def centre_line(self, state: State, line: Line, stations: Array) -> Array:
        """Places of the moved centre line, shape (B, pieces times stations, 3)."""
        members = line.elements(self.order)
        moved = (self.points + state.shift)[:, line.span]
        pieces = []
        for element, share in _locate(line, stations):
            values, _ = lagrange_matrices(self.order, share)
            pieces.append(np.einsum("sa,bsai->bsi", values, moved[:, members[element]]))
        return np.concatenate(pieces, axis=1)


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
    """Second derivative by the spin of ``force . (R arm)``, for the turned arm, shape (B, 3, 3)."""
    outer = force[:, :, None] * arm[:, None, :]
    along = np.einsum("bi,bi->b", force, arm)[:, None, None]
    return np.asarray((outer + outer.transpose(0, 2, 1)) / 2 - along * np.eye(3))


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
