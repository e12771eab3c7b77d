"""A move: what an axis does over time."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, TypeAlias, get_args

from pydantic import ConfigDict, Field, field_validator

from rigcheck.model.fields import (
    DIRECTIONS,
    Choice,
    Direction,
    FileName,
    LengthVector,
    Number,
    Quantity,
    Travel,
    flaw,
)
from rigcheck.model.part import Flaw, Part
from rigcheck.units import Measured, measured

__all__ = ["Move", "Profile"]

Profile: TypeAlias = Literal[
    "trapezoidal", "s-curve", "harmonic", "cycloidal", "modified-sine", "polynomial-345", "polynomial-4567"
]

_WHAT = ("slide", "roll", "acceleration")


class Move(Part):
    """One move. The moves of a prop stand in order from the ground, each carrying the next.

    Attributes
    ----------
    slide : Measured or None
        How far it goes [length]. Beside `keys` it says that the keys slide, and in which unit.
    roll : Measured or None
        How far it turns [angle]. Beside `keys` it says that the keys roll, and in which unit.
    acceleration : Measured or None
        Peak acceleration, where nothing else is known of the move [acceleration].
    keys : Path or None
        File of keyframes with the columns time_s and value.
    along : tuple of 3 float
        Unit vector of a slide or an acceleration: right, up, toward. Up where not given.
    about : tuple of 3 float
        Unit vector of a roll's axis. Toward the camera where not given.
    through : tuple of 3 Measured, or None
        A point on the roll's axis, from the first support's tip [length]; None is the first root.
    start, duration : Measured
        When it begins, and how long it takes [time].
    profile : str
        Motion law of a slide or roll without keys.
    ramp : float
        Share of the time spent speeding up, in (0, 0.5]; read by trapezoidal and s-curve only.
    """

    header: ClassVar[str] = "[[prop.move]]"

    slide: Annotated[Measured, Travel("length", "any")] | None = Field(
        default=None,
        description="How far it slides; beside keys, the unit of their values.",
        examples=["220 mm"],
    )
    roll: Annotated[Measured, Travel("angle", "any")] | None = Field(
        default=None,
        description="How far it turns; beside keys, the unit of their values.",
        examples=["180 deg"],
    )
    acceleration: Annotated[Measured, Quantity("acceleration")] | None = Field(
        default=None,
        description="Peak acceleration, where only this is known.",
        examples=["0.8 m/s^2", "0.08 g0"],
    )
    keys: Annotated[Path, FileName()] | None = Field(
        default=None,
        description="Keyframes, a CSV file beside this one with the columns time_s and value.",
        examples=["inkwell-keys.csv"],
    )
    along: Direction = Field(
        default=DIRECTIONS["up"],
        description="Direction of a slide or an acceleration: a word, or [right, up, toward].",
        examples=["up", [0, 1, 1]],
    )
    about: Direction = Field(
        default=DIRECTIONS["toward"],
        description="Axis of a roll: a word, or [right, up, toward].",
        examples=["toward"],
    )
    through: LengthVector | None = Field(
        default=None,
        description="A point on the axis of a roll, from the first support's tip; else the first root.",
        examples=[["0 mm", "0 mm", "-180 mm"]],
    )
    start: Annotated[Measured, Quantity("time", "nonnegative")] = Field(
        default_factory=lambda: measured(0.0, "s"), description="When it begins.", examples=["0 s"]
    )
    duration: Annotated[Measured, Quantity("time")] | None = Field(
        default=None, description="How long it takes.", examples=["4 s"]
    )
    profile: Annotated[Profile, Choice(Profile)] = Field(
        default="trapezoidal",
        description="How it speeds up and slows down.",
        examples=list(get_args(Profile)),
    )
    ramp: Annotated[float, Number(0, 0.5, above=True)] = Field(
        default=1.0 / 3.0,
        description="Share of the time spent speeding up; for trapezoidal and s-curve.",
        examples=[0.333],
    )

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {
                    "required": [key],
                    "not": {"anyOf": [{"required": [other]} for other in _WHAT if other != key]},
                }
                for key in _WHAT
            ],
            "anyOf": [
                {"required": ["keys"], "not": {"required": ["duration"]}},
                {"required": ["acceleration"]},
                {"required": ["duration"]},
            ],
            "dependentSchemas": {
                "about": {"required": ["roll"]},
                "through": {"required": ["roll"]},
                "along": {"not": {"required": ["roll"]}},
                "keys": {
                    "not": {"anyOf": [{"required": [key]} for key in ("acceleration", "profile", "ramp")]}
                },
                "acceleration": {"not": {"anyOf": [{"required": [key]} for key in ("profile", "ramp")]}},
            },
        }
    )

    @property
    def kind(self) -> Literal["slide", "roll", "acceleration"]:
        """What the move does."""
        if self.roll is not None:
            return "roll"
        return "slide" if self.slide is not None else "acceleration"

    @property
    def key_unit(self) -> str | None:
        """Unit of the key values, for short; None for a move without keys."""
        moved = self.roll if self.roll is not None else self.slide
        return None if self.keys is None or moved is None else f"{moved.nominal.units:~}"

    @property
    def key_travel(self) -> Measured | None:
        """How far the keys are said to go; None where only their unit was given, or there are no keys."""
        moved = self.roll if self.roll is not None else self.slide
        return None if self.keys is None or moved is None or _is_bare_unit(moved.text) else moved

    @classmethod
    def flaws(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Ask for one thing that moves, and for what that needs."""
        what = [key for key in _WHAT if key in given]
        keyed = "keys" in given
        if not what and keyed:
            yield Flaw(
                "keys",
                "does not say what moves.",
                'Add slide = "mm" or roll = "deg", the unit of the values.',
            )
        elif not what:
            yield Flaw(
                "slide",
                "is missing: a move has a slide, a roll, an acceleration or keys.",
                'Add slide = "220 mm".',
            )
        for key in what[1:]:
            yield Flaw(
                key, f"cannot stand beside {what[0]} in one move.", "Put it in a [[prop.move]] of its own."
            )
        if len(what) == 1:
            yield from cls._flaws_of(what[0], given, keyed=keyed)

    @classmethod
    def _flaws_of(cls, what: str, given: Mapping[str, Any], *, keyed: bool) -> Iterator[Flaw]:
        """Hold the other keys against the one thing that moves."""
        if what != "acceleration" and not keyed:
            if "duration" not in given:
                yield Flaw(
                    "duration", f"is missing: a {what} needs the time it takes.", 'Add duration = "4 s".'
                )
            if _is_bare_unit(given[what]):
                example = "220 mm" if what == "slide" else "180 deg"
                yield Flaw(
                    what,
                    "is a unit without a number; that is for a move with keys.",
                    f'Write {what} = "{example}".',
                )
        if keyed and what == "acceleration":
            yield Flaw(
                what, "cannot stand beside keys.", 'Say what the keys move: slide = "mm" or roll = "deg".'
            )
        elif keyed:
            for key in ("duration", "profile", "ramp"):
                if key in given:
                    yield Flaw(
                        key, "cannot stand beside keys, which have times of their own.", "Leave it out."
                    )
        if what == "acceleration":
            for key in ("profile", "ramp"):
                if key in given:
                    yield Flaw(
                        key,
                        "has no meaning beside acceleration: the worst of all ways to speed up is taken.",
                        "Leave it out, or give slide and duration.",
                    )
        if what == "roll" and "along" in given:
            yield Flaw("along", "is for a slide; a roll turns about an axis.", 'Write about = "toward".')
        if what != "roll":
            for key in ("about", "through"):
                if key in given:
                    yield Flaw(key, f"is for a roll; this is {_a(what)}.", "Leave it out, or write along.")

    @field_validator("slide", "roll")
    @classmethod
    def _goes_somewhere(cls, value: Measured | None) -> Measured | None:
        if value is not None and value.value == 0.0:
            raise flaw("is zero, so nothing moves.", "Leave the move out.")
        return value


def _is_bare_unit(text: object) -> bool:
    return isinstance(text, str) and re.fullmatch(r"[ \t]*[A-Za-zµμ°]+[ \t]*", text) is not None


def _a(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"
