"""Supports that sag far: the settled state without the limit to small displacements, and the modes about it.

The load is raised from nothing to its full size, in as many steps as the bending asks for, and equilibrium is
found at each by Newton's method on the rods of `rigcheck.mechanics.rods`. All variants go together; each
takes its own steps and drops out when it is done. What comes out is the state that the support would reach if
its load came on slowly; where there is none near the one before (a standing wire that snaps through), the
variant is reported as not converged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ArgumentError
from rigcheck.mechanics.batches import (
    inverse_factor,
    largest_pairs,
    told_if_too_far_apart,
    upper_inverse_factor,
)
from rigcheck.mechanics.frame import PROP_FREEDOMS, Frame, Prop, Support
from rigcheck.mechanics.lanczos import Inside, Motion, motion_of
from rigcheck.mechanics.load_steps import Search
from rigcheck.mechanics.modes import Modes, massive_modes, natural_modes
from rigcheck.mechanics.rod_elements import END_FREEDOMS
from rigcheck.mechanics.rods import Evaluation, Rods, State
from rigcheck.mechanics.statics import SectionForces
from rigcheck.mechanics.turns import rotation_matrix, rotation_vector

__all__ = [
    "LargeSettled",
    "MovedFrame",
    "elements_for",
    "large_modes",
    "settle_large",
    "variants_at_once",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

_CHUNK = 128
"""Variants solved at once, to bound the memory."""
_FREEDOMS = 24
"""Of an element."""
_MOST_ENTRIES = 2_000_000
"""Of the stiffness matrices of the variants that are to be solved together; about six such arrays are needed."""
_MOST_ITERATIONS, _MOST_WORK = 400, 100_000
"""Newton iterations for one variant, and the same times its freedoms."""
_OVERHEAD = 250
"""Freedoms as which the rest of an iteration counts."""
_LEAST_ELEMENTS, _MOST_ELEMENTS = 4, 24
_ELEMENTS_PER_LENGTH, _ELEMENTS_PER_LENGTH_OF_SEVERAL = 0.7, 1.0
"""Elements of order 4 on each length sqrt(EI / weight): 0.01 % of the elastica up to a weight of 1000 EI /
L^2. Several supports keep their prop from turning and bend to an S."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LargeSettled:
    """A batch of frames at rest under their weight, however far they have moved.

    Every number of a variant that did not converge is NaN.

    Attributes
    ----------
    converged : array of bool, shape (B,)
        Whether equilibrium under the full weight was found.
    stable : array of bool, shape (B,)
        Whether it would stay there: the tangent is positive definite. False also where not converged.
    reached : array, shape (B,)
        Share of the weight under which equilibrium was found last; 1 where converged.
    iterations : array of int, shape (B,)
        Newton iterations over all load steps.
    residual : array, shape (B,)
        Largest force out of balance over the weight of everything, or couple over weight times length.
    prop_displacement : array, shape (B, 3)
        Of the centre of mass [m].
    prop_rotation : array, shape (B, 3)
        As a rotation vector of at most half a turn [rad].
    prop_rotation_matrix : array, shape (B, 3, 3)
        Turns directions of the unloaded prop into those of the settled one.
    tip_displacement : list of array, shape (B, 3)
        Of each support's tip [m].
    root_force, root_moment : list of array, shape (B, 3)
        What each root puts on its support [N], [N m].
    tip_force, tip_moment : list of array, shape (B, 3)
        What the prop puts on each support's tip [N], [N m].
    mesh_error : array, shape (B,)
        Largest jump of a section moment between neighbouring elements over the largest moment: an upper
        bound, as a rule far too cautious, of what a finer mesh would change.
    rods : Rods
        The model that was solved.
    gravity : array, shape (B, 3)
        [m/s2].
    state : State
        The moved rods.
    evaluation : Evaluation
        There: section forces, and the tangent about this state.
    """

    converged: Flags
    stable: Flags
    reached: Array
    iterations: NDArray[np.int64]
    residual: Array
    prop_displacement: Array
    prop_rotation: Array
    prop_rotation_matrix: Array
    tip_displacement: list[Array]
    root_force: list[Array]
    root_moment: list[Array]
    tip_force: list[Array]
    tip_moment: list[Array]
    mesh_error: Array
    rods: Rods
    gravity: Array
    state: State
    evaluation: Evaluation

    @property
    def work(self) -> NDArray[np.int64]:
        """What it took to settle each variant, in iterations times freedoms: 200,000 is about a second; (B,)."""
        return np.asarray(self.iterations * (self.rods.size + _OVERHEAD))

    def section_forces(self, stations: Array) -> list[SectionForces]:
        """Section forces in every straight piece, in the axes of the turned section.

        Parameters
        ----------
        stations : array, shape (s,)
            Places along each piece, 0 at its start and 1 at its end.

        Returns
        -------
        list of SectionForces
            In the order of ``Frame.elements``; each of shape (B, s).
        """
        return _section_forces(self.rods, self.evaluation.stress, stations)

    def centre_line(self, stations: Array) -> list[Array]:
        """Places of every support's moved centre line, for drawing.

        Parameters
        ----------
        stations : array, shape (s,)
            Places along each straight piece, 0 at its start and 1 at its end.

        Returns
        -------
        list of array, shape (B, pieces times s, 3)
            [m], from root to tip.
        """
        return [self.rods.centre_line(self.state, line, np.asarray(stations)) for line in self.rods.lines]


