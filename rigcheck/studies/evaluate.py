"""The full check of a batch of rigs as plain SI arrays: settled state, modes, stress.

`check`, the cures in its advice and every later study call this one function, so they cannot disagree. What a
move then does to the rigs is in `rigcheck.studies.moving`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.mechanics import sections
from rigcheck.mechanics.batches import cross
from rigcheck.mechanics.condensed import CondensedFrame, CondensedSettled
from rigcheck.mechanics.elements import Order
from rigcheck.mechanics.frame import PROP_FREEDOMS, Frame
from rigcheck.mechanics.statics import SectionForces, element_forces
from rigcheck.motion.sampling import distinct
from rigcheck.studies.rigs import DOWN, Part, Rig, build_frame, take

if TYPE_CHECKING:
    from rigcheck.mechanics.large import MovedFrame

__all__ = [
    "LARGE_SHARE",
    "STATIONS",
    "Dynamics",
    "Outcome",
    "Rest",
    "Settings",
    "TooMuchWorkError",
    "at_rest",
    "bent_by",
    "each",
    "evaluate",
    "large_elements",
    "largest_stress",
    "listed_modes",
    "needs_large",
    "order_for",
    "outcome_of",
    "rows_of",
    "strength_factor",
    "stress_of",
]

T = TypeVar("T")

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

STATIONS = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
"""Where along each straight piece stress is looked at."""
LISTED = 6
"""Modes that a check lists at least."""
_STEPS = 2
"""Of Lanczos' method. Over all stock on one, two and three supports, with props from a tenth of their weight on,
wobble that can be seen is then good to 1e-5 and strength to 3e-4; with one more, to 1e-8 and 4e-5."""
_LEVEL, _LEVEL_BENDING, _LEVEL_SHEAR = 0.2, 6, 5
"""Rise over length up to which a support counts as level, and the internal functions that are then enough."""
_FREEDOMS, _OVERHEAD, _FEWEST_ITERATIONS = 24, 250, 6
"""Of the large solver: freedoms of an element, those that the rest of an iteration counts as, and iterations."""
_LEAST_ELEMENTS = 2
"""Of a straight support; twice as many where it has a bend of its own, or its user wants large displacement."""
LARGE_SHARE = 0.1
"""Displacement over free length from which the settled state is solved without the limit to small ones."""
LARGE_SHARE_BENT = 0.02
"""The same for bent supports, for several, and for lines, which tighten as they stretch: there the weight
changes the stiffness in ways that linear theory leaves out, and frequencies would be off by about as much as the
prop moves."""
LARGE_TURN = 0.05
"""Turn of a prop on lines from which its settled state is solved without the limit to small ones [rad]: lines let it
turn far while it hardly moves."""


class TooMuchWorkError(ValidityError):
    """A batch would take longer to solve for large displacement than its settings allow."""


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What the calculation takes in.

    Attributes
    ----------
    displacement : str
        ``auto`` goes to large displacement where the linear one is large; ``linear``; ``large``.
    gravity_stiffness : bool
        Whether weight stiffens what hangs and softens what stands. Without it everything stays linear.
    shear : bool
        Timoshenko or Euler-Bernoulli.
    modes : int
        How many modes at least.
    residual_periods : float
        Periods of the lowest mode over which the residual wobble is taken.
    too_soft : float
        Linear displacement over free length from which a variant is given up as unsolved, as is then one that linear
        theory finds buckled. Infinite by default; finite where many variants are tried and the hopeless ones would
        take the longest.
    coarse : bool
        Half the elements where the displacement is large, for many variants of which only the spread is asked for.
    most_work : float
        Freedoms times Newton iterations, as `LargeSettled.work`, from which `TooMuchWorkError` is raised.
    least_share : float
        Modes that move the prop by less than this share of what the strongest does follow a move without inertia,
        and are left out of `Dynamics`.
    """

    displacement: str = "auto"
    gravity_stiffness: bool = True
    shear: bool = True
    modes: int = 6
    residual_periods: float = 2.0
    too_soft: float = np.inf
    coarse: bool = False
    most_work: float = np.inf
    least_share: float = 1e-4

    @property
    def order(self) -> Order:
        """Internal functions of each element that these settings need."""
        return Order() if self.shear else Order(shear=None)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Dynamics:
    """What moving the ground does to a settled rig, mode by mode.

    Attributes
    ----------
    angular_frequency : array, shape (B, m)
        Of the modes that move the prop, in rising order [rad/s]. A variant with fewer of them than others of its
        batch repeats its last one, with zeros elsewhere.
    shape : array, shape (B, 6, m)
        Displacement and rotation of the prop in each mode of unit modal mass.
    participation : array, shape (B, m, k)
        Modal force of a unit field of acceleration that all mass feels: uniform along right, up, toward; then,
        where moves turn, the nine entries of its gradient about the first tip, row by row.
    forces : list of SectionForces
        Of each mode, element by element, (B, stations, m).
    follow : array, shape (B, 6, k)
        Displacement and rotation of the prop under the same fields, applied slowly.
    follow_forces : list of SectionForces
        Section forces of the same, (B, stations, k).
    """

    angular_frequency: Array
    shape: Array
    participation: Array
    forces: list[SectionForces]
    follow: Array
    follow_forces: list[SectionForces]

    def lowest(self, count: int) -> Dynamics:
        """The first `count` modes; what follows without inertia stays whole."""
        return Dynamics(
            angular_frequency=self.angular_frequency[:, :count],
            shape=self.shape[:, :, :count],
            participation=self.participation[:, :count],
            forces=[each(force, lambda value: value[..., :count]) for force in self.forces],
            follow=self.follow,
            follow_forces=self.follow_forces,
        )

    def widened(self, count: int) -> Dynamics:
        """The same with `count` modes, of which the last repeat a frequency and do nothing."""
        missing = count - self.angular_frequency.shape[1]
        if missing <= 0:
            return self

        def more(value: Array) -> Array:
            return np.concatenate([value, np.zeros((*value.shape[:-1], missing))], axis=-1)

        last = np.repeat(self.angular_frequency[:, -1:], missing, axis=1)
        return replace(
            self,
            angular_frequency=np.concatenate([self.angular_frequency, last], axis=1),
            shape=more(self.shape),
            participation=more(self.participation.transpose(0, 2, 1)).transpose(0, 2, 1),
            forces=[each(force, more) for force in self.forces],
        )

    @staticmethod
    def blank(batch: int, fields: int, elements: int) -> Dynamics:
        """Of a batch of which nothing is known yet: one mode that nothing drives."""

        def none() -> SectionForces:
            return SectionForces(values=np.zeros((batch, 6 * len(STATIONS), 1)))

        return Dynamics(
            angular_frequency=np.ones((batch, 1)),
            shape=np.zeros((batch, PROP_FREEDOMS, 1)),
            participation=np.zeros((batch, 1, fields)),
            forces=[none() for _ in range(elements)],
            follow=np.zeros((batch, PROP_FREEDOMS, fields)),
            follow_forces=[
                each(none(), lambda value: np.repeat(value, fields, axis=2)) for _ in range(elements)
            ],
        )

    def put(self, rows: Index, new: Dynamics) -> Dynamics:
        """The same with some variants from another batch."""
        count = max(self.angular_frequency.shape[1], new.angular_frequency.shape[1])
        old, new = self.widened(count), new.widened(count)
        return Dynamics(
            angular_frequency=_put(old.angular_frequency, rows, new.angular_frequency),
            shape=_put(old.shape, rows, new.shape),
            participation=_put(old.participation, rows, new.participation),
            forces=_put_forces(old.forces, rows, new.forces),
            follow=_put(old.follow, rows, new.follow),
            follow_forces=_put_forces(old.follow_forces, rows, new.follow_forces),
        )

    @property
    def remainder(self) -> Array:
        """What the modes left out add if they follow the field at once, (B, 6, k)."""
        share = self.participation / self.angular_frequency[..., None] ** 2
        return np.asarray(self.follow - self.shape @ share)

    @property
    def remainder_forces(self) -> list[SectionForces]:
        """Section forces of the remainder, (B, stations, k)."""
        share = self.participation / self.angular_frequency[..., None] ** 2
        return [
            SectionForces(values=whole.values - mode.values @ share)
            for whole, mode in zip(self.follow_forces, self.forces, strict=True)
        ]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Outcome:
    """Everything computed of a batch of rigs at rest; arrays lead with the batch axis.

    Attributes
    ----------
    rig, settings
        As given.
    parts : list of Part
        Layers of each segment, for stress.
    solved, large : array of bool, shape (B,)
        Whether there is a stable settled state; whether it was solved for large displacement. Numbers of a
        variant that is not solved mean nothing.
    large_work : int array, shape (B,)
        What large displacement took, as `LargeSettled.work`; 0 where it was not solved for.
    reached : array, shape (B,)
        Share of the weight under which a settled state was found; 1 where solved.
    buckling_factor : array, shape (B,)
        Infinite where nothing is compressed.
    displacement, rotation, tip_displacement : array, shape (B, 3)
        Of the prop's centre of mass [m], the prop [rad], the first support's tip [m].
    root_force, root_moment : list of array, shape (B, 3)
        What each root puts on its support [N], [N m].
    tip_force : list of array, shape (B, 3)
        What the prop puts on each support's tip [N].
    forces : list of SectionForces
        Settled, element by element, (B, stations).
    peak_stress, strength_factor : array, shape (B,)
        Settled: largest equivalent stress [Pa]; least strength over stress, NaN where no strength is known.
    dynamics : Dynamics
        About the settled state.
    moved : MovedFrame or None
        Of a single variant that was solved for large displacement: small motion about that state.
    slack : array of bool, shape (B, supports)
        Which lines hang slack, because they would have to push: they carry nothing and have no part in the modes.
    yielding : array, shape (B, 3), or None
        How much of the displacement comes from yielding [m] (`rigcheck.studies.yielding`); NaN where it yields by an
        amount that is not known, and only the elastic part is given. None where nothing was looked for, or yields.
    natural : list of array, shape (B, segments, n, 3), or None
        Bend of its own that each support was solved with, as for `bent_by`.
    """

    rig: Rig
    settings: Settings
    parts: list[Part]
    solved: Flags
    large: Flags
    large_work: Index
    reached: Array
    buckling_factor: Array
    displacement: Array
    rotation: Array
    tip_displacement: Array
    root_force: list[Array]
    root_moment: list[Array]
    tip_force: list[Array]
    forces: list[SectionForces]
    peak_stress: Array
    strength_factor: Array
    dynamics: Dynamics
    slack: Flags
    yielding: Array | None = None
    natural: list[Array] | None = None
    moved: MovedFrame | None = None

    @property
    def sag(self) -> Array:
        """Downward movement of the centre of mass [m], shape (B,)."""
        return -self.displacement[:, 1]

    @property
    def natural_frequency(self) -> Array:
        """Of the lowest mode and of all others that move the prop [Hz], shape (B, m)."""
        return self.dynamics.angular_frequency / (2 * np.pi)

    @property
    def largest_root_moment(self) -> Array:
        """Over all supports [N m], shape (B,)."""
        return np.asarray(np.max([np.linalg.norm(moment, axis=1) for moment in self.root_moment], axis=0))

    def take(self, chosen: Index | slice) -> Outcome:
        """Some variants only, without `moved`."""
        return rows_of(replace(self, moved=None), chosen)


