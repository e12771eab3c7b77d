"""Quantities: one registry, one strict reader, one way to get floats.

Everything a person types with a unit goes through `parse_quantity`. It reads a number and a unit by a
fixed grammar and evaluates nothing. Unit names come from a short list of the trade's units, so that a
slip such as ``MM`` (which general readers take for something else) is caught. The factors between units
are pint's.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, overload

from rigcheck.errors import RigcheckError, UnitError

if TYPE_CHECKING:
    import numpy as np
    import pint
    from numpy.typing import NDArray

__all__ = [
    "DIMENSIONS",
    "GAUGE_WORDS",
    "LONGEST_QUANTITY",
    "Dimension",
    "Measured",
    "QuantityError",
    "Sign",
    "is_gauge",
    "measured",
    "parse_quantity",
    "parse_unit",
    "quantity_pattern",
    "registry",
    "shown",
    "to_angular_frequency",
    "to_frequency",
]

Sign: TypeAlias = Literal["any", "positive", "nonnegative"]
LengthReader: TypeAlias = Callable[[str], float | None]

LONGEST_QUANTITY = 120
"""Most characters in a quantity, range included."""
_LONGEST_NUMBER = 40
_LARGEST_EXPONENT = 30
_LARGEST_POWER = 4

GAUGE_WORDS = r"(?:SWG|AWG|MWG|B&S|music[ -]?wire(?:[ -]?gauge)?|gauge|ga\.?)"
"""Pattern of the words that make a length a wire gauge, for example in ``14 SWG``."""
_GAUGE = re.compile(rf"(?:(?<=[0-9 ])|^){GAUGE_WORDS}(?![A-Za-z])", re.IGNORECASE | re.ASCII)


class QuantityError(UnitError):
    """A quantity cannot be read.

    Parameters
    ----------
    says : str
        What is wrong and what is allowed.
    hint : str, optional
        What to write instead.

    Attributes
    ----------
    says, hint : str or None
        As given; the message is the two together.
    """

    def __init__(self, says: str, hint: str | None = None) -> None:
        self.says = says
        self.hint = hint
        super().__init__(f"{says} {hint}" if hint else says)


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A kind of quantity, and what a person may write for it.

    Attributes
    ----------
    name : str
        As `parse_quantity` takes it.
    phrase : str
        With its article, for messages.
    unit : str
        Coherent SI unit.
    example : str
        A quantity as the rig file shows it.
    units : tuple of str
        The usual units, the plainest first.
    smallest, largest : float
        Limits of the size of a value that is not zero [SI unit]. They lie far outside the trade and keep
        the arithmetic from overflowing.
    """

    name: str
    phrase: str
    unit: str
    example: str
    units: tuple[str, ...]
    smallest: float
    largest: float


DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        name: Dimension(
            name=name,
            phrase=phrase,
            unit=unit,
            example=example,
            units=tuple(units.split()),
            smallest=smallest,
            largest=largest,
        )
        for name, phrase, unit, example, units, smallest, largest in (
            ("length", "a length", "m", "180 mm", "mm cm m um in ft thou", 1e-9, 1e5),
            ("mass", "a mass", "kg", "310 g", "g kg mg oz lb", 1e-9, 1e6),
            ("time", "a time", "s", "4 s", "s ms min h", 1e-6, 1e6),
            ("angle", "an angle", "rad", "90 deg", "deg rad turn", 1e-9, 1e5),
            ("force", "a force", "N", "20 N", "N kN mN kgf gf lbf ozf", 1e-9, 1e9),
            ("velocity", "a speed", "m/s", "0.2 m/s", "m/s mm/s cm/s in/s ft/s", 1e-9, 1e6),
            ("acceleration", "an acceleration", "m/s^2", "0.8 m/s^2", "m/s^2 g0 mm/s^2 ft/s^2", 1e-9, 1e6),
            ("frequency", "a frequency", "Hz", "50 fps", "fps Hz kHz 1/s", 1e-6, 1e7),
            ("angular velocity", "a turning speed", "rad/s", "30 rpm", "rpm rad/s deg/s turn/s", 1e-9, 1e7),
            (
                "torque",
                "a torque",
                "N*m",
                "2 N*m",
                "N*m N*mm N*cm mN*m kgf*cm lbf*in lbf*ft ozf*in",
                1e-12,
                1e9,
            ),
            (
                "rotational stiffness",
                "a rotational stiffness",
                "N*m/rad",
                "12 N*m/rad",
                "N*m/rad N*m/deg N*mm/rad lbf*in/rad lbf*in/deg",
                1e-12,
                1e12,
            ),
            ("pressure", "a pressure", "Pa", "69 GPa", "GPa MPa kPa Pa N/mm^2 psi ksi bar", 1e-3, 1e15),
            ("density", "a density", "kg/m^3", "2710 kg/m^3", "kg/m^3 g/cm^3 lb/in^3 lb/ft^3", 1e-6, 1e6),
            (
                "inertia",
                "an inertia",
                "kg*m^2",
                "4e-5 kg*m^2",
                "kg*m^2 g*mm^2 g*cm^2 kg*cm^2 lb*in^2",
                1e-18,
                1e9,
            ),
            (
                "flexural rigidity",
                "a flexural rigidity",
                "N*m",
                "0.02 N*m",
                "N*m N*mm mN*m lbf*in",
                1e-15,
                1e9,
            ),
        )
    }
)
"""Every kind of quantity by name."""


