"""A support: one wire, rod, tube or strip from its root in the clamp to its tip in the prop."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import chain, pairwise
from typing import Annotated, Any, ClassVar, Literal, TypeAlias, get_args

from pydantic import ConfigDict, Field, ValidationInfo, field_validator

from rigcheck.model.fields import (
    Choice,
    Length,
    LengthVector,
    Name,
    Number,
    Offset,
    Quantity,
    RootStiffness,
    Rows,
    ThreadOrLength,
    flaw,
    is_thread,
    listing,
)
from rigcheck.model.part import Flaw, Part, raise_all
from rigcheck.units import Measured, measured

__all__ = ["SIDES", "Section", "Side", "Sleeve", "Support"]

Section: TypeAlias = Literal["round", "tube", "strip", "strand", "threaded"]
Side: TypeAlias = Literal["behind", "front", "left", "right", "above", "below"]

SIDES: Mapping[str, tuple[float, float, float]] = {
    "behind": (0.0, 0.0, -1.0),
    "front": (0.0, 0.0, 1.0),
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "above": (0.0, 1.0, 0.0),
    "below": (0.0, -1.0, 0.0),
}
"""Unit vector from the tip to the root, right, up, toward, for each side the root may lie on."""

_NEEDS: Mapping[str, tuple[str, ...]] = {
    "round": ("diameter",),
    "tube": ("diameter", "wall"),
    "strip": ("width", "thickness"),
    "strand": ("diameter", "wires"),
    "threaded": ("diameter",),
}
"""The sizes that each section has; it takes these and no others."""
_ROUND = ("round", "tube", "threaded")
"""Sections whose diameter is that of a sleeve's bore."""
_SIZES = ("diameter", "wall", "width", "thickness", "wires")

_SAME = 1e-9
"""Relative slack of comparisons between sizes typed in different units."""
_LEAST_STEP = 1e-3
"""Share of a path's length between two of its points: no bend is that sharp, and rounding would spoil the modes."""
_PRESS_FIT = 0.02
"""Share by which a sleeve's nominal bore may fall short of the nominal rod: tolerances and press fits."""


def _metres(vector: tuple[Measured, ...]) -> tuple[float, ...]:
    return tuple(part.m_as("m") for part in vector)


class Sleeve(Part):
    """A tube bonded over part of a support.

    Attributes
    ----------
    material : str
        A name from stock, or one of the shot's own.
    diameter, wall : Measured
        Outer diameter and wall thickness [length].
    start, end : Measured
        Where it begins and ends along the support, from the jaw [length].
    """

    header: ClassVar[str] = "[[prop.support.sleeve]]"

    material: Annotated[str, Name()] = Field(
        description="A material from stock, or your own.", examples=["brass-c260"]
    )
    diameter: Length = Field(description="Outer diameter of the tube.", examples=["4 mm"])
    wall: Length = Field(description="Wall thickness of the tube.", examples=["0.45 mm"])
    start: Offset = Field(
        default_factory=lambda: measured(0.0, "mm"),
        description="Where it begins, from the jaw.",
        examples=["0 mm"],
    )
    end: Length = Field(description="Where it ends, from the jaw.", examples=["90 mm"])

    @field_validator("wall")
    @classmethod
    def _wall_in_tube(cls, value: Measured, info: ValidationInfo) -> Measured:
        return _wall_fits(value, info.data.get("diameter"))

    @field_validator("end")
    @classmethod
    def _ends_after_it_starts(cls, value: Measured, info: ValidationInfo) -> Measured:
        start = info.data.get("start")
        if start is not None and value.m_as("m") <= start.m_as("m"):
            raise flaw(f'has to be farther from the jaw than start, "{start}".')
        return value


def _wall_fits(wall: Measured, diameter: Measured | None) -> Measured:
    """Hold a wall against the diameter it has to fit in."""
    if diameter is not None and wall.m_as("m") > 0.5 * diameter.m_as("m") * (1.0 + _SAME):
        raise flaw(f'is more than half the diameter "{diameter}".')
    return wall


def _editor_rules() -> dict[str, Any]:
    """Give the rules of `Support.flaws` as JSON Schema."""
    straight = {"required": ["length"], "not": {"required": ["path"]}}
    bent = {"required": ["path"], "not": {"anyOf": [{"required": [key]} for key in ("length", "from")]}}
    sections = [
        {
            "if": {"properties": {"section": {"const": section}}, "required": ["section"]},
            "then": {
                "required": list(needs),
                "not": {"anyOf": [{"required": [key]} for key in _SIZES if key not in needs]},
            },
        }
        for section, needs in _NEEDS.items()
    ]
    sizes = {"anyOf": [{"required": ["diameter"]}, {"required": ["width", "thickness"]}]}
    held_once = {"not": {"required": ["clamp", "root_stiffness"]}}
    return {"allOf": [{"oneOf": [straight, bent]}, held_once, sizes, *sections]}


