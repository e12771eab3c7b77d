"""Few modes of many variants: the frame's own matrices, condensed element by element before they are joined.

The internal functions of an element touch no other element. Taken out exactly they leave a static problem of
the nodes alone, with the same answer as `rigcheck.mechanics.statics.settle`. Measured from their static shape
they meet the nodes in the mass only, which keeps every product small: `CondensedFrame.motion` finds what moving the
ground does to the prop by Lanczos' method, and `CondensedFrame.modes` the few lowest modes at least cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.batches import (
    definite,
    inverse_factor,
    pairs_of,
    runs_of,
    told_if_too_far_apart,
    uncoupled,
    upper_inverse_factor,
)
from rigcheck.mechanics.elements import END_FREEDOMS, Field, Order
from rigcheck.mechanics.frame import PROP_FREEDOMS, Frame, mix
from rigcheck.mechanics.lanczos import Arrow, Blocks, few_modes, least

__all__ = ["FEW_MODES", "CondensedFrame", "CondensedModes", "CondensedMotion", "CondensedSettled"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

FEW_MODES = Order(bending=4, shear=3, axial=2, torsion=2)
"""Internal functions that are enough for three modes of a support that carries at least its own mass.

Without tension the settled state is exact; with a tension or compression N over a length L its error is under
1e-9 up to N L^2 = 3 EI and 1e-7 up to 10 EI, beyond which the default `Order` serves.
"""

_SLACK = 1e-13
"""Tension over EI/L^2 below which it changes no digit of an element's stiffness."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Inside:
    """One field of all elements, plane by plane, with its internal functions taken out.

    F planes in all, element by element; e ends and i internal functions in each.

    Attributes
    ----------
    field : Field
        Its constants.
    root : array, shape (B, F, i) or (B, F, i, i)
        R with ``R R^T`` the inverse of the internal stiffness, which is diagonal where no tension works.
    shapes : array, shape (B, F, e, i)
        Internal part of the static shape of each unit end movement.
    ends : array, shape (B, F, e, e)
        Condensed stiffness.
    which : tuple of int, F of them
        A number for each plane; those of one number are alike in every variant.
    """

    field: Field
    root: Array
    shapes: Array
    ends: Array
    which: tuple[int, ...]

    @property
    def is_diagonal(self) -> bool:
        """Whether no tension works inside."""
        return self.root.ndim == self.shapes.ndim - 1

    @property
    def whole_root(self) -> Array:
        """The root as matrices, (B, F, i, i)."""
        return self.root[..., None] * np.eye(self.root.shape[2]) if self.is_diagonal else self.root

    @cached_property
    def push(self) -> tuple[Array, Array]:
        """Load of unit accelerations along x, y, z per rho A L: on the ends (B, F, e, 3), and inside (F, i, 3)."""
        field, count = self.field, self.field.count
        whole = np.tile(field.push, (self.shapes.shape[1] // field.planes, 1, 1))
        return whole[:, :count] + self.shapes @ whole[:, count:], whole[:, count:]

    def beside(self, other: Inside, stable: Flags) -> Inside:
        """The same, but variants that are not stable as they are in another."""
        kept = stable[:, None, None, None]
        return Inside(
            field=self.field,
            root=np.where(kept, self.whole_root, other.whole_root),
            shapes=np.where(kept, self.shapes, other.shapes),
            ends=np.where(kept, self.ends, other.ends),
            which=tuple(range(len(self.which))),
        )

    def take(self, rows: Index | Flags) -> Inside:
        """Some variants only."""
        return Inside(
            field=self.field,
            root=self.root[rows],
            shapes=self.shapes[rows],
            ends=self.ends[rows],
            which=self.which,
        )

    def solve(self, rows: Array) -> Array:
        """Internal movement under internal forces given as rows, (B, F, k, i)."""
        return _times(_times(rows, self.root), self.root if self.is_diagonal else _across(self.root))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Form:
    """A quadratic form of one field of all elements, measured from its static shapes: `CondensedFrame.modes`.

    In coordinates inside in which their stiffness is the identity: internal movement is `Inside.root` times them.
    """

    inside: Inside
    ends: Array  # condensed, (B, F, e, e)
    coupling: Array  # (B, F, e, i)
    inner: Array  # (B, F, i, i)

    @classmethod
    def of(cls, inside: Inside, scales: Array, matrices: Array) -> _Form:
        """Of constant matrices (kinds, e + i, e + i), with the scales (B, F, kinds) of each plane."""
        first, which = _alike(scales, inside.which)
        count = inside.field.count
        whole, root, shapes = (_planes(part, first) for part in (scales, inside.root, inside.shapes))
        whole = mix(whole, matrices)
        side, inner = whole[..., :count, count:], whole[..., count:, count:]
        coupling = side + shapes @ inner
        ends = whole[..., :count, :count] + shapes @ _across(side) + coupling @ _across(shapes)
        return cls(
            inside=inside,
            ends=_planes(ends, which),
            coupling=_planes(_times(coupling, root), which),
            inner=_planes(_within(inner, root), which),
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Nodes:
    """The nodes of a frame, n freedoms, under given tensions.

    Attributes
    ----------
    insides : list of Inside
        Fields of all elements, condensed.
    slack : bool
        Whether the tension changes nothing in any variant.
    turning : array, shape (B, 3, 3)
        What forces on the tips add to the stiffness of the prop's rotation [N m/rad].
    stiffness : array, shape (B, n, n)
        With all of these.
    definite : array of bool, shape (B,)
        Whether the whole stiffness, insides too, is positive definite.
    """

    insides: list[Inside]
    slack: bool
    turning: Array
    stiffness: Array
    definite: Flags

    def beside(self, other: Nodes, stable: Flags) -> Nodes:
        """The same, but what is not stable as it is in another of the same frame."""
        return Nodes(
            insides=[
                mine if mine is theirs else mine.beside(theirs, stable)
                for mine, theirs in zip(self.insides, other.insides, strict=True)
            ],
            slack=self.slack and other.slack,
            turning=np.where(stable[:, None, None], self.turning, other.turning),
            stiffness=np.where(stable[:, None, None], self.stiffness, other.stiffness),
            definite=np.where(stable, self.definite, other.definite),
        )

    def take(self, rows: Index | Flags) -> Nodes:
        """Some variants only."""
        return Nodes(
            insides=[inside.take(rows) for inside in self.insides],
            slack=self.slack,
            turning=self.turning[rows],
            stiffness=self.stiffness[rows],
            definite=self.definite[rows],
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class CondensedSettled:
    """A frame at rest under a uniform field of acceleration; see `statics.Settled` for the common names.

    Attributes
    ----------
    displacement : array, shape (B, 6)
        Of the prop's centre of mass [m], and its rotation [rad].
    stable : array of bool, shape (B,)
        False where the load is past buckling: `displacement` is then not a solution and must not be used.
    root_force, root_moment : list of array, shape (B, 3)
        What each root puts on its support [N], [N m].
    tip_force : list of array, shape (B, 3)
        What the prop puts on each support's tip [N].
    tension : array, shape (B, E, 2)
        At the start and end of each element [N].
    elements : list of array, shape (B, size)
        Own vector of each element, as `Frame.element_vector` gives it.
    nodes : Nodes
        The condensed frame under the acting tensions, about which modes are taken.
    before : Nodes
        The same under the pretension alone.
    brought : tuple of array, shape (B, E, 2), and array, shape (B, 3, 3)
        What the load would add to the tension of each element [N], and to the stiffness of the prop's rotation
        [N m/rad], by first-order theory.
    """

    displacement: Array
    stable: Flags
    root_force: list[Array]
    root_moment: list[Array]
    tip_force: list[Array]
    tension: Array
    elements: list[Array]
    nodes: Nodes
    before: Nodes
    brought: tuple[Array, Array]

    def take(self, rows: Index | Flags) -> CondensedSettled:
        """Some variants only."""
        return CondensedSettled(
            displacement=self.displacement[rows],
            stable=self.stable[rows],
            root_force=[force[rows] for force in self.root_force],
            root_moment=[moment[rows] for moment in self.root_moment],
            tip_force=[force[rows] for force in self.tip_force],
            tension=self.tension[rows],
            elements=[vector[rows] for vector in self.elements],
            nodes=self.nodes.take(rows),
            before=self.before.take(rows),
            brought=(self.brought[0][rows], self.brought[1][rows]),
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class CondensedModes:
    """The lowest modes in rising order; as `modes.Modes`, with the prop's part of each shape only.

    Attributes
    ----------
    angular_frequency : array, shape (B, m)
        [rad/s].
    shape : array, shape (B, 6, m)
        Displacement and rotation of the prop in each mode of unit modal mass.
    participation : array, shape (B, m, 3)
        Modal force for a unit acceleration of everything along right, up, toward.
    """

    angular_frequency: Array
    shape: Array
    participation: Array


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class CondensedMotion:
    """What fields of acceleration do to the prop: slowly, and mode by mode. k fields, m modes.

    Attributes
    ----------
    angular_frequency : array, shape (B, m)
        In rising order [rad/s]. A variant with fewer modes than others repeats its last frequency.
    shape : array, shape (B, 6, m)
        Displacement and rotation of the prop in each mode of unit modal mass; zero where it is only repeated.
    participation : array, shape (B, m, k)
        Modal force of each field.
    follow : array, shape (B, 6, k)
        Displacement and rotation of the prop under each field, applied slowly.
    elements : list of array, shape (B, size, k + m)
        Own vector of each element, as `Frame.element_vector` gives it, under the fields and then in the modes.
    """

    angular_frequency: Array
    shape: Array
    participation: Array
    follow: Array
    elements: list[Array]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Balance:
    """A solved state: movement of the nodes, and the forces on both ends of each element in its own axes."""

    nodes: Array  # (B, n)
    pushed: list[Array]  # what is felt inside each field, (B, F, i, 1)
    ends: Array  # (B, E, 2, 2, 3): start and stop; force and moment; along x, y, z

    @property
    def tension(self) -> Array:
        """At the start and end of each element, (B, E, 2)."""
        return np.asarray(self.ends[:, :, :, 0, 0] * np.array([-1.0, 1.0]))


class CondensedFrame:
    """The nodes of a frame, with what its elements do between them condensed.

    Parameters
    ----------
    frame : Frame
        Any frame; `FEW_MODES` is an order that suits.

    Notes
    -----
    With ends x and internal functions z, ``K = [[K_xx, K_xz], [K_zx, K_zz]]`` for each field of an element.
    Measured from its static shape ``S = -K_zz^-1 K_zx`` the internal movement ``y = z - S x`` is uncoupled in
    stiffness: ``K = diag(K_xx + K_xz S, K_zz)``. Elastic K_zz is diagonal because the internal functions are
    orthogonal in strain energy; only tension fills it.
    """

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self._inner = np.zeros(frame.size, dtype=bool)
        for element in frame.elements:
            self._inner[element.internal] = True
        node_of = np.cumsum(~self._inner) - 1
        self._count = int(np.sum(~self._inner))
        self._springs = [
            ([int(node_of[place]) for place in places], spring) for places, spring in frame.springs
        ]
        fields = frame.basis.separate_fields
        elements = frame.elements
        batch, width = frame.batch, max(len(element.places) for element in elements)
        self._length = np.stack([element.length for element in elements], axis=1)
        self._axes = np.stack([element.axes for element in elements], axis=1)
        self._stiff = np.stack([element.stiffness_scales for element in elements], axis=1)
        # EI/L^2 in the softer plane [N].
        self._bending = self._stiff[:, :, 2:4].min(axis=2) * self._length
        self._heavy = np.stack([element.mass_scales for element in elements], axis=1)
        # Nodes' freedoms that move each element; where one has fewer than others, zeros stand for the rest.
        places = [tuple(int(node_of[place]) for place in element.places) for element in elements]
        self._runs = [runs_of(place) for place in places]
        self._at = np.array([place + (0,) * (width - len(place)) for place in places])
        # End freedoms field by field, so that each field is one block.
        self._order = np.concatenate([field.ends.ravel() for field in fields])
        self._signs = np.concatenate([field.signs.ravel() for field in fields])
        self._ends = np.zeros((batch, len(elements), END_FREEDOMS, width))
        for index, element in enumerate(elements):
            self._ends[:, index, :, : len(element.places)] = element.ends[:, self._order]
        self._ends *= self._signs[:, None]
        self._sides = np.ascontiguousarray(_across(self._ends))
        stops = np.cumsum([field.ends.size for field in fields])
        self._rows = [
            slice(int(stop) - field.ends.size, int(stop)) for field, stop in zip(fields, stops, strict=True)
        ]
        self._parts = [self._planes_of(self._ends, index) for index in range(len(fields))]
        of_support = [element.support for element in elements]
        self._support = np.array(of_support)
        supports = range(len(frame.supports))
        self._first = np.array([of_support.index(support) for support in supports])
        self._last = np.array([len(elements) - 1 - of_support[::-1].index(support) for support in supports])

    def _planes_of(self, whole: Array, index: int) -> Array:
        """What belongs to one field of an array (B, E, 12, ...), plane by plane, (B, F, e, ...)."""
        part = whole[:, :, self._rows[index]]
        count = self.frame.basis.separate_fields[index].count
        return np.asarray(part.reshape(len(whole), -1, count, *whole.shape[3:]))

    def _whole_of(self, parts: Sequence[Array]) -> Array:
        """The reverse: (B, E, 12, ...) from what each field has."""
        count = len(self.frame.elements)
        return np.concatenate([part.reshape(len(part), count, -1, *part.shape[3:]) for part in parts], axis=2)

    # -- at rest ------------------------------------------------------------------------------------------

    def settle(
        self, acceleration: Array, *, push: Array | None = None, load_stiffens: bool = True
    ) -> CondensedSettled:
        """Solve for the settled state, with the tension that the load itself brings.

        Parameters
        ----------
        acceleration : array, shape (3,) or (B, 3)
            Uniform field that all mass feels, such as gravity [m/s2].
        push : array, shape (B, 6), optional
            Steady force on the prop and couple about its centre of mass besides [N], [N m].
        load_stiffens : bool
            Whether tension stiffens and compression softens; False gives first-order theory.

        Returns
        -------
        CondensedSettled

        Notes
        -----
        The same equations as `statics.settle`, solved for the nodes; forces are the reactions of the condensed
        elements. A variant is stable where the stiffness with tension is positive definite, which it is if
        the internal blocks and the condensed whole are (Sylvester's law of inertia).
        """
        frame = self.frame
        field = np.broadcast_to(np.asarray(acceleration, dtype=float), (frame.batch, 3))
        zero = np.zeros(frame.batch)
        pulls = np.stack(
            [zero if support.tension is None else support.tension for support in frame.supports], axis=1
        )
        pulled = np.repeat(pulls[:, self._support, None], 2, axis=2)
        tip_pulls = pulls[..., None] * self._axes[:, self._last, 0]
        turning = frame.turning_stiffness(tip_pulls)
        first = state = self._stiffened(pulled, turning)
        balance = self._solve(state, field, push)
        stable = state.definite
        brought = balance.tension
        turned_by_load = frame.turning_stiffness(self._tip_forces(balance))
        if load_stiffens:
            turned = turned_by_load
            if pulls.any():
                turned = frame.turning_stiffness(self._tip_forces(balance) + tip_pulls)
            added = self._stiffened(pulled + brought, turned, before=state)
            stable = added.definite
            if not stable.all():
                # Past buckling it has no settled state: as under the pretension alone.
                added = added.beside(state, stable)
            if added is not state:
                state = added
                balance = self._solve(state, field, push)
        inside = [
            _across(inside.solve(_across(pushed)))
            for inside, pushed in zip(state.insides, balance.pushed, strict=True)
        ]
        vectors = self._element_vectors(state, balance.nodes[..., None], inside)
        tip_forces = self._tip_forces(balance) + tip_pulls
        root_forces = _turned(self._axes[:, self._first], balance.ends[:, self._first, 0, 0])
        root_forces -= pulls[..., None] * self._axes[:, self._first, 0]
        root_moments = _turned(self._axes[:, self._first], balance.ends[:, self._first, 0, 1])
        return CondensedSettled(
            displacement=balance.nodes[:, :PROP_FREEDOMS],
            stable=stable,
            root_force=list(np.moveaxis(root_forces, 1, 0)),
            root_moment=list(np.moveaxis(root_moments, 1, 0)),
            tip_force=list(np.moveaxis(tip_forces, 1, 0)),
            tension=pulled + balance.tension,
            elements=[vector[..., 0] for vector in vectors],
            nodes=state,
            before=first,
            brought=(brought, turned_by_load),
        )

    def _tip_forces(self, balance: _Balance) -> Array:
        """What the prop puts on each tip beside pretension, (B, S, 3)."""
        return _turned(self._axes[:, self._last], balance.ends[:, self._last, 1, 0])

    def _stiffened(self, tension: Array, turning: Array, *, before: Nodes | None = None) -> Nodes:
        """The nodes under these tensions (B, E, 2); `before` itself where they change nothing."""
        frame = self.frame
        slack = bool(np.all(np.abs(tension) <= _SLACK * self._bending[..., None]))
        if before is not None and slack and before.slack:
            size = np.abs(before.stiffness[:, 3:6, 3:6]).max(axis=(1, 2), keepdims=True)
            if np.all(np.abs(turning - before.turning) <= _SLACK * size):
                return before
        firm = np.ones(frame.batch, dtype=bool)
        insides = []
        for index, field in enumerate(frame.basis.separate_fields):
            pull = None if slack or not field.is_tensioned else self._pull(tension, field)
            if before is not None and pull is None and before.insides[index].is_diagonal:
                insides.append(before.insides[index])
                continue
            inside, holds = _condense(field, _scales(self._stiff, field.stiffness_kinds), pull)
            insides.append(inside)
            firm &= holds
        stiffness = self._join([inside.ends for inside in insides])
        for places, spring in self._springs:
            stiffness[:, np.array(places)[:, None], np.array(places)] += spring
        stiffness[:, 3:6, 3:6] += turning
        room = None
        if before is not None:
            own, plain = (np.einsum("bii->bi", matrix) for matrix in (stiffness, before.stiffness))
            room = np.where(firm, (own / plain).min(axis=1), -np.inf)
        return Nodes(
            insides=insides,
            slack=slack,
            turning=turning,
            stiffness=stiffness,
            definite=definite(np.where(firm[:, None, None], stiffness, -np.eye(self._count)), room),
        )

    def _pull(self, tension: Array, field: Field) -> Array:
        """Tension (B, E, 2) over length for every plane of a field, (B, F, 2)."""
        return np.repeat(tension / self._length[..., None], field.planes, axis=1)

    def _solve(self, state: Nodes, acceleration: Array, push: Array | None) -> _Balance:
        frame = self.frame
        felt = (self._axes @ acceleration[:, None, :, None]) * self._heavy[:, :, :1, None]
        own, pushed = [], []
        for inside in state.insides:
            outer, inner = inside.push
            local = np.repeat(felt, inside.field.planes, axis=1)
            own.append(outer @ local)
            pushed.append(inner @ local)
        load = self._join_rows(own)[:, :, 0]
        load[:, :3] += frame.prop.mass[:, None] * acceleration
        if push is not None:
            load[:, :PROP_FREEDOMS] += push
        with told_if_too_far_apart("no settled state"):
            nodes = np.asarray(np.linalg.solve(state.stiffness, load[..., None])[..., 0], dtype=np.float64)
        moved = self._ends @ np.take(nodes, self._at, axis=1)[..., None]
        reaction = self._whole_of(
            [
                inside.ends @ self._planes_of(moved, index) - own[index]
                for index, inside in enumerate(state.insides)
            ]
        )
        ends = np.empty(reaction.shape[:3])
        ends[:, :, self._order] = reaction[..., 0] * self._signs
        force = ends.reshape(*ends.shape[:2], 2, 2, 3)
        # Rotations entered as lengths, so what belongs to them is a force until multiplied by the length.
        force[:, :, :, 1] *= self._length[:, :, None, None]
        return _Balance(nodes=nodes, pushed=pushed, ends=force)

    # -- modes --------------------------------------------------------------------------------------------

    def modes(self, settled: CondensedSettled, count: int = 3) -> CondensedModes:
        """Lowest natural modes about a settled state.

        Parameters
        ----------
        settled : CondensedSettled
            From `settle` of the same frame.
        count : int
            How many, 1 to 6.

        Returns
        -------
        CondensedModes

        Raises
        ------
        ArgumentError
            If `count` is not 1 to 6.

        Notes
        -----
        From six static shapes (unit movements of the prop, turned into the modes that they give) two steps of
        inverse iteration ``K^-1 M`` are taken and the six modes are found among the results: subspace
        iteration (K. J. Bathe, Finite Element Procedures, ch. 11, from memory). In condensed freedoms
        ``K = diag(K_n, K_zz)``, and ``G = M_zx + M_zz S`` couples nodes x and insides y through the mass, so
        the steps are ``K_n x_1 = M_n x_0, K_zz y_1 = G x_0`` and
        ``K_n x_2 = M_n x_1 + G^T y_1, K_zz y_2 = G x_1 + M_zz y_1``.

        Error of the three lowest frequencies: under 1e-4 of the converged ones where the prop weighs 0.3 of its
        supports or more, a point mass too (the worst seen over many straight and bent rigs is 4e-5, at a point
        mass; with inertia of its own 1e-5). A lighter prop leaves modes of the supports themselves among the
        three: use `natural_modes` there. Modes over a thousand times higher than the lowest keep their static
        shape.
        """
        if not 1 <= count <= PROP_FREEDOMS:
            raise ArgumentError(
                f"count is {count!r}: a condensed frame has 1 to {PROP_FREEDOMS} modes; natural_modes has all."
            )
        frame, state = self.frame, settled.nodes
        weighty = self._masses(state)
        mass = self._joined_mass(weighty)
        stiffness = state.stiffness
        if self._count == PROP_FREEDOMS:
            first, start = pairs_of(stiffness, mass)
        else:
            loaded = np.asarray(
                np.linalg.solve(stiffness, np.eye(self._count)[:, :PROP_FREEDOMS]), dtype=np.float64
            )
            static: Array = loaded @ np.linalg.inv(loaded[:, :PROP_FREEDOMS])
            turned = _across(static)
            first, mixed = pairs_of(turned @ stiffness @ static, turned @ mass @ static)
            start = static @ mixed
        # Each step divides by omega^2; that undone, all six stay of one size. Where omega^2 is beyond reach a
        # step would bring back the lowest shapes out of rounding.
        within = (first > _LEAST * first[:, :1])[:, None]
        x_0 = np.where(within, start / np.where(within, first[:, None], 1.0) ** 2, 0.0)
        x_1 = np.asarray(np.linalg.solve(stiffness, mass @ x_0))
        ends_0, ends_1 = self._ends_of(x_0), self._ends_of(x_1)
        pushed, steps = [], []
        for form, rows_0, rows_1 in zip(weighty, ends_0, ends_1, strict=True):
            y_1 = rows_0 @ form.coupling
            pushed.append(_across(y_1 @ _across(form.coupling)))
            steps.append(rows_1 @ form.coupling + y_1 @ form.inner)
        moved = np.linalg.solve(stiffness, mass @ x_1 + self._join_rows(pushed))
        x_2: Array = np.where(within, moved, start)
        ends_2 = self._ends_of(x_2)
        to_2 = _across(x_2)
        firm, heavy = to_2 @ stiffness @ x_2, to_2 @ mass @ x_2
        share = np.zeros((frame.batch, PROP_FREEDOMS, 3))
        share += to_2[:, :, :3] * frame.prop.mass[:, None, None]
        felt = self._axes * self._heavy[:, :, :1, None]
        for form, rows_2, y_2 in zip(weighty, ends_2, steps, strict=True):
            to_y = _across(y_2)
            crossed = rows_2 @ form.coupling @ to_y
            firm += (y_2 @ to_y).sum(axis=1)
            heavy += (crossed + _across(crossed) + y_2 @ form.inner @ to_y).sum(axis=1)
            outer, inner = form.inside.push
            along = rows_2 @ outer + y_2 @ _times(_across(inner), form.inside.root).swapaxes(-1, -2)
            share += (along @ np.repeat(felt, form.inside.field.planes, axis=1)).sum(axis=1)
        values, shapes = pairs_of(firm, heavy)
        values, shapes = values[:, :count], shapes[:, :, :count]
        omega = 1 / np.sqrt(values)
        shapes = shapes * omega[:, None]
        return CondensedModes(
            angular_frequency=omega,
            shape=x_2[:, :PROP_FREEDOMS] @ shapes,
            participation=_across(shapes) @ share,
        )

    # -- what the prop feels --------------------------------------------------------------------------------

    def motion(
        self, settled: CondensedSettled, loads: Array | None = None, *, least_share: float, steps: int = 3
    ) -> CondensedMotion:
        """What fields of acceleration do to the prop, by as few modes as that takes.

        Parameters
        ----------
        settled : CondensedSettled
            From `settle` of the same frame.
        loads : array, shape (B, n, k), optional
            Of each field, as from `Frame.inertial_load`; of a unit acceleration along right, up, toward if left out.
        least_share : float
            Modes that move the prop in a steady field by less than this share of what the mode that moves it most
            does are left out, except the lowest; `follow` has all.
        steps : int
            How often the mass is worked in; see the notes.

        Returns
        -------
        CondensedMotion

        Notes
        -----
        From the six static shapes of unit loads on the prop, ``(K^-1 M)^j K^-1 E`` with j up to `steps` is made
        orthonormal in K, and modes are taken in these 6 (steps + 1) shapes (the space of Lanczos' method in blocks,
        B. N. Parlett, The Symmetric Eigenvalue Problem, ch. 13; as load-dependent Ritz vectors E. L. Wilson,
        M.-W. Yuan and J. M. Dickens, Earthquake Engng Struct. Dyn. 10, 1982; both from memory). They give the
        static movement of the prop and its first ``2 steps + 1`` moments in omega^2 exactly. With three steps every
        mode that carries a thousandth of the prop's movement is good to 1e-3 in frequency, and one that carries a
        hundredth to 1e-7, even where supports weigh twenty times as much as the prop. Modes of the supports alone,
        which leave the prop at rest, do not appear.

        In coordinates in which K is the identity, ``x = U^-T x'`` with ``K_n = U U^T`` for the nodes and ``y = R y'``
        with ``R R^T = K_zz^-1`` inside, one step is a product with ``[[U^-1 M_n U^-T, U^-1 G^T R], [R^T G U^-T,
        R^T M_zz R]]``. With U upper triangular a load on the prop moves the prop's coordinates alone.
        Freedoms that nothing couples go apart, so that modes of equal frequency in two planes are not mixed.
        """
        state = settled.nodes
        scale = _Scale.of(state)
        masses = self._masses(state)
        mass = self._joined_mass(masses)
        operator = self._scaled(scale, mass, masses)
        field = scale.loads(self._unit_loads(state) if loads is None else self._condensed_loads(state, loads))
        omega, participation, states = few_modes(
            operator,
            scale.factor,
            field,
            uncoupled(state.stiffness, mass),
            prop=PROP_FREEDOMS,
            least_share=least_share,
            steps=steps,
        )
        nodes = _across(scale.factor) @ states[:, : self._count]
        count = field.shape[2]
        return CondensedMotion(
            angular_frequency=omega,
            shape=nodes[:, :PROP_FREEDOMS, count:],
            participation=participation,
            follow=nodes[:, :PROP_FREEDOMS, :count],
            elements=self._element_vectors(state, nodes, scale.inside(states)),
        )

    def buckling_factor(self, settled: CondensedSettled) -> Array:
        """How many times the load could be before the frame buckles.

        Parameters
        ----------
        settled : CondensedSettled
            From `settle` of the same frame.

        Returns
        -------
        array, shape (B,)
            Infinite where nothing is compressed, or above 1e9; 0 where it buckles under its pretension alone.

        Notes
        -----
        The smallest positive L with ``det(K + L K_G) = 0``, as -1 over the least eigenvalue of K_G beside K, by the
        method of `motion`, from the prop's freedoms and from bends of what is pressed. A rig that buckles with its
        prop held would buckle earlier with it free, so the lowest one always moves the prop, and is found. Of 800
        random rigs on one to three straight or bent supports 99 in 100 are good to 3e-4, and the worst to 1e-3.
        """
        frame, state = self.frame, settled.before
        tension, turning = settled.brought
        factor = np.full(frame.batch, np.inf)
        size = np.abs(state.stiffness[:, 3:6, 3:6]).max(axis=(1, 2))
        topples = np.linalg.eigvalsh(turning)[:, 0] < -_SLACK * size
        pressed = np.maximum(-tension.min(axis=2), 0.0)
        loaded = topples | np.any(pressed > _SLACK * self._bending, axis=1)
        if not loaded.any():
            return factor
        scale = _Scale.of(state)
        forms = [
            _Form.of(inside, self._pull(tension, inside.field), inside.field.tension)
            if inside.field.is_tensioned
            else None
            for inside in state.insides
        ]
        added = self._join([None if form is None else form.ends for form in forms])
        added[:, 3:6, 3:6] += turning
        operator = self._scaled(scale, added, forms)
        bends = _bends(operator, pressed)
        lowest = np.zeros(frame.batch)
        for group in uncoupled(state.stiffness, added):
            part, places = operator.part(group)
            count = int(np.sum(group < PROP_FREEDOMS))
            if count or part.fields:
                more = np.take(bends, places[count:], axis=1)
                more = more[:, :, np.any(more, axis=(0, 1))]
                sought = more.any(axis=(1, 2)) | (topples & bool(count))
                lowest = np.minimum(lowest, least(part, count, more, sought))
        # Rounding leaves about 1e-12 where nothing is compressed.
        buckles = loaded & state.definite & (lowest < -_FAR_FROM_BUCKLING)
        factor[buckles] = -1 / lowest[buckles]
        factor[~state.definite & ~settled.stable] = 0.0
        return factor

    def _masses(self, state: Nodes) -> list[_Form]:
        return [
            _Form.of(inside, _scales(self._heavy, inside.field.mass_kinds), inside.field.mass)
            for inside in state.insides
        ]

    def _joined_mass(self, masses: list[_Form]) -> Array:
        """Of the nodes, with the prop's, (B, n, n)."""
        mass = self._join([form.ends for form in masses])
        mass[:, [0, 1, 2], [0, 1, 2]] += self.frame.prop.mass[:, None]
        mass[:, 3:6, 3:6] += self.frame.prop.inertia
        return mass

    def _scaled(self, scale: _Scale, nodes: Array, forms: Sequence[_Form | None]) -> Arrow:
        """A form of the whole frame in the coordinates of `scale`; insides of fields without one are left out."""
        fields = []
        start = self._count
        for index, (form, root) in enumerate(zip(forms, scale.inner, strict=True)):
            count, size = root.shape[1:3]
            if form is not None and size:
                planes = form.inside.field.planes
                side = _across(self._parts[index]) @ form.coupling
                joined = np.zeros((self.frame.batch, self._count, count, size))
                for plane in range(count):
                    for part, place in self._runs[plane // planes]:
                        joined[:, place, plane] += side[:, plane, part]
                fields.append(
                    Blocks(
                        sides=(scale.factor @ joined.reshape(*joined.shape[:2], -1)).reshape(joined.shape),
                        inner=form.inner,
                        roots=root,
                        places=start + np.arange(count * size).reshape(count, size),
                    )
                )
            start += count * size
        return Arrow(nodes=scale.factor @ nodes @ _across(scale.factor), fields=fields)

    def _unit_loads(self, state: Nodes) -> tuple[Array, list[Array]]:
        """Loads of a unit acceleration along right, up, toward on nodes (B, n, 3), and inside, (B, F, i, 3) each."""
        felt = self._axes * self._heavy[:, :, :1, None]
        rows, inside = [], []
        for field in state.insides:
            local = np.repeat(felt, field.field.planes, axis=1)
            outer, inner = field.push
            rows.append(outer @ local)
            inside.append(inner @ local)
        nodes = self._join_rows(rows)
        nodes[:, [0, 1, 2], [0, 1, 2]] += self.frame.prop.mass[:, None]
        return nodes, inside

    def _condensed_loads(self, state: Nodes, loads: Array) -> tuple[Array, list[Array]]:
        """The frame's loads (B, N, k) on nodes, and inside, (B, F, i, k) each."""
        batch, fields = len(loads), loads.shape[2]
        whole = loads[:, self._inner].reshape(batch, len(self.frame.elements), -1, fields)
        inside, rows = [], []
        start = 0
        for field in state.insides:
            size = field.shapes.shape[3]
            stop = start + field.field.planes * size
            own = whole[:, :, start:stop].reshape(batch, field.shapes.shape[1], size, fields)
            rows.append(field.shapes @ own)
            inside.append(own)
            start = stop
        return loads[:, ~self._inner] + self._join_rows(rows), inside

    def _element_vectors(self, state: Nodes, nodes: Array, free: Sequence[Array]) -> list[Array]:
        """Own vector of each element, (B, size, k).

        From what the nodes (B, n, k) do, and the insides of each field (B, F, i, k) measured from their static shape.
        """
        moved = self._ends @ np.take(nodes, self._at, axis=1)
        ends = np.empty_like(moved)
        ends[:, :, self._order] = moved * self._signs[:, None]
        parts = [ends]
        for index, (inside, own) in enumerate(zip(state.insides, free, strict=True)):
            whole = _across(inside.shapes) @ self._planes_of(moved, index) + own
            parts.append(whole.reshape(*ends.shape[:2], -1, ends.shape[3]))
        vectors = np.concatenate(parts, axis=2)
        return [vectors[:, index] for index in range(vectors.shape[1])]

    def _ends_of(self, nodes: Array) -> list[Array]:
        """End movements of every plane of each field as rows, (B, F, k, e) each."""
        moved = self._ends @ np.take(nodes, self._at, axis=1)
        return [_across(self._planes_of(moved, index)) for index in range(len(self._rows))]

    def _join(self, local: Sequence[Array | None]) -> Array:
        """Sum of matrices (B, F, e, e) of each field in the nodes' freedoms, (B, n, n); None is nothing."""
        half = [
            np.zeros_like(part) if matrix is None else matrix @ part
            for matrix, part in zip(local, self._parts, strict=True)
        ]
        blocks = self._sides @ self._whole_of(half)
        result = np.zeros((self.frame.batch, self._count, self._count))
        for index, runs in enumerate(self._runs):
            for rows, to_rows in runs:
                for columns, to_columns in runs:
                    result[:, to_rows, to_columns] += blocks[:, index, rows, columns]
        return result

    def _join_rows(self, local: list[Array]) -> Array:
        """Sum of the loads of each field, (B, n, k) from (B, F, e, k) each."""
        blocks = self._sides @ self._whole_of(local)
        result = np.zeros((self.frame.batch, self._count, blocks.shape[3]))
        for index, runs in enumerate(self._runs):
            for part, whole in runs:
                result[:, whole] += blocks[:, index, part]
        return result


def _scales(whole: Array, kinds: Index) -> Array:
    """Coefficients of every plane (B, F, kinds), element by element, from those of the elements (B, E, all)."""
    return np.asarray(whole[:, :, kinds].reshape(len(whole), -1, kinds.shape[1]))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Scale:
    """Coordinates in which the condensed stiffness is the identity; see `CondensedFrame.motion`."""

    factor: Array  # U^-1 of the nodes, upper triangular, (B, n, n)
    inner: list[Array]  # R of each field: (B, F, i), diagonal, or (B, F, i, i)

    @classmethod
    def of(cls, state: Nodes) -> _Scale:
        stiffness = state.stiffness
        if not state.definite.all():
            # Any regular stiffness will do: the variant is not stable, and its numbers mean nothing.
            stiffness = np.where(state.definite[:, None, None], stiffness, np.eye(stiffness.shape[1]))
        with told_if_too_far_apart("no modes"):
            factor = upper_inverse_factor(stiffness)
        return cls(
            factor=factor,
            inner=[inside.root for inside in state.insides],
        )

    def inside(self, states: Array) -> list[Array]:
        """Movement of the insides of each field (B, F, i, k), from their static shapes, in states (B, n + i, k)."""
        result = []
        place = self.factor.shape[1]
        for root in self.inner:
            count, size = root.shape[1:3]
            own = states[:, place : place + count * size].reshape(len(states), count, size, -1)
            result.append(own * root[..., None] if root.ndim == 3 else root @ own)
            place += count * size
        return result

    def loads(self, loads: tuple[Array, list[Array]]) -> Array:
        """Loads on nodes and inside as one array, (B, n + i, k)."""
        nodes, inside = loads
        own = [
            force * root[..., None] if root.ndim == 3 else _across(root) @ force
            for force, root in zip(inside, self.inner, strict=True)
        ]
        return np.concatenate(
            [self.factor @ nodes, *(force.reshape(len(nodes), -1, nodes.shape[2]) for force in own)], axis=1
        )


def _bends(operator: Arrow, pressed: Array) -> Array:
    """Two vectors (B, N, 2) to start from: in each, one plane of what is pressed (B, E) bends, as much as it is."""
    last = max((int(field.places.max()) for field in operator.fields), default=0)
    result = np.zeros((len(operator.nodes), last + 1, 2))
    for field in operator.fields:
        root = (
            field.roots if field.roots.ndim == 4 else field.roots[..., None] * np.eye(field.places.shape[1])
        )
        for plane in range(2):
            lowest = root[:, plane::2, 0]
            result[:, field.places[plane::2], plane] = lowest * (pressed * lowest[:, :, 0] ** 2)[..., None]
    return result


def _within(matrix: Array, root: Array) -> Array:
    """R^T M R of a root that may be diagonal."""
    if root.ndim == 4:
        return np.asarray(_across(root) @ (matrix @ root))
    result = matrix * root[:, :, None]
    result *= root[..., None]
    return result


def _times(matrix: Array, root: Array) -> Array:
    """The matrix times a root that may be diagonal."""
    return matrix * root[:, :, None] if root.ndim == 3 else matrix @ root


_FAR_FROM_BUCKLING = 1e-9
"""Share of the buckling load below which a load counts as nothing."""
_LEAST = 1e-6
"""Share of the largest omega^-2 below which inverse iteration is left."""


def _across(matrix: Array) -> Array:
    return np.swapaxes(matrix, -1, -2)


def _turned(axes: Array, vectors: Array) -> Array:
    """From the elements' own axes (B, E, 3, 3) to right, up, toward, (B, E, 3)."""
    return np.asarray((vectors[:, :, None] @ axes)[:, :, 0])


def _condense(field: Field, scales: Array, pull: Array | None) -> tuple[Inside, Flags]:
    """Take the internal functions of one field out, and say where their stiffness is definite, (B,).

    Planes that are alike in every variant, as those of round supports side by side are, are worked out once.
    """
    first, which = _alike(scales if pull is None else np.concatenate([scales, pull], axis=2))
    count, scales = field.count, _planes(scales, first)
    elastic = scales @ np.einsum("kii->ki", field.stiffness[:, count:, count:])
    rows = mix(scales, field.stiffness[:, :count])
    firm = np.ones(len(scales), dtype=bool)
    if pull is None:
        root = 1 / np.sqrt(elastic)
        shapes = -rows[..., count:] / elastic[:, :, None]
    else:
        pull = _planes(pull, first)
        rows += mix(pull, field.tension[:, :count])
        inner = mix(pull, field.tension[:, count:, count:])
        np.einsum("bfii->bfi", inner)[...] += elastic
        try:
            lower = inverse_factor(inner)
        except np.linalg.LinAlgError:
            room = (np.einsum("bfii->bfi", inner) / elastic).min(axis=2)
            holds = definite(inner.reshape(-1, *inner.shape[2:]), room.ravel()).reshape(room.shape)
            firm = np.asarray(holds.all(axis=1))
            # Any regular stiffness will do: such a variant is taken without the load's tension.
            plain = elastic[..., None] * np.eye(elastic.shape[2])
            lower = inverse_factor(np.where(holds[..., None, None], inner, plain))
        root = _across(lower)
        shapes = -(rows[..., count:] @ root) @ lower
    ends = rows[..., :count] + shapes @ _across(rows[..., count:])
    root, shapes, ends = (_planes(part, which) for part in (root, shapes, ends))
    return Inside(field=field, root=root, shapes=shapes, ends=ends, which=tuple(which)), firm


def _planes(every: Array, chosen: list[int]) -> Array:
    """Some planes of an array (B, F, ...); it as it is where these are all."""
    return every if chosen == list(range(every.shape[1])) else np.take(every, chosen, axis=1)


def _alike(planes: Array, known: Sequence[int] | None = None) -> tuple[list[int], list[int]]:
    """The first planes of each kind among (B, F, k), and which of these each is like in every variant.

    With numbers `known` of planes, only those of one number are.
    """
    first: list[int] = []
    which = []
    for plane in range(planes.shape[1]):
        same = (
            place
            for place, other in enumerate(first)
            if (known is None or known[plane] == known[other])
            and np.array_equal(planes[:, plane], planes[:, other])
        )
        place = next(same, len(first))
        if place == len(first):
            first.append(plane)
        which.append(place)
    return first, which
