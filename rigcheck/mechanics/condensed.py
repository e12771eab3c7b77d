"""Few modes of many variants: the frame's own matrices, condensed element by element before they are joined.

The internal functions of an element touch no other element. Taken out exactly they leave a static problem of
the nodes alone, with the same answer as `rigcheck.mechanics.statics.settle`. Measured from their static shape
they meet the nodes in the mass only, which keeps every product small: `CondensedFrame.motion` finds what moving the
ground does to the prop by Lanczos' method, and `CondensedFrame.modes` the few lowest modes at least cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.batches import (
    definite,
    pairs_of,
    runs_of,
    told_if_too_far_apart,
    uncoupled,
    upper_inverse_factor,
)
from rigcheck.mechanics.elements import END_FREEDOMS, Field, Order
from rigcheck.mechanics.frame import PROP_FREEDOMS, Element, Frame, mix
from rigcheck.mechanics.lanczos import Arrow, few_modes, reached

__all__ = ["FEW_MODES", "CondensedFrame", "CondensedModes", "CondensedMotion", "CondensedSettled"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

FEW_MODES = Order(bending=4, shear=3, axial=2, torsion=2)
"""Internal functions that are enough for three modes of a support that carries at least its own mass.

Without tension the settled state is exact; with a tension or compression N over a length L its error is under
1e-9 up to N L^2 = 3 EI and 1e-7 up to 10 EI, beyond which the default `Order` serves.
"""

_SLACK = 1e-13
"""Tension over EI/L^2 below which it changes no digit of an element's stiffness."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Inside:
    """One field of one element with its internal functions taken out; e ends, i internal functions.

    Attributes
    ----------
    field : Field
        Its constants.
    inverse : array, shape (B, i) or (B, i, i)
        Of the internal stiffness, which is diagonal where no tension works.
    shapes : array, shape (B, e, i)
        Internal part of the static shape of each unit end movement.
    ends : array, shape (B, e, e)
        Condensed stiffness.
    """

    field: Field
    inverse: Array
    shapes: Array
    ends: Array

    def solve(self, rows: Array) -> Array:
        """Internal movement under internal forces given as rows, (B, k, i)."""
        return rows * self.inverse[:, None] if self.inverse.ndim == 2 else rows @ self.inverse


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Form:
    """A quadratic form of one field of one element, measured from its static shapes: `CondensedFrame.modes`."""

    inside: Inside
    ends: Array  # condensed, (B, e, e)
    coupling: Array  # G^T, (B, e, i)
    inner: Array  # (B, i, i)

    @classmethod
    def of(cls, inside: Inside, whole: Array) -> _Form:
        count, shapes = len(inside.field.ends), inside.shapes
        outer, side, inner = whole[:, :count, :count], whole[:, :count, count:], whole[:, count:, count:]
        coupling = side + shapes @ inner
        return cls(
            inside=inside,
            ends=outer + shapes @ _across(side) + coupling @ _across(shapes),
            coupling=coupling,
            inner=inner,
        )

    @classmethod
    def of_mass(cls, element: Element, inside: Inside) -> _Form:
        field = inside.field
        return cls.of(inside, mix(element.mass_scales[:, field.mass_kinds], field.mass))

    @property
    def push(self) -> Array:
        """Load of unit accelerations on the ends per rho A L, (B, e, 3)."""
        whole = self.inside.field.push
        count = len(self.inside.field.ends)
        return np.asarray(whole[:count] + self.inside.shapes @ whole[count:])


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Nodes:
    """The nodes of a frame, n freedoms, under given tensions.

    Attributes
    ----------
    insides : list of list of Inside
        Condensed fields of each element.
    slack : list of bool
        For each element, whether its tension changes nothing in any variant.
    turning : array, shape (B, 3, 3)
        What forces on the tips add to the stiffness of the prop's rotation [N m/rad].
    stiffness : array, shape (B, n, n)
        With all of these.
    definite : array of bool, shape (B,)
        Whether the whole stiffness, insides too, is positive definite.
    """

    insides: list[list[Inside]]
    slack: list[bool]
    turning: Array
    stiffness: Array
    definite: Flags


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
    tension : list of array, shape (B, 2)
        At the start and end of each element [N].
    nodes : Nodes
        The condensed frame under the acting tensions, about which modes are taken.
    before : Nodes
        The same under the pretension alone.
    brought : list of array, shape (B, 2), and array, shape (B, 3, 3)
        What the load would add to the tension of each element [N], and to the stiffness of the prop's rotation
        [N m/rad], by first-order theory.
    """

    displacement: Array
    stable: Flags
    root_force: list[Array]
    root_moment: list[Array]
    tip_force: list[Array]
    tension: list[Array]
    nodes: Nodes
    before: Nodes
    brought: tuple[list[Array], Array]


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
    ends: list[Array]  # (B, 2, 2, 3): start and stop; force and moment; along x, y, z


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
        inner = np.zeros(frame.size, dtype=bool)
        for element in frame.elements:
            inner[element.internal] = True
        node_of = np.cumsum(~inner) - 1
        self._count = int(np.sum(~inner))
        self._springs = [
            ([int(node_of[place]) for place in places], spring) for places, spring in frame.springs
        ]
        self._places = [tuple(int(node_of[place]) for place in element.places) for element in frame.elements]
        self._runs = [runs_of(places) for places in self._places]
        # Local end freedoms field by field, so that each field is one block.
        self._order = [end for field in frame.basis.separate_fields for end in field.ends]
        counts = np.cumsum([0] + [len(field.ends) for field in frame.basis.separate_fields])
        self._rows = [slice(start, stop) for start, stop in pairwise(counts)]
        self._ends = [element.ends[:, self._order] for element in frame.elements]
        self._sides = [np.ascontiguousarray(_across(ends)) for ends in self._ends]
        self._last = {element.support: index for index, element in enumerate(frame.elements)}
        self._first: dict[int, int] = {}
        for index, element in enumerate(frame.elements):
            self._first.setdefault(element.support, index)

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
        pulls = [zero if support.tension is None else support.tension for support in frame.supports]
        pulled = [np.stack([pulls[element.support]] * 2, axis=1) for element in frame.elements]
        tip_pulls = [
            pulls[index][:, None] * frame.elements[self._last[index]].axes[:, 0]
            for index in range(len(pulls))
        ]
        turning = frame.turning_stiffness(tip_pulls)
        first = state = self._stiffened(pulled, turning)
        balance = self._solve(state, field, push)
        stable = state.definite
        brought = [np.stack([-ends[:, 0, 0, 0], ends[:, 1, 0, 0]], axis=1) for ends in balance.ends]
        turned_by_load = frame.turning_stiffness(self._tip_forces(balance))
        if load_stiffens:
            acting = [before + new for before, new in zip(pulled, brought, strict=True)]
            tips = [tip + pull for tip, pull in zip(self._tip_forces(balance), tip_pulls, strict=True)]
            turned = frame.turning_stiffness(tips)
            added = self._stiffened(acting, turned, before=state)
            stable = added.definite
            if not stable.all():
                acting = [
                    np.where(stable[:, None], new, old) for new, old in zip(acting, pulled, strict=True)
                ]
                turned = np.where(stable[:, None, None], turned, turning)
                added = self._stiffened(acting, turned)
            if added is not state:
                state = added
                balance = self._solve(state, field, push)
        tensions = [
            before + np.stack([-ends[:, 0, 0, 0], ends[:, 1, 0, 0]], axis=1)
            for before, ends in zip(pulled, balance.ends, strict=True)
        ]
        roots = [
            (frame.elements[place], balance.ends[place], pulls[index])
            for index, place in sorted(self._first.items())
        ]
        return CondensedSettled(
            displacement=balance.nodes[:, :PROP_FREEDOMS],
            stable=stable,
            root_force=[
                _turned(element, ends[:, 0, 0]) - pull[:, None] * element.axes[:, 0]
                for element, ends, pull in roots
            ],
            root_moment=[_turned(element, ends[:, 0, 1]) for element, ends, _ in roots],
            tip_force=[tip + pull for tip, pull in zip(self._tip_forces(balance), tip_pulls, strict=True)],
            tension=tensions,
            nodes=state,
            before=first,
            brought=(brought, turned_by_load),
        )

    def _tip_forces(self, balance: _Balance) -> list[Array]:
        return [
            _turned(self.frame.elements[place], balance.ends[place][:, 1, 0])
            for _, place in sorted(self._last.items())
        ]

    def _stiffened(self, tensions: list[Array], turning: Array, *, before: Nodes | None = None) -> Nodes:
        """The nodes under these tensions; `before` itself where they change nothing."""
        frame = self.frame
        slack = [
            _is_slack(element, tension) for element, tension in zip(frame.elements, tensions, strict=True)
        ]
        if before is not None and all(slack) and all(before.slack):
            size = np.abs(before.stiffness[:, 3:6, 3:6]).max(axis=(1, 2), keepdims=True)
            if np.all(np.abs(turning - before.turning) <= _SLACK * size):
                return before
        firm = np.ones(frame.batch, dtype=bool)
        insides, local = [], []
        for index, (element, tension) in enumerate(zip(frame.elements, tensions, strict=True)):
            fields = []
            for place, field in enumerate(frame.basis.separate_fields):
                pull = tension if field.is_tensioned and not slack[index] else None
                if before is not None and pull is None and before.insides[index][place].inverse.ndim == 2:
                    fields.append(before.insides[index][place])
                    continue
                inside, holds = _condense(element, field, pull)
                fields.append(inside)
                firm &= holds
            insides.append(fields)
            local.append([inside.ends for inside in fields])
        stiffness = self._join(local)
        for places, spring in self._springs:
            stiffness[:, np.array(places)[:, None], np.array(places)] += spring
        stiffness[:, 3:6, 3:6] += turning
        return Nodes(
            insides=insides,
            slack=slack,
            turning=turning,
            stiffness=stiffness,
            definite=firm & definite(stiffness),
        )

    def _solve(self, state: Nodes, acceleration: Array, push: Array | None) -> _Balance:
        frame, insides = self.frame, state.insides
        load = np.zeros((frame.batch, self._count))
        load[:, :3] = frame.prop.mass[:, None] * acceleration
        if push is not None:
            load[:, :PROP_FREEDOMS] += push
        own = []
        for index, (element, fields) in enumerate(zip(frame.elements, insides, strict=True)):
            local = (element.axes @ acceleration[:, :, None])[:, :, 0] * element.mass_scales[:, :1]
            pieces = []
            for inside in fields:
                count = len(inside.field.ends)
                push = local @ inside.field.push.T
                pieces.append(push[:, :count] + (inside.shapes @ push[:, count:, None])[:, :, 0])
            force = np.concatenate(pieces, axis=1)
            own.append(force)
            joined = (force[:, None] @ self._ends[index])[:, 0]
            for part, whole in self._runs[index]:
                load[:, whole] += joined[:, part]
        with told_if_too_far_apart("no settled state"):
            nodes = np.asarray(np.linalg.solve(state.stiffness, load[..., None])[..., 0], dtype=np.float64)
        ends = []
        for index, (element, fields) in enumerate(zip(frame.elements, insides, strict=True)):
            moved = (self._ends[index] @ nodes[:, self._places[index], None])[:, :, 0]
            local = np.empty((frame.batch, END_FREEDOMS))
            for rows, inside in zip(self._rows, fields, strict=True):
                reaction = (inside.ends @ moved[:, rows, None])[:, :, 0] - own[index][:, rows]
                local[:, inside.field.ends] = reaction
            force = local.reshape(-1, 2, 2, 3)
            # Rotations entered as lengths, so what belongs to them is a force until multiplied by the length.
            force[:, :, 1] *= element.length[:, None, None]
            ends.append(force)
        return _Balance(nodes=nodes, ends=ends)

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
        weighty = [
            [_Form.of_mass(element, inside) for inside in fields]
            for element, fields in zip(frame.elements, state.insides, strict=True)
        ]
        mass = self._join([[field.ends for field in fields] for fields in weighty])
        mass[:, [0, 1, 2], [0, 1, 2]] += frame.prop.mass[:, None]
        mass[:, 3:6, 3:6] += frame.prop.inertia
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
        for index, fields in enumerate(weighty):
            back = []
            for rows, field in zip(self._rows, fields, strict=True):
                y_1 = field.inside.solve(ends_0[index][:, :, rows] @ field.coupling)
                back.append(y_1 @ _across(field.coupling))
                force = ends_1[index][:, :, rows] @ field.coupling + y_1 @ field.inner
                steps.append((force, field.inside.solve(force)))
            pushed.append(_across(np.concatenate(back, axis=2)))
        moved = np.linalg.solve(stiffness, mass @ x_1 + self._join_rows(pushed))
        x_2: Array = np.where(within, moved, start)
        ends_2 = self._ends_of(x_2)
        to_2 = _across(x_2)
        firm, heavy = to_2 @ stiffness @ x_2, to_2 @ mass @ x_2
        share = np.zeros((frame.batch, PROP_FREEDOMS, 3))
        share += to_2[:, :, :3] * frame.prop.mass[:, None, None]
        left = iter(steps)
        for index, (element, fields) in enumerate(zip(frame.elements, weighty, strict=True)):
            along = np.zeros_like(share)
            for rows, field in zip(self._rows, fields, strict=True):
                force, y_2 = next(left)
                ends, to_y = ends_2[index][:, :, rows], _across(y_2)
                crossed = ends @ field.coupling @ to_y
                firm += force @ to_y
                heavy += crossed + _across(crossed) + y_2 @ field.inner @ to_y
                along += ends @ field.push + y_2 @ field.inside.field.push[len(field.inside.field.ends) :]
            share += along @ (element.axes * element.mass_scales[:, :1, None])
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
        masses = [
            [_Form.of_mass(element, inside) for inside in fields]
            for element, fields in zip(self.frame.elements, state.insides, strict=True)
        ]
        mass = self._join([[form.ends for form in forms] for forms in masses])
        mass[:, [0, 1, 2], [0, 1, 2]] += self.frame.prop.mass[:, None]
        mass[:, 3:6, 3:6] += self.frame.prop.inertia
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
            elements=self._element_vectors(state, scale, nodes, states),
        )

    def buckling_factor(self, settled: CondensedSettled, *, steps: int = 3) -> Array:
        """How many times the load could be before the frame buckles.

        Parameters
        ----------
        settled : CondensedSettled
            From `settle` of the same frame.
        steps : int
            As in `motion`.

        Returns
        -------
        array, shape (B,)
            Infinite where nothing is compressed, or above 1e9; 0 where it buckles under its pretension alone.

        Notes
        -----
        The smallest positive L with ``det(K + L K_G) = 0``, as -1 over the least eigenvalue of K_G beside K, by the
        method of `motion`. A rig that buckles with its prop held would buckle earlier with it free, so the lowest
        one always moves the prop, and is found. With three steps it is good to
        1e-4 (2e-5 is the worst seen over all stock on two and three supports).
        """
        frame, state = self.frame, settled.before
        tensions, turning = settled.brought
        factor = np.full(frame.batch, np.inf)
        pressed = [tension.min(axis=1) for tension in tensions]
        size = np.abs(state.stiffness[:, 3:6, 3:6]).max(axis=(1, 2))
        least = np.linalg.eigvalsh(turning)[:, 0]
        loaded = least < -_SLACK * size
        for element, tension in zip(frame.elements, pressed, strict=True):
            loaded |= tension < -_SLACK * element.stiffness_scales[:, 2:4].min(axis=1) * element.length
        if not loaded.any():
            return factor
        scale = _Scale.of(state)
        forms = [
            [
                _Form.of(inside, mix(tension / element.length[:, None], inside.field.tension))
                if inside.field.is_tensioned
                else None
                for inside in fields
            ]
            for element, tension, fields in zip(frame.elements, tensions, state.insides, strict=True)
        ]
        added = self._join([[None if form is None else form.ends for form in line] for line in forms])
        added[:, 3:6, 3:6] += turning
        operator = self._scaled(scale, added, forms)
        lowest = np.zeros(frame.batch)
        for group in uncoupled(state.stiffness, added):
            part, _ = operator.part(group)
            count = int(np.sum(group < PROP_FREEDOMS))
            if count or part.inner:
                _, reduced = reached(part, count, steps, _bends(part, count))
                lowest = np.minimum(lowest, np.linalg.eigvalsh(reduced)[:, 0])
        # Rounding leaves about 1e-12 where nothing is compressed.
        buckles = loaded & state.definite & (lowest < -_FAR_FROM_BUCKLING)
        factor[buckles] = -1 / lowest[buckles]
        factor[~state.definite & ~settled.stable] = 0.0
        return factor

    def _scaled(self, scale: _Scale, nodes: Array, forms: Sequence[Sequence[_Form | None]]) -> Arrow:
        """A form of the whole frame in the coordinates of `scale`; insides of fields without one are left out."""
        sides, inner, roots, places = [], [], [], []
        start = self._count
        for index, fields in enumerate(forms):
            for rows, form, root in zip(self._rows, fields, scale.inner[index], strict=True):
                stop = start + root.shape[1]
                if form is not None:
                    joined = np.zeros((self.frame.batch, self._count, root.shape[1]))
                    side = self._sides[index][:, :, rows] @ _times(form.coupling, root)
                    for part, place in self._runs[index]:
                        joined[:, place] += side[:, part]
                    sides.append(scale.factor @ joined)
                    inner.append(_times(_across(_times(form.inner, root)), root))
                    roots.append(root)
                    places.append(np.arange(start, stop))
                start = stop
        return Arrow(
            nodes=scale.factor @ nodes @ _across(scale.factor),
            sides=sides,
            inner=inner,
            roots=roots,
            places=places,
        )

    def _unit_loads(self, state: Nodes) -> tuple[Array, list[list[Array]]]:
        """Loads of a unit acceleration along right, up, toward on nodes (B, n, 3), and inside each field."""
        frame = self.frame
        nodes = np.zeros((frame.batch, self._count, 3))
        nodes[:, [0, 1, 2], [0, 1, 2]] = frame.prop.mass[:, None]
        inside, rows = [], []
        for element, fields in zip(frame.elements, state.insides, strict=True):
            local = element.axes * element.mass_scales[:, :1, None]
            ends = np.empty((frame.batch, END_FREEDOMS, 3))
            own = []
            for place, field in zip(self._rows, fields, strict=True):
                push, count = field.field.push, len(field.field.ends)
                own.append(push[count:] @ local)
                ends[:, place] = push[:count] @ local + field.shapes @ own[-1]
            inside.append(own)
            rows.append(ends)
        return nodes + self._join_rows(rows), inside

    def _condensed_loads(self, state: Nodes, loads: Array) -> tuple[Array, list[list[Array]]]:
        """The frame's loads (B, n, k) on nodes and inside each field."""
        frame = self.frame
        inner = np.zeros(frame.size, dtype=bool)
        for element in frame.elements:
            inner[element.internal] = True
        nodes = loads[:, ~inner]
        inside, rows = [], []
        for element, fields in zip(frame.elements, state.insides, strict=True):
            counts = np.cumsum([0] + [field.shapes.shape[2] for field in fields])
            whole = loads[:, element.internal]
            own = [whole[:, start:stop] for start, stop in pairwise(counts)]
            ends = np.empty((frame.batch, END_FREEDOMS, loads.shape[2]))
            for place, field, force in zip(self._rows, fields, own, strict=True):
                ends[:, place] = field.shapes @ force
            inside.append(own)
            rows.append(ends)
        return nodes + self._join_rows(rows), inside

    def pushed(self, settled: CondensedSettled, push: Array) -> list[Array]:
        """Own vector of each element under a force on the prop alone, about the settled state.

        Parameters
        ----------
        settled : CondensedSettled
            From `settle` of the same frame.
        push : array, shape (B, 6)
            Force on the prop and couple about its centre of mass [N], [N m].

        Returns
        -------
        list of array, shape (B, size)
        """
        state = settled.nodes
        load = np.zeros((self.frame.batch, self._count, 1))
        load[:, :PROP_FREEDOMS, 0] = push
        nodes = np.asarray(np.linalg.solve(state.stiffness, load), dtype=np.float64)
        result = []
        for index, fields in enumerate(state.insides):
            moved = (self._ends[index] @ nodes[:, self._places[index]])[:, :, 0]
            ends = np.empty_like(moved)
            parts = [ends]
            for rows, field in zip(self._rows, fields, strict=True):
                ends[:, field.field.ends] = moved[:, rows]
                parts.append((moved[:, None, rows] @ field.shapes)[:, 0])
            result.append(np.concatenate(parts, axis=1))
        return result

    def _element_vectors(self, state: Nodes, scale: _Scale, nodes: Array, states: Array) -> list[Array]:
        """Own vector of each element in given states, (B, size, k)."""
        result = []
        place = self._count
        for index, fields in enumerate(state.insides):
            moved = self._ends[index] @ nodes[:, self._places[index]]
            ends = np.empty_like(moved)
            parts = [ends]
            for rows, field, root in zip(self._rows, fields, scale.inner[index], strict=True):
                count = root.shape[1]
                own = states[:, place : place + count]
                place += count
                ends[:, field.field.ends] = moved[:, rows]
                parts.append(
                    _across(field.shapes) @ moved[:, rows]
                    + (own * root[..., None] if root.ndim == 2 else root @ own)
                )
            result.append(np.concatenate(parts, axis=1))
        return result

    def _ends_of(self, nodes: Array) -> list[Array]:
        """Local end movements of each element as rows, (B, k, 12) in the order of the fields."""
        return [
            _across(nodes[:, places]) @ sides for places, sides in zip(self._places, self._sides, strict=True)
        ]

    def _join(self, local: Sequence[Sequence[Array | None]]) -> Array:
        """Sum of matrices (B, e, e) of each element's fields in the nodes' freedoms, (B, n, n); None is nothing."""
        result = np.zeros((self.frame.batch, self._count, self._count))
        for matrices, ends, sides, runs in zip(local, self._ends, self._sides, self._runs, strict=True):
            half = np.zeros_like(ends)
            for rows, matrix in zip(self._rows, matrices, strict=True):
                if matrix is not None:
                    half[:, rows] = matrix @ ends[:, rows]
            block = sides @ half
            for rows, to_rows in runs:
                for columns, to_columns in runs:
                    result[:, to_rows, to_columns] += block[:, rows, columns]
        return result

    def _join_rows(self, local: list[Array]) -> Array:
        """Sum of the elements' loads, (B, n, k) from (B, 12, k) each."""
        result = np.zeros((self.frame.batch, self._count, local[0].shape[2]))
        for rows, sides, runs in zip(local, self._sides, self._runs, strict=True):
            block = sides @ rows
            for part, whole in runs:
                result[:, whole] += block[:, part]
        return result


