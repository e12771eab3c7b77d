"""The README's claims: its example is a rig file, its commands run, its files exist, its exit codes are true."""

from __future__ import annotations

import contextlib
import io
import json
import re
import shlex
import shutil
import sys
import tomllib
from pathlib import Path
from unittest.mock import patch

import jsonschema
import pytest

from rigcheck.__main__ import main
from rigcheck.files import rig_from_text, schema

CHECKOUT = Path(__file__).parents[1]
README = (CHECKOUT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
EXAMPLES = [text for kind, text in BLOCKS if kind == "toml"]
LINES = [line for kind, text in BLOCKS if kind in ("sh", "console") for line in text.splitlines()]
COMMANDS = [line for line in LINES if line.startswith("rigcheck ")]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the demo data and the README's own rig file, under the name that its commands use."""
    shutil.copytree(CHECKOUT / "shared", tmp_path / "shared")
    (tmp_path / "inkwell.toml").write_text(EXAMPLES[0], encoding="utf-8")
    return tmp_path


def run(folder: Path, words: list[str]) -> tuple[int, str, str]:
    """The program within this process: exit code, what it printed, what it said."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    with (
        patch.object(sys, "argv", ["rigcheck", *words]),
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
    out.seek(0)
    err.seek(0)
    return code, out.read(), err.read()


def test_there_are_an_example_and_commands_to_hold():
    assert EXAMPLES
    assert len(COMMANDS) >= 6
    assert any("inkwell.toml" in line for line in COMMANDS)


@pytest.mark.parametrize("text", EXAMPLES, ids=lambda text: text.splitlines()[0])
def test_rig_examples_are_rig_files(text):
    rig_from_text(text)
    jsonschema.validate(tomllib.loads(text), schema())


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_runs(folder, line):
    """No bad usage and nothing on stderr; what goes to a file ("> name") is printed here."""
    words = shlex.split(line, comments=True)[1:]
    if ">" in words:
        words = words[: words.index(">")]
    if words[0] == "start":
        text = (folder / "shared" / "answers" / "paper-crane.txt").read_text(encoding="utf-8")
        with patch.object(sys, "stdin", io.StringIO(text)):
            code, printed, said = run(folder, words)
    else:
        code, printed, said = run(folder, words)
        assert said == ""
    assert code in (0, 1), said
    assert printed.strip()


def test_the_python_example_runs():
    (code,) = [text for kind, text in BLOCKS if kind == "python"]
    done: dict[str, object] = {}
    with contextlib.chdir(CHECKOUT):
        exec(code, done)
    assert str(done["result"].verdict) == "pass"
    assert done["found"].props[0].best


def test_flags_say_what_the_file_says(folder):
    """The README gives the same rig twice."""
    with_flags = next(line for line in COMMANDS if "--diameter" in line and " check " in line)
    by_flags, by_file = (
        json.loads(run(folder, [*words, "--json"])[1])["props"][0]
        for words in (shlex.split(with_flags, comments=True)[1:], ["check", "inkwell.toml"])
    )
    for part in ("verdict", "static", "modes", "motion"):
        assert by_flags[part] == by_file[part]
    assert [one["status"] for one in by_flags["findings"]] == [one["status"] for one in by_file["findings"]]


def test_files_that_are_named_exist():
    named = set(re.findall(r"\b(?:shared|materials|tests|rigcheck)/[\w./-]*\w", README))
    assert named
    for name in named:
        assert (CHECKOUT / name).exists(), name


def test_the_demo_shot_fails_as_the_first_command_says(folder):
    assert "exit code 1" in README
    code, printed, _ = run(folder, ["check", "shared/shots/desk-set.toml"])
    assert code == 1
    assert printed.splitlines()[0].endswith("Desk set, shot 4")