def rows_of(value: T, chosen: Index | slice) -> T:
    """Some variants of arrays that all lead with the batch axis.

    Parameters
    ----------
    value
        Arrays, or what holds them: lists, tuples, dicts and dataclasses, with anything beside them that is no array.
    chosen : int array or slice
        Which variants; a slice shares their numbers with the batch.

    Returns
    -------
    The same kind, with those variants.
    """
    found: Any = value
    if isinstance(value, np.ndarray):
        found = value[chosen]
    elif isinstance(value, (list, tuple)):
        found = type(value)(rows_of(item, chosen) for item in value)
    elif isinstance(value, dict):
        found = {name: rows_of(item, chosen) for name, item in value.items()}
    elif is_dataclass(value) and not isinstance(value, Settings):
        parts = {item.name: rows_of(getattr(value, item.name), chosen) for item in fields(value)}
        found = replace(cast(Any, value), **parts)
    return cast(T, found)


def evaluate(rig: Rig, settings: Settings | None = None, *, turning: bool = False) -> Outcome:
    """Check a batch of rigs at rest.

    Parameters
    ----------
    rig : Rig
        The batch.
    settings : Settings
        What to take in.
    turning : bool
        Whether a move will roll the rig, so that it feels fields with a gradient too.

    Returns
    -------
    Outcome

    Notes
    -----
    Linear theory with the stiffness that the weight brings; where the centre of mass moves by more than a tenth
    of the shortest free length (a fiftieth for bent and for several supports), or linear theory finds the support
    buckled, the geometrically exact state and the modes about it take its place (``displacement = "auto"``).
    Lines that would have to push are taken out (`rigcheck.studies.slack`).
    """
    settings = settings or Settings()
    if any(support.form == "line" or support.tension is not None for support in rig.supports):
        from rigcheck.studies.slack import let_go

        linear = replace(settings, displacement="linear")
        return let_go(
            _settled(rig, linear, turning=turning),
            lambda part, first: _settled(part, linear if first else settings, turning=turning),
        )
    return _settled(rig, settings, turning=turning)