def settle_large(
    supports: tuple[Support, ...] | list[Support],
    prop: Prop,
    gravity: Array,
    *,
    push: Array | None = None,
    natural: list[Array] | None = None,
    shear: bool = True,
    elements: int | None = None,
    coarse: bool = False,
    order: int = 4,
    tolerance: float = 1e-9,
    most_iterations: int | None = None,
) -> LargeSettled:
    """Find the settled state under the weight of everything, for displacements and rotations of any size.

    Parameters
    ----------
    supports : sequence of Support
        One or several; all with the same batch length B.
    prop : Prop
        The rigid prop.
    gravity : array, shape (3,) or (B, 3)
        Acceleration of gravity [m/s2]; any uniform field of acceleration.
    push : array, shape (B, 6), optional
        Steady force on the prop and couple about its centre of mass, beside the weight [N], [N m]; raised
        with it in steps. The couple is made of dead forces.
    natural : list of array, shape (B, segments, n, 3), optional
        Twist and curvatures of each support that need no moment, as those of a wire that has yielded; at n even
        places along each straight piece, in its local axes [1/m].
    shear : bool
        False leaves shear deformation out.
    elements : int, optional
        Elements for each support; every straight piece has at least one. Left out, 4 to 24 by how strongly
        the weight bends the supports: enough for 0.01 % of the displacement.
    coarse : bool
        With `elements` left out, half as many: enough for 0.1 % of displacements and frequencies and 0.5 % of
        moments, in less than half the time. Taut supports keep all: their bending gathers beside the clamp.
    order : int
        Of the elements, 2 to 6.
    tolerance : float
        Greatest residual of a converged variant.
    most_iterations : int, optional
        Newton iterations for one variant after which it is given up. Left out, 400, or fewer in models of more than
        250 freedoms, so that each takes half a second or so at most.

    Returns
    -------
    LargeSettled

    Raises
    ------
    ArgumentError
        For shapes that do not fit each other, stiffnesses that are not positive, and numbers that are not
        finite.

    Notes
    -----
    Geometrically exact rods (E. Reissner, 1981; J. C. Simo, 1985): no limit on displacement and
    rotation; the strain itself must be small, as it is wherever a metal stays elastic. The material is
    linear: check the stress. A variant whose strain passes a tenth in bending (at a radius of gyration) or a half
    along the line is given up, at the share of the weight that it had under it. The section keeps its shape;
    warping of strips is left out, their lateral-torsional buckling is not.

    Tension pulled into a line before the prop is hung is taken to be in balance in the given shape: where the
    pulls of several lines do not cancel, fixed forces are added that cancel them.

    A wire that stands exactly upright stays upright past its buckling load, and is reported as not stable. To
    see where it goes, tilt gravity by a thousandth.
    """
    supports = tuple(supports)
    batch = len(prop.mass)
    field = _checked(supports, prop, np.asarray(gravity, dtype=float), order, elements)
    if elements is None:
        elements = int(elements_for(supports, prop, field, coarse=coarse).max())
    rods = Rods(supports, prop, order=order, elements=elements, shear=shear, push=push, natural=natural)
    if most_iterations is None:
        most_iterations = min(_MOST_ITERATIONS, _MOST_WORK // (rods.size + _OVERHEAD))
    parts = []
    for start in range(0, batch, _CHUNK):
        chosen = np.arange(start, min(start + _CHUNK, batch))
        part = rods.take(chosen) if batch > _CHUNK else rods
        parts.append(_settle(part, field[chosen], tolerance, most_iterations))
    return _joined(rods, parts)


def elements_for(
    supports: Sequence[Support],
    prop: Prop,
    gravity: Array,
    *,
    coarse: bool = False,
    least: int = _LEAST_ELEMENTS,
) -> Index:
    """Elements for each support: bending gathers on the length sqrt(EI / weight) beside a clamp or tip.

    Parameters
    ----------
    supports : sequence of Support
        Each with one batch of rods.
    prop : Prop
        What they carry.
    gravity : array, shape (3,) or (B, 3)
        [m/s2].
    coarse : bool
        As in `settle_large`.
    least : int
        At least so many where every support is one straight piece and none is taut; elsewhere 4. Two are enough for
        0.01 % of displacements and the lowest frequencies and 0.05 % of moments.

    Returns
    -------
    int array, shape (B,)
        What each variant needs. `settle_large`, where none is given, takes the most of all.
    """
    pull = np.linalg.norm(gravity, axis=-1)
    most = np.zeros(len(prop.mass))
    for support in supports:
        lengths = np.linalg.norm(np.diff(support.points, axis=1), axis=2)
        carried = pull * (prop.mass + np.sum(support.mass_per_length * lengths, axis=1))
        softest = np.min(np.minimum(support.bending_stiffness_y, support.bending_stiffness_z), axis=1)
        most = np.maximum(most, np.sum(lengths, axis=1) * np.sqrt(carried / softest))
    taut = any(support.tension is not None for support in supports)
    if taut or any(support.segments > 1 for support in supports):
        least = _LEAST_ELEMENTS
    density = _ELEMENTS_PER_LENGTH if len(supports) == 1 else _ELEMENTS_PER_LENGTH_OF_SEVERAL
    elements = np.clip(np.ceil(density * most), least, _MOST_ELEMENTS).astype(np.intp)
    return np.maximum(_LEAST_ELEMENTS // 2, (elements + 1) // 2) if coarse and not taut else elements


def variants_at_once(supports: Sequence[Support], elements: int) -> int:
    """How many variants to hand to `settle_large` together, so that they and their modes stay within 100 MB.

    Parameters
    ----------
    supports : sequence of Support
        Of one of them.
    elements : int
        As from `elements_for`.

    Returns
    -------
    int
        At least 1.
    """
    freedoms: int = _FREEDOMS * sum(max(elements, support.points.shape[1] - 1) for support in supports)
    return max(1, _MOST_ENTRIES // (freedoms * freedoms))


# -- modes -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Apart:
    root: Array  # (B, E, i, i), R with R R^T the inverse of the stiffness inside each element
    shape: Array  # (B, E, i, 12), static shape inside for displacements and spins of its ends
    stiffness: Array  # (B, m, m), of the outer freedoms, with these shapes
    mass: Array  # the same
    side: Array  # (B, m, E, i), mass between them and what is inside, in coordinates of unit stiffness
    inner: Array  # (B, E, i, i), mass of the latter


class MovedFrame:
    """Small motion about a settled state, with the members of `Frame` that loads and modes need.

    Parameters
    ----------
    settled : LargeSettled
        From `settle_large`.
    about_state : bool
        False takes the given shape without weight instead of the settled state.

    Attributes
    ----------
    batch, size : int
        Variants and freedoms. The first six freedoms are the prop's displacement and rotation.

    Notes
    -----
    Rows of a variant that is not settled, or not stable, are NaN.
    """

    def __init__(self, settled: LargeSettled, *, about_state: bool = True) -> None:
        rods = settled.rods
        self.rods = rods
        self.batch, self.size = rods.batch, rods.size
        self.state = settled.state if about_state else rods.rest()
        self.known: Flags = (
            settled.converged & settled.stable if about_state else np.ones(rods.batch, dtype=bool)
        )
        self._here = settled.evaluation
        if not about_state:
            self._here = rods.evaluate(self.state, np.zeros_like(rods.points), share=np.zeros(rods.batch))
        self._inertia = rods.inertia(self.state)

    @cached_property
    def stiffness(self) -> Array:
        """Tangent of the settled state, shape (B, n, n)."""
        return np.where(self.known[:, None, None], self.rods.tangent(self._here), np.nan)

    @cached_property
    def mass(self) -> Array:
        """Consistent mass there, rotary inertia included, shape (B, n, n)."""
        mass = self.rods.mass(self.state, self._here.ends, self._inertia)
        return np.where(self.known[:, None, None], mass, np.nan)

    def inertial_load(
        self, offset: Array, gradient: Array | None = None, about: Array | None = None
    ) -> Array:
        """Load of a field of acceleration that all mass feels, where it has moved to.

        As ``Frame.inertial_load``.

        Parameters
        ----------
        offset : array, shape (..., B, 3) or (3,)
            Acceleration at the point `about` [m/s2]; several fields stand before the variants.
        gradient : array, shape (..., B, 3, 3), optional
            Change of it with place [1/s2].
        about : array, shape (B, 3), optional
            [m]; the origin if left out.

        Returns
        -------
        array, shape (..., B, n)
            Generalised forces.
        """
        shape = (self.batch, 3)
        offset = np.asarray(offset, dtype=float)
        offset = np.broadcast_to(offset, np.broadcast_shapes(offset.shape, shape))
        origin = np.broadcast_to(np.zeros(3) if about is None else about, shape)
        return self.rods.inertial_load(self.state, self._here.ends, self._inertia, offset, gradient, origin)

    def motion(
        self, *, turning: bool, least_share: float, steps: int, stations: Array
    ) -> tuple[Motion, list[SectionForces]]:
        """Answer to the unit fields of acceleration, by the modes that move the prop.

        Parameters
        ----------
        turning : bool
            Beside the uniform fields along right, up, toward, also those that grow by 1/s2 with place: nine more.
        least_share, steps
            As in `rigcheck.mechanics.lanczos.motion_of`.
        stations : array, shape (s,)
            As in `section_forces`.

        Returns
        -------
        Motion
            Of the prop and the ends of the elements.
        list of SectionForces
            Under the fields, and then in the modes; each of shape (B, s, k + m).

        Raises
        ------
        numpy.linalg.LinAlgError
            Where a stiffness is not positive definite.
        """
        rods, maps, apart = self.rods, self._here.ends.maps, self._apart()
        loads, pushed = self._unit_loads(turning=turning)
        rods.add_outer_rows(loads, np.swapaxes(maps, -1, -2) @ (np.swapaxes(apart.shape, -1, -2) @ pushed))
        push = np.swapaxes(apart.root, -1, -2) @ pushed
        motion = motion_of(
            apart.stiffness,
            apart.mass,
            loads,
            prop=PROP_FREEDOMS,
            least_share=least_share,
            steps=steps,
            insides=[Inside(root=apart.root, side=apart.side, inner=apart.inner, push=push)],
        )
        moved = maps @ rods.at_ends(np.concatenate([motion.follow, motion.shape], axis=2))
        steps_of = np.concatenate([moved, apart.shape @ moved + motion.inside[0]], axis=2)
        stress = rods.stress_change(self._here.strain_map, steps_of)
        return motion, _section_forces(rods, stress, stations)

    def lowest_modes(self, count: int) -> Modes:
        """The lowest modes of all, as from `large_modes`.

        Raises
        ------
        ValidityError
            As `natural_modes`.

        Notes
        -----
        ``U^-1 M U^-T y = omega^-2 y`` with ``K = U U^T``, as `natural_modes` does it, but with what is inside each
        element measured from its static shape: then K is the stiffness of the ends and of each inside alone.
        """
        rods, maps = self.rods, self._here.ends.maps
        with told_if_too_far_apart("no modes"):
            apart = self._apart()
            factor = upper_inverse_factor(apart.stiffness)
        batch, outer, elements, inside = apart.side.shape
        size = outer + elements * inside
        matrix = np.zeros((batch, size, size))
        matrix[:, :outer, :outer] = factor @ apart.mass @ np.swapaxes(factor, 1, 2)
        matrix[:, :outer, outer:] = factor @ apart.side.reshape(batch, outer, -1)
        matrix[:, outer:, :outer] = np.swapaxes(matrix[:, :outer, outer:], 1, 2)
        for index in range(elements):
            own = slice(outer + index * inside, outer + (index + 1) * inside)
            matrix[:, own, own] = apart.inner[:, index]
        values, vectors = largest_pairs(matrix, min(count, size))
        massive, omega = massive_modes(values)
        vectors = vectors[:, :, : omega.shape[1]] * np.where(massive, omega, 0.0)[:, None]
        ends = np.swapaxes(factor, 1, 2) @ vectors[:, :outer]
        within = vectors[:, outer:].reshape(batch, elements, inside, -1)
        within = apart.shape @ (maps @ rods.at_ends(ends)) + apart.root @ within
        turned = np.swapaxes(rods.axes, -1, -2)[:, :, None] @ within.reshape(
            batch, elements, -1, 3, within.shape[3]
        )
        shape = np.empty((batch, self.size, within.shape[3]))
        shape[:, rods.outer_freedoms] = ends
        shape[:, rods.inner_freedoms] = turned.reshape(within.shape)
        loads = np.stack([self.inertial_load(axis) for axis in np.eye(3)], axis=2)
        return Modes(angular_frequency=omega, shape=shape, participation=np.swapaxes(shape, 1, 2) @ loads)

    def _apart(self) -> _Apart:
        """Stiffness and mass, with what is inside each element measured from the static shape its ends give it."""
        rods, here, maps = self.rods, self._here, self._here.ends.maps
        back = np.swapaxes(maps, -1, -2)
        stiff, heavy = here.element_tangent, rods.element_mass(self._inertia)
        block, weighty = stiff[..., END_FREEDOMS:, END_FREEDOMS:], heavy[..., END_FREEDOMS:, END_FREEDOMS:]
        lower = inverse_factor(block.reshape(-1, *block.shape[2:])).reshape(block.shape)
        root = np.swapaxes(lower, -1, -2)
        link, carried = (
            lower @ stiff[..., END_FREEDOMS:, :END_FREEDOMS],
            heavy[..., END_FREEDOMS:, :END_FREEDOMS],
        )
        shape = -(root @ link)
        mixed = carried + weighty @ shape
        firm = stiff[..., :END_FREEDOMS, :END_FREEDOMS] - np.swapaxes(link, -1, -2) @ link
        ends = heavy[..., :END_FREEDOMS, :END_FREEDOMS] + np.swapaxes(carried, -1, -2) @ shape
        ends += np.swapaxes(shape, -1, -2) @ mixed
        stiffness, mass = here.corner.copy(), np.zeros_like(here.corner)
        mass[:, :PROP_FREEDOMS, :PROP_FREEDOMS] = rods.prop_mass(self.state)
        rods.add_outer(stiffness, back @ firm @ maps)
        rods.add_outer(mass, back @ ends @ maps)
        beside = back @ np.swapaxes(lower @ mixed, -1, -2)
        side = np.zeros((self.batch, stiffness.shape[1], *block.shape[1:3]))
        for index, runs in enumerate(rods.outer_runs):
            for rows, place in runs:
                side[:, place, index] = beside[:, index, rows]
        return _Apart(
            root=root, shape=shape, stiffness=stiffness, mass=mass, side=side, inner=lower @ weighty @ root
        )

    def _unit_loads(self, *, turning: bool) -> tuple[Array, Array]:
        """Loads of unit fields of acceleration on the outer freedoms, (B, m, k), and on those inside each element.

        The latter in its own axes, (B, E, 6 (p - 1), k).
        """
        rods = self.rods
        axes = np.broadcast_to(np.eye(3)[:, None], (3, self.batch, 3))
        loads = self.inertial_load(axes)
        if turning:
            spread = np.broadcast_to(np.eye(9).reshape(9, 1, 3, 3), (9, self.batch, 3, 3))
            loads = np.concatenate([loads, self.inertial_load(np.zeros((9, self.batch, 3)), spread)])
        inside = loads[..., rods.inner_freedoms]
        turned = inside.reshape(*inside.shape[:3], -1, 3) @ np.swapaxes(rods.axes, -1, -2)
        return (
            np.ascontiguousarray(np.moveaxis(loads[..., rods.outer_freedoms], 0, 2)),
            np.ascontiguousarray(np.moveaxis(turned.reshape(inside.shape), 0, 3)),
        )

    def section_forces(self, state: Array, stations: Array) -> list[SectionForces]:
        """Change of the section forces with small motion; as `rigcheck.mechanics.statics.section_forces`.

        Parameters
        ----------
        state : array, shape (B, n) or (B, n, k)
            Freedoms: one state, or k mode shapes.
        stations : array, shape (s,)
            Places along each straight piece, 0 at its start and 1 at its end.

        Returns
        -------
        list of SectionForces
            In the order of ``Frame.elements``, in the axes of the turned section; each of shape (B, s) or (B,
            s, k).
        """
        many = state if state.ndim == 3 else state[..., None]
        steps = self.rods.element_steps(self._here.ends, many)
        change = self.rods.stress_change(self._here.strain_map, steps)
        return _section_forces(self.rods, change if state.ndim == 3 else change[..., 0], stations)

    def take(self, chosen: Index) -> MovedFrame:
        """Some variants only."""
        result = object.__new__(MovedFrame)
        result.rods, result.state = self.rods.take(chosen), self.state.take(chosen)
        result.batch, result.size, result.known = len(chosen), self.size, self.known[chosen]
        result._here, result._inertia = self._here.take(chosen), self._inertia.take(chosen)
        return result


def large_modes(
    settled: LargeSettled | MovedFrame, count: int | None = None, *, about_state: bool = True
) -> Modes:
    """Natural modes about the settled state.

    Parameters
    ----------
    settled : LargeSettled or MovedFrame
        From `settle_large`; a `MovedFrame` where its loads or section forces are wanted too.
    count : int, optional
        How many modes; all that carry mass if left out.
    about_state : bool
        False takes the given shape without weight instead; has no effect on a `MovedFrame`.

    Returns
    -------
    Modes
        As from `natural_modes`: unit modal mass, participation for acceleration along right, up, toward. Rows
        0 to 2 of ``shape`` are the displacement of the prop's centre of mass, rows 3 to 5 its rotation. NaN
        where a variant is not settled or not stable; the section forces of a mode are
        ``MovedFrame.section_forces(shape, stations)``.

    Notes
    -----
    ``K x = omega^2 M x`` with the tangent K and the mass M of the settled state. At rest nothing
    gyroscopic enters.
    """
    frame = settled if isinstance(settled, MovedFrame) else MovedFrame(settled, about_state=about_state)
    known = np.flatnonzero(frame.known)
    if not len(known):
        kept = frame.size if count is None else count
        return Modes(
            angular_frequency=np.full((frame.batch, kept), np.nan),
            shape=np.full((frame.batch, frame.size, kept), np.nan),
            participation=np.full((frame.batch, kept, 3), np.nan),
        )
    part = frame if len(known) == frame.batch else frame.take(known)
    # natural_modes needs only the mass and the inertial load of its frame.
    modes = natural_modes(cast(Frame, part), part.stiffness) if count is None else part.lowest_modes(count)
    if part is frame:
        return modes
    return Modes(
        angular_frequency=_spread(modes.angular_frequency, known, frame.batch),
        shape=_spread(modes.shape, known, frame.batch),
        participation=_spread(modes.participation, known, frame.batch),
    )


def _settle(rods: Rods, gravity: Array, tolerance: float, most_iterations: int) -> LargeSettled:
    search = Search(rods, gravity, tolerance, most_iterations)
    search.run()
    good, state = search.converged, search.base
    lost = np.flatnonzero(~good)
    evaluation = search.final
    if len(lost):
        # What is out of balance is told for the state that the search left off at; the other numbers are hidden.
        share, part = search.target[lost], rods.take(lost)
        left = part.evaluate(search.trial.take(lost), share[:, None, None] * search.load[lost], share=share)
        evaluation = evaluation or left.unknown(rods.batch)
        evaluation.gradient[lost] = left.gradient
        for values in (state.shift, state.turn, state.root_angle):
            values[lost] = np.nan
    assert evaluation is not None  # every variant has converged, or is lost
    residual = search.unbalance(np.arange(rods.batch), evaluation)
    residual = residual / np.where(search.force_scale > 0, search.force_scale, 1.0)
    stable = good & search.base_stable
    turn, force = state.turn[:, 0], rods.node_force(evaluation)
    roots, tips = rods.roots, rods.tips
    return LargeSettled(
        converged=good,
        stable=stable,
        reached=search.base_share,
        iterations=search.iterations,
        residual=residual,
        prop_displacement=state.shift[:, 0],
        prop_rotation=rotation_vector(turn),
        prop_rotation_matrix=rotation_matrix(turn),
        tip_displacement=[state.shift[:, tip] for tip in tips],
        root_force=[force[:, root, :3] for root in roots],
        root_moment=[force[:, root, 3:] for root in roots],
        tip_force=[force[:, tip, :3] for tip in tips],
        tip_moment=[force[:, tip, 3:] for tip in tips],
        mesh_error=rods.moment_jump(state, evaluation),
        rods=rods,
        gravity=gravity,
        state=state,
        evaluation=evaluation,
    )


def _joined(rods: Rods, parts: list[LargeSettled]) -> LargeSettled:
    if len(parts) == 1:
        return parts[0]
    values: dict[str, Any] = {}
    for item in fields(LargeSettled):
        found = [getattr(part, item.name) for part in parts]
        if item.name == "rods":
            values[item.name] = rods
        elif item.name == "state":
            values[item.name] = State(
                **{
                    name.name: np.concatenate([getattr(one, name.name) for one in found])
                    for name in fields(State)
                }
            )
        elif item.name == "evaluation":
            values[item.name] = Evaluation.joined(found)
        elif isinstance(found[0], list):
            values[item.name] = [np.concatenate(group) for group in zip(*found, strict=True)]
        else:
            values[item.name] = np.concatenate(found)
    return LargeSettled(**values)


def _spread(values: Array, known: Index, batch: int) -> Array:
    result = np.full((batch, *values.shape[1:]), np.nan)
    result[known] = values
    return result


def _section_forces(rods: Rods, stress: Array, stations: Array) -> list[SectionForces]:
    return [
        SectionForces.of(
            axial=values[:, :, 0],
            shear_y=values[:, :, 1],
            shear_z=values[:, :, 2],
            torque=values[:, :, 3],
            moment_y=values[:, :, 4],
            moment_z=values[:, :, 5],
        )
        for line in rods.lines
        for values in rods.section_stress(line, stress, np.asarray(stations, dtype=float))
    ]


# -- input -------------------------------------------------------------------------------------------------


def _checked(
    supports: tuple[Support, ...], prop: Prop, gravity: Array, order: int, elements: int | None
) -> Array:
    """The field of gravity for each variant; raises where the input makes no model."""
    batch = len(prop.mass)
    if not supports:
        raise ArgumentError("supports: none given; the prop needs at least one.")
    if not 2 <= order <= 6:
        raise ArgumentError(f"order = {order}: allowed is 2 to 6.")
    if elements is not None and elements < 1:
        raise ArgumentError(f"elements = {elements}: allowed is 1 or more.")
    if gravity.shape not in ((3,), (batch, 3)) or not np.all(np.isfinite(gravity)):
        raise ArgumentError(
            f"gravity of shape {gravity.shape}: wanted is (3,) or ({batch}, 3), all numbers finite."
        )
    for name in ("mass", "centre_of_mass", "inertia"):
        if not np.all(np.isfinite(getattr(prop, name))):
            raise ArgumentError(f"prop.{name}: has a number that is not finite.")
    for index, support in enumerate(supports):
        where = f"supports[{index}]"
        if support.points.ndim != 3 or len(support.points) != batch or support.segments < 1:
            raise ArgumentError(
                f"{where}.points of shape {support.points.shape}: wanted is ({batch}, n + 1, 3)."
            )
        for name in _POSITIVE:
            value = getattr(support, name)
            if value.shape != (batch, support.segments):
                raise ArgumentError(
                    f"{where}.{name} of shape {value.shape}: wanted is ({batch}, {support.segments})."
                )
            if not np.all(np.isfinite(value) & (value > 0)):
                raise ArgumentError(f"{where}.{name}: every value must be positive and finite.")
        if not np.all(np.isfinite(support.points)):
            raise ArgumentError(f"{where}.points: has a number that is not finite.")
        if np.any(np.linalg.norm(np.diff(support.points, axis=1), axis=2) <= 0):
            raise ArgumentError(f"{where}.points: two points in a row are the same; leave one out.")
        for name in _NOT_NEGATIVE:
            value = getattr(support, name)
            if not np.all(np.isfinite(value) & (value >= 0)):
                raise ArgumentError(f"{where}.{name}: every value must be 0 or more and finite.")
        if support.tension is not None and not np.all(np.isfinite(support.tension)):
            raise ArgumentError(f"{where}.tension: has a number that is not finite.")
        if not np.all(support.root_stiffness >= 0):
            raise ArgumentError(f"{where}.root_stiffness: every value must be 0 or more; infinite is rigid.")
        if support.joint_stiffness is not None and not np.all(
            np.isfinite(support.joint_stiffness) & (support.joint_stiffness > 0)
        ):
            raise ArgumentError(
                f"{where}.joint_stiffness: every value must be positive and finite; None is rigid."
            )
    return np.broadcast_to(gravity, (batch, 3))


_POSITIVE = (
    "axial_stiffness",
    "torsional_stiffness",
    "bending_stiffness_y",
    "bending_stiffness_z",
    "shear_stiffness_y",
    "shear_stiffness_z",
)
_NOT_NEGATIVE = ("mass_per_length", "rotary_inertia_y", "rotary_inertia_z", "polar_inertia")