def _named_units() -> dict[str, str]:
    """What may be typed for each unit, against pint's name of it."""
    table = {
        "micrometer": "um µm μm micron microns micrometre micrometres micrometer micrometers",
        "millimeter": "mm millimetre millimetres millimeter millimeters",
        "centimeter": "cm centimetre centimetres centimeter centimeters",
        "meter": "m metre metres meter meters",
        # pint's own "mil" is an angle (a gunner's mil); in a workshop it is a thousandth of an inch.
        "thou": "thou mil mils",
        "inch": "in inch inches",
        "foot": "ft foot feet",
        "yard": "yd yard yards",
        "milligram": "mg milligram milligrams",
        "gram": "g gram grams gramme grammes",
        "kilogram": "kg kilogram kilograms kilogramme kilogrammes",
        "ounce": "oz ounce ounces",
        "pound": "lb lbs pound pounds",
        "millisecond": "ms millisecond milliseconds",
        "second": "s sec secs second seconds",
        "minute": "min mins minute minutes",
        "hour": "h hr hour hours",
        "degree": "deg degs degree degrees °",
        "radian": "rad rads radian radians",
        "turn": "turn turns rev revs revolution revolutions",
        "millinewton": "mN millinewton millinewtons",
        "newton": "N newton newtons",
        "kilonewton": "kN kilonewton kilonewtons",
        "kilogram_force": "kgf",
        "gram_force": "gf",
        "pound_force": "lbf",
        "ounce_force": "ozf",
        "standard_gravity": "g0",
        # pint's own "fps" is a foot per second; here it counts frames.
        "hertz": "Hz hertz fps",
        "kilohertz": "kHz kilohertz",
        "revolutions_per_minute": "rpm",
        "pascal": "Pa pascal pascals",
        "kilopascal": "kPa kilopascal kilopascals",
        "megapascal": "MPa megapascal megapascals",
        "gigapascal": "GPa gigapascal gigapascals",
        "bar": "bar",
        "psi": "psi",
        "ksi": "ksi",
    }
    return {typed: name for name, many in table.items() for typed in many.split()}


_UNIT_NAMES: Mapping[str, str] = MappingProxyType(_named_units())

_NUMBER = (
    r"(?P<number>[+-]?(?:"
    r"(?P<whole>[0-9]+)[ \t]+(?P<over>[0-9]+)/(?P<under>[0-9]+)"
    r"|(?P<over_only>[0-9]+)/(?P<under_only>[0-9]+)"
    r"|(?P<decimal>(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE](?P<exponent>[+-]?[0-9]+))?)"
    r"))"
)
_NAME = r"(?:[A-Za-zµμ]+0?|°)"
_FACTOR = rf"{_NAME}(?:\^-?[1-{_LARGEST_POWER}])?"
_UNIT = rf"(?:1[ \t]*/[ \t]*)?{_FACTOR}(?:[ \t]*[*/·][ \t]*{_FACTOR})*"
_QUANTITY_RE = re.compile(rf"{_NUMBER}[ \t]*(?P<unit>{_UNIT})?", re.ASCII)
_PERCENT_RE = re.compile(rf"{_NUMBER}[ \t]*%", re.ASCII)
_UNIT_RE = re.compile(_UNIT, re.ASCII)
_FACTOR_RE = re.compile(
    rf"(?P<operator>[*/·]?)[ \t]*(?P<name>{_NAME})(?:\^(?P<power>-?[0-9]))?[ \t]*", re.ASCII
)
_RANGE_RE = re.compile(r"[ \t]*(?:\+[ \t]?/[ \t]?-|\+-|±)[ \t]*")


