"""Clamps: how much a root gives, as extra free length in diameters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

from rigcheck.errors import ValidityError
from rigcheck.stock.datum import Datum, optional_datum
from rigcheck.stock.tables import locate, record, unknown_name

__all__ = ["Clamp", "find_clamp"]

_FILES = ("clamps",)


@dataclass(frozen=True, kw_only=True)
class Clamp:
    """What holds the root of a support.

    Attributes
    ----------
    name, label : str
        Name in files, plain words.
    aliases : tuple of str
        Other names.
    extra_length_diameters : Datum or None
        `a` in ``k_theta = E I / (a d)`` [-]; None for a rigid clamp.
    extra_length_by_grip : tuple of (float, float)
        Grip length in diameters and `a` there, short to long; empty where the grip does not matter.
    minimum_grip_diameters : Datum or None
        Shortest grip in diameters that holds as stated [-].
    play : Datum or None
        Clearance between wire and hole [m]: the wire can tilt by clearance / grip. None: no play.
    twist_held : bool
        Whether the wire is kept from turning about its own axis.
    pivots : bool
        Whether the wire can turn about the clamping screw: no fixed root in that plane.
    note : str
        Remark.
    """

    name: str
    label: str
    aliases: tuple[str, ...]
    extra_length_diameters: Datum | None
    extra_length_by_grip: tuple[tuple[float, float], ...]
    minimum_grip_diameters: Datum | None
    play: Datum | None
    twist_held: bool
    pivots: bool
    note: str

    def extra_length(self, *, grip_diameters: float | None = None) -> Datum | None:
        """Return the extra free length in diameters for a grip, or None for a rigid clamp.

        Parameters
        ----------
        grip_diameters : float, optional
            Length held in the clamp over the wire's diameter. Without it the grip is taken as long enough.

        Raises
        ------
        ValidityError
            The grip is shorter than the shortest the data know.

        Notes
        -----
        Linear between the rows of the data; a longer grip than the last row adds nothing.
        """
        datum = self.extra_length_diameters
        rows = self.extra_length_by_grip
        if datum is None or grip_diameters is None or not rows:
            return datum
        if grip_diameters < rows[0][0]:
            raise ValidityError(
                f"A grip of {grip_diameters:.3g} diameters in a {self.name} is too short to hold a root: "
                f"at least {rows[0][0]:.3g} are needed to say anything. Use a longer grip."
            )
        value = rows[-1][1]
        for (start, here), (end, there) in pairwise(rows):
            if grip_diameters <= end:
                value = here + (there - here) * (grip_diameters - start) / (end - start)
                break
        return replace(datum, value=value, low=min(value, datum.bounds[0]), high=max(value, rows[0][1]))


def find_clamp(name: str) -> Clamp:
    """Return a clamp by its name or an alias, for example ``"collet"``.

    Raises
    ------
    UnknownNameError
        There is no such clamp; the message carries the nearest or all names.
    """
    found = locate(name, _FILES)
    if found is None:
        raise unknown_name("clamp", name, _FILES)
    return _build(found[1])


@cache
def _build(name: str) -> Clamp:
    entry = record("clamps", name)
    extra = entry.get("extra_length_diameters", {})
    return Clamp(
        name=name,
        label=entry["label"],
        aliases=tuple(entry.get("aliases", ())),
        extra_length_diameters=optional_datum(entry, "extra_length_diameters"),
        extra_length_by_grip=tuple(
            zip(extra.get("grip_diameters", ()), extra.get("by_grip", ()), strict=True)
        ),
        minimum_grip_diameters=optional_datum(entry, "minimum_grip_diameters"),
        play=optional_datum(entry, "play_mm"),
        twist_held=entry["twist_held"],
        pivots=entry["pivots"],
        note=entry.get("note", ""),
    )
