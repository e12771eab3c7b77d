"""Quantities: one registry, one strict reader, one way to get floats.

Everything a person types with a unit goes through `parse_quantity`. It reads a number and a unit by a
fixed grammar and evaluates nothing. Unit names come from a short list of the trade's units, so that a
slip such as ``MM`` (which general readers take for something else) is caught. Their factors stand beside them,
and the tests hold each against pint's, so that reading a file does not wait for pint to start; whoever asks for a
quantity gets one of pint.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from rigcheck.errors import RigcheckError, UnitError

if TYPE_CHECKING:
    import pint

__all__ = [
    "DIMENSIONS",
    "GAUGE_WORDS",
    "LONGEST_QUANTITY",
    "Dimension",
    "Measured",
    "QuantityError",
    "Sign",
    "Unit",
    "from_pint",
    "is_gauge",
    "measured",
    "parse_quantity",
    "quantity_pattern",
    "read_unit",
    "registry",
    "shown",
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


Root: TypeAlias = tuple[tuple[str, float], ...]
"""Powers of pint's root units in the order of their names; an angle counts as a unit, as it does there."""


@dataclass(frozen=True, kw_only=True)
class Unit:
    """A unit that has been read.

    Attributes
    ----------
    expression : str
        What pint calls it.
    factor : float
        How many of its root units it is.
    root : tuple of (str, float)
        Names of pint's root units (meter, gram, second, radian), each with its power, in order.
    """

    expression: str
    factor: float
    root: Root


def _known_units() -> dict[str, Unit]:
    """What may be typed for each unit, against the unit.

    Notes
    -----
    The factors are exact by definition: inch and pound of the international agreement of 1959, standard gravity of
    the 3rd General Conference on Weights and Measures (NIST SP 811, appendix B.8, values from memory; the tests hold
    every factor against pint's). Mass counts in grams, as in pint.
    """
    inch, pound, gravity, turn = 0.0254, 453.59237, 9.80665, 2.0 * math.pi
    length, mass, time, angle = (("meter", 1.0),), (("gram", 1.0),), (("second", 1.0),), (("radian", 1.0),)
    rate: Root = (("second", -1.0),)
    turning: Root = (("radian", 1.0), ("second", -1.0))
    acceleration: Root = (("meter", 1.0), ("second", -2.0))
    force: Root = (("gram", 1.0), ("meter", 1.0), ("second", -2.0))
    pressure: Root = (("gram", 1.0), ("meter", -1.0), ("second", -2.0))
    table: dict[str, tuple[Root, float, str]] = {
        "micrometer": (length, 1e-6, "um µm μm micron microns micrometre micrometres micrometer micrometers"),
        "millimeter": (length, 1e-3, "mm millimetre millimetres millimeter millimeters"),
        "centimeter": (length, 1e-2, "cm centimetre centimetres centimeter centimeters"),
        "meter": (length, 1.0, "m metre metres meter meters"),
        # pint's own "mil" is an angle (a gunner's mil); in a workshop it is a thousandth of an inch.
        "thou": (length, 2.54e-5, "thou mil mils"),
        "inch": (length, inch, "in inch inches"),
        "foot": (length, 0.3048, "ft foot feet"),
        "yard": (length, 0.9144, "yd yard yards"),
        "milligram": (mass, 1e-3, "mg milligram milligrams"),
        "gram": (mass, 1.0, "g gram grams gramme grammes"),
        "kilogram": (mass, 1e3, "kg kilogram kilograms kilogramme kilogrammes"),
        "ounce": (mass, pound / 16, "oz ounce ounces"),
        "pound": (mass, pound, "lb lbs pound pounds"),
        "millisecond": (time, 1e-3, "ms millisecond milliseconds"),
        "second": (time, 1.0, "s sec secs second seconds"),
        "minute": (time, 60.0, "min mins minute minutes"),
        "hour": (time, 3600.0, "h hr hour hours"),
        "degree": (angle, turn / 360, "deg degs degree degrees °"),
        "radian": (angle, 1.0, "rad rads radian radians"),
        "turn": (angle, turn, "turn turns rev revs revolution revolutions"),
        "millinewton": (force, 1.0, "mN millinewton millinewtons"),
        "newton": (force, 1e3, "N newton newtons"),
        "kilonewton": (force, 1e6, "kN kilonewton kilonewtons"),
        "kilogram_force": (force, 1e3 * gravity, "kgf"),
        "gram_force": (force, gravity, "gf"),
        "pound_force": (force, pound * gravity, "lbf"),
        "ounce_force": (force, pound * gravity / 16, "ozf"),
        "standard_gravity": (acceleration, gravity, "g0"),
        # pint's own "fps" is a foot per second; here it counts frames.
        "hertz": (rate, 1.0, "Hz hertz fps"),
        "kilohertz": (rate, 1e3, "kHz kilohertz"),
        "revolutions_per_minute": (turning, turn / 60, "rpm"),
        "pascal": (pressure, 1e3, "Pa pascal pascals"),
        "kilopascal": (pressure, 1e6, "kPa kilopascal kilopascals"),
        "megapascal": (pressure, 1e9, "MPa megapascal megapascals"),
        "gigapascal": (pressure, 1e12, "GPa gigapascal gigapascals"),
        "bar": (pressure, 1e8, "bar"),
        "psi": (pressure, pound * gravity / inch**2, "psi"),
        "ksi": (pressure, pound * gravity / inch**2 * 1e3, "ksi"),
    }
    return {
        typed: Unit(expression=name, factor=factor, root=root)
        for name, (root, factor, many) in table.items()
        for typed in many.split()
    }


