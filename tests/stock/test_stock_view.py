"""The stock on a terminal and as JSON."""

import io
import json

import pytest
from rich.console import Console

from rigcheck.stock import search
from rigcheck.views.stock_view import _number, render_stock, stock_json


def shown(query, width, *, details=False):
    stream = io.StringIO()
    render_stock(Console(file=stream, width=width, color_system=None), search(query), details=details)
    return stream.getvalue()


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("details", [False, True])
@pytest.mark.parametrize("query", ["", "brass", "music wire 2 mm", "18 gauge", "collet", "greyboard"])
def test_no_line_is_wider_than_the_terminal(query, width, details):
    text = shown(query, width, details=details)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "…" not in text  # nothing is cut off


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_list_says_name_stiffness_strength_density_sizes_and_mark(width):
    text = " ".join(shown("brass-c360", width).split())
    for part in ("brass-c360", "97 GPa", "172 MPa", "8500 kg/m³", "sizes", "published"):
        assert part in text, part
    assert "Contains 2.5 to 3 % lead" in text
    assert "They are not guaranteed" in text


def test_golden_narrow_list():
    # A regression, frozen from our own output at 60 columns: layout only.
    assert shown("acrylic rod 6", 60).splitlines()[:5] == [
        "acrylic",
        "  Acrylic (cast), clear",
        "  E or D 2.86 GPa; strength 110 MPa breaks; density",
        "  1190 kg/m³",
        "  sizes 6 mm",
    ]


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("details", [False, True])
def test_cautions_stand_last_as_those_of_the_other_commands_do(width, details):
    text = shown("brass-c360", width, details=details)
    before, _, cautions = text.partition("\n\nCautions\n")
    assert cautions.startswith("  - Typical values are averages")
    assert "  - Contains 2.5 to 3 % lead" in cautions
    assert "Contains" not in before


def test_details_carry_range_condition_mark_and_source_text():
    text = " ".join(shown("aluminium-1100-o", 120, details=True).split())
    assert "34 MPa (20 to 45)" in text
    assert "published" in text
    assert "S12: alloysintl.com aluminum-1100" in text
    assert "Found at: any craft, model or builders' shop (common practice)" in text


def test_nothing_found():
    assert shown("qqqqq", 80) == 'Nothing in stock matches "qqqqq".\nrigcheck stock alone lists everything.\n'


def test_markup_in_a_query_is_shown_as_typed():
    assert "[bold]qqqq[/bold]" in shown("[bold]qqqq[/bold]", 80)


def test_no_colour_is_needed():
    stream = io.StringIO()
    render_stock(Console(file=stream, width=80, force_terminal=True, no_color=True), search("brass"))
    assert "\x1b[3" not in stream.getvalue()
    assert "published" in stream.getvalue()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (196.5, "197"),
        (0.2345, "0.235"),
        (2710.0, "2710"),
        (19300.0, "19300"),
        (2.0, "2"),
        (0.003, "0.003"),
        (0.00015, "0.00015"),
        (99.96, "100"),
        (1e9, "1.00e+09"),
        (-3.14159, "-3.14"),
    ],
)
def test_three_significant_digits(value, text):
    assert _number(value) == text


def test_json_is_plain_and_has_units_in_its_keys():
    data = stock_json(search("music wire 2 mm"))
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert data["format"] == "rigcheck-stock/1"
    (entry,) = data["entries"]
    assert entry["values"]["youngs_modulus_GPa"]["value"] == pytest.approx(196.5)
    assert entry["values"]["youngs_modulus_GPa"]["source"] == ["S1"]
    assert entry["values"]["elastic_limit_MPa"]["mark"] == "derived"
    table = next(table for table in entry["tables"] if table["key"] == "tensile_strength_MPa")
    assert table["rows"][0] == pytest.approx({"diameter_mm": 0.254, "value": 2668, "high": 2951})
    assert stock_json(search("music wire"))["entries"][0]["values"]["elastic_limit_MPa"]["value"] is None
    everything = stock_json(search(""))
    json.dumps(everything, allow_nan=False)
    dimensional = ("_GPa", "_MPa", "_kg_m3", "_kg_m2", "_N_m", "_N", "_mm", "_C", "_diameters")
    plain = {"poissons_ratio", "damping_ratio", "creep_factor", "fatigue_notch_factor", "reduction_of_area"}
    for item in everything["entries"]:
        for key in item["values"]:
            assert key.endswith(dimensional) or key in plain, key
