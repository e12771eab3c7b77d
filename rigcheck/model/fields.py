"""What the values of a shot may be: quantities, words, numbers, directions, lists and tables.

Each class stands in an ``Annotated`` type and tells pydantic how to read a value, what to say when it is
wrong, and what an editor should offer for it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal, TypeAlias, get_args

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError, core_schema

from rigcheck.units import (
    DIMENSIONS,
    GAUGE_WORDS,
    LONGEST_QUANTITY,
    Measured,
    QuantityError,
    Sign,
    from_pint,
    measured,
    parse_quantity,
    quantity_pattern,
    read_unit,
)

__all__ = [
    "DIRECTIONS",
    "FLAW",
    "SHARED",
    "Choice",
    "Direction",
    "FileName",
    "Flag",
    "Inertia",
    "Kind",
    "Length",
    "LengthVector",
    "Name",
    "Number",
    "Offset",
    "Quantity",
    "QuantityList",
    "RootStiffness",
    "RootStiffnessReader",
    "Rows",
    "ThreadOrLength",
    "Travel",
    "flaw",
    "is_thread",
    "listing",
    "nearest",
    "nearest_hint",
]

SHARED = "x-shared"
"""Mark of a piece of JSON Schema that many keys share; its value is the name to share it under."""

FLAW = "rigcheck"
"""Type of every error this package gives pydantic; its context holds ``says`` and ``hint``."""

DIRECTIONS: Mapping[str, tuple[float, float, float]] = {
    "right": (1.0, 0.0, 0.0),
    "left": (-1.0, 0.0, 0.0),
    "up": (0.0, 1.0, 0.0),
    "down": (0.0, -1.0, 0.0),
    "toward": (0.0, 0.0, 1.0),
    "away": (0.0, 0.0, -1.0),
}
"""Unit vector of each direction word, in the frame right, up, toward the camera."""

_THREAD = re.compile(r"[ \t]*M([1-9][0-9]?(?:\.[0-9])?)[ \t]*", re.ASCII)


def is_thread(value: object) -> bool:
    """Tell whether a value is the name of a metric thread.

    Parameters
    ----------
    value : object
        As typed, or as read.

    Returns
    -------
    bool
        True for a text such as ``M4``.
    """
    text = value.text if isinstance(value, Measured) else value
    return isinstance(text, str) and _THREAD.fullmatch(text) is not None


_AXES = ("right", "up", "toward")


def flaw(says: str, hint: str | None = None) -> PydanticCustomError:
    """Make the error that pydantic carries to the reader of the file.

    Parameters
    ----------
    says : str
        What is wrong and what is allowed.
    hint : str, optional
        What to do about it.

    Returns
    -------
    PydanticCustomError
        Of type `FLAW`.
    """
    message = f"{says} {hint}" if hint else says
    return PydanticCustomError(FLAW, "{message}", {"message": message, "says": says, "hint": hint})


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that was probably meant.

    Parameters
    ----------
    word : str
        As typed.
    known : iterable of str
        The words there are.

    Returns
    -------
    str or None
        None where nothing is near.
    """
    import difflib  # only when something was misspelt

    plain = {re.sub(r"[-_ ]", "", candidate).lower(): candidate for candidate in known}
    typed = re.sub(r"[-_ ]", "", word[:80]).lower()
    close = difflib.get_close_matches(typed, list(plain), n=1, cutoff=0.6)
    return plain[close[0]] if close else None


def nearest_hint(word: str, known: Iterable[str]) -> str | None:
    """The same as a hint: ``Did you mean ...?``."""
    meant = nearest(word, known)
    return f'Did you mean "{meant}"?' if meant else None


