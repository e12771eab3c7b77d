"""The command line as its user meets it: whole processes, their exit codes, and what goes where."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shlex
import subprocess
import sys
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from unittest.mock import patch

import jsonschema
import pytest

import rigcheck
from rigcheck.cli import run

CHECKOUT = Path(__file__).parents[1]

GOOD = """
title = "Desk set"
[[prop]]
name = "inkwell"
mass = "100 g"
[[prop.support]]
material = "music-wire"
diameter = "4 mm"
length = "120 mm"
[[prop.move]]
slide = "100 mm"
duration = "6 s"
profile = "cycloidal"
"""
FAILING = GOOD.replace('diameter = "4 mm"', 'diameter = "0.8 mm"')
THREE_MISTAKES = """
[[prop]]
name = "inkwell"
mass = "310 mm"
[[prop.support]]
material = "music-wyre"
diameter = "3"
length = "180 mm"
"""
ACCENTS = GOOD.replace("Desk set", "Étui № 4 – plié").replace("inkwell", "encrier à l'étage")
FLAGS = ["--material", "music-wire", "--diameter", "4mm", "--length", "120mm", "--mass", "100g"]
FLAGS += ["--slide", "100mm", "--duration", "6s"]

Outcome = subprocess.CompletedProcess[str]


def process(folder: Path, *words: str, **environment: str) -> Outcome:
    """Run ``python -m rigcheck`` in another folder, away from any terminal; there is never a traceback."""
    done = subprocess.run(
        [sys.executable, "-m", "rigcheck", *words],
        cwd=folder,
        env={**plain_environment(), "PYTHONIOENCODING": "utf-8", **environment},
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert "Traceback" not in done.stderr, done.stderr
    assert done.returncode in (0, 1, 2), done.stderr
    return done


def plain_environment() -> dict[str, str]:
    """The environment without what would tell about a terminal, and with the checkout's package."""
    names = ("COLUMNS", "NO_COLOR", "FORCE_COLOR", "TERM", "LC_ALL", "LANG")
    kept = {
        key: value for key, value in os.environ.items() if key not in names and not key.startswith("PYTHON")
    }
    return {**kept, "PYTHONPATH": str(CHECKOUT)}


def inside(folder: Path, *words: str, **environment: str) -> Outcome:
    """The same program within this process, for cases that do not need one of their own."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with (
        patch.dict(os.environ, {**plain_environment(), **environment}, clear=True),
        patch.object(sys, "argv", ["rigcheck", *words]),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            run()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    out.seek(0)
    err.seek(0)
    return Outcome([*words], code, out.read(), err.read())


PROCESSES: dict[str, tuple[str, ...]] = {
    "good": ("check", "good.toml"),
    "failing json": ("check", "failing.toml", "--json"),
    "flags": ("check", *FLAGS),
    "mistakes": ("check", "mistakes.toml"),
    "missing": ("check", "goof.toml"),
    "folder": ("check", "."),
    "file and flags": ("check", "good.toml", "--mass", "3g"),
    "nothing": ("check",),
    "unknown prop": ("check", "good.toml", "--prop", "inkwel"),
    "control characters": ("check", "a\x1b[31mb.toml"),
    "no command": (),
    "version": ("--version",),
    "help": ("--help",),
    "stock": ("stock",),
    "stock 14 SWG": ("stock", "14", "SWG"),
    "stock 18 gauge": ("stock", "18 gauge"),
    "schema": ("schema",),
}
INSIDE: dict[str, tuple[str, ...]] = {
    "good json": ("check", "good.toml", "--json"),
    "failing": ("check", "failing.toml"),
    "details": ("check", "failing.toml", "--details"),
    "flags json": ("check", *FLAGS, "--json"),
    "mistakes json": ("check", "mistakes.toml", "--json"),
    "not text": ("check", "binary.toml"),
    "empty": ("check", "empty.toml"),
    "wrong flags": ("check", *FLAGS[:2], "--diameter", "3", "--length", "180mm", "--mass", "3 mm"),
    "unknown flag": ("check", "--lenght", "180mm"),
    "prop": ("check", "good.toml", "--prop", "inkwell"),
    "unknown command": ("chekc",),
    "help of check": ("check", "--help"),
    "help of stock": ("stock", "--help"),
    "help of schema": ("schema", "--help"),
    "stock 18 gauge json": ("stock", "18 gauge", "--json"),
    "stock nothing": ("stock", "unobtainium"),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with rig files, outside the checkout."""
    place = tmp_path_factory.mktemp("set")
    texts = {"good": GOOD, "failing": FAILING, "mistakes": THREE_MISTAKES, "accents": ACCENTS, "empty": ""}
    for name, text in texts.items():
        (place / f"{name}.toml").write_text(text, encoding="utf-8")
    (place / "binary.toml").write_bytes(b"\x89PNG\r\n\x1a\n\xff\xfe")
    return place