_KNOWN: Mapping[str, Unit] = MappingProxyType(_known_units())

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


# -- units -------------------------------------------------------------------------------------------------


@cache
def read_unit(text: str) -> Unit:
    """Read a unit alone, for example ``mm`` or ``N*m/rad``.

    Parameters
    ----------
    text : str
        Unit names joined by ``*``, ``·`` or ``/``, with powers from -4 to 4 after ``^``.

    Returns
    -------
    Unit

    Raises
    ------
    QuantityError
        Not the unit grammar, or a name that is not on the list.
    """
    text = text.strip(" \t")
    if len(text) > _LONGEST_NUMBER or not _UNIT_RE.fullmatch(text):
        raise QuantityError(
            f'"{shown(text)}" is not a unit.', "Join units with * or /, and write powers with ^."
        )
    parts: list[str] = []
    value, powers = 1.0, dict[str, float]()
    for found in _FACTOR_RE.finditer(re.sub(r"^1[ \t]*", "", text)):
        known = _KNOWN.get(found["name"])
        if known is None:
            raise QuantityError(f'the unit "{found["name"]}" is not known.', _nearest_unit(found["name"]))
        sign = -1 if found["operator"] == "/" else 1
        power = int(found["power"] or 1)
        parts.append(f"{'/' if sign < 0 else '*'}{known.expression}**({power})")
        value *= known.factor ** (sign * power)
        for name, own in known.root:
            powers[name] = powers.get(name, 0.0) + sign * power * own
    return Unit(expression="1" + "".join(parts), factor=value, root=_root(powers))


def _root(powers: Mapping[str, float]) -> Root:
    return tuple(sorted((name, float(power)) for name, power in powers.items() if power))


def _dimension_of(unit: Unit) -> Dimension | None:
    """Name a unit's dimension; torque stands for flexural rigidity, which has the same units."""
    return next((one for one in DIMENSIONS.values() if read_unit(one.unit).root == unit.root), None)


def _nearest_unit(name: str, prefer: tuple[str, ...] = ()) -> str | None:
    """Suggest the unit that was probably meant."""
    nearest = _nearest_unit_name(name, prefer)
    return f'Did you mean "{nearest}"?' if nearest else None


def _nearest_unit_name(name: str, prefer: tuple[str, ...] = ()) -> str | None:
    import difflib  # only when something was misspelt

    atoms: list[str] = [atom for unit in prefer for atom in re.findall(r"[A-Za-z]+0?", unit)]
    known = [*atoms, *_KNOWN]
    for candidate in known:
        if candidate.lower() == name.lower():
            return candidate
    close = difflib.get_close_matches(name.lower(), [unit.lower() for unit in known], n=1, cutoff=0.6)
    return next((unit for unit in known if close and unit.lower() == close[0]), None)