def listing(words: list[str]) -> str:
    """Join words for a sentence: ``a, b or c``.

    Parameters
    ----------
    words : list of str
        At least one.

    Returns
    -------
    str
        The words with commas and a last "or".
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _read(
    value: object,
    dimension: str,
    sign: Sign,
    context: Mapping[str, Any] | None,
) -> Measured:
    """Read one quantity: a text, a `Measured`, or a pint quantity from a caller in Python."""
    typed: Any = value
    wanted = DIMENSIONS[dimension]
    try:
        if isinstance(value, Measured):
            given = value
        elif hasattr(value, "magnitude") and hasattr(value, "units"):
            given = from_pint(typed)
        else:
            return parse_quantity(typed, dimension, sign=sign, lengths=(context or {}).get("lengths"))
        size = given.m_as(wanted.unit)
    except QuantityError as error:
        raise flaw(error.says, error.hint) from None
    if not math.isfinite(size) or (sign == "positive" and size <= 0) or (sign == "nonnegative" and size < 0):
        raise flaw(
            f'"{given}" is not {wanted.phrase} that can stand here.', f'Give it like "{wanted.example}".'
        )
    return given


def _json_quantity(dimension: str, *, also: str = "", named: str = "") -> dict[str, Any]:
    """Describe a quantity to an editor; `named` is a pattern of what else may stand for it, called `also`."""
    wanted = DIMENSIONS[dimension]
    pattern = quantity_pattern(dimension)
    if dimension == "length":
        gauge = rf"^ *(?:[0-9]+(?:/0)? *{_any_case(GAUGE_WORDS)}|{_any_case(GAUGE_WORDS)} *[0-9]+(?:/0)?) *$"
        pattern = f"(?:{pattern})|(?:{gauge})"
    if named:
        pattern = f"{pattern}|(?:{named})"
    return {
        SHARED: f"{dimension} or {also}" if also else dimension,
        "type": "string",
        "pattern": pattern,
        "maxLength": LONGEST_QUANTITY,
        "examples": [wanted.example, f"{wanted.example} +/- 2 %"],
    }


def _any_case(pattern: str) -> str:
    """Spell both cases of every letter out: JSON Schema's patterns have no flag for it."""
    return re.sub(r"(?<![\\?])[A-Za-z]", lambda letter: f"[{letter[0].upper()}{letter[0].lower()}]", pattern)


class Kind:
    """A kind of value: how it is read, described to an editor, and written back."""

    def read(self, value: object, info: core_schema.ValidationInfo) -> Any:
        """Read the value, or raise what is wrong with it."""
        raise NotImplementedError

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        raise NotImplementedError

    def write(self, value: Any) -> Any:
        """Give the value as the file writes it."""
        return value

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Tell pydantic how to read and write the value."""
        write = core_schema.plain_serializer_function_ser_schema(self.write, when_used="json")
        return core_schema.with_info_plain_validator_function(self.read, serialization=write)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Tell pydantic how editors see the value."""
        return self.describe()


@dataclass(frozen=True)
class Quantity(Kind):
    """A number with a unit.

    Parameters
    ----------
    dimension : str
        A key of `rigcheck.units.DIMENSIONS`.
    sign : {"positive", "nonnegative", "any"}
        What is allowed.
    """

    dimension: str
    sign: Sign = "positive"

    def read(self, value: object, info: core_schema.ValidationInfo) -> Measured:
        """Read the value, or raise what is wrong with it."""
        return _read(value, self.dimension, self.sign, info.context)

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        return _json_quantity(self.dimension)

    def write(self, value: Measured) -> str:
        """Give the text as typed."""
        return value.text


class ThreadOrLength(Quantity):
    """A diameter, which may be a metric thread such as ``M4``."""

    def read(self, value: object, info: core_schema.ValidationInfo) -> Measured:
        """Read a thread as its outer diameter, and anything else as a length."""
        thread = _THREAD.fullmatch(value) if isinstance(value, str) else None
        if thread is None:
            return super().read(value, info)
        return replace(measured(float(thread[1]), "mm"), text=thread[0].strip())

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        return _json_quantity(self.dimension, also="thread", named=r"^ *M[1-9][0-9]?(?:\.[0-9])? *$")