# -- the registry ------------------------------------------------------------------------------------------


def registry() -> pint.UnitRegistry[Any]:
    """Give the one registry: pint's application registry.

    Returns
    -------
    pint.UnitRegistry
        The registry a caller has set with `pint.set_application_registry`, or pint's own.

    Notes
    -----
    Building pint's own registry takes about 0.1 s. Where nobody has set or used one yet, the first call
    sets one with the same content that keeps its parsed definitions in the user's cache folder, which
    takes a fifth of that. Where the folder cannot be used, pint's own default stays.
    """
    import pint
    from pint.registry import LazyRegistry

    application: Any = pint.application_registry
    current: Any = application.get()
    # Still lazy means nobody has used it; with parameters of its own it is somebody's choice.
    if type(current) is LazyRegistry and vars(current)["params"] == ((), {}):
        cached = _cached_registry()
        if cached is not None:
            application.set(cached)
            current = cached
    whole: pint.UnitRegistry[Any] = current
    return whole


def _cached_registry() -> pint.UnitRegistry[Any] | None:
    """Build pint's registry with its disk cache; None where the cache cannot be used."""
    import shutil
    from pathlib import Path

    import pint
    from platformdirs import user_cache_dir

    folder = Path(user_cache_dir("rigcheck", appauthor=False)) / f"units-{pint.__version__}"
    try:
        return pint.UnitRegistry(cache_folder=folder)
    except Exception:
        # A damaged cache can raise anything at all. It is only a copy: drop it, the next start rebuilds it.
        shutil.rmtree(folder, ignore_errors=True)
        return None


@dataclass(frozen=True, kw_only=True)
class _Unit:
    """A unit that has been read: pint's unit, its factor to root units, and those root units."""

    unit: pint.Unit
    factor: float
    root: pint.Unit


class _UnitTable:
    """Units read so far from one registry, so that each text is looked up in pint once."""

    def __init__(self, source: pint.UnitRegistry[Any]) -> None:
        self.source = source
        self.by_text: dict[str, _Unit] = {}
        self.by_unit: dict[pint.Unit, _Unit] = {}

    def of_text(self, text: str) -> _Unit:
        found = self.by_text.get(text)
        if found is None:
            found = self.by_text[text] = self.of_unit(self.source.parse_units(_pint_expression(text)))
        return found

    def of_unit(self, unit: Any) -> _Unit:
        found = self.by_unit.get(unit)
        if found is None:
            found_factor, root = self.source.get_root_units(unit)
            factor: Any = found_factor
            found = self.by_unit[unit] = _Unit(unit=unit, factor=float(factor), root=root)
        return found

    def dimension_of(self, unit: _Unit) -> Dimension | None:
        """Name a unit's dimension; torque stands for flexural rigidity, which has the same units."""
        for dimension in DIMENSIONS.values():
            if self.of_text(dimension.unit).root == unit.root:
                return dimension
        return None


_table: _UnitTable | None = None


def _units() -> _UnitTable:
    """Give the table of the registry in use; a new one when the caller has changed registries."""
    global _table
    source = registry()
    if _table is None or _table.source is not source:
        _table = _UnitTable(source)
    return _table


def _pint_expression(text: str) -> str:
    """Turn a unit as typed into pint's long names; the result holds nothing but names from our list.

    Raises
    ------
    QuantityError
        Not the unit grammar, or a name that is not on the list.
    """
    if len(text) > _LONGEST_NUMBER or not _UNIT_RE.fullmatch(text):
        raise QuantityError(
            f'"{shown(text)}" is not a unit.', "Join units with * or /, and write powers with ^."
        )
    rest = re.sub(r"^1[ \t]*", "", text)
    parts: list[str] = []
    for factor in _FACTOR_RE.finditer(rest):
        name = _UNIT_NAMES.get(factor["name"])
        if name is None:
            raise QuantityError(f'the unit "{factor["name"]}" is not known.', _nearest_unit(factor["name"]))
        operator = "/" if factor["operator"] == "/" else "*"
        parts.append(f"{operator}{name}**({factor['power'] or 1})")
    return "1" + "".join(parts)


