"""The choice as people and programs see it."""

import io
import json

import pytest
from rich.console import Console

from rigcheck.studies.candidates import Item
from rigcheck.studies.choose import Candidate, ChoiceResult, PropChoice
from rigcheck.studies.cures import Cure
from rigcheck.studies.reach import Reach
from rigcheck.studies.results import Status
from rigcheck.views.as_json import dump
from rigcheck.views.choose_view import choose_json, render_choice


def item(diameter=3e-3, material="carbon-rod"):
    return Item(
        material=material,
        section="round",
        diameter=diameter,
        label=f"{diameter * 1e3:g} mm",
        buy_ease=3,
        shape_ease=0,
    )


def candidate(verdict=Status.PASS, **changes):
    values = {
        "item": item(),
        "count": 1,
        "verdict": verdict,
        "sag_mm": 3.1234,
        "frequency_hz": 8.25,
        "residual_wobble_mm": 0.02,
        "residual_wobble_px": 0.184,
        "visible_width_mm": 3.0,
        "visible_width_px": 27.43,
        "margin": 2.5,
        "longest_reach_mm": 240.0,
        "fails": (),
    }
    return Candidate(**(values | changes))


def result():
    best = (
        candidate(),
        candidate(Status.FAIL, count=2, longest_reach_mm=None, fails=("sag 9 mm",), sag_mm=None),
    )
    prop = PropChoice(
        name="ink [bottle]",
        best=best,
        front=best[:1],
        thinner="The next thinner, 2.5 mm carbon-rod, does not: wobble 1.8 px, limit 1.",
        reach=(Reach(item=item(), length_mm=240.0), Reach(item=item(1e-3), length_mm=None)),
        cures=(Cure(says="Shorten it (sag 9 to 3 mm)", cures=frozenset({"sag"}), kind="shorter"),),
        tried=200,
        passing=60,
        cautioned=20,
        too_soft=30,
        too_weak=10,
        not_held=0,
        assumptions=("All in the same clamp.",),
        cautions=("Wear eye protection.",),
    )
    return ChoiceResult(title="Desk set \x1b[31m", props=(prop,), cautions=("Keep clear.",))


def rendered(width, encoding="utf-8"):
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    render_choice(Console(file=stream, width=width, color_system=None), result())
    stream.flush()
    return stream.buffer.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_no_line_is_wider_than_the_terminal(width):
    text = rendered(width)
    assert max(len(line) for line in text.splitlines()) <= width
    for word in ("240 mm", "Keep clear.", "Wear eye protection.", "200 tried: 60 pass", "All in the same"):
        assert word in " ".join(text.split())
    assert "\x1b" not in text


def test_words_stand_beside_marks():
    text = rendered(100)
    assert "✓ pass" in text
    assert "✗ fail" in text
    assert "27.4 px" in text
    assert "1 thinner sizes pass at no length" in text
    assert "next thinner, 2.5 mm carbon-rod, does not" in text


def test_plain_terminals_get_plain_marks():
    text = rendered(80, "ascii")
    assert "+ pass" in text
    assert "####" in text


def test_json_has_the_promised_keys_and_no_zero_for_what_is_absent():
    found = json.loads(dump(choose_json(result())))
    first, second = found["candidates"]
    promised = {
        "material",
        "section",
        "diameter_mm",
        "count",
        "verdict",
        "sag_mm",
        "frequency_Hz",
        "residual_wobble_px",
        "visible_width_px",
        "longest_reach_mm",
    }
    assert promised <= set(first)
    assert first["diameter_mm"] == 3.0
    assert second["sag_mm"] is None
    assert second["longest_reach_mm"] is None
    assert found["props"][0]["reach"][0]["longest_reach_mm"] == 240.0
    assert found["props"][0]["cures"][0]["kind"] == "shorter"
    assert found["cautions"] == ["Keep clear."]