class Travel(Quantity):
    """How far a move goes; beside ``keys`` also a bare unit, which then is that of the key values."""

    def read(self, value: object, info: core_schema.ValidationInfo) -> Measured:
        """Read a bare unit as one of it, and anything else as a quantity."""
        if isinstance(value, str) and re.fullmatch(r"[ \t]*[A-Za-zµμ°]+[ \t]*", value):
            try:
                read_unit(value)
                one = parse_quantity(f"1 {value.strip()}", self.dimension)
            except QuantityError:
                return super().read(value, info)
            return replace(one, text=value.strip())
        return super().read(value, info)

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        return _json_quantity(self.dimension, also="unit", named=r"^ *[A-Za-zµμ°]+ *$")


@dataclass(frozen=True)
class QuantityList(Kind):
    """A list of a fixed number of quantities of one dimension.

    Parameters
    ----------
    dimension : str
        A key of `rigcheck.units.DIMENSIONS`.
    parts : tuple of str
        What each entry is, for messages; their number is the list's length.
    sign : {"positive", "nonnegative", "any"}
        What is allowed for each.
    more : tuple of str
        What may follow, all of it or none; of any sign.
    """

    dimension: str
    parts: tuple[str, ...] = _AXES
    sign: Sign = "any"
    more: tuple[str, ...] = ()

    def read(self, value: object, info: core_schema.ValidationInfo) -> tuple[Measured, ...]:
        """Read every entry, and report all that are wrong."""
        counts = [len(self.parts)] + ([len(self.parts) + len(self.more)] if self.more else [])
        if not isinstance(value, (list, tuple)):
            raise flaw(self._needed(counts), self._example())
        if len(value) not in counts:
            raise flaw(f"{self._needed(counts)} Given: {len(value)}.", self._example())

        def entry(index: int) -> Measured:
            sign = self.sign if index < len(self.parts) else "any"
            return _read(value[index], self.dimension, sign, info.context)

        return _each(len(value), entry, value)

    def _needed(self, counts: list[int]) -> str:
        return f"a list of {listing([str(count) for count in counts])} is needed: {', '.join(self.parts)}."

    def _example(self) -> str:
        example = f'"{DIMENSIONS[self.dimension].example}"'
        return f"Write [{', '.join([example] * len(self.parts))}]."

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the list."""
        item = _json_quantity(self.dimension)
        plain = {"type": "array", "items": item, "minItems": len(self.parts), "maxItems": len(self.parts)}
        if not self.more:
            return plain
        most = len(self.parts) + len(self.more)
        return {"anyOf": [plain, {"type": "array", "items": item, "minItems": most, "maxItems": most}]}

    def write(self, value: tuple[Measured, ...]) -> list[str]:
        """Give the texts as typed."""
        return [entry.text for entry in value]


def _each(count: int, read: Callable[[int], Any], value: object) -> tuple[Any, ...]:
    """Read entries one by one, and raise the errors of all of them with their places."""
    made: list[Any] = []
    wrong: list[InitErrorDetails] = []
    for index in range(count):
        try:
            made.append(read(index))
        except PydanticCustomError as error:
            wrong.append(InitErrorDetails(type=error, loc=(index,), input=value))
    if wrong:
        raise ValidationError.from_exception_data("list", wrong)
    return tuple(made)


class RootStiffnessReader(Kind):
    """Stiffness of the root: one value, ``rigid``, or three of these about right, up, toward."""

    def read(self, value: object, info: core_schema.ValidationInfo) -> Any:
        """Read one stiffness, or three."""
        if isinstance(value, (list, tuple)):
            if len(value) != len(_AXES):
                raise flaw(
                    f"three values are needed, about right, up, toward. Given: {len(value)}.",
                    'Write ["12 N*m/rad", "rigid", "12 N*m/rad"].',
                )
            return _each(len(value), lambda index: self._one(value[index], "nonnegative", info), value)
        return self._one(value, "positive", info)

    def _one(
        self, value: object, sign: Sign, info: core_schema.ValidationInfo
    ) -> Measured | Literal["rigid"]:
        if isinstance(value, str) and value.strip() == "rigid":
            return "rigid"
        if isinstance(value, str) and value.strip().isalpha():
            raise flaw(
                f'"{value.strip()[:40]}" is not a stiffness.', 'Write "rigid" or a value like "12 N*m/rad".'
            )
        return _read(value, "rotational stiffness", sign, info.context)

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        one = {"anyOf": [{"const": "rigid"}, _json_quantity("rotational stiffness")]}
        return {"anyOf": [*one["anyOf"], {"type": "array", "items": one, "minItems": 3, "maxItems": 3}]}

    def write(self, value: Any) -> Any:
        """Give the texts as typed."""
        return [str(entry) for entry in value] if isinstance(value, tuple) else str(value)


class DirectionReader(Kind):
    """A direction word, or a vector [right, up, toward]; read as a unit vector."""

    def read(self, value: object, _info: core_schema.ValidationInfo) -> tuple[float, float, float]:
        """Read and normalise the direction."""
        words = list(DIRECTIONS)
        if isinstance(value, str):
            if value.strip() in DIRECTIONS:
                return DIRECTIONS[value.strip()]
            raise flaw(
                f"is not a direction: {listing(words)}, or a vector [right, up, toward].",
                nearest_hint(value, words),
            )
        numbers = isinstance(value, (list, tuple)) and all(
            isinstance(part, (int, float)) and not isinstance(part, bool) and math.isfinite(part)
            for part in value
        )
        if not numbers or len(value) != len(_AXES):  # type: ignore[arg-type]
            raise flaw(
                f"is not a direction: {listing(words)}, or a vector of three plain numbers.",
                "Write [0, 1, 1] for halfway between up and toward.",
            )
        parts = tuple(float(part) for part in value)  # type: ignore[attr-defined]
        # Divided by the largest first, so that neither tiny nor huge numbers overflow when squared.
        largest = max(abs(part) for part in parts)
        if largest == 0.0:
            raise flaw("a vector of zeros has no direction.", "Write [0, 1, 0] for up.")
        scaled = [part / largest for part in parts]
        size = math.hypot(*scaled)
        return scaled[0] / size, scaled[1] / size, scaled[2] / size

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        vector = {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3}
        return {"anyOf": [{"enum": list(DIRECTIONS)}, vector]}


class Choice(Kind):
    """One of a few words.

    Parameters
    ----------
    words : a ``Literal`` type
        The words.
    """

    def __init__(self, words: object) -> None:
        self.words: list[str] = list(get_args(words))

    def read(self, value: object, _info: core_schema.ValidationInfo) -> str:
        """Read the word."""
        if isinstance(value, str) and value in self.words:
            return value
        hint = nearest_hint(value, self.words) if isinstance(value, str) else None
        raise flaw(f"has to be {listing(self.words)}.", hint)

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the word."""
        return {"enum": self.words}


