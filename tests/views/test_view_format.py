"""Numbers and text for people. The examples are the wording asked for, so they are typed, not computed."""

from __future__ import annotations

import math
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck.views.format import amount, between, chance, number, printable, sampled_chance, value_with_limit

ordinary = st.floats(min_value=1e-4, max_value=9.9e6)
anything = st.floats(allow_nan=False, allow_infinity=False)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.46, "0.46"),
        (6.1, "6.1"),
        (1.0, "1"),
        (100.0, "100"),
        (0.4567, "0.457"),
        (999.6, "1000"),
        (1234.0, "1230"),
        (123456.0, "123,000"),
        (9994.0, "9990"),
        (9996.0, "10,000"),
        (-1234567.0, "-1,230,000"),
        (0.0001, "0.0001"),
        (0.003, "0.003"),
        (-2.5, "-2.5"),
        (0.0, "0"),
        (-0.0, "0"),
        (2.05e11, "2.05e11"),
        (3.2e-9, "3.2e-9"),
        (math.nan, "no figure"),
        (math.inf, "no figure"),
    ],
)
def test_number_has_three_digits_and_no_needless_exponent(value: float, text: str) -> None:
    assert number(value) == text


@given(ordinary, st.sampled_from([-1.0, 1.0]))
def test_number_is_within_half_a_unit_of_its_third_digit(size: float, sign: float) -> None:
    text = number(sign * size).replace(",", "")
    assert "e" not in text
    # Half a unit of the third digit is at most 0.5 % (of 1.00); the 1e-12 is float rounding of the product.
    assert float(text) == pytest.approx(sign * size, rel=0.005 * (1 + 1e-12))


@given(anything, st.integers(min_value=1, max_value=9))
def test_number_reads_back(value: float, digits: int) -> None:
    expected = float(f"{value:.{digits}g}")
    if math.isfinite(expected):
        assert float(number(value, digits=digits).replace(",", "")) == expected


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1.9, "mm", "1.9 mm"),
        (0.0, "s", "0 s"),
        (0.001, "px", "0.001 px"),
        (0.00099, "px", "under 0.001 px"),
        (-2e-7, "mm", "under 0.001 mm"),
        (12.9, "", "12.9"),
        (math.nan, "mm", "no figure"),
    ],
)
def test_amount_says_when_a_figure_is_too_small_to_matter(value: float, unit: str, text: str) -> None:
    assert amount(value, unit) == text


@pytest.mark.parametrize(
    ("value", "limit", "unit", "at_least", "text"),
    [
        (0.46, 1.0, "px", False, "0.46 px, limit 1"),
        (6.1, 1.5, "", True, "6.1, needs 1.5"),
        (None, 0.25, "s", False, "no figure, limit 0.25 s"),
        (None, 3.0, "", True, "no figure, needs 3"),
        (math.inf, 3.0, "", True, "no figure, needs 3"),
        (11.3, None, "Hz", False, "11.3 Hz"),
        (11.3, math.inf, "Hz", False, "11.3 Hz"),
        (None, None, "mm", False, "no figure"),
        (1e-6, 5.0, "mm", False, "under 0.001 mm, limit 5"),
        (1.5, 1.5, "", True, "1.5, needs 1.5"),
        (1.0004, 1.0, "px", False, "1.0004 px, limit 1"),
        (1.49996, 1.5, "", True, "1.49996, needs 1.5"),
        (0.0006, 0.0005, "mm", False, "0.0006 mm, limit 0.0005"),
        (0.0, 0.0, "mm", False, "0 mm, limit 0"),
        (0.0002, 0.0, "mm", False, "0.0002 mm, limit 0"),
    ],
)
def test_value_stands_beside_its_limit(
    value: float | None, limit: float | None, unit: str, at_least: bool, text: str
) -> None:
    assert value_with_limit(value, limit, unit, at_least=at_least) == text


@given(st.floats(min_value=0.01, max_value=1e5), st.floats(min_value=1e-6, max_value=0.5), st.booleans())
def test_a_value_past_its_limit_never_looks_equal_to_it(limit: float, over: float, at_least: bool) -> None:
    # A millionth is the finest step tried: nine digits tell it apart.
    for value in (limit * (1 + over), limit * (1 - over)):
        left, right = value_with_limit(value, limit, at_least=at_least).replace(",", "").split()[::2]
        shown, shown_limit = float(left), float(right)
        assert (shown > shown_limit) == (value > limit)
        assert (shown < shown_limit) == (value < limit)


def test_between_leaves_an_end_without_figure_open() -> None:
    assert between(1.7, 2.2, "mm") == "1.7 to 2.2 mm"
    assert between(0.4, math.inf, "s") == "0.4 s or more"
    assert between(-math.inf, 0.4, "s") == "0.4 s or less"
    assert between(math.nan, math.nan) == "no figure"


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.934, "93 %"),
        (1.0, "over 99 %"),
        (0.996, "over 99 %"),
        (0.0, "under 1 %"),
        (0.5, "50 %"),
        (math.nan, "no figure"),
    ],
)
def test_chance_is_never_a_certainty(share: float, text: str) -> None:
    assert chance(share) == text


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.5, "50 %"), (0.97, "over 90 %"), (1.0, "over 90 %"), (0.03, "under 10 %"), (math.nan, "no figure")],
)
def test_a_count_of_few_claims_no_more_than_it_can_tell(share: float, text: str) -> None:
    assert sampled_chance(share) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("inkwell", "inkwell"),
        ("[bold]x[/]\x1b[31m", r"[bold]x[/]\x1b[31m"),
        ("two\nlines\tand\r", r"two\nlines\tand\r"),
        ("\x9b31m", r"\x9b31m"),
        ("\u202eknil", r"\u202eknil"),
        ("\ue000", r"\ue000"),
        ("\ud800", r"\ud800"),
        ("zero\u200bwidth", r"zero\u200bwidth"),
        ("Étui 手帳", "Étui 手帳"),
    ],
)
def test_printable_shows_what_would_steer_a_terminal(text: str, shown: str) -> None:
    assert printable(text) == shown


@given(st.text(), st.sampled_from(["utf-8", "ascii", "cp1252", "latin-1", "no-such-encoding"]))
def test_printable_text_is_one_line_and_can_be_written(text: str, encoding: str) -> None:
    shown = printable(text, encoding=encoding)
    shown.encode("ascii" if encoding == "no-such-encoding" else encoding)
    assert not any(unicodedata.category(letter) in {"Cc", "Cf", "Cs", "Zl", "Zp"} for letter in shown)
    assert printable(shown, encoding=encoding) == shown


def test_printable_prefers_a_plain_form_to_an_escape() -> None:
    assert printable("3 mm ± 2 %, 4e-5 kg·m², 90°", encoding="ascii") == "3 mm +/- 2 %, 4e-5 kg*m^2, 90 deg"
    assert printable("3 mm ± 2 %", encoding="cp1252") == "3 mm ± 2 %"
    assert printable("手", encoding="cp1252") == r"\u624b"
