"""What to change so that no bend stays, and the mass of prop that a support springs back from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rigcheck.errors import ValidityError
from rigcheck.stock import find_material, stock_sizes
from rigcheck.studies.evaluate import STATIONS, Outcome
from rigcheck.studies.layers import Layer
from rigcheck.studies.rigs import DOWN, GRAVITY, Rig
from rigcheck.studies.strength_used import State
from rigcheck.studies.words import mass_words

__all__ = ["SHAKE_DOWN", "Loads", "gentler", "set_cures"]

HARDER_WIRE = "spring-steel-sm"
"""Stock to look at for a wire that springs back from more."""
SHAKE_DOWN = (
    "Hang the prop once before you line up the shot: the bend comes the first time and then stays as it is."
)
"""Advice on a bend that is small enough to live with."""

# Least share of the present free length that advice may leave.
_SHORTEST = 0.4
_SMALL_SHARE = 0.05
_LEAST_SHARE = 0.04


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Loads:
    """Multiples of the load as the mass of a prop.

    Attributes
    ----------
    mass : float
        Of the prop as it is [kg].
    own : float
        Moment of the support's own weight over that of the prop's, where it is stressed most; it does not
        grow with the prop.
    is_taut : bool
        Whether a line was pulled before the prop was hung: its pull does not grow with the prop either, so a
        multiple of the load is no mass.
    """

    mass: float
    own: float
    is_taut: bool = False

    @classmethod
    def of(cls, still: Outcome, layers: list[Layer], state: State) -> Loads:
        """By statics of the unbent shape; several supports are taken to weigh nothing.

        Parameters
        ----------
        still : Outcome
            At rest; the first variant is used.
        layers : list of Layer
            Of all supports.
        state : State
            What the settled load does to them.

        Returns
        -------
        Loads
        """
        rig = still.rig
        mass = float(rig.mass[0])
        if any(support.tension is not None for support in rig.supports):
            return cls(mass=mass, own=0.0, is_taut=True)
        if len(rig.supports) > 1:
            return cls(mass=mass, own=0.0)
        worst = state.worst
        layer = worst.layer
        span = layer.stop - layer.start
        place = layer.start + STATIONS[int(worst.whole.argmax())] * span
        along = span / np.linalg.norm(span)
        own, below = np.zeros(3), 0.0
        for other in layers:
            if other.part.segment < layer.part.segment:
                continue
            begin = place if other.part.segment == layer.part.segment else other.start
            weight = other.density * other.part.section.area[0] * float(np.linalg.norm(other.stop - begin))
            own += weight * np.cross((begin + other.stop) / 2 - place, DOWN)
            below += weight
        of_prop = mass * np.cross(rig.centre_of_mass[0] - place, DOWN)
        of_prop, own = of_prop - of_prop @ along * along, own - own @ along * along
        size = float(of_prop @ of_prop)
        level = mass * GRAVITY * float(rig.supports[0].free_length[0])
        # Where nothing bends it, what pulls counts.
        share = float(own @ of_prop) / size if size > (1e-6 * level) ** 2 else below / mass
        return cls(mass=mass, own=share)

    def prop_mass(self, multiple: float) -> float:
        """Mass of the prop at which the stress is a multiple of what it is.

        Parameters
        ----------
        multiple : float
            Of the present stress.

        Returns
        -------
        float
            [kg]; negative where the support's own weight is too much already.
        """
        return self.mass * (multiple + (multiple - 1) * self.own)

    def words(self, multiple: float) -> str:
        """The same in words.

        Parameters
        ----------
        multiple : float
            Of the present stress.

        Returns
        -------
        str
        """
        if self.is_taut:
            return f"{multiple:.3g} times the load"
        mass = self.prop_mass(multiple)
        return mass_words(mass) if mass > 0 else "0 g"


def gentler(state: State, moving: float) -> tuple[str, ...]:
    """How much slower the move has to be: what it adds falls with the square of its duration.

    Parameters
    ----------
    state : State
        What the settled load does.
    moving : float
        Multiple of settled and moving load together from which a bend stays.

    Returns
    -------
    tuple of str
    """
    hung, both = 1 / state.onset, 1 / moving
    share = (1 - hung) / (both - hung)
    if share < _LEAST_SHARE:
        return ("Take a thicker or harder wire: at rest it is already close to keeping a bend.",)
    return (f"Make the move about {share**-0.5:.2g} times as long; then nothing of it stays.",)


def set_cures(still: Outcome, state: State, loads: Loads) -> tuple[str, ...]:
    """Changes that leave no bend, by the statics of one bare round support; and the mass it can carry.

    Parameters
    ----------
    still : Outcome
        At rest; the first variant is used.
    state : State
        What the settled load does.
    loads : Loads
        The same as the mass of a prop.

    Returns
    -------
    tuple of str
        Best first.
    """
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
    if most > 0 and not loads.is_taut:
        found.append(f"Hang no more than {mass_words(most)} on it.")
    return tuple(found)


def _bearable(state: State, loads: Loads, *, strength: float, own: float) -> float:
    """Mass of the prop at which a bend begins to stay [kg].

    The strength in bending and the support's own weight are given as multiples of what they are.
    """
    # Moment over the moment at which it sets is 1 / onset, of which 1 part prop and `own` parts support.
    of_prop = 1 / state.onset / (1 + loads.own)
    return loads.mass * (strength - of_prop * loads.own * own) / of_prop


def _thicker(layer: Layer, state: State, loads: Loads) -> Iterator[str]:
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


def _harder(layer: Layer, state: State, loads: Loads) -> Iterator[str]:
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
        own=other.density.value / layer.density,
    )
    if most >= loads.mass:
        yield f"Take {HARDER_WIRE} of the same size: it springs back from up to {mass_words(most)}."


def _shorter(rig: Rig, layer: Layer, state: State) -> Iterator[str]:
    """The longest straight support, in whole millimetres, of which nothing stays bent."""
    length = float(rig.supports[0].free_length[0])
    toward_root = (layer.start - layer.stop) / length
    per_length = layer.density * layer.part.section.area[0]

    reach = np.arange(np.floor(length * 1e3), np.ceil(length * 1e3 * _SHORTEST), -1.0) * 1e-3
    reach = np.concatenate([[length], reach[reach < length]])[:, None]
    root = toward_root * reach
    whole = float(rig.mass[0]) * np.cross(rig.centre_of_mass[0] - root, DOWN)
    whole = whole + per_length * reach * np.cross(-root / 2, DOWN)
    moment = np.linalg.norm(np.cross(toward_root, whole), axis=1)
    enough = np.flatnonzero(moment <= moment[0] * state.onset)
    if len(enough):
        new = float(reach[enough[0], 0])
        less = f"{(length - new) * 1e3:.0f} mm, to {new * 1e3:.0f} mm"
        yield f"Shorten the free length by {less}: it springs back."