@dataclass(frozen=True)
class Number(Kind):
    """A plain number: a count, a ratio or pixels.

    Parameters
    ----------
    at_least, at_most : float
        Ends of the range.
    integer : bool
        Whether only whole numbers are allowed.
    above : bool
        Whether the value has to be more than `at_least`, and not equal to it.
    """

    at_least: float
    at_most: float
    integer: bool = False
    above: bool = False

    def read(self, value: object, _info: core_schema.ValidationInfo) -> float:
        """Read the number."""
        right_kind = isinstance(value, int if self.integer else (int, float)) and not isinstance(value, bool)
        number: Any = value
        if (
            right_kind
            and self.at_least <= number <= self.at_most
            and not (self.above and number == self.at_least)
        ):
            return int(number) if self.integer else float(number)
        raise flaw(
            f"has to be {self._allowed()}{', without quotes or unit' if isinstance(value, str) else ''}."
        )

    def _allowed(self) -> str:
        if self.at_least == self.at_most:
            return f"the number {self.at_least:.10g}"
        kind = "a whole number" if self.integer else "a plain number"
        return f"{kind}, {'above ' if self.above else ''}{self.at_least:.10g} to {self.at_most:.10g}"

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the number."""
        low = "exclusiveMinimum" if self.above else "minimum"
        return {"type": "integer" if self.integer else "number", low: self.at_least, "maximum": self.at_most}


class Flag(Kind):
    """True or false."""

    def read(self, value: object, _info: core_schema.ValidationInfo) -> bool:
        """Read the value; no word or number stands for it."""
        if isinstance(value, bool):
            return value
        raise flaw("has to be true or false, without quotes.")

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the value."""
        return {"type": "boolean"}


