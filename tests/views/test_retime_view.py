"""The timing of a shot in the terminal and as JSON."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from rigcheck.studies.results import Status
from rigcheck.studies.retime.results import (
    Curve,
    ExportedKeys,
    ModeShare,
    MoveTiming,
    NullTime,
    ProfileTimes,
    PropRetiming,
    Recommendation,
    RetimeResult,
    ShapedMove,
    Timing,
)
from rigcheck.views.as_json import dump
from rigcheck.views.retime_view import render_export, render_retime, retime_json

UNDER = "Only for a set with nobody under the prop."


def timing(
    duration: float, wobble: float, *, factor: float | None = 6.1, profile: str = "trapezoidal"
) -> Timing:
    strong = Status.SKIPPED if factor is None else Status.PASS if factor > 1.5 else Status.FAIL
    return Timing(
        duration_s=duration,
        moves=(MoveTiming(start_s=0.0, duration_s=duration, profile=profile),),
        wobble=wobble,
        wobble_off=2 * wobble,
        status=Status.PASS if wobble < 0.3 else Status.CAUTION if wobble < 1.0 else Status.FAIL,
        settle_s=None if wobble > 5 else 0.0,
        strength_factor=factor,
        strength_status=strong,
    )


def inkwell() -> PropRetiming:
    plan = timing(1.5, 3.21)
    shaped = ShapedMove(
        name="two-impulse",
        impulses=2,
        times_s=(0.0, 0.0553),
        shares=(0.5024, 0.4976),
        added_s=0.0553,
        timing=timing(1.5553, 0.0002),
        residual_share=6e-5,
        low=0.42,
        high=0.39,
        forgives=(-0.21, 0.3),
        widths=((9.04, 0.064),),
        quickest=timing(0.8, 0.2, factor=1.2),
    )
    return PropRetiming(
        name="inkwell",
        support="3 mm music-wire, 180 mm free, from behind",
        unit="px",
        limit=1.0,
        status=Status.FAIL,
        profile="trapezoidal",
        plan=plan,
        profiles=(
            ProfileTimes(
                profile="trapezoidal",
                planned=True,
                wobble=3.21,
                first=timing(0.332, 0.99, factor=1.1),
                always=timing(2.968, 0.999),
                sure=timing(3.298, 0.8),
            ),
            ProfileTimes(
                profile="cycloidal", planned=False, wobble=0.0, first=None, always=None, sure=None, says="No."
            ),
        ),
        nulls=(NullTime(duration_s=1.478, wobble=0.0004, low=5.1, high=4.2, worst=5.5),),
        modes=(ModeShare(frequency_Hz=9.04, direction="up-down", share=0.998, matters=True),),
        shaped=(shaped, replace(shaped, name="three-impulse", forgives=None, quickest=None)),
        curve=Curve(
            duration_s=tuple(0.375 + 0.02 * step for step in range(160)),
            wobble=tuple(20.0 if step < 80 else 0.1 if step % 2 else 0.02 for step in range(160)),
        ),
        notes=("Rolls are not shaped.",),
        recommendation=Recommendation(
            kind="longer", says="Make the move 1.8 s longer.", timing=timing(3.298, 0.8)
        ),
        assumptions=("Damping ratio 0.003 is a guess.",),
        cautions=(UNDER, "Cap the ends of wire."),
    )


def skipped() -> PropRetiming:
    return PropRetiming(
        name="clip [bold]\x1b[31m",
        support="1 mm music-wire",
        unit="mm",
        limit=0.1,
        status=Status.SKIPPED,
        profile="",
        plan=None,
        recommendation=Recommendation(kind="none", says="No move is given.", timing=None),
        cautions=(UNDER,),
    )


@pytest.fixture
def result() -> RetimeResult:
    return RetimeResult(
        title="Desk set", verdict=Status.FAIL, props=(inkwell(), skipped()), cautions=(UNDER,)
    )


def shown(result: RetimeResult, width: int = 80, *, encoding: str = "utf-8", details: bool = False) -> str:
    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="\n")
    console = Console(file=file, width=width, highlight=False, color_system=None)
    render_retime(console, result, details=details)
    file.flush()
    return file.buffer.getvalue().decode(encoding)


@pytest.mark.parametrize("width", [30, 40, 60, 80, 120])
@pytest.mark.parametrize("details", [False, True])
def test_no_line_is_wider_than_the_terminal(result, width, details):
    assert max(len(line) for line in shown(result, width, details=details).splitlines()) <= width


def test_everything_that_decides_is_there(result):
    text = shown(result)
    assert text.startswith("✗ FAIL  Desk set\n\n✗ FAIL  inkwell\n  on 3 mm music-wire")
    assert "Wobble 3.21 px, limit 1; with the frequencies" in text
    assert "  Do: Make the move 1.8 s longer." in text
    assert "    trapezoidal (planned)  0.332*   2.968  3.298         3.21" in text
    assert "    cycloidal                   -       -      -            0" in text
    assert "  *: there the support is not strong enough." in text
    assert "  cycloidal: No." in text
    assert "    1.478    < 0.001       5.1        4.2    5.5" in text
    assert "Shaped for 9.04 Hz up-down [px]" in text
    assert "    two-impulse    +0.0553 s  < 0.001      0.42       0.39" in text
    joined = " ".join(text.split())
    assert "frequencies down to 21 % lower, up to 30 % or more higher. Sure from 0.8 s in all" in joined
    assert "(the support is not strong enough for that)" in joined
    assert "three-impulse: not still even with exact frequencies." in text
    assert "- SKIPPED  clip" in text
    assert "  No move is given." in text
    assert text.count(UNDER) == 1
    assert "add --details" in text


def test_details_add_strength_impulses_modes_and_assumptions(result):
    text = shown(result, details=True)
    assert "    trapezoidal    1.1     6.1   6.1" in text
    assert "copies of 0.5024 at 0 s, 0.4976 at 0.0553 s." in text
    assert "Under 5 % of the vibration is left in a band of 6.4 % about 9.04 Hz." in " ".join(text.split())
    assert "99.8 %" in text
    assert "- Damping ratio 0.003 is a guess." in text
    assert "add --details" not in text


def test_a_narrow_terminal_gets_lines_in_place_of_tables(result):
    text = " ".join(shown(result, 40).split())
    assert "trapezoidal (planned): first 0.332*, always 2.968, sure 3.298, px in 1.5 s 3.21" in text


def test_the_chart_shows_the_limit_the_plan_and_both_ends_of_a_column(result):
    lines = shown(result).splitlines()
    top = next(index for index, line in enumerate(lines) if line.startswith("  Wobble [px] against"))
    rows, axis = lines[top + 1 : top + 9], lines[top + 9]
    assert rows[0].strip().startswith("20 █")
    limit = next(row for row in rows if "limit 1" in row)
    assert "─" in limit
    assert "█" in limit  # left of the middle it wobbles too much
    # In the right half a column holds times of 0.1 and of 0.02 px: full up to the least, light up to the most. A
    # row is log10(20/0.01)/8 = 0.41 decades high, counted from 0.01 px: the limit is in the 5th, 0.1 in the 3rd.
    assert [row.ljust(len(limit))[-1] for row in rows] == list("   ─ ░░█")
    assert "0.375 s" in axis
    assert "^ 1.5 s" in axis
    assert axis.endswith("3.555 s")
    # The caret stands under the planned time: column (1.5 - 0.375)/(3.18) of the chart, which begins after 11.
    width = len(axis) - 11
    assert axis.index("^") - 11 == round((1.5 - 0.375) / 3.18 * (width - 1))


def test_ascii_terminals_get_plain_characters(result):
    text = shown(result, encoding="ascii", details=True)
    assert text.isascii()
    assert "####" in text
    assert "::" in text
    assert "limit 1 #" in text


def test_text_from_the_file_is_shown_and_not_obeyed(result):
    text = shown(result)
    assert "\x1b" not in text
    assert "clip [bold]\\x1b[31m" in text


def test_json_says_the_same_with_units_in_the_keys(result):
    value = json.loads(dump(retime_json(result)))
    assert (value["format"], value["title"], value["verdict"]) == ("rigcheck-retime/1", "Desk set", "fail")
    assert value["export"] is None
    assert value["cautions"] == [UNDER]
    first, second = value["props"]
    assert (first["limit_px"], first["limit_mm"]) == (1.0, None)
    assert (second["limit_px"], second["limit_mm"]) == (None, 0.1)
    assert (second["verdict"], second["plan"], second["profile"]) == ("skipped", None, None)
    assert second["wobble_against_time"] is None
    assert first["plan"] == {
        "duration_s": 1.5,
        "moves": [{"start_s": 0.0, "duration_s": 1.5, "profile": "trapezoidal"}],
        "wobble_px": 3.21,
        "wobble_mm": None,
        "wobble_10_percent_off_px": 6.42,
        "wobble_10_percent_off_mm": None,
        "status": "fail",
        "settle_s": 0.0,
        "strength_factor": 6.1,
        "strength_status": "pass",
    }
    assert first["profiles"][0]["always"]["duration_s"] == 2.968
    assert first["profiles"][1] == {
        "profile": "cycloidal",
        "planned": False,
        "wobble_px": 0.0,
        "wobble_mm": None,
        "first": None,
        "always": None,
        "sure": None,
        "says": "No.",
    }
    assert first["nulls"][0]["wobble_10_percent_low_px"] == 5.1
    assert first["modes"][0] == {
        "frequency_Hz": 9.04,
        "direction": "up-down",
        "share": 0.998,
        "matters": True,
    }
    shaped = first["shaped"][0]
    assert shaped["impulses"] == [{"time_s": 0.0, "share": 0.5024}, {"time_s": 0.0553, "share": 0.4976}]
    assert shaped["forgives"] == [-0.21, 0.3]
    assert shaped["bands_under_5_percent"] == [{"frequency_Hz": 9.04, "width": 0.064}]
    assert first["shaped"][1]["forgives"] is None
    assert len(first["wobble_against_time"]["wobble_px"]) == 160
    assert first["wobble_against_time"]["wobble_mm"] is None
    assert first["recommendation"]["kind"] == "longer"
    assert first["recommendation"]["timing"]["duration_s"] == 3.298


def test_an_export_is_told_with_what_to_write_in_the_rig_file(result):
    exported = ExportedKeys(
        prop="inkwell",
        shaped="two-impulse",
        files=(Path("shots") / "keys.csv",),
        rate_Hz=50.0,
        keys=79,
        wobble=0.02,
        unit="px",
        planned=0.0002,
        status=Status.PASS,
        rows=('slide = "mm", keys = "keys.csv" (in place of slide, duration, profile and ramp)',),
        says="Read back at 50 keys a second, they leave 0.02 px of wobble.",
    )
    file = io.StringIO()
    render_export(Console(file=file, width=60, highlight=False), exported)
    text = file.getvalue()
    joined = " ".join(text.split())
    assert (
        f"Wrote {exported.files[0]}: the two-impulse shaped move of inkwell, 79 keys, 50 a second." in joined
    )
    assert "✓ pass Read back at 50 keys" in joined
    assert '- slide = "mm", keys = "keys.csv"' in text
    value = json.loads(dump(retime_json(result, exported)))["export"]
    assert (value["wobble_px"], value["wobble_before_sampling_px"]) == (0.02, 0.0002)
    assert (value["rate_Hz"], value["keys"], value["status"]) == (50.0, 79, "pass")
