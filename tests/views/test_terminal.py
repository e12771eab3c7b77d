"""The terminal view: what a filmmaker reads, at any width, on any terminal, whatever the props are called."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.color import Color
from rich.console import Console

from rigcheck.studies.results import CheckResult, Finding, Influence, Mode, MotionResult, PropResult, Status
from rigcheck.views.terminal import render_check

GOLDEN = Path(__file__).parent / "golden"
SGR = re.compile(r"\x1b\[([\d;]*)m")


def rendered(
    result: CheckResult,
    *,
    width: int = 80,
    details: bool = False,
    colours: str | None = None,
    environ: dict[str, str] | None = None,
) -> str:
    """What `render_check` prints; with `colours`, to a terminal that has them."""
    console = Console(
        file=io.StringIO(),
        width=width,
        height=40,
        force_terminal=colours is not None,
        color_system=colours,  # type: ignore[arg-type]
        legacy_windows=False,
        _environ=environ or {},
    )
    render_check(console, result, details=details)
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


def encoded(result: CheckResult, encoding: str) -> str:
    """What reaches a file of that encoding; raises if anything cannot be written in it."""
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding, newline="\n")
    render_check(Console(file=file, width=80, _environ={}), result, details=True)
    file.flush()
    return raw.getvalue().decode(encoding)


def only(result: CheckResult, prop: PropResult) -> CheckResult:
    return replace(result, verdict=prop.verdict, props=(prop,))


# Regression: these files hold our own output, read through by a person. They show any change of the page.
@pytest.mark.parametrize("name", ["60", "80", "120", "80-details", "60-details"])
def test_page_at_fixed_width(desk_set: CheckResult, name: str) -> None:
    width, _, details = name.partition("-")
    page = rendered(desk_set, width=int(width), details=bool(details))
    assert page == (GOLDEN / f"check-{name}.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("details", [False, True])
@pytest.mark.parametrize("width", [*range(1, 30), 40, 59, 60, 61, 72, 80, 99, 100, 101, 120, 200])
def test_no_line_is_longer_than_the_console(desk_set: CheckResult, width: int, details: bool) -> None:
    odd = replace(desk_set.props[1], name="手帳" * 40, support="x" * 150)
    result = replace(desk_set, title="A title of many words " * 9, props=(*desk_set.props, odd))
    for line in rendered(result, width=width, details=details).splitlines():
        # A character two cells wide cannot be cut in half for a console of one cell.
        assert cell_len(line) <= max(width, 2)
        assert line == line.rstrip()


@pytest.mark.parametrize("details", [False, True])
@pytest.mark.parametrize("width", [16, 30, 40, 60, 80, 120])
def test_words_stay_whole_and_none_is_lost(desk_set: CheckResult, width: int, details: bool) -> None:
    wide = rendered(desk_set, width=100, details=details).split()
    assert rendered(desk_set, width=width, details=details).split() == wide


@pytest.mark.parametrize("width", range(40, 121))
def test_figures_stay_with_their_units_and_ranges(desk_set: CheckResult, width: int) -> None:
    page = rendered(desk_set, width=width, details=True)
    assert not re.search(r"\d\n +(mm|px|s|Hz|g|%|deg|N\*m|MPa)\b", page)
    for spread in ("(90 %: 0.68 to 0.9)", "(90 %: 0.1 or more)", "(90 %: 30.2 to 35.9)"):
        assert spread in page


@pytest.mark.parametrize("width", [30, 60, 80])
def test_a_word_longer_than_the_line_is_folded_not_cut(desk_set: CheckResult, width: int) -> None:
    name = "".join(chr(ord("a") + i % 26) for i in range(200))
    page = rendered(only(desk_set, replace(desk_set.props[0], name=name)), width=width)
    assert name in re.sub(r"\s", "", page)


def test_verdict_comes_first_and_names_the_culprit(desk_set: CheckResult) -> None:
    first, second = rendered(desk_set).splitlines()[:2]
    assert first == "✗ FAIL  Desk set, shot 4"
    assert second == "  fails: paper crane; caution: notebook; passes: inkwell"


@pytest.mark.parametrize(
    ("index", "headline", "ascii_headline"),
    [
        (0, "✓ PASS  inkwell", "+ PASS  inkwell"),
        (1, "! CAUTION  notebook", "! CAUTION  notebook"),
        (2, "✗ FAIL  paper crane", "x FAIL  paper crane"),
    ],
)
def test_each_verdict_is_a_word_and_a_mark(
    desk_set: CheckResult, index: int, headline: str, ascii_headline: str
) -> None:
    assert headline in rendered(desk_set).splitlines()
    assert ascii_headline in encoded(desk_set, "ascii").splitlines()
    single = only(desk_set, desk_set.props[index])
    assert rendered(single).splitlines()[0] == headline.replace(desk_set.props[index].name, desk_set.title)


def test_findings_that_are_not_pass_are_listed_fail_first(desk_set: CheckResult) -> None:
    page = rendered(only(desk_set, desk_set.props[2]))
    sentences = [
        line.split("  ")[-1].strip()
        for line in page.splitlines()
        if re.match(r"  [✗!] (fail|caution) ", line)
    ]
    assert sentences == [
        "It sags 22.8 mm, of which 5 mm are allowed.",
        "It wobbles by 6.4 px peak to peak after the move ends.",
        "It rings for 41 s.",
        "12 g is heavy for folded paper of this size: is the unit right?",
        "The head carries 65 % of its rated moment.",
    ]
    assert "The rod is strong enough." not in page


def test_every_value_stands_beside_its_limit(desk_set: CheckResult) -> None:
    page = rendered(desk_set)
    for row in (
        "  ! wobble after move  0.46 px, limit 1 (90 %: 0.2 to 1.31)",
        "  ! settle time        0.4 s, limit 0.25 (90 %: 0.1 or more)",
        "  ✓ strength factor    35.1, needs 1.5",
        "  ✗ sag                 22.8 mm, limit 5 (90 %: 19.9 to 26.4)",
        "  ! moment on the head  0.0325 N*m, limit 0.05",
        "    lowest frequency   17.9 Hz, sway up-down",
        "    chance to pass     62 %",
    ):
        assert row in page.splitlines()


def test_skipped_checks_are_named_with_their_reason_and_never_shown_as_pass(desk_set: CheckResult) -> None:
    skipped = (
        Finding(id="sag", label="sag", status=Status.SKIPPED, says="No length is given."),
        Finding(id="residual-wobble", label="wobble", status=Status.SKIPPED, says="No move is given."),
        Finding(id="settle", label="settle time", status=Status.SKIPPED, says="No move is given."),
    )
    prop = replace(
        desk_set.props[0], verdict=Status.CAUTION, static=None, modes=(), motion=None, findings=skipped
    )
    for details in (False, True):
        page = rendered(only(desk_set, prop), details=details)
        assert "✓" not in page
        assert (
            "  Not checked: sag (no length is given); wobble, settle time (no move is given)."
            in page.splitlines()
        )
    assert "  - sag                not checked" in page.splitlines()
    assert "  - wobble after move  not checked" in page.splitlines()
    assert "    strength factor    not computed" in page.splitlines()
    assert "    lowest frequency   not computed" in page.splitlines()
    assert "    - skipped  wobble" in page.splitlines()


def test_a_skipped_check_with_a_known_figure_shows_both(desk_set: CheckResult) -> None:
    finding = Finding(id="residual-wobble", label="wobble", status=Status.SKIPPED, says="No camera is given.")
    motion = MotionResult(
        peak_deviation_mm=0.2,
        residual_wobble_mm=0.0503,
        residual_wobble_px=None,
        settle_s=None,
        seen_frequency_Hz=None,
    )
    prop = replace(
        desk_set.props[0], motion=motion, findings=(finding,), ranges={"residual_wobble_mm": (0.02, 0.1)}
    )
    page = rendered(only(desk_set, prop), details=True).splitlines()
    assert "  - wobble after move  0.0503 mm, not checked" in page
    assert "    settle time        not computed" in page
    assert not any("seen on playback" in line or "on screen" in line for line in page)


def test_without_a_camera_the_wobble_is_in_millimetres(desk_set: CheckResult) -> None:
    motion = replace(desk_set.props[0].motion, residual_wobble_px=None, worst_case=True)  # type: ignore[type-var]
    prop = replace(desk_set.props[0], motion=motion, findings=(), ranges={"residual_wobble_mm": (0.01, 0.02)})
    page = rendered(only(desk_set, prop), details=True).splitlines()
    assert "    wobble after move  0.0121 mm (90 %: 0.01 to 0.02), worst case" in page
    assert "    settle time        0 s, worst case" in page
    assert "  Worst case of the move" in page


def test_a_finding_without_a_value_leaves_the_figure_of_the_result(desk_set: CheckResult) -> None:
    findings = (
        Finding(id="sag", label="sag", status=Status.CAUTION, says="It sags."),
        Finding(
            id="settle",
            label="settle time",
            status=Status.FAIL,
            limit=0.25,
            unit="s",
            says="It never settles.",
        ),
    )
    prop = replace(desk_set.props[0], findings=findings, ranges={})
    page = rendered(only(desk_set, prop)).splitlines()
    assert "  ! sag                0.223 mm" in page
    assert "  ✗ settle time        no figure, limit 0.25 s" in page


def test_of_several_findings_on_a_figure_the_worst_shows(desk_set: CheckResult) -> None:
    second = Finding(
        id="yield-factor",
        label="strength",
        status=Status.FAIL,
        value=1.2,
        limit=1.5,
        at_least=True,
        says="Too weak.",
    )
    prop = replace(desk_set.props[0], findings=(*desk_set.props[0].findings, second))
    assert "  ✗ strength factor    1.2, needs 1.5" in rendered(only(desk_set, prop)).splitlines()


@pytest.mark.parametrize("low", [1.0, 4.0])
def test_a_figure_outside_its_own_range_is_explained(desk_set: CheckResult, low: float) -> None:
    prop = desk_set.props[0]
    sag = prop.static.sag_mm
    changed = replace(desk_set, props=(replace(prop, ranges={"sag_mm": (low * sag, 9 * sag)}),))
    assert ("outside its brackets is the ideal" in rendered(changed)) == (low > 1)


def test_lowest_frequency_is_the_lowest_whatever_the_order(desk_set: CheckResult) -> None:
    prop = replace(desk_set.props[0], modes=desk_set.props[0].modes[::-1], ranges={})
    assert "    lowest frequency   33.1 Hz, sway right-left" in rendered(only(desk_set, prop)).splitlines()


def test_a_value_just_past_its_limit_does_not_look_inside(desk_set: CheckResult) -> None:
    finding = Finding(
        id="sag", label="sag", status=Status.FAIL, value=5.0004, limit=5.0, unit="mm", says="Too much."
    )
    prop = replace(desk_set.props[0], findings=(finding,), ranges={})
    assert "  ✗ sag                5.0004 mm, limit 5" in rendered(only(desk_set, prop)).splitlines()


@pytest.mark.parametrize("details", [False, True])
def test_cautions_stand_once_right_after_the_verdicts(desk_set: CheckResult, details: bool) -> None:
    page = rendered(desk_set, width=100, details=details)
    shot, shared, own = desk_set.cautions, desk_set.props[0].cautions[0], desk_set.props[1].cautions[1]
    for caution in (*shot, shared):
        assert page.count(f"  - {caution}\n") == 1
    assert page.count(f"  - notebook: {own}\n") == 1
    lines = page.splitlines()
    after_blocks = lines.index("  Do next: use music wire of 2.5 mm: sag 1.7 mm, wobble 0.6 px.") + 1
    assert lines[after_blocks : after_blocks + 2] == ["", "Cautions"]


def test_cautions_of_the_shot_are_not_repeated_for_the_prop(desk_set: CheckResult) -> None:
    result = replace(desk_set, cautions=(*desk_set.cautions, *desk_set.props[1].cautions))
    assert rendered(result, width=100).count(desk_set.props[1].cautions[1]) == 1


def test_details_say_everything(desk_set: CheckResult) -> None:
    page = rendered(desk_set, width=100, details=True)
    for prop in desk_set.props:
        assert f"Details: {prop.name}\n" in page
        for text in (*prop.assumptions, *(advice for finding in prop.findings for advice in finding.advice)):
            assert f"- {text}\n" in page
        for finding in prop.findings:
            assert f"      {finding.says}\n" in page
        for figure in prop.details:
            assert f"{figure.label}  {figure.value} ({figure.note})\n" in page
    assert "add --details" not in page
    assert "add --details" in rendered(desk_set)


@pytest.mark.parametrize(
    ("direction", "words"),
    [
        ((1.0, 0.0, 0.0), "right-left"),
        ((0.0, -1.0, 0.1), "up-down"),
        ((0.0, 0.0, 1.0), "toward-away"),
        ((0.6, 0.8, 0.0), "up-right to down-left"),
        ((-0.6, 0.8, 0.0), "up-left to down-right"),
        ((0.5, -0.5, 0.7), "toward-right-down to away-left-up"),
        ((0.0, 0.0, 0.0), "turns on the spot"),
    ],
)
def test_direction_of_a_mode_in_words(
    desk_set: CheckResult, direction: tuple[float, float, float], words: str
) -> None:
    mode = Mode(frequency_Hz=12.0, damping_ratio=0.003, direction=direction, kind="sway")
    page = rendered(only(desk_set, replace(desk_set.props[0], modes=(mode,))), details=True)
    assert f"    12  0.003    sway  {words}\n" in page


def test_a_displacement_says_which_way(desk_set: CheckResult) -> None:
    page = rendered(desk_set, details=True)
    assert "centre of mass      22.8 mm down, 1.4 mm away\n" in page
    # 0.0019 rad is 0.10886 deg
    assert "prop turns          0.109 deg about right\n" in page
    static = replace(desk_set.props[0].static, prop_displacement_mm=[0.0, 0.0, 0.0])  # type: ignore[type-var]
    still = rendered(only(desk_set, replace(desk_set.props[0], static=static)), details=True)
    assert "centre of mass      stays\n" in still


HOSTILE = "[bold]x[/]\x1b[31m\n\u202e:smile: [link=file:///]"
SHOWN = r"[bold]x[/]\x1b[31m\n\u202e:smile: [link=file:///]"


@pytest.mark.parametrize("details", [False, True])
def test_text_from_a_file_neither_styles_nor_steers(desk_set: CheckResult, details: bool) -> None:
    finding = replace(
        desk_set.props[2].findings[0], label=HOSTILE, says=HOSTILE, advice=(HOSTILE,), unit="mm", value=1.0
    )
    skipped = replace(desk_set.props[2].findings[-1], label=HOSTILE, says=HOSTILE)
    prop = replace(
        desk_set.props[2],
        name=HOSTILE,
        support=HOSTILE,
        findings=(finding, skipped),
        next_step=HOSTILE,
        cautions=(HOSTILE,),
        assumptions=(HOSTILE,),
        modes=(Mode(frequency_Hz=12.0, damping_ratio=0.003, direction=(0.0, 1.0, 0.0), kind=HOSTILE),),
    )
    result = CheckResult(title=HOSTILE, verdict=Status.FAIL, props=(prop, prop), cautions=(HOSTILE,))
    page = rendered(result, width=100, details=details, colours="truecolor")
    assert f"{SHOWN}" in SGR.sub("", page).splitlines()[0]
    assert set(SGR.findall(page)) <= {"0", "1", "1;38;5;28", "1;38;5;136", "1;38;5;196"}
    assert "\u202e" not in page
    rest = SGR.sub("", page)
    assert "\x1b" not in rest
    assert not any(ord(letter) < 32 and letter != "\n" for letter in rest)
    assert "x[/]" in rest


def test_piped_output_has_no_colour(desk_set: CheckResult) -> None:
    assert "\x1b" not in rendered(desk_set, details=True)


def test_no_color_is_honoured(desk_set: CheckResult) -> None:
    page = rendered(desk_set, details=True, colours="truecolor", environ={"NO_COLOR": "1"})
    assert set(SGR.findall(page)) == {"0", "1"}  # bold stays: it is no colour
    assert SGR.sub("", page) == rendered(desk_set, details=True)


def test_colour_only_repeats_the_words(desk_set: CheckResult) -> None:
    page = rendered(desk_set, details=True, colours="truecolor")
    assert SGR.sub("", page) == rendered(desk_set, details=True)


def test_terminals_with_sixteen_colours_of_their_own_get_bold_only(desk_set: CheckResult) -> None:
    assert set(SGR.findall(rendered(desk_set, colours="standard"))) == {"0", "1"}


def luminance(rgb: tuple[int, int, int]) -> float:
    """Relative luminance as W3C WCAG 2.1 defines it (from memory)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (part / 255 for part in rgb)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("ground", [(0, 0, 0), (41, 41, 41), (0, 43, 54), (253, 246, 227), (255, 255, 255)])
