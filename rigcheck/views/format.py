"""Numbers and text for people: three digits, the unit beside them, the limit beside the value.

Everything here returns plain strings. Text that came from a file or the command line goes through
`printable`, so that it can neither steer the terminal nor fail in its encoding.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping

from rigcheck.studies.results import Status
from rigcheck.studies.words import share_words

__all__ = [
    "WIDEST",
    "amount",
    "between",
    "chance",
    "marks_for",
    "number",
    "printable",
    "printable_or",
    "sampled_chance",
    "value_with_limit",
]

WIDEST = 100
"""Columns of a line in the terminal at most: longer lines of prose are hard to follow."""

_MARKS = {Status.PASS: "✓", Status.CAUTION: "!", Status.FAIL: "✗", Status.SKIPPED: "-"}
_PLAIN_MARKS = {Status.PASS: "+", Status.CAUTION: "!", Status.FAIL: "x", Status.SKIPPED: "-"}

_MOST_DIGITS = 9  # digits a value may take to be told apart from its limit
_SMALLEST_AMOUNT = 0.001  # mm, px, s, Hz, MPa: below it nobody on a table top can see or set anything
_IN_THREES = 10_000
_HIDDEN_CATEGORIES = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

_PLAIN_LETTERS = {
    "±": "+/-",
    "×": "x",
    "°": " deg",
    "·": "*",
    "²": "^2",
    "³": "^3",
    "⁴": "^4",
    "µ": "u",  # U+00B5, micro sign
    "μ": "u",  # U+03BC, Greek mu
    "−": "-",
    "–": "-",
    "—": "-",
    "≤": "<=",
    "≥": ">=",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "…": "...",
    "\u00a0": " ",
}


def marks_for(encoding: str) -> Mapping[Status, str]:
    """The mark of each verdict in signs that an encoding has.

    Parameters
    ----------
    encoding : str
        Of the console.

    Returns
    -------
    mapping of Status to str
        One sign each.
    """
    marks = "".join(_MARKS.values())
    return _MARKS if printable(marks, encoding=encoding) == marks else _PLAIN_MARKS


def number(value: float, *, digits: int = 3) -> str:
    """Write a number with few significant digits, without an exponent where it is of ordinary size.

    Parameters
    ----------
    value : float
        Any number.
    digits : int
        Significant digits, 1 or more. Trailing zeros after the point are left out.

    Returns
    -------
    str
        Plain digits from 0.0001 to 10 million, in threes from 10,000 on, ``2e-9`` outside; ``no figure`` for NaN and
        infinity.

    Examples
    --------
    >>> [number(x) for x in (0.4567, 6.1, 1.0, 207.3, 12345.0, 0.00012, 2.0e-9, -0.0)]
    ['0.457', '6.1', '1', '207', '12,300', '0.00012', '2e-9', '0']
    """
    if not math.isfinite(value):
        return "no figure"
    if value == 0.0:
        return "0"
    mantissa, exponent_text = f"{value:.{digits - 1}e}".split("e")
    exponent = int(exponent_text)
    if not -4 <= exponent < 7:
        return f"{_without_trailing_zeros(mantissa)}e{exponent}"
    rounded = float(f"{mantissa}e{exponent}")
    threes = "," if abs(rounded) >= _IN_THREES else ""
    return _without_trailing_zeros(f"{rounded:{threes}.{max(0, digits - 1 - exponent)}f}")


def amount(value: float, unit: str = "") -> str:
    """Write a number with its unit; what is too small to matter is said to be so.

    Parameters
    ----------
    value : float
        Any number, in `unit`.
    unit : str
        Unit as shown, empty for a plain ratio.

    Returns
    -------
    str
        For example ``1.9 mm``, ``under 0.001 px``.

    Examples
    --------
    >>> amount(1.9, "mm"), amount(3e-8, "px"), amount(6.1)
    ('1.9 mm', 'under 0.001 px', '6.1')
    """
    if not math.isfinite(value):
        return "no figure"
    tiny = 0.0 < abs(value) < _SMALLEST_AMOUNT
    text = f"under {number(_SMALLEST_AMOUNT)}" if tiny else number(value)
    return f"{text} {unit}" if unit else text


def value_with_limit(
    value: float | None, limit: float | None, unit: str = "", *, at_least: bool = False
) -> str:
    """Write a value beside its limit, with enough digits to see on which side it lies.

    Parameters
    ----------
    value, limit : float or None
        Both in `unit`; None where there is none.
    unit : str
        Unit as shown, empty for a plain ratio.
    at_least : bool
        True where the value has to reach the limit.

    Returns
    -------
    str
        For example ``0.46 px, limit 1`` or ``6.1, needs 1.5``.

    Examples
    --------
    >>> value_with_limit(0.46, 1.0, "px"), value_with_limit(6.1, 1.5, at_least=True)
    ('0.46 px, limit 1', '6.1, needs 1.5')
    >>> value_with_limit(1.0004, 1.0, "px")
    '1.0004 px, limit 1'
    >>> value_with_limit(None, 0.25, "s"), value_with_limit(11.3, None, "Hz")
    ('no figure, limit 0.25 s', '11.3 Hz')
    """
    word = "needs" if at_least else "limit"
    if limit is None or not math.isfinite(limit):
        return "no figure" if value is None else amount(value, unit)
    if value is None or not math.isfinite(value):
        return f"no figure, {word} {number(limit)}{' ' + unit if unit else ''}"
    digits = 3
    while (
        digits < _MOST_DIGITS
        and value != limit
        and number(value, digits=digits) == number(limit, digits=digits)
    ):
        digits += 1
    if digits == 3 and abs(limit) > _SMALLEST_AMOUNT:
        shown = amount(value, unit)
    else:  # "under 0.001" would hide the side on which it lies
        shown = f"{number(value, digits=digits)} {unit}".rstrip()
    return f"{shown}, {word} {number(limit, digits=digits)}"


def between(low: float, high: float, unit: str = "") -> str:
    """Write a range; an end that is not finite is left open.

    Parameters
    ----------
    low, high : float
        The ends, in `unit`.
    unit : str
        Unit as shown, empty for a plain ratio.

    Returns
    -------
    str
        For example ``1.7 to 2.2 mm``.

    Examples
    --------
    >>> between(1.7, 2.2, "mm"), between(0.4, float("inf"), "s"), between(0.0, 1e-7, "px"), between(0.0, 0.0)
    ('1.7 to 2.2 mm', '0.4 s or more', '0 to under 0.001 px', '0')
    """
    if math.isfinite(low) and math.isfinite(high):
        if amount(low) == amount(high):
            return amount(high, unit)
        return f"{amount(low)} to {amount(high, unit)}"
    if math.isfinite(low):
        return f"{amount(low, unit)} or more"
    if math.isfinite(high):
        return f"{amount(high, unit)} or less"
    return "no figure"


def chance(share: float) -> str:
    """Write a chance in whole percent; never a certainty, which no estimate of this kind can give.

    Parameters
    ----------
    share : float
        From 0 to 1.

    Returns
    -------
    str
        For example ``93 %``.

    Examples
    --------
    >>> chance(0.934), chance(1.0), chance(0.0)
    ('93 %', 'over 99 %', 'under 1 %')
    """
    if not math.isfinite(share):
        return "no figure"
    if share > 0.99:
        return "over 99 %"
    if share < 0.01:
        return "under 1 %"
    return share_words(share)


def sampled_chance(share: float) -> str:
    """Write a chance that was counted over the few variants of a check.

    Parameters
    ----------
    share : float
        From 0 to 1, of 32 variants or more.

    Returns
    -------
    str
        In whole percent, up to what such a count can tell: where none of n variants fails, up to about 3 / n of all
        rigs still may (the rule of three, for a confidence of 95 %).

    Examples
    --------
    >>> sampled_chance(0.41), sampled_chance(1.0), sampled_chance(0.0)
    ('41 %', 'over 90 %', 'under 10 %')
    """
    if share > 0.9:
        return "over 90 %"
    if share < 0.1:
        return "under 10 %"
    return chance(share)


def printable(text: str, *, encoding: str = "utf-8") -> str:
    r"""Show control, invisible and unencodable characters as escapes instead of sending them out.

    Parameters
    ----------
    text : str
        Any text, from a file or from us.
    encoding : str
        What the output can write. Characters beyond it become their nearest plain form, or an escape.

    Returns
    -------
    str
        One line of text. Square brackets stay as they are: hand the result to rich as a ``Text``, which reads
        no markup.

    Examples
    --------
    >>> print(printable("[bold]x[/]\x1b[31m\n"))
    [bold]x[/]\x1b[31m\n
    >>> print(printable("±2 × 3 ✗", encoding="ascii"))
    +/-2 x 3 \u2717
    """
    if text.isascii() and text.isprintable():
        return text
    shown = "".join(_escape(letter) if _is_hidden(letter) else letter for letter in text)
    if _can_encode(shown, encoding):
        return shown
    return "".join(
        letter if _can_encode(letter, encoding) else _PLAIN_LETTERS.get(letter) or _escape(letter)
        for letter in shown
    )


def printable_or(sign: str, plain: str, *, encoding: str) -> str:
    """A sign where the output can write it, else a plain one.

    Examples
    --------
    >>> printable_or("█", "#", encoding="utf-8"), printable_or("█", "#", encoding="ascii")
    ('█', '#')
    """
    return sign if _can_encode(sign, encoding) else plain


def _without_trailing_zeros(digits: str) -> str:
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def _is_hidden(letter: str) -> bool:
    return unicodedata.category(letter) in _HIDDEN_CATEGORIES


def _escape(letter: str) -> str:
    return letter.encode("unicode_escape").decode("ascii")


def _can_encode(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        # An encoding nobody knows is met with plain ASCII.
        return text.isascii()
    return True