def _settled(rig: Rig, settings: Settings, *, turning: bool) -> Outcome:
    """The outcome with every support in place, whether it pulls or pushes."""
    return outcome_of(at_rest(rig, settings), turning=turning)


def outcome_of(rest: Rest, *, turning: bool) -> Outcome:
    """The outcome of rigs that linear theory has settled, with large displacement where they need it.

    Parameters
    ----------
    rest : Rest
        By linear theory.
    turning : bool
        As in `evaluate`.

    Returns
    -------
    Outcome
    """
    far, settings = needs_large(rest), rest.settings
    hopeless = rest.moved > settings.too_soft
    if np.isfinite(settings.too_soft):
        hopeless |= ~rest.solved
    far &= ~hopeless
    outcome = rest.outcome(~far & ~hopeless, turning=turning)
    if hopeless.any():
        outcome = replace(outcome, solved=outcome.solved & ~hopeless)
    return _with_large(outcome, far, rest.condensed.frame, turning=turning) if far.any() else outcome


def order_for(rig: Rig, settings: Settings) -> Order:
    """Internal functions that a batch needs: fewer where little weight pulls along the supports.

    Parameters
    ----------
    rig : Rig
        The batch.
    settings : Settings
        What to take in.

    Returns
    -------
    Order

    Notes
    -----
    On a level support the weight bends, and what stays within linear theory has hardly any tension. With fewer
    functions frequencies of all stock on one to three supports are the same to 1e-9, strength and buckling to 1e-5; a
    thin wire that hangs needs them all beside its clamp.
    """
    for support in rig.supports:
        way = np.diff(support.points, axis=1)
        rise = np.abs(way[..., 1]) / np.linalg.norm(way, axis=2)
        if support.form == "line" or support.tension is not None or rise.max() > _LEVEL:
            return settings.order
    return replace(settings.order, bending=_LEVEL_BENDING, shear=_LEVEL_SHEAR if settings.shear else None)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Rest:
    """A batch of rigs at rest by linear theory, before anything moves: enough to tell which need more than that.

    Attributes
    ----------
    rig, settings
        As given.
    parts : list of Part
        Layers of each segment, for stress.
    condensed : CondensedFrame
        The frame of the batch.
    settled : CondensedSettled
        Its settled state.
    buckling_factor : array, shape (B,)
        Infinite where nothing is compressed.
    forces : list of SectionForces
        Element by element, (B, stations).
    """

    rig: Rig
    settings: Settings
    parts: list[Part]
    condensed: CondensedFrame
    settled: CondensedSettled
    buckling_factor: Array
    forces: list[SectionForces]

    @property
    def solved(self) -> Flags:
        """Whether there is a stable settled state, (B,)."""
        return self.settled.stable

    @property
    def displacement(self) -> Array:
        """Of the prop's centre of mass [m], (B, 3)."""
        return self.settled.displacement[:, :3]

    @property
    def moved(self) -> Array:
        """Displacement of the centre of mass over the shortest free length, (B,)."""
        reach = np.min([support.free_length for support in self.rig.supports], axis=0)
        return np.asarray(np.linalg.norm(self.displacement, axis=1) / reach)

    @cached_property
    def stress(self) -> list[Array]:
        """As `stress_of`."""
        return stress_of(self.parts, self.forces)

    @cached_property
    def strength_factor(self) -> Array:
        """Least strength over stress, (B,); NaN where no strength is known."""
        return strength_factor(self.parts, self.stress)

    def take(self, rows: Flags) -> Rest:
        """Some variants only."""
        chosen = np.flatnonzero(rows)
        return Rest(
            rig=take(self.rig, chosen),
            settings=self.settings,
            parts=rows_of(self.parts, chosen),
            condensed=CondensedFrame(self.condensed.frame.take(chosen)),
            settled=self.settled.take(chosen),
            buckling_factor=self.buckling_factor[chosen],
            forces=rows_of(self.forces, chosen),
        )

    def outcome(self, rows: Flags | None = None, *, turning: bool) -> Outcome:
        """All that linear theory tells of them.

        Parameters
        ----------
        rows : array of bool, shape (B,), optional
            Of which variants what moving does to them is worked out; all if left out.
        turning : bool
            As in `evaluate`.

        Returns
        -------
        Outcome
            The `dynamics` of other variants are blank.
        """
        settled, batch = self.settled, self.rig.batch
        fields = 12 if turning else 3
        if rows is None or rows.all():
            dynamics = self._dynamics(turning=turning)
        else:
            dynamics = Dynamics.blank(batch, fields, len(self.forces))
            if rows.any():
                dynamics = dynamics.put(np.flatnonzero(rows), self.take(rows)._dynamics(turning=turning))
        tip = self.condensed.frame.supports[0].tip - self.rig.centre_of_mass
        rotation = settled.displacement[:, 3:6]
        return Outcome(
            rig=self.rig,
            settings=self.settings,
            parts=self.parts,
            solved=settled.stable,
            large=np.zeros(batch, dtype=bool),
            large_work=np.zeros(batch, dtype=np.intp),
            reached=np.ones(batch),
            buckling_factor=self.buckling_factor,
            displacement=self.displacement,
            rotation=rotation,
            tip_displacement=self.displacement + cross(rotation, tip),
            root_force=settled.root_force,
            root_moment=settled.root_moment,
            tip_force=settled.tip_force,
            forces=self.forces,
            peak_stress=largest_stress(self.stress),
            strength_factor=self.strength_factor,
            dynamics=dynamics,
            slack=np.zeros((batch, len(self.rig.supports)), dtype=bool),
        )

    def _dynamics(self, *, turning: bool) -> Dynamics:
        frame = self.condensed.frame
        motion = self.condensed.motion(
            self.settled,
            _unit_loads(frame, turning=True) if turning else None,
            least_share=self.settings.least_share,
            steps=_steps(self.settings),
        )
        states = [
            element_forces(element, vector, STATIONS)
            for element, vector in zip(frame.elements, motion.elements, strict=True)
        ]
        count = motion.follow.shape[2]
        return Dynamics(
            angular_frequency=motion.angular_frequency,
            shape=motion.shape,
            participation=motion.participation,
            forces=[each(force, lambda value: value[..., count:]) for force in states],
            follow=motion.follow,
            follow_forces=[each(force, lambda value: value[..., :count]) for force in states],
        )