# -- the value ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A quantity as a person gave it: its value, its range where they gave one, and their words.

    Attributes
    ----------
    value : float
        The value, in the unit it was typed in.
    unit : Unit
        That unit.
    ends : tuple of float, or None
        Low and high end of the range, in the same unit; None where no range was given.
    text : str
        As typed.
    """

    value: float
    unit: Unit
    ends: tuple[float, float] | None = None
    text: str = ""

    @property
    def nominal(self) -> pint.Quantity[float]:
        """The value as a quantity of pint, in the unit it was typed in and in the registry in use."""
        return _quantity(self.value, self.unit)

    @property
    def low(self) -> pint.Quantity[float] | None:
        """Low end of the range as a quantity of pint; None where no range was given."""
        return None if self.ends is None else _quantity(self.ends[0], self.unit)

    @property
    def high(self) -> pint.Quantity[float] | None:
        """High end of the range as a quantity of pint; None where no range was given."""
        return None if self.ends is None else _quantity(self.ends[1], self.unit)

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
        return self._in_unit(self.value, unit)

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
        if self.ends is None:
            return None
        return self._in_unit(self.ends[0], unit), self._in_unit(self.ends[1], unit)

    def _in_unit(self, value: float, unit: str) -> float:
        target = read_unit(unit)
        if self.unit.root != target.root:
            raise QuantityError(f"{_quantity(value, self.unit)} is not in a unit that turns into {unit}.")
        if self.unit.factor == target.factor:
            return value
        return value * self.unit.factor / target.factor

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
        Unit names joined by ``*``, ``·`` or ``/``, with powers from -4 to 4 after ``^``.
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
    return Measured(
        value=float(magnitude),
        unit=read_unit(unit),
        ends=None if low is None or high is None else (float(low), float(high)),
        text=f"{magnitude:.10g} {unit}",
    )


def _quantity(value: float, unit: Unit) -> pint.Quantity[float]:
    source = registry()
    return source.Quantity(value, source.parse_units(unit.expression))


def from_pint(quantity: pint.Quantity[Any]) -> Measured:
    """Take a quantity of pint over, in any unit that pint knows.

    Parameters
    ----------
    quantity : pint.Quantity
        A single number, of the registry in use.

    Returns
    -------
    Measured
        Its text is what pint writes, in short form.
    """
    source = registry()
    found, root = source.get_root_units(quantity.units)
    factor: Any = found
    magnitude: Any = quantity.magnitude
    powers: dict[str, Any] = dict(source.Quantity(1.0, root).unit_items())
    unit = Unit(expression=str(quantity.units), factor=float(factor), root=_root(powers))
    return Measured(value=float(magnitude), unit=unit, text=f"{quantity:~}")


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
    low: float | None = None
    high: float | None = None
    if len(parts) == 2:
        half = _read_half_range(parts[1], value, unit, wanted)
        low, high = value - half, value + half
    _check_sign(text, value, low, wanted, sign)
    _check_size(text, max(abs(value), abs(low or 0.0), abs(high or 0.0)), value, unit, wanted)
    return Measured(
        value=value,
        unit=unit,
        ends=None if low is None or high is None else (low, high),
        text=text,
    )


def _read_value(text: str, wanted: Dimension, lengths: LengthReader | None) -> tuple[float, Unit]:
    """Read one number with its unit, or a named size."""
    if wanted.name == "length":
        named = _read_named(text, lengths)
        if named is not None:
            return named * 1e3, read_unit("mm")
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


def _read_unit(typed: str, text: str, wanted: Dimension) -> Unit:
    """Read the unit and hold it against the dimension wanted."""
    try:
        unit = read_unit(typed)
    except QuantityError as error:
        raise _FixableError(error.says) from None
    if unit.root == read_unit(wanted.unit).root:
        return unit
    other = _dimension_of(unit)
    what = f"is {other.phrase}" if other else f'has the unit "{typed}"'
    raise _FixableError(f'"{shown(text)}" {what}; {wanted.phrase} is needed here.')


def _read_half_range(text: str, value: float, unit: Unit, wanted: Dimension) -> float:
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


def _check_size(text: str, largest: float, value: float, unit: Unit, wanted: Dimension) -> None:
    """Refuse sizes at which the arithmetic would overflow or vanish."""
    scale = unit.factor / read_unit(wanted.unit).factor
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
        lambda name: name[0] if name[0] in _KNOWN else _nearest_unit_name(name[0], wanted.units) or name[0],
        products,
    )
    yield named
    if wanted.name == "rotational stiffness":
        yield f"{products}/rad"
    if wanted.name in ("torque", "flexural rigidity") and products.endswith("/rad"):
        yield products.removesuffix("/rad")
    if wanted.name == "force":
        # A weight given as a mass.
        mass = _KNOWN.get(unit)
        if mass is not None:
            heavy = f"{mass.expression}_force"
            yield from (typed for typed, known in _KNOWN.items() if known.expression == heavy)


# -- Hz and rad/s ------------------------------------------------------------------------------------------


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
    root = read_unit(DIMENSIONS[dimension].unit).root
    simple = sorted(
        (name for name, unit in _KNOWN.items() if unit.root == root),
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
