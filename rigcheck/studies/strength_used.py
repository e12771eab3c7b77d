"""How much of their strength the layers of the supports use, and from which load on they bend for good or fold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rigcheck.mechanics.plasticity import PlasticSection
from rigcheck.mechanics.statics import SectionForces
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.layers import Layer, forces_by_place, pieces_of

__all__ = ["State", "Use", "state_under"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Use:
    """Shares of the yield strength in use in one layer.

    Attributes
    ----------
    layer : Layer
        One that can yield.
    law : PlasticSection
        Its section with its whole strength.
    axial, torsion, bending : array, shape (n,)
        At the stations, none negative.
    """

    layer: Layer
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
        """The largest of them."""
        return float(self.whole.max())

    @property
    def onset(self) -> float:
        """Multiple of the load from which some of it stays."""
        return self.layer.onset_fraction * _inverse(self.peak)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class State:
    """What a load does to the layers that can set.

    Attributes
    ----------
    uses : list of Use
        Of those of which the yield strength is known.
    unknown : tuple of str
        Materials of the others.
    full_plastic : float
        Multiple of the load at which a piece folds; infinite where none does.
    """

    uses: list[Use]
    unknown: tuple[str, ...]
    full_plastic: float

    @property
    def worst(self) -> Use:
        """Where a bend begins to stay first."""
        return min(self.uses, key=lambda use: use.onset)

    @property
    def onset(self) -> float:
        """Multiple of the load from which a bend stays; infinite where none does."""
        return min((use.onset for use in self.uses), default=np.inf)

    @property
    def first_yield(self) -> float:
        """Multiple of the load at which a surface reaches its yield strength."""
        return min((_inverse(use.peak) for use in self.uses), default=np.inf)


def _inverse(value: float) -> float:
    return 1 / value if value > 0 else np.inf


def _use(layer: Layer, forces: SectionForces) -> Use:
    strength = layer.yield_strength
    assert strength is not None  # the caller has looked
    law, section, share = layer.law(strength, layer.onset_fraction), layer.part.section, layer.part.share
    about_y = np.abs(share["bending_y"][0] * forces.moment_y[0]) / law.yield_moment_y
    about_z = np.abs(share["bending_z"][0] * forces.moment_z[0]) / law.yield_moment_z
    shear = np.abs(share["torsional"][0] * forces.torque[0]) / section.torsion_modulus[0]
    return Use(
        layer=layer,
        law=law,
        axial=np.abs(share["axial"][0] * forces.axial[0]) / section.area[0] / strength,
        torsion=np.sqrt(3) * shear / strength,
        bending=np.hypot(about_y, about_z) if bool(law.is_round) else about_y + about_z,
    )


def state_under(still: Outcome, layers: list[Layer], forces: list[SectionForces]) -> State:
    """What section forces do to the layers.

    Parameters
    ----------
    still : Outcome
        At rest, for the places of the forces.
    layers : list of Layer
        Of all supports.
    forces : list of SectionForces
        Element by element; the first variant is used.

    Returns
    -------
    State
    """
    at = forces_by_place(still.parts, forces)
    unknown: list[str] = []
    uses: list[Use] = []
    full = np.inf
    for members in pieces_of(layers):
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
    return State(uses=uses, unknown=tuple(dict.fromkeys(unknown)), full_plastic=full)


def _plastic_use(uses: list[Use]) -> Array:
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