def _nearest_unit(name: str, prefer: tuple[str, ...] = ()) -> str | None:
    """Suggest the unit that was probably meant."""
    nearest = _nearest_unit_name(name, prefer)
    return f'Did you mean "{nearest}"?' if nearest else None


def _nearest_unit_name(name: str, prefer: tuple[str, ...] = ()) -> str | None:
    atoms: list[str] = [atom for unit in prefer for atom in re.findall(r"[A-Za-z]+0?", unit)]
    known = [*atoms, *_UNIT_NAMES]
    for candidate in known:
        if candidate.lower() == name.lower():
            return candidate
    close = difflib.get_close_matches(name.lower(), [unit.lower() for unit in known], n=1, cutoff=0.6)
    return next((unit for unit in known if close and unit.lower() == close[0]), None)


def parse_unit(text: str) -> pint.Unit:
    """Read a unit alone, for example ``mm`` or ``N*m/rad``.

    Parameters
    ----------
    text : str
        Unit names joined by ``*``, ``·`` or ``/``, with powers from -4 to 4 after ``^``.

    Returns
    -------
    pint.Unit
        The unit, of the registry in use.

    Raises
    ------
    QuantityError
        The text is not a unit on rigcheck's list.
    """
    return _units().of_text(text.strip(" \t")).unit