def test_colours_stand_out_on_dark_and_light_ground(
    desk_set: CheckResult, ground: tuple[int, int, int]
) -> None:
    used = {int(code) for code in re.findall(r"38;5;(\d+)", rendered(desk_set, colours="256"))}
    assert len(used) == 3
    for code in used:
        assert code >= 16  # below that the user's theme decides
        low, high = sorted((luminance(Color.from_ansi(code).get_truecolor()), luminance(ground)))
        # W3C WCAG 2.1, success criteria 1.4.3 (large text) and 1.4.11: at least 3 to 1 (from memory)
        assert (high + 0.05) / (low + 0.05) >= 3.0


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "latin-1", "utf-8"])
def test_any_encoding_can_print_it(desk_set: CheckResult, encoding: str) -> None:
    prop = replace(desk_set.props[2], name="Étui ✗ 手帳", next_step="raise it by 3 mm ± 2 % at 90°")
    page = encoded(replace(desk_set, props=(*desk_set.props, prop)), encoding)
    assert ("✗ FAIL" in page) == (encoding == "utf-8")
    assert ("x FAIL" in page) == (encoding != "utf-8")
    if encoding == "ascii":
        assert r"x FAIL  \xc9tui \u2717 \u624b\u5e33" in page
        assert "3 mm +/- 2 % at 90 deg" in page


