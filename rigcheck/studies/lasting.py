"""Does it stay bent when the prop comes off, how many takes does it last, does a thin tube dent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.mechanics.frame import local_axes
from rigcheck.mechanics.plasticity import (
    LastingSet,
    PlasticSection,
    bending_moment,
    lasting_set,
    plastic_round,
    plastic_strip,
    set_at_offset,
)
from rigcheck.mechanics.statics import SectionForces
from rigcheck.model import Prop, Shot
from rigcheck.stock import find_material, practice, stock_sizes
from rigcheck.studies.evaluate import STATIONS, Outcome, stress_of
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading import Reading, stock_material
from rigcheck.studies.results import Contribution, Figure, Finding, Status
from rigcheck.studies.rigs import (
    GRAVITY,
    Part,
    Rig,
    SleeveRig,
    SupportRig,
    _width_direction,
    build_frame,
)

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial

__all__ = ["SET_LIMIT", "lasting", "length_words", "mass_words", "way_words"]

Array = NDArray[np.float64]

SET_LIMIT = 5e-4
"""Lasting bend at the prop up to which it is a caution [m]: a choice, stated as one."""
TAKES_IN_HAND = 10.0
"""Life over takes for a pass: fatigue life scatters by about a factor of ten; common practice, no source."""
MOST_TAKES = 1e6
USUAL_FATIGUE_CYCLES = 1e7
"""Cycles of a fatigue strength whose source gives none; common practice, no source."""
HAND_RADIUS = 2.0
"""Inside radius of a bend by hand in wire diameters, for the figure."""
THIN_WALL = 50.0
"""Outer diameter over wall from which a tube may dent before it bends; common practice, no source."""
WALL_BUCKLING = 0.6
"""Stress at which a perfect thin tube wrinkles over E t / R (classical theory, from memory)."""
KNOCK_DOWN = 0.2
"""Share of it that real tubes are sure to reach; common practice, no source."""
HARDER_WIRE = "spring-steel-sm"

# Least share of the present free length that advice may leave.
_SHORTEST = 0.4
# Places along a piece where its moment is taken: the quartic through the five stations, which is the moment
# itself where the piece carries its even weight and end loads (a parabola).
_FINE = np.linspace(0.0, 1.0, 33)
_TO_FINE = np.vander(_FINE, 5) @ np.linalg.inv(np.vander(STATIONS, 5))
# The same for a piece with a sleeve, whose curvature is added up by the trapezoidal rule.
_FINER = np.linspace(0.0, 1.0, 257)
_TO_FINER = np.vander(_FINER, 5) @ np.linalg.inv(np.vander(STATIONS, 5))
_DIRECTIONS = (("right", "left"), ("up", "down"), ("toward the camera", "away from the camera"))
_NOUNS = {"tube": "tube", "strip": "strip", "strand": "strand", "threaded": "rod", "line": "line"}
_SMALL_SHARE = 0.05
_MOST_DOUBLINGS = 200
_HALVINGS = 60
_LEAST_SHARE = 0.04
_FORCES = ("axial", "torque", "moment_y", "moment_z", "shear_y", "shear_z")


def lasting(
    shot: Shot, prop: Prop, reading: Reading, still: Outcome, motion: MotionOutcome | None
) -> tuple[Contribution, float | None]:
    """Check what stays bent, how many takes the supports last, and thin tubes.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    reading : Reading
        The same made ready to compute.
    still : Outcome
        At rest; the first variant is used.
    motion : MotionOutcome or None
        Moving.

    Returns
    -------
    Contribution
        Findings ``set``, ``fatigue`` and, where a tube is thin for its load, ``tube-wall``.
    float or None
        How far the centre of mass stays displaced when the prop is hung and taken off again [m]; 0 where
        nothing sets, None where that is not known or the support folds.

    Notes
    -----
    Moments are those of the settled, unbent support, so a large set is a sign and not a figure. Where torsion
    or axial force take part, ``(sigma_axial + sigma_bending)^2 + 3 tau^2`` is held against the square of the
    strength, and the bending law keeps what they leave; with the plastic moment this errs on the safe side.
    Layers of a sleeved piece share one curvature.
    """
    if not still.solved[0]:
        reason = "There is no settled state to judge it by."
        skipped = (_skipped("set", _SET, reason), _skipped("fatigue", _FATIGUE, reason))
        return Contribution(findings=skipped), None
    layers = _layers(shot, prop, reading.task.rig, still.parts)
    bent, value = _set(still, motion, layers)
    parts = [
        bent.contribution,
        _fatigue(shot, prop, still, motion, layers, first_yield=bent.first_yield),
        _tube_wall(still, motion, layers),
        _hand_bends(layers),
    ]
    return (
        Contribution(
            findings=tuple(finding for part in parts for finding in part.findings),
            figures=tuple(figure for part in parts for figure in part.figures),
            assumptions=tuple(said for part in parts for said in part.assumptions),
        ),
        value,
    )


_SET = "lasting bend"
_FATIGUE = "takes it lasts"


def _skipped(name: str, label: str, reason: str) -> Finding:
    return Finding(id=name, label=label, status=Status.SKIPPED, says=reason)


def mass_words(mass: float) -> str:
    """A mass in grams or kilograms with two or three digits, for example ``5.7 g``.

    Parameters
    ----------
    mass : float
        [kg].

    Returns
    -------
    str
    """
    grams = mass * 1e3
    if grams < 99.5:
        return f"{grams:.2g} g"
    return f"{grams:.0f} g" if grams < 999.5 else f"{mass:.3g} kg"


def length_words(length: float) -> str:
    """The size of a length in millimetres with two or three digits, for example ``0.48 mm``.

    Parameters
    ----------
    length : float
        [m], either sign.

    Returns
    -------
    str
    """
    size = abs(length) * 1e3
    return f"{size:.2g} mm" if size < 99.5 else f"{size:.0f} mm"


def way_words(vector: Array) -> str:
    """The direction word of a vector's largest component, for example ``down``.

    Parameters
    ----------
    vector : array, shape (3,)
        Right, up, toward.

    Returns
    -------
    str
    """
    axis = int(np.abs(vector).argmax())
    return _DIRECTIONS[axis][0 if vector[axis] >= 0 else 1]


# -- the layers of the supports -------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Layer:
    """A support, or a sleeve on it, along one straight piece: what it is made of and what it carries."""

    part: Part
    index: int  # of the part in the outcome
    support: SupportRig
    sleeve: SleeveRig | None
    stock: StockMaterial
    start: Array
    stop: Array

    @property
    def brittle(self) -> bool:
        return self.stock.brittle

    @property
    def yield_strength(self) -> float | None:
        known = self.stock.yield_strength
        return None if known is None else known.value

    @property
    def onset_fraction(self) -> float:
        onset = self.stock.set_onset()
        assert onset is not None  # asked only of what yields
        assert self.yield_strength is not None
        return onset.value / self.yield_strength

    @property
    def tube(self) -> tuple[float, float] | None:
        """Outer diameter and wall of a tube [m]."""
        if self.sleeve is not None:
            return float(self.sleeve.outer_diameter[0]), float(self.sleeve.wall_thickness[0])
        if self.support.form == "tube":
            return float(self.support.diameter[0]), float(self.support.wall_thickness[0])
        return None

    @property
    def youngs_modulus(self) -> float:
        owner = self.support if self.sleeve is None else self.sleeve
        return float(owner.material.youngs_modulus[0])

    def law(self, strength: float, onset_fraction: float) -> PlasticSection:
        """Its section with a yield strength [Pa]."""
        tube = self.tube
        if tube is not None:
            return plastic_round(
                outer_diameter=tube[0],
                wall_thickness=tube[1],
                youngs_modulus=self.youngs_modulus,
                yield_strength=strength,
                onset_fraction=onset_fraction,
            )
        if self.support.form == "strip":
            return plastic_strip(
                width=self.support.width[0],
                thickness=self.support.thickness[0],
                youngs_modulus=self.youngs_modulus,
                yield_strength=strength,
                onset_fraction=onset_fraction,
            )
        return plastic_round(
            # A threaded rod counts as a round one of its stress diameter.
            outer_diameter=2 * self.part.section.outer_z[0],
            wires=self.support.wires,
            youngs_modulus=self.youngs_modulus,
            yield_strength=strength,
            onset_fraction=onset_fraction,
        )


def _layers(shot: Shot, prop: Prop, rig: Rig, parts: list[Part]) -> list[_Layer]:
    corners = _corners(rig)
    layers = []
    for index, (support, given) in enumerate(zip(rig.supports, prop.support, strict=True)):
        wire = _sized(stock_material(shot, given.material), float(support.outer_size[0]))
        sleeves = [
            (sleeve, _sized(stock_material(shot, typed.material), float(sleeve.outer_diameter[0])))
            for sleeve, typed in zip(support.sleeves, given.sleeve, strict=True)
        ]
        points = corners[index]
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        own = [(at, part) for at, part in enumerate(parts) if part.support == index]
        for segment, group in groupby(own, key=lambda item: item[1].segment):
            # A tied line has short extra pieces at its ends, which no result here asks for.
            place = min(segment, len(points) - 2)
            middle = (along[place] + along[place + 1]) / 2
            over = iter([pair for pair in sleeves if pair[0].start[0] < middle < pair[0].end[0]])
            for at, part in group:
                sleeve, stock = (None, wire) if part.label == "wire" else next(over)
                layers.append(
                    _Layer(
                        part=part,
                        index=at,
                        support=support,
                        sleeve=sleeve,
                        stock=stock,
                        start=points[place],
                        stop=points[place + 1],
                    )
                )
    return layers


def _corners(rig: Rig) -> list[Array]:
    """Points of each support, with the places where a sleeve begins or ends."""
    if any(support.sleeves for support in rig.supports):
        return [support.points[0] for support in build_frame(rig)[0].supports]
    return [support.points[0] for support in rig.supports]


def _sized(stock: StockMaterial, size: float) -> StockMaterial:
    try:
        return stock.at(size)
    except ValidityError:
        return stock


def _forces_by_place(still: Outcome, forces: list[SectionForces]) -> dict[tuple[int, int], SectionForces]:
    places = sorted({(part.support, part.segment) for part in still.parts})
    return dict(zip(places, forces, strict=True))


# -- the bend that stays --------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Use:
    """Shares of the yield strength in use in one layer, at the stations: axial, torsion, bending."""

    layer: _Layer
    law: PlasticSection
    axial: Array
    torsion: Array
    bending: Array

    @property
    def whole(self) -> Array:
        """Equivalent stress over yield strength."""
        return np.hypot(self.axial + self.bending, self.torsion)

    @property
    def peak(self) -> float:
        return float(self.whole.max())

    @property
    def onset(self) -> float:
        """Multiple of the load from which some of it stays."""
        return self.layer.onset_fraction * _inverse(self.peak)


@dataclass(frozen=True, kw_only=True, eq=False)
class _State:
    """What a load does to the layers that can set, and those of which no yield strength is known."""

    uses: list[_Use]
    unknown: tuple[str, ...]
    full_plastic: float

    @property
    def worst(self) -> _Use:
        return min(self.uses, key=lambda use: use.onset)

    @property
    def onset(self) -> float:
        return min((use.onset for use in self.uses), default=np.inf)

    @property
    def first_yield(self) -> float:
        return min((_inverse(use.peak) for use in self.uses), default=np.inf)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bent:
    contribution: Contribution
    first_yield: float


def _inverse(value: float) -> float:
    return 1 / value if value > 0 else np.inf


def _use(layer: _Layer, forces: SectionForces) -> _Use:
    strength = layer.yield_strength
    assert strength is not None  # the caller has looked
    law, section, share = layer.law(strength, layer.onset_fraction), layer.part.section, layer.part.share
    about_y = np.abs(share["bending_y"][0] * forces.moment_y[0]) / law.yield_moment_y
    about_z = np.abs(share["bending_z"][0] * forces.moment_z[0]) / law.yield_moment_z
    shear = np.abs(share["torsional"][0] * forces.torque[0]) / section.torsion_modulus[0]
    return _Use(
        layer=layer,
        law=law,
        axial=np.abs(share["axial"][0] * forces.axial[0]) / section.area[0] / strength,
        torsion=np.sqrt(3) * shear / strength,
        bending=np.hypot(about_y, about_z) if bool(law.is_round) else about_y + about_z,
    )


def _pieces(layers: list[_Layer]) -> Iterator[list[_Layer]]:
    """The layers of each straight piece of each support that can bend."""
    clamped = [layer for layer in layers if not layer.part.is_line]
    for _, group in groupby(clamped, key=lambda layer: (layer.part.support, layer.part.segment)):
        yield list(group)


def _state(still: Outcome, layers: list[_Layer], forces: list[SectionForces]) -> _State:
    at = _forces_by_place(still, forces)
    unknown: list[str] = []
    uses: list[_Use] = []
    full = np.inf
    for members in _pieces(layers):
        known = []
        for layer in members:
            if layer.yield_strength is not None and not layer.brittle:
                known.append(_use(layer, at[layer.part.support, layer.part.segment]))
            elif not layer.brittle:
                unknown.append(layer.stock.name)
        uses += known
        # A piece with a layer that breaks, or whose strength is not known, has no load at which it folds.
        if known and len(known) == len(members):
            full = min(full, _inverse(float(_plastic_use(known).max())))
    return _State(uses=uses, unknown=tuple(dict.fromkeys(unknown)), full_plastic=full)


def _plastic_use(uses: list[_Use]) -> Array:
    """Load over the load at which bonded layers fold together, at the stations.

    Each layer gives its plastic moment: ``M / sum(Mp) = 1 / sum(share S / b)`` with b the layer's moment over
    its yield moment and S its shape factor; axial force and torsion in the same way.
    """

    def together(name: str, values: list[Array], factors: list[float]) -> Array:
        with np.errstate(divide="ignore"):
            each = [
                use.layer.part.share[name][0] * factor / value
                for use, value, factor in zip(uses, values, factors, strict=True)
            ]
        return np.asarray(1 / np.sum(each, axis=0))

    one = [1.0] * len(uses)
    bending = together(
        "bending_y", [use.bending for use in uses], [float(use.law.shape_factor) for use in uses]
    )
    axial = together("axial", [use.axial for use in uses], one)
    torsion = together("torsional", [use.torsion for use in uses], one)
    return np.hypot(axial + bending, torsion)


def _left(level: float, use: _Use) -> float:
    """Share of the yield strength that torsion and axial force leave to bending, up to a level of stress."""
    torsion = float(use.torsion.max())
    return float(np.sqrt(max(level**2 - torsion**2, 0.0))) - float(use.axial.max())


def _displacement(still: Outcome, layers: list[_Layer], uses: list[_Use]) -> Array | None:
    """Lasting displacement of the centre of mass of a single support [m]; None where it is not known.

    Each piece keeps a bend and is otherwise rigid; to first order their effects on the centre of mass add.
    None too where a piece has just too little left for its moment, which the safe sum in `_left` can bring
    about shortly before it folds.
    """
    rig = still.rig
    by_layer = {use.layer.index: use for use in uses}
    at = _forces_by_place(still, still.forces)
    total = np.zeros(3)
    for members in _pieces(layers):
        found = [by_layer[layer.index] for layer in members if layer.index in by_layer]
        if all(use.onset >= 1 for use in found):
            continue
        if any(layer.yield_strength is None and not layer.brittle for layer in members):
            return None
        if any(_left(use.layer.onset_fraction, use) <= 0 for use in found):
            return None
        if len(members) > 1 and members[0].support.form == "strip":
            return None
        first = members[0]
        span = first.stop - first.start
        length = float(np.linalg.norm(span))
        width = _width_direction(first.support.form, np.stack([first.start, first.stop])[None])
        axes = local_axes(span / length, None if width is None else width[0, 0])
        forces = at[first.part.support, first.part.segment]
        if len(members) == 1:
            bend = lasting_set(
                _left_law(found[0]),
                stations=_FINE * length,
                moment_y=_TO_FINE @ forces.moment_y[0],
                moment_z=_TO_FINE @ forces.moment_z[0],
            )
        else:
            bend = _sleeved_set(members, by_layer, forces, length)
        if bool(bend.collapses):
            return None
        total += set_at_offset(bend, axes @ (rig.centre_of_mass[0] - first.stop)) @ axes
    return total


def _left_law(use: _Use) -> PlasticSection:
    left = _left(1.0, use)
    layer = use.layer
    assert layer.yield_strength is not None
    return layer.law(left * layer.yield_strength, _left(layer.onset_fraction, use) / left)


def _sleeved_set(
    members: list[_Layer], uses: dict[int, _Use], forces: SectionForces, length: float
) -> LastingSet:
    """The bend that stays in a sleeved piece, whose layers share one curvature.

    ``M(kappa) = sum M_i(kappa)``; what cannot set stays on its elastic line. The sum unloads as its members
    do, on the loading curve doubled, so ``kappa(M) - 2 kappa(M / 2)`` stays.
    """
    laws = [_left_law(uses[layer.index]) for layer in members if layer.index in uses]
    rigid = sum(
        layer.youngs_modulus * float(layer.part.section.second_moment_y[0])
        for layer in members
        if layer.index not in uses
    )
    about_y, about_z = _TO_FINER @ forces.moment_y[0], _TO_FINER @ forces.moment_z[0]
    moment = np.hypot(about_y, about_z)
    # The laws' own plastic moments, which torsion and axial force have lowered, bound what the piece holds.
    holds = np.inf if rigid > 0 else float(sum(float(law.plastic_moment_y) for law in laws))
    collapses = bool(moment.max() >= holds * (1 - 1e-9))
    if collapses:
        stays = np.full(moment.shape, np.nan)
    else:
        stays = _shared_curvature(laws, rigid, moment) - 2 * _shared_curvature(laws, rigid, moment / 2)
    with np.errstate(invalid="ignore"):
        per_moment = np.where(moment > 0, np.maximum(stays, 0.0) / moment, 0.0)
    step = length / (len(_FINER) - 1)

    def integral(values: Array) -> Array:
        return np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * step)])

    curvature_y, curvature_z = per_moment * about_y, per_moment * about_z
    rotation_y, rotation_z = integral(curvature_y), integral(curvature_z)
    return LastingSet(
        curvature_y=curvature_y,
        curvature_z=curvature_z,
        rotation_y=rotation_y,
        rotation_z=rotation_z,
        displacement_y=integral(rotation_z),
        displacement_z=-integral(rotation_y),
        peak_strain=np.asarray(np.nan),
        sets=np.asarray(True),
        collapses=np.asarray(collapses),
    )


def _shared_curvature(laws: list[PlasticSection], rigid: float, moment: Array) -> Array:
    """Curvature at which bonded layers hold a moment of 0 or more together, by halving."""

    def held(curvature: Array) -> Array:
        return np.asarray(sum((bending_moment(law, curvature) for law in laws), rigid * curvature))

    low = moment / (rigid + sum(float(law.bending_stiffness_y) for law in laws))
    high = 2 * low
    for _ in range(_MOST_DOUBLINGS):
        short = held(high) < moment
        if not short.any():
            break
        high = np.where(short, 2 * high, high)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        short = held(middle) < moment
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return (low + high) / 2


# -- the finding on it ----------------------------------------------------------------------------------


def _set(still: Outcome, motion: MotionOutcome | None, layers: list[_Layer]) -> tuple[_Bent, float | None]:
    state = _state(still, layers, still.forces)
    if not state.uses:
        return _Bent(contribution=_no_set(state, layers), first_yield=np.inf), None if state.unknown else 0.0
    loads = _Loads.of(still, layers, state)
    sets = state.onset < 1
    value: float | None = 0.0
    where = np.zeros(3)
    if sets:
        several = len(still.rig.supports) > 1
        moved = None if several or state.full_plastic <= 1 else _displacement(still, layers, state.uses)
        if moved is None:
            value = None
        else:
            value, where = float(np.linalg.norm(moved)), moved
    elif state.unknown:
        value = None
    moving = np.inf if motion is None or sets else _moving_onset(still, motion, layers, state)
    finding = _set_finding(still, state, loads, value, where, moving)
    figures = [
        Figure(label=label, value=f"{loads.words(multiple)} of prop", note=note)
        for label, multiple, note in (
            ("a bend begins to stay at", state.onset, ""),
            ("first yield at", state.first_yield, "the surface reaches the 0.2 % proof stress"),
            ("folds at", state.full_plastic, "full plastic moment"),
        )
        if np.isfinite(multiple)
    ]
    assumptions = []
    if sets:
        assumptions.append(
            f"A lasting bend of up to {SET_LIMIT * 1e3:g} mm at the prop counts as a caution, more as a fail:"
            " a choice."
        )
    if any(use.onset < 1 and use.layer.onset_fraction < 1 for use in state.uses):
        share = practice("soft-set-onset").datum
        assumptions.append(
            f"Soft wire begins to keep a bend at {share.value:.0%} of its proof stress ({share.mark})."
        )
    return (
        _Bent(
            contribution=Contribution(
                findings=(finding,), figures=tuple(figures), assumptions=tuple(assumptions)
            ),
            first_yield=state.first_yield,
        ),
        value,
    )


def _moving_onset(still: Outcome, motion: MotionOutcome, layers: list[_Layer], state: _State) -> float:
    """Multiple of all load, settled and moving, from which a bend stays; infinite where plainly not near."""
    known = [use.layer for use in state.uses]
    least = min(layer.onset_fraction * (layer.yield_strength or 0.0) for layer in known)
    if float(still.peak_stress[0] + motion.swing_stress[0]) <= least:
        return np.inf
    return _state(still, layers, _still_and_moving(still, motion)).onset


def _no_set(state: _State, layers: list[_Layer]) -> Contribution:
    if state.unknown:
        return Contribution(findings=(_skipped("set", _SET, _unknown_strength(state)),))
    if all(layer.part.is_line for layer in layers):
        return Contribution(
            findings=(_skipped("set", _SET, "A tied line only pulls; it has no bend to keep."),)
        )
    return Contribution(
        findings=(
            Finding(
                id="set",
                label=_SET,
                status=Status.PASS,
                value=0.0,
                limit=SET_LIMIT * 1e3,
                unit="mm",
                says="It keeps no bend: it springs back or breaks, and the strength check looks at that.",
            ),
        )
    )


def _unknown_strength(state: _State) -> str:
    return f"No yield strength is known for {' and '.join(state.unknown)} at this size."


def _still_and_moving(still: Outcome, motion: MotionOutcome) -> list[SectionForces]:
    """Bounds on the section forces at rest and moving."""
    return [
        SectionForces(**{name: np.abs(getattr(one, name)) + getattr(other, name) for name in _FORCES})
        for one, other in zip(still.forces, motion.swing_forces, strict=True)
    ]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Loads:
    """Multiples of the load as the mass of a prop.

    Attributes
    ----------
    mass : float
        Of the prop as it is [kg].
    own : float
        Moment of the support's own weight over that of the prop's, where it is stressed most; it does not
        grow with the prop.
    """

    mass: float
    own: float

    @classmethod
    def of(cls, still: Outcome, layers: list[_Layer], state: _State) -> _Loads:
        """By statics of the unbent shape; several supports are taken to weigh nothing."""
        rig = still.rig
        mass = float(rig.mass[0])
        if len(rig.supports) > 1:
            return cls(mass=mass, own=0.0)
        worst = state.worst
        layer = worst.layer
        span = layer.stop - layer.start
        place = layer.start + STATIONS[int(worst.whole.argmax())] * span
        along = span / np.linalg.norm(span)
        down = np.array([0.0, -GRAVITY, 0.0])
        own, below = np.zeros(3), 0.0
        for other in layers:
            if other.part.segment < layer.part.segment:
                continue
            begin = place if other.part.segment == layer.part.segment else other.start
            weight = _density(other) * other.part.section.area[0] * float(np.linalg.norm(other.stop - begin))
            own += weight * np.cross((begin + other.stop) / 2 - place, down)
            below += weight
        of_prop = mass * np.cross(rig.centre_of_mass[0] - place, down)
        of_prop, own = of_prop - of_prop @ along * along, own - own @ along * along
        size = float(of_prop @ of_prop)
        level = mass * GRAVITY * float(rig.supports[0].free_length[0])
        # Where nothing bends it, what pulls counts.
        share = float(own @ of_prop) / size if size > (1e-6 * level) ** 2 else below / mass
        return cls(mass=mass, own=share)

    def prop_mass(self, multiple: float) -> float:
        """Mass of the prop [kg] at which the stress is that multiple of what it is."""
        return self.mass * (multiple + (multiple - 1) * self.own)

    def words(self, multiple: float) -> str:
        """The same in words."""
        mass = self.prop_mass(multiple)
        return mass_words(mass) if mass > 0 else "0 g"


def _density(layer: _Layer) -> float:
    owner = layer.support if layer.sleeve is None else layer.sleeve
    return float(owner.material.density[0])


def _set_finding(
    still: Outcome,
    state: _State,
    loads: _Loads,
    value: float | None,
    where: Array,
    moving: float,
) -> Finding:
    noun = "sleeve" if state.worst.layer.sleeve is not None else _noun(state.worst.layer.support)
    from_on = f"it keeps a bend from {loads.words(state.onset)} on"
    folds = f" and folds at {loads.words(state.full_plastic)}" if np.isfinite(state.full_plastic) else ""
    limit: float | None = SET_LIMIT * 1e3
    advice: tuple[str, ...] = ()
    if state.onset >= 1 and state.unknown:
        return _skipped("set", _SET, _unknown_strength(state))
    if state.onset >= 1 and moving >= 1:
        status = Status.PASS
        more = (
            f"; it would keep a bend from {loads.words(state.onset)} on" if np.isfinite(state.onset) else ""
        )
        says = f"It springs back straight when the prop comes off{more}."
    elif state.onset >= 1:
        status = Status.CAUTION
        says = f"Hung at rest the {noun} stays straight, but the swing of the move can bend it for good."
        advice = _gentler(state, moving)
    else:
        advice = _cures(still, state, loads)
        hung = f"This {noun} bends for good when the prop is hung"
        several = len(still.rig.supports) > 1
        if state.full_plastic <= 1 and not several:
            status = Status.FAIL
            says = (
                f"This {noun} folds under the prop: {from_on}{folds},"
                f" and the prop weighs {mass_words(loads.mass)}."
            )
        elif value is None:
            status = Status.FAIL if state.first_yield < 1 else Status.CAUTION
            why = " where several supports share the load" if several else " here"
            says = f"{hung}: {from_on}{folds}; how far the prop moves is not computed{why}."
        else:
            status = Status.CAUTION if value <= SET_LIMIT else Status.FAIL
            stays = f"{length_words(value)} {way_words(where)} stay at the prop's place"
            says = f"{hung}: when it is taken off, {stays}; {from_on}{folds}."
            if status is Status.CAUTION:
                advice = (
                    _SHAKE_DOWN,
                    *advice,
                )
    return Finding(
        id="set",
        label=_SET,
        status=status,
        value=None if value is None else value * 1e3,
        limit=limit,
        unit="mm",
        says=says,
        advice=advice,
    )


_SHAKE_DOWN = (
    "Hang the prop once before you line up the shot: the bend comes the first time and then stays as it is."
)


def _noun(support: SupportRig) -> str:
    return _NOUNS.get(support.form, "wire")


def _gentler(state: _State, moving: float) -> tuple[str, ...]:
    """How much slower the move has to be: what it adds falls with the square of its duration."""
    hung, both = 1 / state.onset, 1 / moving
    share = (1 - hung) / (both - hung)
    if share < _LEAST_SHARE:
        return ("Take a thicker or harder wire: at rest it is already close to keeping a bend.",)
    return (f"Make the move about {share**-0.5:.2g} times as long; then nothing of it stays.",)


def _cures(still: Outcome, state: _State, loads: _Loads) -> tuple[str, ...]:
    """Changes that leave no bend, by the statics of one bare round support; and the mass it can carry."""
    found: list[str] = []
    worst = state.worst
    layer = worst.layer
    rig = still.rig
    bends = float((worst.axial + worst.torsion).max()) < _SMALL_SHARE * worst.peak
    bare = len(rig.supports) == 1 and not layer.support.sleeves
    if bare and bends and layer.support.form == "round":
        found += _thicker(layer, state, loads)
        found += _harder(layer, state, loads)
        if rig.supports[0].points.shape[1] == 2:
            found += _shorter(rig, layer, state)
    most = loads.prop_mass(state.onset)
    if most > 0:
        found.append(f"Hang no more than {mass_words(most)} on it.")
    return tuple(found)


def _bearable(state: _State, loads: _Loads, *, strength: float, own: float) -> float:
    """Mass of the prop at which a bend begins to stay [kg].

    The strength in bending and the support's own weight are given as multiples of what they are.
    """
    # Moment over the moment at which it sets is 1 / onset, of which 1 part prop and `own` parts support.
    of_prop = 1 / state.onset / (1 + loads.own)
    return loads.mass * (strength - of_prop * loads.own * own) / of_prop


def _thicker(layer: _Layer, state: _State, loads: _Loads) -> Iterator[str]:
    now, onset = float(layer.support.diameter[0]), layer.onset_fraction * (layer.yield_strength or 0.0)
    for size in stock_sizes(layer.stock):
        if size.section != "round" or size.diameter is None or size.diameter <= now * 1.001:
            continue
        there = layer.stock.at(size.diameter).set_onset()
        assert there is not None
        ratio = size.diameter / now
        most = _bearable(state, loads, strength=ratio**3 * there.value / onset, own=ratio**2)
        if most >= loads.mass:
            across = f"{size.diameter * 1e3:.4g} mm"
            yield f"Take {across} of the same wire: it springs back from up to {mass_words(most)}."
            return


def _harder(layer: _Layer, state: _State, loads: _Loads) -> Iterator[str]:
    if layer.stock.name == HARDER_WIRE:
        return
    try:
        other = find_material(HARDER_WIRE).at(float(layer.support.diameter[0]))
    except ValidityError:
        return
    there = other.set_onset()
    assert there is not None
    most = _bearable(
        state,
        loads,
        strength=there.value / (layer.onset_fraction * (layer.yield_strength or 0.0)),
        own=other.density.value / _density(layer),
    )
    if most >= loads.mass:
        yield f"Take {HARDER_WIRE} of the same size: it springs back from up to {mass_words(most)}."


def _shorter(rig: Rig, layer: _Layer, state: _State) -> Iterator[str]:
    """The longest straight support, in whole millimetres, of which nothing stays bent."""
    length = float(rig.supports[0].free_length[0])
    toward_root = (layer.start - layer.stop) / length
    down = np.array([0.0, -GRAVITY, 0.0])
    per_length = _density(layer) * layer.part.section.area[0]

    reach = np.arange(np.floor(length * 1e3), np.ceil(length * 1e3 * _SHORTEST), -1.0) * 1e-3
    reach = np.concatenate([[length], reach[reach < length]])[:, None]
    root = toward_root * reach
    whole = float(rig.mass[0]) * np.cross(rig.centre_of_mass[0] - root, down)
    whole = whole + per_length * reach * np.cross(-root / 2, down)
    moment = np.linalg.norm(np.cross(toward_root, whole), axis=1)
    enough = np.flatnonzero(moment <= moment[0] * state.onset)
    if len(enough):
        new = float(reach[enough[0], 0])
        less = f"{(length - new) * 1e3:.0f} mm, to {new * 1e3:.0f} mm"
        yield f"Shorten the free length by {less}: it springs back."


# -- fatigue --------------------------------------------------------------------------------------------


def _fatigue(
    shot: Shot,
    prop: Prop,
    still: Outcome,
    motion: MotionOutcome | None,
    layers: list[_Layer],
    *,
    first_yield: float,
) -> Contribution:
    def none(reason: str) -> Contribution:
        return Contribution(findings=(_skipped("fatigue", _FATIGUE, reason),))

    if motion is None:
        return none("No move is given.")
    if first_yield < 1:
        return none("It bends for good under the prop alone; cure that first.")
    damping = float(still.rig.damping_ratio[0])
    if damping <= 0:
        return none("Without damping it never stops ringing.")
    stresses = _stresses(still, motion)
    lives: list[_Life] = []
    assumptions: list[str] = []
    for place, layer in enumerate(layers):
        life = _life(layer, *stresses[place], moves=len(prop.move), damping=damping)
        if isinstance(life, str):
            return none(life)
        lives.append(life)
        assumptions += life.assumptions
    shortest = min(lives, key=lambda life: life.takes)
    limit = float(shot.limits.takes)
    takes = shortest.takes
    if takes >= TAKES_IN_HAND * limit:
        status = Status.PASS
        says = f"It lasts {_takes_words(takes)}, by typical data."
    elif takes >= limit:
        status = Status.CAUTION
        says = (
            f"By typical data it lasts {_takes_words(takes)};"
            " life scatters by a factor of ten, so it may break before."
        )
    elif takes < 1:
        status = Status.FAIL
        says = "The first take can break it."
    else:
        status = Status.FAIL
        says = f"It is likely to break at the clamp after {_takes_words(takes)}."
    advice: list[str] = []
    if status is not Status.PASS:
        if takes / TAKES_IN_HAND >= 1:
            advice.append(f"Put in a fresh one every {_rounded(takes / TAKES_IN_HAND)} takes.")
        if takes >= 1:
            # Takes go with stress to the power 1/b, and what a move adds with its duration to the power -2.
            wanted = TAKES_IN_HAND * limit
            stress = (wanted / takes) ** shortest.exponent
            longer = f"Make the move about {stress**-0.5:.2g} times as long"
            lasts = f"the swing stress falls to {stress:.0%}, and it lasts {_takes_words(wanted)}"
            advice.append(f"{longer}: {lasts}.")
        advice.append("Take a thicker one, or a shorter free length, so that it swings less.")
    return Contribution(
        findings=(
            Finding(
                id="fatigue",
                label=_FATIGUE,
                status=status,
                value=min(takes, MOST_TAKES),
                limit=limit,
                at_least=True,
                unit="takes",
                says=says,
                advice=tuple(advice),
            ),
        ),
        assumptions=(
            "Fatigue life scatters by a factor of ten: a pass wants ten times the takes (common practice).",
            *dict.fromkeys(assumptions),
            "The way back to the start of each take is made slowly and adds nothing to fatigue.",
        ),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Life:
    takes: float
    exponent: float
    assumptions: tuple[str, ...]


def _life(
    layer: _Layer, settled: float, swing: float, ringing: float, *, moves: int, damping: float
) -> _Life | str:
    """Takes that a layer lasts under its stresses [Pa], or why that is not known.

    Each take is one cycle at the peak of each move, and the ring-down, about the settled stress as mean.
    """
    from rigcheck.mechanics.fatigue import (
        SHORT_LIFE_SHARE,
        fatigue_line,
        ring_down_cycles,
        takes_to_failure,
    )

    stock = layer.stock
    strength, ultimate = stock.fatigue_strength, stock.ultimate_strength()
    if strength is None or ultimate is None:
        reason = stock.fatigue_reason.rstrip(".")
        return f"No fatigue strength is known for {stock.name}" + (f": {reason}." if reason else ".")
    if strength.value >= SHORT_LIFE_SHARE * ultimate.value:
        return f"The fatigue strength of {stock.name} is too close to its strength to say anything."
    assumptions = []
    cycles = stock.fatigue_cycles
    if cycles is None:
        cycles = USUAL_FATIGUE_CYCLES
        assumptions.append(f"The fatigue strength of {stock.name} is taken to be for {cycles:.0e} cycles.")
    notch = practice("jaw-notch").datum if stock.fatigue_notch_factor is None else stock.fatigue_notch_factor
    low, high = notch.bounds
    where = "The edge of the jaw" if stock.fatigue_notch_factor is None else "The thread"
    spread = f" ({low:g} to {high:g})" if high > low else ""
    assumptions.append(
        f"{where} multiplies the swing stress by {notch.value:g}{spread} in fatigue ({notch.mark})."
    )
    line = fatigue_line(
        tensile_strength=ultimate.value, fatigue_strength=strength.value, fatigue_cycles=cycles
    )
    result = takes_to_failure(
        line,
        amplitude=[swing, ringing],
        cycles=[float(moves), float(ring_down_cycles(damping, line.exponent))],
        mean_stress=settled,
        notch_factor=notch.value,
    )
    return _Life(takes=float(result.takes), exponent=float(line.exponent), assumptions=tuple(assumptions))


def _stresses(still: Outcome, motion: MotionOutcome) -> list[tuple[float, float, float]]:
    """Settled, swing and ringing stress of each part [Pa]; that of all bounds the ringing of each."""
    ringing = float(motion.ringing_stress[0])
    if len(still.parts) == 1:
        return [(float(still.peak_stress[0]), float(motion.swing_stress[0]), ringing)]
    settled = stress_of(still.parts, still.forces)
    swing = stress_of(still.parts, motion.swing_forces)
    return [
        (float(one[0].max()), float(other[0].max()), min(float(other[0].max()), ringing))
        for one, other in zip(settled, swing, strict=True)
    ]


def _takes_words(takes: float) -> str:
    if takes >= MOST_TAKES:
        return "more than a million takes"
    return f"about {_rounded(takes)} take{'s' if takes >= 1.5 else ''}"


def _rounded(count: float) -> str:
    """A count with two digits, for example 12 000 as ``12000``."""
    return f"{float(f'{count:.2g}'):.0f}"


# -- tubes, and bending by hand -------------------------------------------------------------------------


def _tube_wall(still: Outcome, motion: MotionOutcome | None, layers: list[_Layer]) -> Contribution:
    tubes = [layer for layer in layers if layer.tube is not None]
    if not tubes:
        return Contribution()
    peaks = [part[0].max() for part in stress_of(still.parts, still.forces)]
    if motion is not None:
        moving = stress_of(still.parts, _still_and_moving(still, motion))
        peaks = [part[0].max() for part in moving]
    worst: tuple[float, _Layer, float] | None = None
    for layer in tubes:
        assert layer.tube is not None
        outer, wall = layer.tube
        allowed = KNOCK_DOWN * WALL_BUCKLING * layer.youngs_modulus * wall / (outer / 2)
        use = float(peaks[layer.index]) / allowed
        if worst is None or use > worst[2]:
            worst = (outer / wall, layer, use)
    assert worst is not None
    ratio = max(layer.tube[0] / layer.tube[1] for layer in tubes if layer.tube is not None)
    if worst[2] <= 1 and ratio <= THIN_WALL:
        return Contribution()
    if worst[2] > 1:
        says = f"The tube may dent: the stress is {worst[2]:.2g} times what so thin a wall is sure to hold."
    else:
        says = f"The tube's wall is thin, 1/{ratio:.0f} of its diameter: a touch or the jaw may dent it."
    return Contribution(
        findings=(
            Finding(
                id="tube-wall",
                label="thin tube wall",
                status=Status.CAUTION,
                value=ratio,
                limit=THIN_WALL,
                says=says,
                advice=(
                    "Take a thicker wall, and push a plug or a rod into the tube where the clamp holds it.",
                ),
            ),
        ),
        assumptions=(
            (
                f"A tube is safe from denting up to a diameter of {THIN_WALL:g} walls and a stress of"
                f" {KNOCK_DOWN * WALL_BUCKLING:.2g} E wall / radius (common practice)."
            ),
        ),
    )


def _hand_bends(layers: list[_Layer]) -> Contribution:
    figures = {}
    for layer in layers:
        stock = layer.stock
        area_loss, ultimate = stock.reduction_of_area, stock.tensile_strength
        if layer.sleeve is not None or layer.support.form not in ("round", "strand"):
            continue
        # Only soft wire, which is bent by hand, has a reduction of area in the data.
        if area_loss is None or ultimate is None:
            continue
        if stock.name not in figures:
            figures[stock.name] = _hand_bends_of(stock, float(layer.support.diameter[0]))
    return Contribution(figures=tuple(figures.values()))


def _hand_bends_of(stock: StockMaterial, diameter: float) -> Figure:
    from rigcheck.mechanics.fatigue import bend_strain, hand_bends_to_failure

    assert stock.reduction_of_area is not None  # the caller has looked
    assert stock.tensile_strength is not None
    bends = hand_bends_to_failure(
        bend_strain(wire_diameter=diameter, inside_radius=HAND_RADIUS * diameter),
        tensile_strength=stock.tensile_strength.value,
        youngs_modulus=stock.youngs_modulus.value,
        reduction_of_area=stock.reduction_of_area.value,
    )
    return Figure(
        label=f"{stock.name}: bends by hand",
        value=f"about {_rounded(float(bends))}",
        note="to 90 degrees and back over an inside radius of two diameters; order of magnitude only",
    )
