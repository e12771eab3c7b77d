"""The choice as people and programs see it."""

import io
import json
from dataclasses import replace

import pytest
from rich.console import Console

from rigcheck.studies.candidates import Item
from rigcheck.studies.choose.reach import Reach
from rigcheck.studies.choose.results import Candidate, ChoiceResult, PropChoice
from rigcheck.studies.cures import Cure, Step
from rigcheck.studies.results import Status
from rigcheck.views.as_json import dump
from rigcheck.views.choose_view import choose_json, render_choice

STEP = Step(words="Shorten it", edit=lambda prop: prop, cures=frozenset({"sag"}), leaves={})


def item(diameter=3e-3, material="carbon-rod", section="round"):
    return Item(
        material=material,
        section=section,
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
        "in_full": True,
        "chance_of_pass": 0.87,
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
        cures=(Cure(says="Shorten it (sag 9 to 3 mm)", cures=frozenset({"sag"}), kind="shorter", step=STEP),),
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


def rendered(width, encoding="utf-8", *, shown=None, all_reach=False):
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    console = Console(file=stream, width=width, color_system=None)
    render_choice(console, result() if shown is None else shown, all_reach=all_reach)
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
    assert "1 mm passes at no length from 20 mm on" in text
    assert "next thinner, 2.5 mm carbon-rod, does not" in text


def test_a_tube_is_called_one_wherever_its_name_does_not_say_so():
    tubes = [item(8e-3, name, section="tube") for name in ("brass-c260", "carbon-tube")]
    whole = result()
    reach = tuple(Reach(item=one, length_mm=300.0) for one in (item(8e-3, "brass-c260"), *tubes))
    prop = replace(whole.props[0], best=tuple(candidate(item=one) for one in tubes), reach=reach)
    lines = [
        line.strip()
        for line in rendered(120, shown=replace(whole, props=(prop,)), all_reach=True).splitlines()
    ]
    assert {"brass-c260", "brass-c260 tube", "carbon-tube"} <= set(lines)
    assert any("8 mm brass-c260 tube" in line for line in lines)
    assert not any("carbon-tube tube" in line for line in lines)


def test_large_counts_are_written_in_threes():
    whole = result()
    many = replace(whole.props[0], tried=12_345, passing=10_000, cautioned=1_234, too_soft=1_000)
    said = " ".join(rendered(120, shown=replace(whole, props=(many,))).split())
    assert (
        "12,345 tried: 10,000 pass on strength, buckling, sag and wobble, 1,234 with caution, 1,111 fail"
        in said
    )


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


NAMES = ("stainless-304-spring", "spring-steel-sm", "hard-drawn-steel", "carbon-tube", "brass-c260")


@pytest.mark.parametrize("width", [50, 60, 80, 100, 120])
def test_names_and_figures_are_never_broken(width):
    best = tuple(
        candidate(item=item(material=name), count=count, verdict=verdict)
        for name in NAMES
        for count, verdict in ((1, Status.PASS), (3, Status.CAUTION))
    )
    whole = result()
    text = rendered(width, shown=replace(whole, props=(replace(whole.props[0], best=best),)))
    lines = text.splitlines()
    for name in NAMES:
        assert sum(name in line for line in lines) >= 2
    assert max(len(line) for line in lines) <= width
    if width < 60:
        return
    table = lines[lines.index(next(line for line in lines if "choice" in line)) :]
    assert sum("27.4 px" in line for line in table) >= len(best)
    wanted = {"reach"} if width >= 60 else set()
    wanted |= {"chance"} if width >= 80 else set()
    wanted |= {"sag", "margin"} if width >= 100 else set()
    assert wanted <= set(table[0].split())


def test_the_reach_chart_is_short_unless_all_is_asked_for():
    sizes = tuple(Reach(item=item(k * 1e-3), length_mm=100.0 * k) for k in range(1, 12))
    other = tuple(Reach(item=item(k * 1e-3, "brass-c260"), length_mm=50.0 * k) for k in range(1, 12))
    whole = result()
    shown = replace(whole, props=(replace(whole.props[0], reach=(*sizes, *other)),))
    short, full = rendered(80, shown=shown), rendered(80, shown=shown, all_reach=True)
    assert "brass-c260" not in short
    assert "17 more sizes: add --reach." in short
    assert all(f"      {k} mm" in short for k in range(2, 7))
    assert "550 mm" in full
    assert "1100 mm" in full


def test_what_passes_as_a_whole_comes_alone():
    def cure(says, passes):
        return Cure(says=says, cures=frozenset({"sag"}), kind="shorter", step=STEP, passes=passes)

    whole = result()

    def shown(*cures):
        return rendered(100, shown=replace(whole, props=(replace(whole.props[0], cures=cures),)))

    both = shown(cure("Shorten it: then it passes", True), cure("Lighten it: that leaves sag", False))
    assert "Shorten it" in both
    assert "Lighten it" not in both
    assert "Lighten it" in shown(cure("Lighten it: that leaves sag", False))