# -- the value ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A quantity as a person gave it: its value, its range where they gave one, and their words.

    Attributes
    ----------
    nominal : pint.Quantity
        The value, in the unit it was typed in.
    low, high : pint.Quantity or None
        Ends of the range, in the same unit; None where no range was given.
    text : str
        As typed.
    """

    nominal: pint.Quantity[float]
    low: pint.Quantity[float] | None = None
    high: pint.Quantity[float] | None = None
    text: str = ""

    def m_as(self, unit: str) -> float:
        """Give the value as a float.

        Parameters
        ----------
        unit : str
            The unit wanted, for example ``m``.

        Returns
        -------
        float
            The value in that unit.

        Raises
        ------
        UnitError
            The unit is of another dimension. Hz and rad/s count as two dimensions; so do N*m and N*m/rad.
        """
        return _in_unit(self.nominal, unit)

    def range_as(self, unit: str) -> tuple[float, float] | None:
        """Give the ends of the range as floats.

        Parameters
        ----------
        unit : str
            The unit wanted, for example ``m``.

        Returns
        -------
        tuple of float, or None
            The low and the high end; None where no range was given.

        Raises
        ------
        UnitError
            The unit is of another dimension.
        """
        if self.low is None or self.high is None:
            return None
        return _in_unit(self.low, unit), _in_unit(self.high, unit)

    def __str__(self) -> str:
        """Give the words as typed."""
        return self.text


def measured(magnitude: float, unit: str, *, low: float | None = None, high: float | None = None) -> Measured:
    """Make a `Measured` from numbers, for example for a changed copy of a shot.

    Parameters
    ----------
    magnitude : float
        Finite value in `unit`.
    unit : str
        As `parse_unit` takes it.
    low, high : float, optional
        Ends of the range in `unit`, both or neither, around the value.

    Returns
    -------
    Measured
        Its text is the value and unit as they would be typed.

    Raises
    ------
    UnitError
        A number is not finite, or the range does not hold the value, or the unit is not known.
    """
    ends = (magnitude, low if low is not None else magnitude, high if high is not None else magnitude)
    if not all(math.isfinite(end) for end in ends):
        raise QuantityError(f"{magnitude!r} {unit}: the number has to be finite.")
    if (low is None) != (high is None) or not ends[1] <= magnitude <= ends[2]:
        raise QuantityError(f"{magnitude!r} {unit}: a range needs a low and a high end around the value.")
    quantity = registry().Quantity
    read = parse_unit(unit)
    return Measured(
        nominal=quantity(magnitude, read),
        low=None if low is None else quantity(low, read),
        high=None if high is None else quantity(high, read),
        text=f"{magnitude:.10g} {unit}",
    )


def _in_unit(quantity: pint.Quantity[float], unit: str) -> float:
    """Convert by the ratio of the two factors to root units, each looked up in pint once."""
    units = _units()
    target = units.of_text(unit)
    source = units.of_unit(quantity.units)
    value = float(quantity.magnitude)
    if source is target or source.unit == target.unit:
        return value
    if source.root != target.root:
        raise QuantityError(f"{quantity} is not in a unit that turns into {unit}.")
    return value * source.factor / target.factor


# -- reading -----------------------------------------------------------------------------------------------


def parse_quantity(
    text: str, dimension: str, *, sign: Sign = "any", lengths: LengthReader | None = None
) -> Measured:
    """Read a number with a unit, and its range where one is given.

    Parameters
    ----------
    text : str
        For example ``2.5 mm``, ``1/8 in``, ``1 1/8 in``, ``4e-5 kg*m^2``, ``3 mm +/- 0.05 mm`` or
        ``3 mm +/- 2 %``. Digits are ASCII, the decimal sign is a point.
    dimension : str
        A key of `DIMENSIONS`.
    sign : {"any", "positive", "nonnegative"}, optional
        What is allowed. It binds the low end of the range too.
    lengths : callable, optional
        Reader of named sizes such as wire gauges. It gets a text and gives metres, or None where the
        text is no name of its own; it may raise a `RigcheckError` that says what is wrong.

    Returns
    -------
    Measured
        The value in the unit typed. A frame rate is in Hz; a named size is in mm.

    Raises
    ------
    QuantityError
        The text is not a quantity of this dimension and sign; the message shows the fix.
    KeyError
        `dimension` is not a key of `DIMENSIONS`.
    """
    wanted = DIMENSIONS[dimension]
    if not isinstance(text, str):
        raise _no_text(text, wanted)
    if len(text) > LONGEST_QUANTITY:
        raise QuantityError(
            f"this text is too long for a quantity: {len(text)} characters, {LONGEST_QUANTITY} allowed.",
            f'Write {wanted.phrase} like "{wanted.example}".',
        )
    try:
        return _read(text, wanted, sign, lengths)
    except _FixableError as error:
        hint = (
            error.hint
            or _fix(text, wanted, sign, lengths)
            or f'Write {wanted.phrase} like "{wanted.example}".'
        )
        raise QuantityError(error.says, hint) from None


class _FixableError(QuantityError):
    """A text that cannot be read as it stands, but perhaps after one of the usual repairs."""


def shown(text: str, most: int = 40) -> str:
    """Make a text fit for a message: cut where it is long, and with what is not printable spelt out.

    Parameters
    ----------
    text : str
        As typed.
    most : int, optional
        Most characters kept.

    Returns
    -------
    str
        One printable line.
    """
    cut = text if len(text) <= most else text[: most - 3] + "..."
    return cut if cut.isprintable() else cut.encode("unicode_escape").decode("ascii")


def _no_text(value: object, wanted: Dimension) -> QuantityError:
    """Say that something other than text was given, which is mostly a number without a unit."""
    if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        plain = f"{value:.10g}"
        return QuantityError(
            f"{plain} has no unit; {wanted.phrase} needs one.", f'Write "{plain} {wanted.units[0]}".'
        )
    return QuantityError(
        f"{wanted.phrase} is a text of number and unit in quotes.", f'Write it like "{wanted.example}".'
    )


def _read(text: str, wanted: Dimension, sign: Sign, lengths: LengthReader | None) -> Measured:
    parts = _RANGE_RE.split(text.strip(" \t"))
    if len(parts) > 2:
        raise QuantityError(
            f'"{shown(text)}" gives more than one range.', f'Write "{wanted.example} +/- 2 %".'
        )
    value, unit = _read_value(parts[0], wanted, lengths)
    quantity = _units().source.Quantity
    low: float | None = None
    high: float | None = None
    if len(parts) == 2:
        half = _read_half_range(parts[1], value, unit, wanted)
        low, high = value - half, value + half
    _check_sign(text, value, low, wanted, sign)
    _check_size(text, max(abs(value), abs(low or 0.0), abs(high or 0.0)), value, unit, wanted)
    return Measured(
        nominal=quantity(value, unit.unit),
        low=None if low is None else quantity(low, unit.unit),
        high=None if high is None else quantity(high, unit.unit),
        text=text,
    )


def _read_value(text: str, wanted: Dimension, lengths: LengthReader | None) -> tuple[float, _Unit]:
    """Read one number with its unit, or a named size."""
    if wanted.name == "length":
        named = _read_named(text, lengths)
        if named is not None:
            return named * 1e3, _units().of_text("mm")
    found = _QUANTITY_RE.fullmatch(text)
    if found is None:
        raise _unreadable(text, wanted)
    value = _number(found, text)
    if found["unit"] is None:
        raise _FixableError(f'"{shown(text)}" has no unit; {wanted.phrase} needs one.')
    return value, _read_unit(found["unit"], text, wanted)


def _read_named(text: str, lengths: LengthReader | None) -> float | None:
    """Ask the reader of named sizes; without one, say that a gauge cannot be read here."""
    if lengths is not None:
        try:
            named = lengths(text)
        except RigcheckError as error:
            raise QuantityError(str(error)) from error
        if named is not None:
            return named
    if is_gauge(text):
        raise QuantityError(
            f'"{shown(text)}" is a wire gauge, which cannot be read here.', "Write the size in mm."
        )
    return None


def is_gauge(text: str) -> bool:
    """Tell whether a text names a wire gauge, so that whoever knows gauges should read it.

    Parameters
    ----------
    text : str
        For example ``14 SWG`` or ``18 gauge``.

    Returns
    -------
    bool
        True where a word for a gauge stands in it.
    """
    return len(text) <= LONGEST_QUANTITY and _GAUGE.search(text) is not None


def _number(found: re.Match[str], text: str) -> float:
    """Give the number that the grammar found."""
    if len(found["number"]) > _LONGEST_NUMBER:
        raise QuantityError(
            f'the number in "{shown(text)}" is too long: at most {_LONGEST_NUMBER} characters.'
        )
    exponent = found["exponent"]
    if exponent is not None and abs(int(exponent)) > _LARGEST_EXPONENT:
        raise QuantityError(
            f'the exponent in "{shown(text)}" is out of range: -{_LARGEST_EXPONENT} to {_LARGEST_EXPONENT}.'
        )
    if found["decimal"] is not None:
        value = float(found["decimal"])
    else:
        under = int(found["under"] or found["under_only"])
        if under == 0:
            raise QuantityError(f'"{shown(text)}" divides by zero.')
        value = int(found["whole"] or 0) + int(found["over"] or found["over_only"]) / under
    return -value if found["number"].startswith("-") else value


def _read_unit(typed: str, text: str, wanted: Dimension) -> _Unit:
    """Read the unit and hold it against the dimension wanted."""
    units = _units()
    try:
        unit = units.of_text(typed)
    except QuantityError as error:
        raise _FixableError(error.says) from None
    if unit.root == units.of_text(wanted.unit).root:
        return unit
    other = units.dimension_of(unit)
    what = f"is {other.phrase}" if other else f'has the unit "{typed}"'
    raise _FixableError(f'"{shown(text)}" {what}; {wanted.phrase} is needed here.')


def _read_half_range(text: str, value: float, unit: _Unit, wanted: Dimension) -> float:
    """Read what stands after the plus-minus sign, in the unit of the value."""
    percent = _PERCENT_RE.fullmatch(text)
    if percent is not None:
        half = abs(value) * _number(percent, text) / 100.0
    else:
        number, typed = _read_value(text, wanted, None)
        half = number * typed.factor / unit.factor
    if half < 0.0:
        raise QuantityError(
            f'the range "+/- {shown(text)}" is negative.', "Write it without the second sign."
        )
    return half


def _check_sign(text: str, value: float, low: float | None, wanted: Dimension, sign: Sign) -> None:
    """Hold the value, and the low end of its range, against the sign allowed."""
    plain = shown(text)
    if sign == "positive" and value <= 0.0:
        raise QuantityError(f'"{plain}" has to be more than zero.')
    if sign == "nonnegative" and value < 0.0:
        raise QuantityError(f'"{plain}" must not be negative.')
    if low is not None and ((sign == "positive" and low <= 0.0) or (sign == "nonnegative" and low < 0.0)):
        raise QuantityError(
            f'the range of "{plain}" goes below what {wanted.phrase} can be here.', "Make it smaller."
        )


def _check_size(text: str, largest: float, value: float, unit: _Unit, wanted: Dimension) -> None:
    """Refuse sizes at which the arithmetic would overflow or vanish."""
    scale = unit.factor / _units().of_text(wanted.unit).factor
    if largest * scale > wanted.largest or 0.0 < abs(value) * scale < wanted.smallest:
        raise QuantityError(
            f'"{shown(text)}" is outside what rigcheck computes: '
            f"{wanted.smallest:g} {wanted.unit} to {wanted.largest:g} {wanted.unit}.",
            "Look at the number and its unit again.",
        )


def _unreadable(text: str, wanted: Dimension) -> _FixableError:
    """Say why a text does not fit the grammar, as closely as it can be told."""
    plain = shown(text)
    if not text:
        return _FixableError(f"the text is empty; {wanted.phrase} is needed.")
    if re.match(r"[+-]?[ \t]*(?:nan|inf)", text, re.IGNORECASE):
        return _FixableError(f'"{plain}" is not a finite number.')
    if re.match(r"[+-]?[0-9]*,[0-9]", text):
        return _FixableError(f'"{plain}" has a comma; decimals are written with a point.')
    strange = next(
        (character for character in text if not character.isascii() and character not in "µμ°·"), None
    )
    if strange is not None:
        return _FixableError(
            f'"{plain}" has a character that is not read here: {shown(strange)} (U+{ord(strange):04X}).'
        )
    if not re.match(r"[ \t]*[+-]?[0-9.]", text):
        return _FixableError(f'"{plain}" does not begin with a number.')
    return _FixableError(f'"{plain}" cannot be read as a number and a unit.')


_LOOK_ALIKES = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "×": "*",
        "⋅": "*",
        "²": "^2",
        "³": "^3",
        "⁄": "/",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
        "″": '"',
        "”": '"',
        "“": '"',
        "′": "'",
        "’": "'",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
    }
)


def _fix(text: str, wanted: Dimension, sign: Sign, lengths: LengthReader | None) -> str | None:
    """Try the usual repairs, and suggest the first that reads."""
    for repaired in _repairs(text.strip(), wanted):
        try:
            _read(repaired, wanted, sign, lengths)
        except QuantityError:
            continue
        # "1,200 mm" may be a decimal comma or a thousands mark: show both.
        thousands = re.match(r"[+-]?[0-9]{1,3},[0-9]{3}(?![0-9])", text.strip())
        other = f' or "{text.strip().replace(",", "", 1)}"' if thousands else ""
        return f'Write "{repaired}"{other}.'
    return None


def _repairs(text: str, wanted: Dimension) -> Iterator[str]:
    """Give what may have been meant, the likeliest first."""
    plain = re.sub(r"[ \t]+", " ", text.translate(_LOOK_ALIKES)).strip()
    plain = re.sub(r"^([+-]) ", r"\1", plain)
    plain = re.sub(r"^([+-]?[0-9]+),([0-9]+)(?![0-9,])", r"\1.\2", plain)
    plain = re.sub(r"^([+-]?[0-9]+)-([0-9]+/[0-9]+)", r"\1 \2", plain)
    plain = re.sub(r"""[ ]?"$""", " in", plain)
    plain = re.sub(r"""[ ]?'$""", " ft", plain)
    plain = plain.replace("**", "^")
    yield plain
    number = re.match(_NUMBER, plain, re.ASCII)
    if number is None:
        return
    value, unit = number[0], plain[number.end() :].strip()
    if not unit:
        yield f"{value} {wanted.units[0]}"
        return
    half = _RANGE_RE.split(unit)
    if len(half) == 2:
        # The unit stands on one side only: "3 +/- 0.05 mm", "3 mm +/- 0.05".
        after = re.match(_NUMBER, half[1], re.ASCII)
        if after is not None:
            typed = half[0] or half[1][after.end() :].strip()
            yield f"{value} {typed} +/- {after[0]} {typed}"
        return
    for candidate in _unit_repairs(unit, wanted):
        yield f"{value} {candidate}"