def test_a_shot_without_props_or_title_still_prints() -> None:
    page = rendered(CheckResult(title="", verdict=Status.CAUTION, props=(), cautions=()), details=True)
    assert page == "! CAUTION  Untitled shot\n"


def test_views_start_without_the_heavy_libraries() -> None:
    code = (
        "import sys\n"
        "import rigcheck.views.as_json, rigcheck.views.format\n"
        "assert 'rich' not in sys.modules\n"
        "import rigcheck.views.terminal\n"
        "heavy = {'numpy', 'scipy', 'pint', 'pydantic', 'rich.table', 'rich.markdown', 'rich.syntax'}\n"
        "sys.exit(' '.join(sorted(heavy & set(sys.modules))) or None)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.strip()) == (0, "")


def test_an_unsure_chance_comes_with_what_to_measure(desk_set: CheckResult) -> None:
    weigh = Influence(figure="sag_mm", label="mass of the prop", share=0.81, measure="weigh the prop")
    other = Influence(figure="sag_mm", label="diameter", share=0.12, measure="measure the support")
    prop = replace(desk_set.props[0], chance_of_pass=0.62, surer=weigh, influences=(weigh, other))
    shown = rendered(replace(desk_set, props=(prop,)), width=100)
    assert "chance to pass     62 %; to be surer, weigh the prop\n" in shown
    assert "of the spread" not in shown
    whole = rendered(replace(desk_set, props=(prop,)), width=100, details=True)
    assert "sag: mass of the prop 81 %, diameter 12 % of the spread; to know better, weigh the prop." in whole
    sure = replace(prop, chance_of_pass=0.995)
    assert "to be surer" not in rendered(replace(desk_set, props=(sure,)), width=100)
