"""The cut list: every piece of wire, sleeve and sheet that has to be cut, how long, how many, for which prop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from rigcheck.model import Insert, Prop, Sleeve, Support
from rigcheck.studies.reading.prop import Reading
from rigcheck.studies.rigs import SupportRig
from rigcheck.studies.words import listed, way_words

__all__ = ["Bend", "Cut", "SheetBlank", "SleeveCut", "Stock", "blanks", "cuts", "sleeve_cuts", "stock_needed"]

Array = NDArray[np.float64]
Piece = TypeVar("Piece", bound="Cut | SleeveCut | SheetBlank")

_STRAIGHT = np.deg2rad(0.05)
"""Corners that turn by less are none [rad]."""
_SAME = 0.05
"""Pieces that differ by less than this are the same on a bench [mm]."""


@dataclass(frozen=True, kw_only=True)
class Bend:
    """One bend of a support.

    Attributes
    ----------
    at_mm : float
        Where, from the end that goes into the clamp; from the jaw where no grip is given [mm].
    angle_deg : float
        By how much it turns from straight [deg].
    toward : str
        Where the wire goes after it, as seen by the camera.
    twist_deg : float or None
        How far the plane of this bend is turned from that of the bend before, about the wire [deg]; None for the
        first.
    """

    at_mm: float
    angle_deg: float
    toward: str
    twist_deg: float | None


@dataclass(frozen=True, kw_only=True)
class Cut:
    """One kind of support piece.

    Attributes
    ----------
    prop : tuple of str
        For which props.
    material, section, size : str
        What it is cut from; the size as in the rig file.
    free_mm : float
        From the jaw to the prop [mm].
    grip_mm, embed_mm : float or None
        In the clamp and in the prop [mm]; None where the file does not say.
    count : int
        How many pieces.
    bends : tuple of Bend
        In order from the clamp.
    tied : bool
        A line that is tied at both ends, for which knots come on top.
    """

    prop: tuple[str, ...]
    material: str
    section: str
    size: str
    free_mm: float
    grip_mm: float | None
    embed_mm: float | None
    count: int
    bends: tuple[Bend, ...] = ()
    tied: bool = False

    @property
    def what(self) -> str:
        """Size, material, and the section where neither tells it."""
        named = self.section == "round" or self.material.endswith(self.section)
        return f"{self.size} {self.material}" + ("" if named else f" {self.section}")

    @property
    def known_mm(self) -> float:
        """Sum of the parts that are known [mm]."""
        return self.free_mm + (self.grip_mm or 0.0) + (self.embed_mm or 0.0)

    @property
    def missing(self) -> tuple[str, ...]:
        """The parts that the file does not give: ``grip``, ``embed``."""
        parts = (("grip", self.grip_mm), ("embed", self.embed_mm))
        return tuple(name for name, value in parts if value is None)

    @property
    def length_mm(self) -> float | None:
        """To cut: free length, grip and embed [mm]; None where one of them is missing."""
        return None if self.missing else self.known_mm


@dataclass(frozen=True, kw_only=True)
class SleeveCut:
    """One kind of sleeve: its tube, its length and where it sits from the jaw [mm]."""

    prop: tuple[str, ...]
    material: str
    diameter: str
    wall: str
    length_mm: float
    start_mm: float
    count: int


@dataclass(frozen=True, kw_only=True)
class SheetBlank:
    """One kind of insert blank.

    Attributes
    ----------
    along_mm, across_mm : float
        Along the support and across it [mm].
    grain : str
        How the stiff direction of the sheet lies to the support: ``along`` or ``across``.
    """

    prop: tuple[str, ...]
    material: str
    thickness: str
    along_mm: float
    across_mm: float
    grain: str
    count: int


@dataclass(frozen=True, kw_only=True)
class Stock:
    """What to have in hand of one material and size, without saw cuts and spares.

    Attributes
    ----------
    what : str
        Material and size.
    pieces : int
        How many pieces.
    longest_mm, total_mm : float
        Longest piece and all together [mm].
    at_least : bool
        True where a grip or embed is not given, so that more is needed.
    """

    what: str
    pieces: int
    longest_mm: float
    total_mm: float
    at_least: bool


def cuts(props: Sequence[tuple[Prop, Reading]]) -> tuple[Cut, ...]:
    """List the supports to cut, equal ones together.

    Parameters
    ----------
    props : sequence of (Prop, Reading)
        What the user gave, and the same made ready to compute.

    Returns
    -------
    tuple of Cut
        In the order of the file.
    """
    found: list[Cut] = []
    for prop, reading in props:
        for given, support in zip(prop.support, reading.task.rig.supports, strict=True):
            _join(found, _cut(prop, given, support))
    return tuple(found)


def sleeve_cuts(props: Sequence[Prop]) -> tuple[SleeveCut, ...]:
    """List the sleeves to cut, equal ones together; see `cuts`."""
    found: list[SleeveCut] = []
    for prop in props:
        for support in prop.support:
            for sleeve in support.sleeve:
                _join(found, _sleeve_cut(prop, sleeve))
    return tuple(found)


def blanks(props: Sequence[Prop]) -> tuple[SheetBlank, ...]:
    """List the insert blanks to cut, equal ones together; see `cuts`."""
    found: list[SheetBlank] = []
    for prop in props:
        if prop.insert is not None:
            _join(found, _blank(prop, prop.insert))
    return tuple(found)


def stock_needed(supports: Sequence[Cut], sleeves: Sequence[SleeveCut]) -> tuple[Stock, ...]:
    """Add up what is needed of each material and size.

    Parameters
    ----------
    supports : sequence of Cut
        Supports.
    sleeves : sequence of SleeveCut
        Sleeves.

    Returns
    -------
    tuple of Stock
        In the order in which they come up.
    """
    pieces: dict[str, list[tuple[float, int, bool]]] = {}
    for cut in supports:
        pieces.setdefault(cut.what, []).append((cut.known_mm, cut.count, bool(cut.missing) or cut.tied))
    for sleeve in sleeves:
        what = f"{sleeve.diameter} x {sleeve.wall} {sleeve.material} tube"
        pieces.setdefault(what, []).append((sleeve.length_mm, sleeve.count, False))
    return tuple(
        Stock(
            what=what,
            pieces=sum(count for _, count, _ in parts),
            longest_mm=max(length for length, _, _ in parts),
            total_mm=sum(length * count for length, count, _ in parts),
            at_least=any(open_end for _, _, open_end in parts),
        )
        for what, parts in pieces.items()
    )


def _join(found: list[Piece], new: Piece) -> None:
    """Add a piece to the list, or its count to one that is the same on the bench."""
    keys = [_key(old) for old in found]
    if _key(new) not in keys:
        found.append(new)
        return
    at = keys.index(_key(new))
    names = tuple(dict.fromkeys([*found[at].prop, *new.prop]))
    found[at] = replace(found[at], prop=names, count=found[at].count + new.count)


def _key(piece: Cut | SleeveCut | SheetBlank) -> tuple[object, ...]:
    values = [value for name, value in vars(piece).items() if name not in ("prop", "count")]
    return tuple(round(value / _SAME) if isinstance(value, float) else value for value in values)


def _cut(prop: Prop, given: Support, support: SupportRig) -> Cut:
    tied = support.form == "line"
    return Cut(
        prop=(prop.name,),
        material=given.material,
        section=given.section,
        size=size_words(given),
        free_mm=float(support.free_length[0]) * 1e3,
        grip_mm=None if given.grip is None else given.grip.m_as("mm"),
        embed_mm=None if given.embed is None else given.embed.m_as("mm"),
        count=1,
        bends=_bends(support.points[0], 0.0 if given.grip is None else given.grip.m_as("m")),
        tied=tied,
    )


def size_words(given: Support) -> str:
    """The size of a support as the file gives it, for example ``6 mm x 1 mm``.

    Parameters
    ----------
    given : Support
        What the user gave.

    Returns
    -------
    str
    """
    match given.section:
        case "tube":
            return f"{given.diameter} x {given.wall}"
        case "strip":
            return f"{given.width} x {given.thickness}"
        case "strand":
            return f"{given.wires} x {given.diameter}"
        case _:
            return str(given.diameter)


def _bends(points: Array, grip: float) -> tuple[Bend, ...]:
    """Where a polyline turns, measured along its corners."""
    steps = np.diff(points, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    ways = steps / lengths[:, None]
    stations = np.cumsum(lengths)
    bends: list[Bend] = []
    plane: Array | None = None
    for station, before, after in zip(stations[:-1], ways[:-1], ways[1:], strict=True):
        across = np.cross(before, after)
        angle = float(np.arctan2(np.linalg.norm(across), before @ after))
        if angle < _STRAIGHT:
            continue
        normal = across / np.linalg.norm(across) if np.linalg.norm(across) > 0 else None
        twist = None
        if plane is not None and normal is not None:
            twist = float(np.rad2deg(np.arctan2(np.cross(plane, normal) @ before, plane @ normal)))
        plane = normal if normal is not None else plane
        bends.append(
            Bend(
                at_mm=1e3 * (grip + float(station)),
                angle_deg=float(np.rad2deg(angle)),
                toward=_ways_words(after),
                twist_deg=twist,
            )
        )
    return tuple(bends)


def _ways_words(way: Array) -> str:
    """Direction words of all the larger parts, for example ``up and toward the camera``."""
    parts = [
        way_words(np.where(np.arange(3) == axis, way, 0.0))
        for axis in np.argsort(-np.abs(way), kind="stable")
        if abs(way[axis]) > 0.25
    ]
    return listed(parts)


def _sleeve_cut(prop: Prop, sleeve: Sleeve) -> SleeveCut:
    start, end = sleeve.start.m_as("mm"), sleeve.end.m_as("mm")
    return SleeveCut(
        prop=(prop.name,),
        material=sleeve.material,
        diameter=str(sleeve.diameter),
        wall=str(sleeve.wall),
        length_mm=end - start,
        start_mm=start,
        count=1,
    )


def _blank(prop: Prop, insert: Insert) -> SheetBlank:
    along, across = (side.m_as("mm") for side in insert.size)
    return SheetBlank(
        prop=(prop.name,),
        material=insert.material,
        thickness=str(insert.thickness),
        along_mm=along,
        across_mm=across,
        grain=insert.grain,
        count=1,
    )