def _unit_repairs(unit: str, wanted: Dimension) -> Iterator[str]:
    """Give the units that may have been meant by one that is not known or not fitting."""
    if unit.startswith("g") and wanted.name == "acceleration":
        yield "g0"  # "g" is gram
    if unit.upper() == "G" and wanted.name == "acceleration":
        yield "g0"
    if unit == "m" and wanted.name == "time":
        yield "min"
    powers = re.sub(r"(?<=[A-Za-z])([234])(?![0-9])", r"^\1", unit)
    products = re.sub(r"(?<=[A-Za-z0-9]) (?=[A-Za-z])", "*", powers)
    yield products
    squeezed = {re.sub(r"[*^·.\- ]", "", known).lower(): known for known in reversed(wanted.units)}
    bare = re.sub(r"[*^·.\- ]", "", unit).lower()
    for whole in (bare, f"{bare}/rad"):
        if whole in squeezed:
            yield squeezed[whole]
    named = re.sub(
        r"[A-Za-z]+0?",
        lambda name: (
            name[0] if name[0] in _UNIT_NAMES else _nearest_unit_name(name[0], wanted.units) or name[0]
        ),
        products,
    )
    yield named
    if wanted.name == "rotational stiffness":
        yield f"{products}/rad"
    if wanted.name in ("torque", "flexural rigidity") and products.endswith("/rad"):
        yield products.removesuffix("/rad")
    if wanted.name == "force":
        # A weight given as a mass.
        heavy = f"{_UNIT_NAMES.get(unit)}_force"
        yield from (typed for typed, known in _UNIT_NAMES.items() if known == heavy)