def _root(matrix: Array) -> Array:
    """R with R R^T each matrix, which is positive definite but for rounding, (B, n, n)."""
    try:
        return np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)
    except np.linalg.LinAlgError:  # a tension of so many times EI/L^2 that digits run out
        values, vectors = np.linalg.eigh(matrix)
        return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[:, None])


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Scale:
    """Coordinates in which the condensed stiffness is the identity; see `CondensedFrame.motion`."""

    factor: Array  # U^-1 of the nodes, upper triangular, (B, n, n)
    inner: list[list[Array]]  # R of each field: (B, i), diagonal, or (B, i, i)

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
            inner=[
                [
                    np.asarray(
                        np.sqrt(inside.inverse) if inside.inverse.ndim == 2 else _root(inside.inverse),
                        dtype=np.float64,
                    )
                    for inside in fields
                ]
                for fields in state.insides
            ],
        )

    def loads(self, loads: tuple[Array, list[list[Array]]]) -> Array:
        """Loads on nodes and inside as one array, (B, n + i, k)."""
        nodes, inside = loads
        return np.concatenate(
            [
                self.factor @ nodes,
                *(
                    own * root[..., None] if root.ndim == 2 else _across(root) @ own
                    for forces, roots in zip(inside, self.inner, strict=True)
                    for own, root in zip(forces, roots, strict=True)
                ),
            ],
            axis=1,
        )