def at_rest(rig: Rig, settings: Settings) -> Rest:
    """Settle a batch of rigs by linear theory.

    Parameters
    ----------
    rig : Rig
        The batch; every support is taken to stay in place, whether it pulls or pushes.
    settings : Settings
        What to take in.

    Returns
    -------
    Rest
    """
    frame, parts = build_frame(rig, order=order_for(rig, settings))
    condensed = CondensedFrame(frame)
    settled = condensed.settle(DOWN, push=rig.push, load_stiffens=settings.gravity_stiffness)
    factor = np.full(frame.batch, np.inf)
    if settings.gravity_stiffness:
        factor = condensed.buckling_factor(settled)
    forces = [
        element_forces(element, vector, STATIONS)
        for element, vector in zip(frame.elements, settled.elements, strict=True)
    ]
    return Rest(
        rig=rig,
        settings=settings,
        parts=parts,
        condensed=condensed,
        settled=settled,
        buckling_factor=factor,
        forces=_with_pretension(frame, forces),
    )


def listed_modes(outcome: Outcome) -> tuple[Array, Array]:
    """All modes of the first variant in rising order, also those that leave the prop at rest.

    Parameters
    ----------
    outcome : Outcome
        As from `evaluate`, solved.

    Returns
    -------
    tuple of array, shape (m,) and (6, m)
        Angular frequency [rad/s]; displacement and rotation of the prop in each mode of unit modal mass.
    """
    from rigcheck.mechanics.modes import natural_modes
    from rigcheck.mechanics.statics import settle

    settings = outcome.settings
    count = max(settings.modes, LISTED)
    if outcome.moved is not None:
        from rigcheck.mechanics.large import large_modes

        found = large_modes(outcome.moved, count)
        return found.angular_frequency[0], found.shape[0, :6]
    rig = take(outcome.rig, slice(0, 1))
    if outcome.slack[0].any():
        from rigcheck.studies.slack import without

        rig = without(rig, ~outcome.slack[0])
    frame, _ = build_frame(rig, order=settings.order)
    if outcome.large[0]:
        from rigcheck.mechanics.large import large_modes, settle_large

        found = large_modes(
            settle_large(
                frame.supports,
                frame.prop,
                DOWN,
                push=rig.push,
                natural=outcome.natural,
                shear=settings.shear,
            ),
            count,
        )
    else:
        load = frame.inertial_load(DOWN)
        if rig.push is not None:
            load[:, :PROP_FREEDOMS] += rig.push
        settled = settle(frame, load, load_stiffens=settings.gravity_stiffness)
        found = natural_modes(frame, settled.stiffness, count)
    return found.angular_frequency[0], found.shape[0, :6]


