"""Wire gauges: AWG by its formula, SWG and the music wire gauge from their inch lists."""

from __future__ import annotations

import re
from dataclasses import dataclass

from rigcheck.errors import UnitError
from rigcheck.stock.datum import Datum
from rigcheck.stock.tables import Record, record, record_names

__all__ = [
    "GaugeFind",
    "gauge_diameter",
    "gauge_numbers",
    "gauge_search",
    "gauge_source",
    "looks_like_gauge",
]

_METRES_PER_INCH = 0.0254

_NUMBER = r"(?P<number>[0-9]{1,2}/0|0{1,7}|[0-9]{1,2})"
_WORD = (
    r"a\.?w\.?g\.?|american wire gauge|b&s|s\.?w\.?g\.?|(?:british |imperial )?standard wire gauge"
    r"|imperial wire gauge|m\.?w\.?g\.?|music wire gauge|gauge|ga\.?"
)
_HASH = r"(?:#|no\.? ?|number )?"
_FLAGS = re.IGNORECASE | re.ASCII
# "18 music wire" is a gauge; "music wire 2" may be 2 mm, so that word order is not read as one.
_NUMBER_FIRST = rf"(?<![0-9./]){_HASH}{_NUMBER}[ -]?(?P<word>{_WORD}|music wire)(?![a-z])"
_WORD_FIRST = rf"(?<![a-z])(?P<word>{_WORD})[ -]?{_HASH}{_NUMBER}(?![0-9./])"


def _gauge_of(word: str) -> str | None:
    plain = word.lower().replace(".", "")
    for name in record_names("gauges"):
        if plain in record("gauges", name)["words"]:
            return name
    return None


def _plain_number(text: str) -> str:
    """Return ``"2/0"`` for ``"00"``, ``"0"`` for ``"1/0"`` and ``"8"`` for ``"08"``."""
    if set(text) == {"0"}:
        return "0" if len(text) == 1 else f"{len(text)}/0"
    if text.endswith("/0"):
        count = int(text[:-2])
        return "0" if count <= 1 else f"{count}/0"
    return str(int(text))


def _diameter(gauge: str, number: str) -> float | None:
    entry = record("gauges", gauge)
    if gauge != "awg":
        inches = entry["diameters_in"].get(number)
        return None if inches is None else float(inches) * _METRES_PER_INCH
    n = 1 - int(number[:-2]) if number.endswith("/0") else int(number)
    smallest, largest = entry["numbers"]
    if not smallest <= n <= largest:
        return None
    power = (entry["first_number"] - n) / entry["steps"]
    return float(entry["first_diameter_in"] * _METRES_PER_INCH * entry["ratio"] ** power)


def gauge_numbers(gauge: str) -> tuple[str, ...]:
    """Return every number of a gauge (``"awg"``, ``"swg"``, ``"mwg"``) as written: ``"2/0"``, ``"14"``."""
    entry = record("gauges", gauge)
    if gauge != "awg":
        return tuple(entry["diameters_in"])
    smallest, largest = entry["numbers"]
    return tuple(f"{1 - n}/0" if n < 0 else str(n) for n in range(smallest, largest + 1))


def gauge_source(gauge: str, diameter: float) -> Datum:
    """Return a diameter [m] of a gauge as a datum with the gauge's condition and source."""
    entry: Record = record("gauges", gauge)
    return Datum(
        value=diameter, condition=entry["condition"], source=tuple(entry["source"]), mark=entry["mark"]
    )


@dataclass(frozen=True, kw_only=True)
class GaugeFind:
    """A wire gauge found in a text.

    Attributes
    ----------
    typed : str
        The part of the text that is the gauge.
    number : str
        In plain form, ``"2/0"`` for ``"00"``.
    gauge : str or None
        ``"awg"``, ``"swg"`` or ``"mwg"``; None where the text does not say which.
    meanings : tuple of (str, float)
        Gauge and diameter [m] for each gauge it can mean that has the number.
    """

    typed: str
    number: str
    gauge: str | None
    meanings: tuple[tuple[str, float], ...]


def _meaning(found: re.Match[str]) -> GaugeFind:
    number = _plain_number(found["number"])
    gauge = _gauge_of(found["word"])
    diameters = [
        (name, _diameter(name, number)) for name in (record_names("gauges") if gauge is None else (gauge,))
    ]
    return GaugeFind(
        typed=found[0],
        number=number,
        gauge=gauge,
        meanings=tuple((name, diameter) for name, diameter in diameters if diameter is not None),
    )


def _whole(text: str) -> re.Match[str] | None:
    plain = text.strip()
    return re.fullmatch(_NUMBER_FIRST, plain, _FLAGS) or re.fullmatch(_WORD_FIRST, plain, _FLAGS)


def gauge_search(text: str) -> GaugeFind | None:
    """Return the first wire gauge in a text, or None."""
    found = re.search(_NUMBER_FIRST, text, _FLAGS) or re.search(_WORD_FIRST, text, _FLAGS)
    return None if found is None else _meaning(found)


def looks_like_gauge(text: str) -> bool:
    """Whether a text is a wire gauge and nothing else, named (``"14 SWG"``) or not (``"18 gauge"``)."""
    return _whole(text) is not None


def gauge_diameter(text: str) -> float:
    """Return the diameter [m] of a wire gauge.

    Parameters
    ----------
    text : str
        A number and a gauge: ``"14 SWG"``, ``"AWG 00"``, ``"2/0 AWG"``, ``"18 MWG"``, ``"18 music wire"``.

    Returns
    -------
    float
        Diameter [m].

    Raises
    ------
    UnitError
        The text is not a gauge, the gauge has no such number, or a bare "18 gauge" does not say which gauge.

    Notes
    -----
    AWG: ``d = 0.005 in x 92^((36 - n) / 39)`` (ASTM B258), 2/0 is n = -1. SWG and the music wire gauge
    are lists in inches. In the music wire gauge a bigger number is a thicker wire.

    Examples
    --------
    >>> round(gauge_diameter("14 SWG") * 1e3, 3)
    2.032
    """
    match = _whole(text)
    if match is None:
        raise UnitError(
            f'"{text}" is not a wire gauge. Write a number and AWG, SWG or MWG, for example "14 SWG".'
        )
    found = _meaning(match)
    number = found.number
    if found.gauge is not None and found.meanings:
        return found.meanings[0][1]
    if found.gauge is not None:
        numbers = gauge_numbers(found.gauge)
        raise UnitError(
            f'{found.gauge.upper()} has no number {number} ("{text}"): '
            f"it runs from {numbers[0]} to {numbers[-1]}."
        )
    if not found.meanings:
        raise UnitError(f'No wire gauge has the number {number} ("{text}"). Give the diameter in mm.')
    kinds = ", ".join(f"{number} {name.upper()} {diameter * 1e3:.2f} mm" for name, diameter in found.meanings)
    raise UnitError(
        f'"{text}" does not say which gauge: {kinds} (MWG is music wire). '
        f'Write the gauge, for example "{number} {found.meanings[0][0].upper()}", or the diameter in mm.'
    )