@dataclass(frozen=True)
class Name(Kind):
    """A line of text: a name or a title.

    Parameters
    ----------
    most : int
        Most characters.
    empty : bool
        Whether it may be empty.
    """

    most: int = 80
    empty: bool = False

    def read(self, value: object, _info: core_schema.ValidationInfo) -> str:
        """Read the text, without the blanks around it."""
        if not isinstance(value, str):
            raise flaw("has to be a text in quotes.")
        text = value.strip()
        if not text and not self.empty:
            raise flaw("must not be empty.")
        if len(text) > self.most:
            raise flaw(f"is too long: {len(text)} characters, {self.most} allowed.")
        if not text.isprintable():
            raise flaw("has to be one line of plain text, without control characters.")
        return text

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the text."""
        return {"type": "string", "maxLength": self.most, **({} if self.empty else {"pattern": r"\S"})}


class FileName(Kind):
    """The name of a file beside the rig file; whoever reads the rig file says where it lies."""

    def read(self, value: object, info: core_schema.ValidationInfo) -> Path:
        """Read the name, through the reader's ``files`` where it gave one."""
        if isinstance(value, Path):
            return value
        name = Name(most=240).read(value, info)
        locate: Callable[[str], Path] | None = (info.context or {}).get("files")
        if locate is None:
            return Path(name)
        try:
            return locate(name)
        except ValueError as error:
            raise flaw(str(error)) from None

    def describe(self) -> dict[str, Any]:
        """Give the JSON Schema of the name."""
        return Name(most=240).describe()

    def write(self, value: Path) -> str:
        """Give the name as text."""
        return value.as_posix()


@dataclass(frozen=True)
class Rows:
    """A list of tables, or of points: bounds its length, and says how it is written.

    Parameters
    ----------
    header : str
        How the file writes it, for messages.
    at_least, at_most : int
        Bounds of the count.
    """

    header: str
    at_least: int = 0
    at_most: int = 200

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Tell pydantic to look at the list before it reads the entries."""
        return core_schema.no_info_before_validator_function(self.check, handler(source))

    def check(self, value: object) -> object:
        """Look at the list before its entries are read."""
        if isinstance(value, Mapping):
            raise flaw(f"there can be several of these: the header is {self.header}, with two brackets.")
        if not isinstance(value, (list, tuple)):
            raise flaw(f"is not a list; it is written as {self.header}.")
        if len(value) < self.at_least:
            raise flaw(f"needs at least {self.at_least}. Given: {len(value)}.", f"Add {self.header}.")
        if len(value) > self.at_most:
            raise flaw(f"has too many: at most {self.at_most}. Given: {len(value)}.")
        return tuple(value)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Tell pydantic how editors see the list."""
        return {**handler(schema), "minItems": self.at_least, "maxItems": self.at_most}


Length: TypeAlias = Annotated[Measured, Quantity("length")]
"""A size: a length above zero."""
Offset: TypeAlias = Annotated[Measured, Quantity("length", "nonnegative")]
"""A length from zero up."""
LengthVector: TypeAlias = Annotated[tuple[Measured, Measured, Measured], QuantityList("length")]
"""A place: lengths to the right, up, and toward the camera, of any sign."""
Inertia: TypeAlias = Annotated[
    tuple[Measured, ...],
    QuantityList("inertia", sign="positive", more=("right-up", "up-toward", "toward-right")),
]
"""Three moments of inertia, and where given the three other entries of the tensor."""
Direction: TypeAlias = Annotated[tuple[float, float, float], DirectionReader()]
"""A unit vector right, up, toward."""
RootStiffness: TypeAlias = Annotated[
    Measured | Literal["rigid"] | tuple[Measured | Literal["rigid"], ...], RootStiffnessReader()
]
"""Stiffness of the root against turning."""