@pytest.fixture(scope="module")
def outcomes(folder: Path) -> dict[str, Outcome]:
    """Every case; the processes a few at a time."""
    with ThreadPoolExecutor(3) as pool:
        done = list(pool.map(lambda words: process(folder, *words), PROCESSES.values()))
    within = {case: inside(folder, *words) for case, words in INSIDE.items()}
    return dict(zip(PROCESSES, done, strict=True)) | within


GOOD_CASES = ["good", "good json", "flags", "flags json", "prop", "version", "schema"]
GOOD_CASES += ["help", "help of check", "help of stock", "help of schema"]
GOOD_CASES += ["stock", "stock 14 SWG", "stock 18 gauge", "stock 18 gauge json"]
BAD_CASES = [
    "mistakes",
    "mistakes json",
    "missing",
    "folder",
    "not text",
    "empty",
    "file and flags",
    "nothing",
]
BAD_CASES += [
    "wrong flags",
    "unknown flag",
    "unknown prop",
    "control characters",
    "no command",
    "unknown command",
]
EXIT_CODES = {0: GOOD_CASES, 1: ["failing", "failing json", "details"], 2: BAD_CASES}


@pytest.mark.parametrize("code", EXIT_CODES)
def test_exit_codes(outcomes, code):
    """0 all pass or caution, 1 something fails, 2 bad input or usage."""
    found = {case: outcomes[case].returncode for case in EXIT_CODES[code]}
    assert found == dict.fromkeys(EXIT_CODES[code], code)


def test_results_on_stdout_and_messages_on_stderr(outcomes):
    for case in EXIT_CODES[2]:
        assert outcomes[case].stdout == "", case
        assert outcomes[case].stderr.strip(), case
    for case in (*EXIT_CODES[0], *EXIT_CODES[1]):
        assert outcomes[case].stderr == "", case
        assert outcomes[case].stdout.strip(), case


# -- messages -------------------------------------------------------------------------------------------


def test_all_mistakes_of_a_file_are_reported_together(outcomes):
    """Each with line, key, what was given, what is allowed, and the nearest correct word."""
    said = outcomes["mistakes"].stderr.splitlines()
    assert said[0] == "rigcheck: mistakes.toml: 3 problems"
    assert [re.match(r"  line (\d+), (.*?):", line).groups() for line in said[1:-1]] == [
        ("4", 'prop "inkwell" > mass = "310 mm"'),
        ("6", 'prop "inkwell" > support > material = "music-wyre"'),
        ("7", 'prop "inkwell" > support > diameter = "3"'),
    ]
    assert "a mass is needed" in said[1]
    assert 'Did you mean "music-wire"?' in said[2]
    assert '"3 mm"' in said[3]
    assert said[-1].startswith("  Next: rigcheck stock ")
    told, told_with_json = (outcomes[case].stderr for case in ("mistakes", "mistakes json"))
    assert told == told_with_json


