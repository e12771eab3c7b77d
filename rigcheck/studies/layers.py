"""Layers of the supports: each wire and sleeve along each straight piece, its stock, and the forces on it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from rigcheck.errors import ValidityError
from rigcheck.mechanics.frame import local_axes
from rigcheck.mechanics.plasticity import PlasticSection, plastic_round, plastic_strip
from rigcheck.mechanics.statics import SectionForces
from rigcheck.model import Prop, Shot
from rigcheck.studies.evaluate import Outcome
from rigcheck.studies.moving import MotionOutcome
from rigcheck.studies.reading.supports import stock_material
from rigcheck.studies.rigs import Material, Part, Rig, SleeveRig, SupportRig, build_frame, width_direction

if TYPE_CHECKING:
    from rigcheck.stock import Material as StockMaterial

__all__ = ["Layer", "forces_by_place", "layers_of", "piece_axes", "pieces_of", "still_and_moving"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Layer:
    """A support, or a sleeve on it, along one straight piece: what it is made of and what it carries.

    Attributes
    ----------
    part : Part
        Its section, and its share in what the piece carries.
    index : int
        Of the part in the outcome.
    support : SupportRig
        The support that it belongs to.
    sleeve : SleeveRig or None
        None for the support itself.
    stock : StockMaterial
        What it is made of, at its size.
    start, stop : array, shape (3,)
        Ends of the piece, root side first [m].
    """

    part: Part
    index: int
    support: SupportRig
    sleeve: SleeveRig | None
    stock: StockMaterial
    start: Array
    stop: Array

    @property
    def brittle(self) -> bool:
        """Whether it breaks without bending first."""
        return self.stock.brittle

    @property
    def yield_strength(self) -> float | None:
        """[Pa], None where it is not known."""
        known = self.stock.yield_strength
        return None if known is None else known.value

    @property
    def onset_fraction(self) -> float:
        """Share of the yield strength from which some of a bend stays; asked only of what yields."""
        onset = self.stock.set_onset()
        assert onset is not None
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
        """[Pa]."""
        return float(self._material.youngs_modulus[0])

    @property
    def density(self) -> float:
        """[kg/m3]."""
        return float(self._material.density[0])

    @property
    def _material(self) -> Material:
        return (self.support if self.sleeve is None else self.sleeve).material

    def law(self, strength: float, onset_fraction: float) -> PlasticSection:
        """Its section as one that yields.

        Parameters
        ----------
        strength : float
            Yield strength [Pa].
        onset_fraction : float
            Share of it from which some of a bend stays.

        Returns
        -------
        PlasticSection
        """
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
        strand = self.support.form == "strand"
        law = plastic_round(
            # A threaded rod counts as a round one of its stress diameter.
            outer_diameter=self.support.diameter[0] if strand else 2 * self.part.section.outer_z[0],
            wires=self.support.wires,
            youngs_modulus=self.youngs_modulus,
            yield_strength=strength,
            onset_fraction=onset_fraction,
        )
        if not strand:
            return law
        # Wires that hold each other share a stiffer bend; where the outermost yields, the whole is taken to.
        section = self.part.section
        stiffer = self.youngs_modulus * section.second_moment_y[0] / law.bending_stiffness_y
        slipping = self.support.diameter[0] / 2
        stronger = stiffer * slipping / section.outer_z[0]
        return replace(
            law,
            bending_stiffness_y=law.bending_stiffness_y * stiffer,
            bending_stiffness_z=law.bending_stiffness_z * stiffer,
            **{
                f"{name}_moment_{axis}": getattr(law, f"{name}_moment_{axis}") * stronger
                for name in ("onset", "yield", "plastic")
                for axis in ("y", "z")
            },
        )


def layers_of(shot: Shot, prop: Prop, rig: Rig, parts: list[Part]) -> list[Layer]:
    """The layers of all supports of a prop.

    Parameters
    ----------
    shot, prop : Shot, Prop
        What the user gave.
    rig : Rig
        The prop on its supports; the first variant is used.
    parts : list of Part
        Of its outcome.

    Returns
    -------
    list of Layer
        In the order of the parts.
    """
    corners = _corners(rig, parts)
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
            middle = (along[segment] + along[segment + 1]) / 2
            over = iter([pair for pair in sleeves if pair[0].start[0] < middle < pair[0].end[0]])
            for at, part in group:
                sleeve, stock = (None, wire) if part.label == "wire" else next(over)
                layers.append(
                    Layer(
                        part=part,
                        index=at,
                        support=support,
                        sleeve=sleeve,
                        stock=stock,
                        start=points[segment],
                        stop=points[segment + 1],
                    )
                )
    return layers


def _corners(rig: Rig, parts: list[Part]) -> list[Array]:
    """Points of each support, with the places between its corners where its pieces begin and end."""
    pieces = [0] * len(rig.supports)
    for part in parts:
        pieces[part.support] = max(pieces[part.support], part.segment + 1)
    if all(count == support.points.shape[1] - 1 for count, support in zip(pieces, rig.supports, strict=True)):
        return [support.points[0] for support in rig.supports]
    return [support.points[0] for support in build_frame(rig)[0].supports]


def _sized(stock: StockMaterial, size: float) -> StockMaterial:
    try:
        return stock.at(size)
    except ValidityError:
        return stock


def forces_by_place(parts: list[Part], forces: list[SectionForces]) -> dict[tuple[int, int], SectionForces]:
    """Section forces by the support and the segment that they are in.

    Parameters
    ----------
    parts : list of Part
        Of an outcome.
    forces : list of SectionForces
        Of the same, or of its movement: element by element.

    Returns
    -------
    dict of (int, int) to SectionForces
    """
    places = sorted({(part.support, part.segment) for part in parts})
    return dict(zip(places, forces, strict=True))


def pieces_of(layers: list[Layer]) -> Iterator[list[Layer]]:
    """The layers of each straight piece of each support that can bend.

    Parameters
    ----------
    layers : list of Layer
        Of all supports.

    Yields
    ------
    list of Layer
    """
    clamped = [layer for layer in layers if not layer.part.is_line]
    for _, group in groupby(clamped, key=lambda layer: (layer.part.support, layer.part.segment)):
        yield list(group)


def still_and_moving(still: Outcome, motion: MotionOutcome) -> list[SectionForces]:
    """Bounds on the section forces at rest and moving.

    Parameters
    ----------
    still : Outcome
        At rest.
    motion : MotionOutcome
        Moving.

    Returns
    -------
    list of SectionForces
        Element by element, none negative.
    """
    return [
        SectionForces(values=np.abs(one.values) + other.values)
        for one, other in zip(still.forces, motion.swing_forces, strict=True)
    ]


def piece_axes(form: str, start: Array, stop: Array) -> Array:
    """Local axes of a straight piece of a support.

    Parameters
    ----------
    form : str
        Of the support's section.
    start, stop : array, shape (3,)
        Its ends [m].

    Returns
    -------
    array, shape (3, 3)
        Rows: along the piece, and the two that its bending moments are about.
    """
    span = stop - start
    width = width_direction(np.stack([start, stop])[None])[0, 0] if form == "strip" else None
    return local_axes(span / np.linalg.norm(span), width)