# -- Hz and rad/s ------------------------------------------------------------------------------------------


@overload
def to_angular_frequency(frequency: float | Measured | pint.Quantity[Any]) -> float: ...
@overload
def to_angular_frequency(frequency: NDArray[np.float64]) -> NDArray[np.float64]: ...
def to_angular_frequency(
    frequency: float | Measured | pint.Quantity[Any] | NDArray[np.float64],
) -> float | NDArray[np.float64]:
    """Turn a frequency into an angular frequency [rad/s].

    Parameters
    ----------
    frequency : float, array, Measured or pint.Quantity
        A bare number or array is in Hz. A quantity may be in Hz, fps, rad/s, deg/s or rpm.

    Returns
    -------
    float or array
        omega = 2 pi f [rad/s].

    Raises
    ------
    UnitError
        The quantity is not a rate of cycles or of turning.

    Notes
    -----
    pint counts an angle as a plain number, so it would turn 6.28 rad/s into 6.28 Hz. This function and
    `to_frequency` are the only place where the two meet.
    """
    rate = _rate(frequency)
    return 2.0 * math.pi * frequency if rate is None else rate  # type: ignore[operator]


@overload
def to_frequency(angular_frequency: float | Measured | pint.Quantity[Any]) -> float: ...
@overload
def to_frequency(angular_frequency: NDArray[np.float64]) -> NDArray[np.float64]: ...
def to_frequency(
    angular_frequency: float | Measured | pint.Quantity[Any] | NDArray[np.float64],
) -> float | NDArray[np.float64]:
    """Turn an angular frequency into a frequency [Hz].

    Parameters
    ----------
    angular_frequency : float, array, Measured or pint.Quantity
        A bare number or array is in rad/s. A quantity may be in Hz, fps, rad/s, deg/s or rpm.

    Returns
    -------
    float or array
        f = omega / (2 pi) [Hz].

    Raises
    ------
    UnitError
        The quantity is not a rate of cycles or of turning.
    """
    rate = _rate(angular_frequency)
    return (angular_frequency if rate is None else rate) / (2.0 * math.pi)  # type: ignore[operator]