@pytest.mark.parametrize(
    ("words", "mended"),
    [
        ("check good.toml --prop inkwel", "check good.toml --prop inkwell"),
        (
            "choose accents.toml --json --prop=encrier",
            'choose accents.toml --json "--prop=encrier à l\'étage"',
        ),
        ("sheet godo --prop inkwell", "sheet good.toml --prop inkwell"),
        ("retime good.toml --profile cyclodial", "retime good.toml --profile cycloidal"),
        (
            "explain tkae.csv --rig good.toml --prop 'ink well'",
            "explain take.csv --rig good.toml --prop 'ink well'",
        ),
    ],
)
def test_a_mistyped_word_leads_to_the_corrected_command_line(tmp_path, words, mended):
    (tmp_path / "good.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "accents.toml").write_text(ACCENTS, encoding="utf-8")
    (tmp_path / "take.csv").write_text("time_s,x_mm\n", encoding="utf-8")
    done = inside(tmp_path, *shlex.split(words))
    assert done.returncode == 2
    assert f"  Next: rigcheck {mended}\n" in done.stderr.replace('"ink well"', "'ink well'")
    # As typed by the shell it says the same again, with the one word mended.
    said = shlex.split(done.stderr.split("  Next: rigcheck ")[1])
    assert len(said) == len(shlex.split(words))


def test_what_a_shell_would_read_otherwise_is_quoted_whole(tmp_path):
    (tmp_path / "good.toml").write_text(GOOD.replace("inkwell", "ink$well"), encoding="utf-8")
    done = inside(tmp_path, "check", "good.toml", "--prop", "ink$wel")
    assert "  Next: rigcheck check good.toml --prop 'ink$well'\n" in done.stderr


def test_errors_name_the_next_command_to_try(outcomes):
    assert "  Next: rigcheck check good.toml\n" in outcomes["missing"].stderr
    assert "  Next: rigcheck check --help\n" in outcomes["wrong flags"].stderr
    for case in BAD_CASES:
        assert "rigcheck " in outcomes[case].stderr.replace("rigcheck: ", ""), case


@pytest.mark.parametrize(
    ("case", "words"),
    [
        ("missing", ["goof.toml", "no such file", 'Did you mean "good.toml"?']),
        ("folder", ["is a folder"]),
        ("not text", ["UTF-8"]),
        ("empty", ["is empty", "[[prop]]"]),
        ("file and flags", ["not both", "--mass", "good.toml"]),
        ("nothing", ["rig file", "--material"]),
        ("wrong flags", ["2 problems", "--diameter = 3", "--mass = 3 mm"]),
        ("unknown flag", ["--lenght", "--length"]),
        ("unknown prop", ['"inkwel"', 'Did you mean "inkwell"?']),
        ("unknown command", ["chekc", "rigcheck check"]),
    ],
)
def test_message_says_what_was_given_and_what_to_do(outcomes, case, words):
    for word in words:
        assert word in outcomes[case].stderr


def test_text_from_the_user_cannot_steer_the_terminal(outcomes):
    assert "\x1b" not in outcomes["control characters"].stderr


def test_help_names_every_command_and_the_version_is_the_package_s(outcomes):
    assert outcomes["version"].stdout == f"rigcheck {rigcheck.__version__}\n"
    for command in ("check", "stock", "schema"):
        assert re.search(rf"^  {command} ", outcomes["help"].stdout, re.MULTILINE)
    for flag in ("--json", "--details", "--prop", "--material", "--field-width", "--hazard"):
        assert flag in outcomes["help of check"].stdout


# -- results --------------------------------------------------------------------------------------------


def test_verdict_is_a_word_and_a_mark(outcomes):
    assert outcomes["good"].stdout.startswith("✓ PASS  Desk set\n")
    assert outcomes["failing"].stdout.startswith("✗ FAIL  Desk set\n")
    assert json.loads(outcomes["good json"].stdout)["verdict"] == "pass"
    assert json.loads(outcomes["failing json"].stdout)["verdict"] == "fail"


@pytest.mark.parametrize("case", ["good", "failing", "details", "flags"])
def test_cautions_stand_on_every_output(outcomes, case):
    lines = outcomes[case].stdout.splitlines()
    said = " ".join(" ".join(lines[lines.index("Cautions") :]).split())
    assert "nobody under the prop" in said
    assert "hang twice the weight" in said
    assert "Local rules and a competent rigger come before this result." in said


def test_file_and_flags_give_the_same_answer(outcomes):
    by_file, by_flags = (
        json.loads(outcomes[case].stdout)["props"][0] for case in ("good json", "flags json")
    )
    assert by_flags["static"] == by_file["static"]
    assert by_flags["modes"] == by_file["modes"]
    assert by_flags["motion"] != by_file["motion"]  # the file's move is a smoother one


def test_one_prop_of_the_shot(outcomes):
    assert outcomes["prop"].stdout == outcomes["good"].stdout


def test_details_say_more(outcomes):
    short, long = outcomes["failing"].stdout, outcomes["details"].stdout
    for heading in ("Checks", "Modes", "Settled state", "The move", "Assumptions"):
        assert re.search(rf"^  {heading}", long, re.MULTILINE), heading
        assert not re.search(rf"^  {heading}", short, re.MULTILINE), heading
    assert "--details" in short


def test_stock_finds_gauges_and_says_where_a_gauge_is_ambiguous(outcomes):
    # British standard wire gauge 14 is 0.080 in (handbook table, from memory)
    assert "2.03" in outcomes["stock 14 SWG"].stdout
    said = outcomes["stock 18 gauge"].stdout
    for name in ("18 AWG", "18 SWG", "18 MWG"):
        assert name in said
    assert "does not say which gauge" in said
    assert "not guaranteed" in " ".join(said.split())
    found = json.loads(outcomes["stock 18 gauge json"].stdout)
    assert [entry["name"] for entry in found["entries"][:3]] == ["18 AWG", "18 SWG", "18 MWG"]
    assert found["cautions"]
    assert "Nothing in stock" in outcomes["stock nothing"].stdout


def test_schema_is_one_and_takes_the_good_file(outcomes):
    schema = json.loads(outcomes["schema"].stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert validator.is_valid(tomllib.loads(GOOD))
    assert not validator.is_valid(tomllib.loads(THREE_MISTAKES))


# -- pipes, widths, encodings ---------------------------------------------------------------------------


def test_no_colour_without_a_terminal(outcomes):
    for case in ("good", "failing", "details", "stock"):
        assert "\x1b" not in outcomes[case].stdout


def test_no_color_is_obeyed_and_colour_only_repeats(folder):
    terminal = {"FORCE_COLOR": "1", "TERM": "xterm-256color"}
    forced = inside(folder, "check", "failing.toml", **terminal).stdout
    assert "\x1b[1;38;5;196m" in forced
    plain = process(folder, "check", "failing.toml", **terminal, NO_COLOR="1").stdout
    codes = {code for sequence in re.findall(r"\x1b\[([0-9;]*)m", plain) for code in sequence.split(";")}
    assert codes <= {"0", "1"}  # bold is no colour
    assert re.sub(r"\x1b\[[0-9;]*m", "", forced) == re.sub(r"\x1b\[[0-9;]*m", "", plain)


@pytest.mark.parametrize(
    "words", [("check", "failing.toml"), ("check", "failing.toml", "--details"), ("stock", "brass")]
)
def test_sixty_columns(folder, words):
    narrow = inside(folder, *words, COLUMNS="60").stdout
    assert max(len(line) for line in narrow.splitlines()) <= 60
    if words[0] == "check":  # the same words, in other lines
        wide = inside(folder, *words, COLUMNS="100").stdout
        assert max(len(line) for line in wide.splitlines()) <= 100
        assert narrow.split() == wide.split()


def test_sixty_columns_of_a_process(folder, outcomes):
    narrow = process(folder, "check", "good.toml", COLUMNS="60").stdout
    assert max(len(line) for line in narrow.splitlines()) <= 60
    assert narrow.split() == outcomes["good"].stdout.split()


@pytest.mark.parametrize("width", ["60", "70", "80", "90", "100", "120", "160"])
def test_stock_shows_names_and_values_whole_at_every_width(folder, width):
    said = inside(folder, "stock", "14 SWG", COLUMNS=width).stdout
    assert max(len(line) for line in said.splitlines()) <= int(width)
    assert "8530 kg/m³" in said
    assert "stainless-304-annealed" in said
    assert "…" not in said


def test_ascii_output(folder):
    said = process(folder, "check", "accents.toml", PYTHONIOENCODING="ascii")
    assert said.returncode == 0
    assert said.stdout.isascii()
    assert "+ PASS" in said.stdout
    # JSON is UTF-8 (RFC 8259) or escaped; either way the title comes through
    whole = process(folder, "check", "accents.toml", "--json", PYTHONIOENCODING="ascii")
    assert json.loads(whole.stdout)["title"] == "Étui № 4 – plié"
    missing = process(folder, "check", "étui.toml", PYTHONIOENCODING="ascii")
    assert missing.returncode == 2
    assert "no such file" in missing.stderr


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("check", "good.toml"), 0),
        (("check", "failing.toml", "--json"), 1),
        (("stock",), 0),
    ],
)
def test_reader_that_has_gone(folder, words, code):
    """``| head`` and ``| less`` close the pipe: no message, and the exit code still tells the verdict."""
    process = subprocess.Popen(
        [sys.executable, "-m", "rigcheck", *words],
        cwd=folder,
        env=plain_environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == code
    assert said == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device here that is always full")
@pytest.mark.parametrize("words", [("check", "good.toml"), ("schema",)])
def test_full_disk(folder, words):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "rigcheck", *words],
            cwd=folder,
            env=plain_environment(),
            stdout=full,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.startswith("rigcheck: the result cannot be written")
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("command", ["check", "choose"])
def test_no_command_waits_for_a_library_that_it_does_not_need(command):
    # The demo shot has one of everything usual: large displacement, moves, an insert, a camera, cures and ranges.
    # What is distinct in an array loads numpy.ma where np.unique or np.setdiff1d is asked for it.
    code = (
        "import sys; from rigcheck.cli import run\n"
        f"sys.argv = ['rigcheck', '{command}', 'shared/shots/desk-set.toml']\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        "print('loaded:', *({'pint', 'scipy', 'numpy.ma', 'matplotlib', 'jinja2'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=CHECKOUT
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].strip() == "loaded:"
