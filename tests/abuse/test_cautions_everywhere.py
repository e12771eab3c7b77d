"""The cautions for a safe load, and who comes before this program, on every output of every command."""

import html
import io
import itertools
import re
import sys
from pathlib import Path

import pytest
from fuzzing import BENT, FLOATING, HANGING, KEYS, LINE, TWO, run_words

ROOT = Path(__file__).parents[2]
TAKE = ROOT / "shared" / "takes" / "notebook-take.csv"
ANSWERS = ROOT / "shared" / "answers" / "paper-crane.txt"
DESK = ROOT / "shared" / "shots" / "desk-set.toml"

TWICE = "hang twice the weight"
DEFER = "Local rules and a competent rigger come before this result"
FLAGS = ["--material=music-wire", "--diameter=3mm", "--length=120mm", "--mass=40g"]


@pytest.fixture
def rig(tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(FLOATING)
    # Without a move, so that choosing is quick.
    (tmp_path / "still.toml").write_text(
        EASY.format(side="behind", material="brass-c260", limits="", camera="")
    )
    return tmp_path


def plain(text):
    """Text as it is read: no tags, no line ends, no hyphens of a frame."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", text)).replace("\\n", " ").split())


@pytest.mark.parametrize(
    "words",
    [
        ["check", "rig.toml"],
        ["check", "rig.toml", "--details"],
        ["check", "rig.toml", "--json"],
        ["check", *FLAGS],
        ["check", *FLAGS, "--json"],
        ["choose", "still.toml"],
        ["choose", "still.toml", "--json"],
        ["retime", "rig.toml"],
        ["retime", "rig.toml", "--details"],
        ["retime", "rig.toml", "--json"],
        ["explain", str(TAKE)],
        ["explain", str(TAKE), "--json"],
        ["explain", str(TAKE), "--rig", str(DESK), "--prop", "notebook"],
        ["explain", str(TAKE), "--rig", str(DESK), "--prop", "notebook", "--details"],
        ["explain", str(TAKE), "--rig", str(DESK), "--prop", "notebook", "--json"],
        ["explain", "--hung", "200g", "--sag", "1.6mm", "--rig", str(DESK), "--prop", "notebook"],
        ["sheet", "rig.toml"],
        ["sheet", "rig.toml", "--overwrite", "--json"],
    ],
    ids=lambda words: " ".join(Path(word).name for word in words),
)
def test_every_result(rig, words):
    code, wrong, output, _ = run_words(words)
    assert not wrong
    assert code in (0, 1)
    assert TWICE in plain(output)
    assert DEFER in plain(output)


def test_the_page(rig):
    assert run_words(["sheet", "rig.toml", "-o", "page.html"])[0] in (0, 1)
    page = plain((rig / "page.html").read_text())
    assert TWICE in page
    assert DEFER in page


def test_the_printed_page(rig):
    pytest.importorskip(
        "weasyprint", exc_type=(ImportError, OSError), reason="the extra pdf is not installed here"
    )
    pypdf = pytest.importorskip("pypdf")
    code, wrong, _, errors = run_words(["sheet", "rig.toml", "--pdf", "sheet.pdf"])
    assert not wrong
    assert code in (0, 1), errors
    printed = plain(" ".join(page.extract_text() for page in pypdf.PdfReader(rig / "sheet.pdf").pages))
    assert TWICE in printed
    assert DEFER in printed


@pytest.mark.parametrize("more", [[], ["--json"], ["crane.toml"]], ids=" ".join)
def test_what_the_answers_to_start_come_to(rig, monkeypatch, more):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(ANSWERS.read_bytes()), "utf-8"))
    code, wrong, output, errors = run_words(["start", *more])
    assert not wrong
    assert code in (0, 1), errors
    assert TWICE in plain(output)
    assert DEFER in plain(output)


@pytest.mark.parametrize(
    "words",
    [
        ["check", "rig.toml"],
        ["retime", "rig.toml"],
        ["explain", str(TAKE)],
        ["explain", str(TAKE), "--rig", str(DESK), "--prop", "notebook"],
    ],
    ids=["check", "retime", "explain", "explain with a rig"],
)
def test_every_figure(rig, words):
    code, wrong, _, errors = run_words([*words, "--figure", "figure.svg"])
    assert not wrong
    assert code in (0, 1), errors
    text = plain((rig / "figure.svg").read_text())
    assert "Caution" in text
    assert TWICE in text


@pytest.mark.parametrize("words", [["stock", "carbon"], ["stock", "14", "SWG"], ["stock", "steel", "--json"]])
def test_stock_says_what_its_values_are_good_for(words, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    said = plain(run_words(words)[2])
    assert "not as design values" in said or "Typical values" in said
    assert "Local codes and licensed practice come first" in said


# -- overhead never passes ------------------------------------------------------------------------------

EASY = """
[limits]
hazard = "overhead"
{limits}

{camera}
[[prop]]
name = "stamp"
mass = "1 g"

[[prop.support]]
material = "{material}"
diameter = "8 mm"
length = "20 mm"
from = "{side}"
"""


@pytest.mark.parametrize("side", ["behind", "above", "below"])
@pytest.mark.parametrize("material", ["stainless-304-spring", "brass-c260"])
@pytest.mark.parametrize("limits", ["", 'wobble = 10000\nsag = "100 mm"\nsettle = "100 s"\ntakes = 1'])
def test_the_strongest_rig_does_not_pass_over_people(rig, side, material, limits):
    camera = '[camera]\nfield_width = "2 m"\nimage_width = 640\nframe_rate = "50 fps"\n' if limits else ""
    (rig / "rig.toml").write_text(EASY.format(side=side, material=material, limits=limits, camera=camera))
    for words in (
        ["check", "rig.toml", "--json"],
        ["check", "rig.toml"],
        ["sheet", "rig.toml", "--overwrite"],
    ):
        code, wrong, output, _ = run_words(words)
        assert not wrong
        assert code in (0, 1)
        assert '"verdict": "pass"' not in output
        assert "PASS" not in output
    (rig / "rig.toml").write_text((rig / "rig.toml").read_text().replace("overhead", "clear"))
    assert '"verdict": "pass"' in run_words(["check", "rig.toml", "--json"])[2]  # it is the hazard alone


@pytest.mark.parametrize(
    "text", [FLOATING, TWO, BENT, LINE, HANGING], ids=["one", "two", "bent", "line", "hanging"]
)
def test_no_command_passes_a_shot_over_people(rig, text):
    text = re.sub(r"\[limits\]\nhazard = .*\n", "[limits]\n", text)
    text = (
        text.replace("[limits]\n", '[limits]\nhazard = "overhead"\n')
        if "[limits]" in text
        else ('[limits]\nhazard = "overhead"\n' + text)
    )
    (rig / "rig.toml").write_text(text)
    (rig / "keys.csv").write_text(KEYS)
    for words in (
        ["check", "rig.toml", "--json"],
        ["retime", "rig.toml", "--json"],
    ):
        _, wrong, output, _ = run_words(words)
        assert not wrong
        assert '"verdict": "pass"' not in output


def test_nothing_that_is_chosen_passes_over_people(rig):
    _, wrong, output, _ = run_words(["choose", "still.toml", "--json"])
    assert not wrong
    assert '"verdict": "caution"' in output  # there is something to choose
    assert '"verdict": "pass"' not in output


MORE = [
    "--duration=9s",
    "--slide=1mm",
    "--field-width=9m",
    "--image-width=100",
    "--profile=cycloidal",
    "--clamp=collet",
]


@pytest.mark.parametrize("more", list(itertools.combinations(MORE, 2)), ids=" ".join)
def test_no_flag_makes_a_pass_over_people(rig, more):
    words = [
        "check",
        "--hazard=overhead",
        "--material=music-wire",
        "--diameter=8mm",
        "--length=20mm",
        "--mass=1g",
    ]
    if not any(flag.startswith("--slide") for flag in more) or not any("duration" in flag for flag in more):
        more = (
            *[flag for flag in more if "slide" not in flag and "duration" not in flag],
            "--slide=1mm",
            "--duration=9s",
        )
    _, wrong, output, _ = run_words([*words, *more, "--json"])
    assert not wrong
    assert '"verdict": "pass"' not in output