def _rate(value: object) -> float | None:
    """Give a quantity's rate in rad/s, one cycle being one turn; None for a bare number or array."""
    quantity: Any = value.nominal if isinstance(value, Measured) else value
    if not hasattr(quantity, "units"):
        return None
    try:
        return 2.0 * math.pi * _in_unit(quantity, "Hz")
    except QuantityError:
        return _in_unit(quantity, "rad/s")


def quantity_pattern(dimension: str) -> str:
    """Give a regular expression (ECMA-262) of what may be written for a dimension, for editors.

    Parameters
    ----------
    dimension : str
        A key of `DIMENSIONS`.

    Returns
    -------
    str
        Anchored pattern. Where the dimension has simple units it holds their names; for compound units
        it holds the grammar, and `parse_quantity` has the last word.
    """
    units = _units()
    root = units.of_text(DIMENSIONS[dimension].unit).root
    simple = sorted(
        (name for name in _UNIT_NAMES if units.of_text(name).root == root),
        key=lambda name: (-len(name), name),
    )
    if dimension in ("length", "mass", "time", "angle", "force", "pressure"):
        unit = "(?:" + "|".join(simple) + (r"|N */ *mm\^2" if dimension == "pressure" else "") + ")"
    elif dimension == "frequency":
        unit = "(?:" + "|".join(simple) + "|1 */ *s)"
    else:
        name = r"(?:[A-Za-zµμ]+0?|°)(?:\^-?[1-4])?"
        unit = rf"(?:1 */ *)?{name}(?: *[*/·] *{name})*"
    number = (
        r"[+-]?(?:[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?)"
    )
    return rf"^ *{number} *{unit}(?: *(?:\+/-|\+-|±) *(?:{number} *%|{number} *{unit}))? *$"