def _steps(settings: Settings) -> int:
    """Steps of Lanczos' method that reach as many modes as the user wants."""
    return max(_STEPS, -(-settings.modes // PROP_FREEDOMS))


def _with_pretension(frame: Frame, forces: list[SectionForces]) -> list[SectionForces]:
    """Section forces with the tension that was in a taut line before the prop was hung."""
    pulls = [frame.supports[element.support].tension for element in frame.elements]
    return [force if pull is None else force.pulled(pull) for force, pull in zip(forces, pulls, strict=True)]


def _unit_loads(frame: Frame, *, turning: bool) -> Array:
    """Loads of the unit fields of acceleration, (B, n, k); see `Dynamics`."""
    loads = [frame.inertial_load(axis) for axis in np.eye(3)]
    if turning:
        zero = np.zeros(3)
        for entry in np.eye(9):
            gradient = np.broadcast_to(entry.reshape(3, 3), (frame.batch, 3, 3))
            loads.append(frame.inertial_load(zero, gradient))
    return np.stack(loads, axis=2)


# -- large displacement ---------------------------------------------------------------------------------


def needs_large(rest: Rest) -> Flags:
    """Which variants linear theory does not tell enough of.

    Parameters
    ----------
    rest : Rest
        By linear theory.

    Returns
    -------
    bool array, shape (B,)
        Those to solve for large displacement, as their settings want it.
    """
    settings, rig = rest.settings, rest.rig
    # Several supports on a head that gives: the large solver knows no common base.
    beyond = rig.axis_stiffness is not None and len(rig.supports) > 1
    if settings.displacement == "linear" or not settings.gravity_stiffness or beyond:
        return np.zeros(rig.batch, dtype=bool)
    if settings.displacement == "large":
        return np.ones(rig.batch, dtype=bool)
    straight = len(rig.supports) == 1 and rig.supports[0].points.shape[1] == 2
    on_lines = any(support.form == "line" or support.tension is not None for support in rig.supports)
    share = LARGE_SHARE if straight and not on_lines else LARGE_SHARE_BENT
    far = ~rest.solved | (rest.moved > share)
    if on_lines:
        far |= np.linalg.norm(rest.settled.displacement[:, 3:6], axis=1) > LARGE_TURN
    return np.asarray(far)


def bent_by(outcome: Outcome, natural: list[Array] | None) -> Outcome:
    """The outcome of every variant solved for large displacement, of supports that have a bend of their own.

    Parameters
    ----------
    outcome : Outcome
        By linear theory, or of the same supports with another bend.
    natural : list of array, shape (B, segments, n, 3), or None
        Twist and curvatures of each support that need no moment, as in `rigcheck.mechanics.large.settle_large`.

    Returns
    -------
    Outcome
        Displacements count from where the prop would be on straight supports.
    """
    turning = outcome.dynamics.participation.shape[2] > len(np.eye(3))
    everyone = np.ones(outcome.rig.batch, dtype=bool)
    frame, _ = build_frame(outcome.rig, order=outcome.settings.order)
    return replace(_with_large(outcome, everyone, frame, turning=turning, natural=natural), natural=natural)


def _with_large(
    outcome: Outcome, far: Flags, frame: Frame, *, turning: bool, natural: list[Array] | None = None
) -> Outcome:
    """The outcome with the variants in `far` solved for large displacement; `frame` is that of its rigs."""
    from rigcheck.mechanics.large import variants_at_once

    chosen = np.flatnonzero(far)
    settings = outcome.settings
    needed = large_elements(frame, DOWN, settings, bent=natural is not None)[chosen]
    work = _FEWEST_ITERATIONS * float(np.sum(_FREEDOMS * len(frame.supports) * needed + _OVERHEAD))
    if work > settings.most_work:
        raise TooMuchWorkError(
            f"{len(chosen)} variants take a work of {work:.3g}; {settings.most_work:.3g} is allowed."
        )
    # Those that need as many together, so that no number of a variant depends on the others.
    for elements in distinct(needed).tolist():
        alike = np.flatnonzero(needed == elements)
        for some in np.array_split(alike, -(-len(alike) // variants_at_once(frame.supports, elements))):
            bends = None if natural is None else [bend[some] for bend in natural]
            outcome = _some_large(outcome, chosen[some], frame, elements, turning=turning, natural=bends)
    return replace(outcome, large=far)


def large_elements(frame: Frame, gravity: Array, settings: Settings, *, bent: bool = False) -> Index:
    """Elements for each support with which a variant is solved for large displacement, (B,).

    Parameters
    ----------
    frame : Frame
        The rigs.
    gravity : array, shape (3,) or (B, 3)
        [m/s2].
    settings : Settings
        What to take in.
    bent : bool
        Whether the supports have a bend of their own.

    Returns
    -------
    int array, shape (B,)
    """
    from rigcheck.mechanics.large import elements_for

    fine = bent or settings.displacement == "large"
    least = 2 * _LEAST_ELEMENTS if fine else _LEAST_ELEMENTS
    return elements_for(frame.supports, frame.prop, gravity, coarse=settings.coarse, least=least)


def _some_large(
    outcome: Outcome,
    chosen: Index,
    frame: Frame,
    elements: int,
    *,
    turning: bool,
    natural: list[Array] | None,
) -> Outcome:
    """The outcome with a few variants solved for large displacement, all at once."""
    from rigcheck.mechanics.large import MovedFrame, settle_large

    rig, settings = outcome.rig, outcome.settings
    push = None if rig.push is None else rig.push[chosen]
    settled = settle_large(
        [support.take(chosen) for support in frame.supports],
        frame.prop.take(chosen),
        DOWN,
        push=push,
        natural=natural,
        shear=settings.shear,
        elements=elements,
    )
    known = np.flatnonzero(settled.converged & settled.stable)
    solved = outcome.solved.copy()
    reached = outcome.reached.copy()
    solved[chosen] = False
    solved[chosen[known]] = True
    reached[chosen] = settled.reached
    large_work = outcome.large_work.copy()
    large_work[chosen] = settled.work
    changes: dict[str, Any] = {"solved": solved, "reached": reached, "large_work": large_work}
    if not len(known):
        return replace(outcome, **changes)
    places = chosen[known]
    moved = MovedFrame(settled)
    if len(known) < len(chosen):
        moved = moved.take(known)
    try:
        motion, found = moved.motion(
            turning=turning, least_share=settings.least_share, steps=_steps(settings), stations=STATIONS
        )
    except np.linalg.LinAlgError:
        # A stiffness that spans more decades than numbers have digits. Only its own variant has no answer.
        if len(chosen) > 1:
            for place in range(len(chosen)):
                one = slice(place, place + 1)
                bends = None if natural is None else [bend[one] for bend in natural]
                outcome = _some_large(outcome, chosen[one], frame, elements, turning=turning, natural=bends)
            return outcome
        solved[chosen], reached[chosen] = False, 0.0
        return replace(outcome, **changes)
    fields = motion.follow.shape[2]
    new = Dynamics(
        angular_frequency=motion.angular_frequency,
        shape=motion.shape[:, :PROP_FREEDOMS],
        participation=motion.participation,
        forces=[each(force, lambda value: value[..., fields:]) for force in found],
        follow=motion.follow[:, :PROP_FREEDOMS],
        follow_forces=[each(force, lambda value: value[..., :fields]) for force in found],
    )

    def put(old: Array, new: Array) -> Array:
        return _put(old, places, new)

    still = [each(force, lambda value: value[known]) for force in settled.section_forces(STATIONS)]
    forces = _put_forces(outcome.forces, places, still)
    stress = stress_of(outcome.parts, forces)
    changes |= {
        "moved": moved if rig.batch == 1 else None,
        "displacement": put(outcome.displacement, settled.prop_displacement[known]),
        "rotation": put(outcome.rotation, settled.prop_rotation[known]),
        "tip_displacement": put(outcome.tip_displacement, settled.tip_displacement[0][known]),
        "root_force": [put(a, b[known]) for a, b in zip(outcome.root_force, settled.root_force, strict=True)],
        "root_moment": [
            put(a, b[known]) for a, b in zip(outcome.root_moment, settled.root_moment, strict=True)
        ],
        "tip_force": [put(a, b[known]) for a, b in zip(outcome.tip_force, settled.tip_force, strict=True)],
        "forces": forces,
        "peak_stress": largest_stress(stress),
        "strength_factor": strength_factor(outcome.parts, stress),
        "dynamics": outcome.dynamics.put(places, new),
    }
    return replace(outcome, **changes)


# -- stress ---------------------------------------------------------------------------------------------


def _put(old: Array, rows: Index, new: Array) -> Array:
    """The array with some rows from another."""
    result = np.array(old)
    result[rows] = new
    return result


def _put_forces(old: list[SectionForces], rows: Index, new: list[SectionForces]) -> list[SectionForces]:
    """The same element by element."""
    return [
        SectionForces(values=_put(one.values, rows, other.values))
        for one, other in zip(old, new, strict=True)
    ]


def each(forces: SectionForces, change: Callable[[Array], Array]) -> SectionForces:
    """Section forces changed in the same way at every station."""
    return SectionForces(values=change(forces.values))


def stress_of(parts: list[Part], forces: list[SectionForces]) -> list[Array]:
    """Equivalent (von Mises) stress of each part at the stations.

    Parameters
    ----------
    parts : list of Part
        Layers of each segment.
    forces : list of SectionForces
        Element by element, (B, stations).

    Returns
    -------
    list of array, shape (B, stations)
        [Pa], one for each part. A line carries no bending: it is tied, not clamped.
    """
    places = sorted({(part.support, part.segment) for part in parts})
    at = dict(zip(places, forces, strict=True))
    result = []
    for part in parts:
        force = at[part.support, part.segment]
        share = {name: value[:, None] for name, value in part.share.items()}
        bending = 0.0 if part.is_line else 1.0
        state = sections.combined_stress(
            part.section.with_trailing_axes(1),
            axial_force=share["axial"] * force.axial,
            moment_y=bending * share["bending_y"] * force.moment_y,
            moment_z=bending * share["bending_z"] * force.moment_z,
            torque=bending * share["torsional"] * force.torque,
            shear_y=bending * share["shear_y"] * force.shear_y,
            shear_z=bending * share["shear_z"] * force.shear_z,
        )
        result.append(state.equivalent)
    return result


def largest_stress(stress: list[Array]) -> Array:
    """Largest over all parts and stations [Pa], shape (B,)."""
    return np.asarray(np.max([part.max(axis=1) for part in stress], axis=0))


def strength_factor(parts: list[Part], stress: list[Array]) -> Array:
    """Least strength over stress of all parts, shape (B,); NaN where no part has a known strength."""
    with np.errstate(divide="ignore"):
        factors = np.stack(
            [part.strength / peak.max(axis=1) for part, peak in zip(parts, stress, strict=True)], axis=1
        )
    least = np.where(np.isnan(factors), np.inf, factors).min(axis=1)
    return np.where(np.isnan(factors).all(axis=1), np.nan, least)