def _bends(part: Arrow, count: int) -> Array | None:
    """Two bends of the insides of a part, without its first freedoms, (B, N - count, 2), to start from.

    Each bend takes in the lowest internal function of every other field, with weights that all differ, so that
    it is not at right angles to supports that bend against each other.
    """
    if not part.inner:
        return None
    result = np.zeros((len(part.nodes), part.size - count, min(2, len(part.inner))))
    place = part.nodes.shape[1] - count
    for number, (block, root) in enumerate(zip(part.inner, part.roots, strict=True)):
        stop = place + block.shape[1]
        result[:, place:stop, number % 2] = _first_row(root) / (1 + number // 2)
        place = stop
    return result


def _first_row(root: Array) -> Array:
    """First row of a root that may be diagonal, (B, i)."""
    if root.ndim == 3:
        return root[:, 0]
    row = np.zeros_like(root)
    row[:, 0] = root[:, 0]
    return row


def _times(matrix: Array, root: Array) -> Array:
    """The matrix times a root that may be diagonal."""
    return matrix * root[:, None] if root.ndim == 2 else matrix @ root


_FAR_FROM_BUCKLING = 1e-9
"""Share of the buckling load below which a load counts as nothing."""
_LEAST = 1e-6
"""Share of the largest omega^-2 below which inverse iteration is left."""


def _across(matrix: Array) -> Array:
    return np.swapaxes(matrix, 1, 2)


def _turned(element: Element, vector: Array) -> Array:
    """From the element's own axes to right, up, toward."""
    return (vector[:, None] @ element.axes)[:, 0]


def _is_slack(element: Element, tension: Array) -> bool:
    """Whether the tension is nothing beside EI/L^2 in every variant of the batch."""
    bending = element.stiffness_scales[:, 2:4].min(axis=1) * element.length
    return bool(np.all(np.abs(tension) <= _SLACK * bending[:, None]))


def _condense(element: Element, field: Field, tension: Array | None) -> tuple[Inside, Flags]:
    """Take the internal functions of one field out, and say where their stiffness is definite."""
    count = len(field.ends)
    whole = mix(element.stiffness_scales[:, field.stiffness_kinds], field.stiffness)
    firm = np.ones(len(whole), dtype=bool)
    diagonal = np.einsum("bii->bi", whole[:, count:, count:])
    if tension is None:
        inverse = 1 / diagonal
        shapes = -whole[:, :count, count:] * inverse[:, None]
    else:
        elastic = diagonal.copy()
        whole += mix(tension / element.length[:, None], field.tension)
        inner = whole[:, count:, count:]
        firm = definite(inner)
        if not firm.all():
            # Any regular stiffness will do: the variant is solved again without the load's tension.
            inner = np.where(
                firm[:, None, None], inner, np.einsum("bi,ij->bij", elastic, np.eye(elastic.shape[1]))
            )
        inverse = np.linalg.inv(inner)
        shapes = -whole[:, :count, count:] @ inverse
    ends = whole[:, :count, :count] + shapes @ whole[:, count:, :count]
    return Inside(field=field, inverse=inverse, shapes=shapes, ends=ends), firm