class Support(Part):
    """One wire, rod, tube, strip or strand that carries a prop.

    Attributes
    ----------
    material : str
        A name from stock, or one of the shot's own.
    section : {"round", "tube", "strip", "strand", "threaded"}
        Where not given it follows from the sizes: a wall makes a tube, width and thickness a strip, wires a
        strand, a thread such as M4 a threaded rod, and a diameter alone a round.
    diameter, wall, width, thickness : Measured or None
        Sizes of the section [length]; a strand's diameter is that of one of its wires.
    wires : int or None
        Number of wires in a strand.
    bond : float or None
        How far the wires of a strand hold each other, from 0 (they slip) to 1 (as one piece); None is not known.
    length : Measured or None
        Free length, jaw to tip, straight [length].
    from_ : str
        Side on which the root lies, seen from the tip; ``from`` in the file.
    offset : tuple of 3 Measured
        Of this tip from the first support's tip, right, up, toward [length]. It moves a `path` as a whole.
    path : tuple of points, or None
        Root to tip, each right, up, toward, from the first support's tip [length]; instead of `length`.
    clamp : str or None
        What holds the root, a name from stock. Neither this nor `root_stiffness` where nothing is said.
    root_stiffness : Measured, "rigid", tuple of 3 of these, or None
        One value: both bending axes, twist held. Three: about right, up, toward [torque/angle].
    grip : Measured or None
        Length held in the clamp.
    tension : Measured or None
        A taut line is pulled up to this before the prop is hung [force].
    embed : Measured or None
        Length inside the prop.
    sleeve : tuple of Sleeve
        Tubes over parts of it.
    """

    header: ClassVar[str] = "[[prop.support]]"

    material: Annotated[str, Name()] = Field(
        description="A material from stock, or your own.", examples=["music-wire"]
    )
    section: Annotated[Section, Choice(Section)] = Field(
        default="round",
        description="Shape across. Where it is left out, it follows from the sizes.",
        examples=list(get_args(Section)),
    )
    diameter: Annotated[Measured, ThreadOrLength("length")] | None = Field(
        default=None,
        description="Outer diameter; in a strand of one of its wires, not of the whole; a threaded rod may have M4.",
        examples=["3 mm", "1/8 in", "14 SWG", "M4"],
    )
    wall: Length | None = Field(default=None, description="Wall thickness of a tube.", examples=["0.45 mm"])
    width: Length | None = Field(default=None, description="Width of a strip.", examples=["10 mm"])
    thickness: Length | None = Field(default=None, description="Thickness of a strip.", examples=["1.5 mm"])
    wires: Annotated[int, Number(2, 169, integer=True)] | None = Field(
        default=None, description="Number of wires in a strand.", examples=[7]
    )
    bond: Annotated[float, Number(0, 1)] | None = Field(
        default=None,
        description="How far the wires of a strand hold each other: 0 they slip freely, 1 they are soldered or glued "
        "into one piece. Left out, it is a guess with its range.",
        examples=[0.1],
    )
    length: Length | None = Field(
        default=None, description="Free length from the jaw to the tip, straight.", examples=["180 mm"]
    )
    from_: Annotated[Side, Choice(Side)] = Field(
        default="behind",
        alias="from",
        description="Where the root lies, seen from the tip.",
        examples=list(get_args(Side)),
    )
    path: Annotated[tuple[LengthVector, ...], Rows("path = [[x, y, z], ...]", 2, 200)] | None = Field(
        default=None,
        description="A bent support: points from root to tip, each right, up, toward, from the first "
        "support's tip. In place of length and from.",
        examples=[[["0 mm", "0 mm", "-180 mm"], ["0 mm", "0 mm", "0 mm"]]],
    )
    offset: LengthVector = Field(
        default_factory=lambda: (measured(0.0, "mm"),) * 3,
        description="Of this tip from the first support's tip: right, up, toward.",
        examples=[["0 mm", "0 mm", "0 mm"]],
    )
    clamp: Annotated[str, Name()] | None = Field(
        default=None, description="What holds the root, a name from stock.", examples=["collet"]
    )
    root_stiffness: RootStiffness | None = Field(
        default=None,
        description="Stiffness of the root: one value for both bending axes, twist held; three about right, "
        "up, toward; or rigid.",
        examples=["12 N*m/rad", "rigid", ["12 N*m/rad", "rigid", "12 N*m/rad"]],
    )
    grip: Length | None = Field(default=None, description="Length held in the clamp.", examples=["15 mm"])
    tension: Annotated[Measured, Quantity("force")] | None = Field(
        default=None,
        description="A taut line is pulled up to this before the prop is hung.",
        examples=["20 N"],
    )
    embed: Length | None = Field(default=None, description="Length inside the prop.", examples=["40 mm"])
    sleeve: Annotated[tuple[Sleeve, ...], Rows("[[prop.support.sleeve]]", 0, 20)] = Field(
        default=(), description="Tubes over parts of the support."
    )

    model_config = ConfigDict(json_schema_extra=_editor_rules())

    @classmethod
    def complete(cls, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """Fill the section in from the sizes given."""
        return given if "section" in given else {**given, "section": cls._implied_section(given)}

    @classmethod
    def _implied_section(cls, given: Mapping[str, Any]) -> Section:
        if "wall" in given:
            return "tube"
        if "width" in given or "thickness" in given:
            return "strip"
        if "wires" in given:
            return "strand"
        return "threaded" if is_thread(given.get("diameter")) else "round"

    @classmethod
    def flaws(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Ask for the section's sizes, for one way to say where it runs, and one to say how it is held."""
        yield from cls._flaws_of_sizes(given)
        if "length" not in given and "path" not in given:
            yield Flaw(
                "length", "is missing: the free length from the jaw to the tip.", 'Add length = "180 mm".'
            )
        if "path" in given:
            for key in ("length", "from"):
                if key in given:
                    yield Flaw(
                        key, "cannot stand beside path, which says it already.", f"Leave {key} or path out."
                    )
        if "clamp" in given and "root_stiffness" in given:
            yield Flaw(
                "root_stiffness",
                "cannot stand beside clamp, which has a stiffness of its own.",
                "Keep one of the two.",
            )

    @classmethod
    def _flaws_of_sizes(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        section = given.get("section", cls._implied_section(given))
        if not isinstance(section, str) or section not in _NEEDS:
            return  # the word itself is reported as wrong
        needs = _NEEDS[section]
        for key in needs:
            if key not in given:
                yield Flaw(key, f"is missing: a {section} section has {' and '.join(needs)}.", cls.add(key))
        for key in _SIZES:
            if key in given and key not in needs:
                other = [name for name, sizes in _NEEDS.items() if key in sizes]
                yield Flaw(
                    key, f"is no size of a {section} section.", f"It belongs to section = {_quoted(other)}."
                )
        if "bond" in given and section != "strand":
            yield Flaw("bond", f"is for a strand, and this is a {section} section.", "Leave bond out.")
        if is_thread(given.get("diameter")) and section != "threaded":
            yield Flaw(
                "diameter",
                f"is a thread, but the section is {section}.",
                'Write section = "threaded", or a size in mm.',
            )

    @field_validator("wall")
    @classmethod
    def _wall_in_tube(cls, value: Measured | None, info: ValidationInfo) -> Measured | None:
        return None if value is None else _wall_fits(value, info.data.get("diameter"))

    @field_validator("path")
    @classmethod
    def _points_apart(cls, value: tuple[Any, ...] | None) -> tuple[Any, ...] | None:
        for number, (one, next_one) in enumerate(pairwise(value or ()), start=1):
            if math.dist(_metres(one), _metres(next_one)) == 0.0:
                raise flaw(
                    f"has points {number} and {number + 1} in the same place.", "Leave one of them out."
                )
        whole = _reach(None, value) or 0.0
        for number, (one, next_one) in enumerate(pairwise(value or ()), start=1):
            gap = math.dist(_metres(one), _metres(next_one))
            if gap < _LEAST_STEP * whole:
                raise flaw(
                    f"has points {number} and {number + 1} only {gap * 1e3:.3g} mm apart on a length of"
                    f" {whole * 1e3:.4g} mm; they have to be {_LEAST_STEP * whole * 1e3:.3g} mm apart or more.",
                    "Leave one of them out.",
                )
        return value

    @field_validator("sleeve")
    @classmethod
    def _sleeves_on_the_support(cls, value: tuple[Sleeve, ...], info: ValidationInfo) -> tuple[Sleeve, ...]:
        reach = _reach(info.data.get("length"), info.data.get("path"))
        core = info.data.get("diameter") if info.data.get("section") in _ROUND else None
        for_all = (_misfits(place, sleeve, reach, core) for place, sleeve in enumerate(value))
        raise_all("sleeve", chain.from_iterable(for_all))
        return value


def _misfits(place: int, sleeve: Sleeve, reach: float | None, core: Measured | None) -> Iterator[Flaw]:
    """Hold a sleeve against the length along its support [m] and against what it is pushed over."""
    if reach is not None and sleeve.end.m_as("m") > reach * (1.0 + _SAME):
        yield Flaw((place, "end"), f"is beyond the support, which is {reach * 1e3:.6g} mm long.")
    bore = sleeve.diameter.m_as("m") - 2.0 * sleeve.wall.m_as("m")
    if core is not None and bore < core.m_as("m") * (1.0 - _PRESS_FIT):
        yield Flaw(
            (place, "wall"),
            f'leaves a bore of {bore * 1e3:.4g} mm, too small for the support\'s diameter "{core}".',
            "Take a wider tube or a thinner wall.",
        )


def _reach(length: Measured | None, path: tuple[tuple[Measured, ...], ...] | None) -> float | None:
    """Give the length along the support [m], straight or bent; None where it is not known."""
    if length is not None:
        return length.m_as("m")
    if path is not None:
        return sum(math.dist(_metres(one), _metres(other)) for one, other in pairwise(path))
    return None


def _quoted(words: list[str]) -> str:
    return listing([f'"{word}"' for word in words])
