"""A number and its percent sign have a space between them, in every sentence of the program and all it prints."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from rigcheck.cli import commands

CHECKOUT = Path(__file__).parents[1]
PACKAGE = CHECKOUT / "rigcheck"
SHOT = str(CHECKOUT / "shared" / "shots" / "desk-set.toml")
TAKE = str(CHECKOUT / "shared" / "takes" / "notebook-take.csv")
COMMANDS = (
    ["check", SHOT, "--details"],
    ["retime", SHOT, "--details"],
    ["explain", TAKE, "--rig", SHOT, "--prop", "notebook", "--details"],
    ["sheet", SHOT],
    ["stock", "music-wire"],
    ["choose", SHOT, "--prop", "inkwell"],
)


def close_percents(source: str) -> list[int]:
    """Lines whose f-strings put a percent sign right behind a value."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.JoinedStr):
            continue
        for part, after in zip(node.values, [*node.values[1:], None], strict=True):
            if not isinstance(part, ast.FormattedValue):
                continue
            spec = ast.unparse(part.format_spec) if part.format_spec is not None else ""
            behind = after.value if isinstance(after, ast.Constant) else ""
            if spec.rstrip("'\"").endswith("%") or str(behind).startswith("%"):
                found.append(part.lineno)
    return found


@pytest.mark.parametrize("written", ['f"{0.69:.0%} of it"', 'f"{69}% of it"'])
def test_a_close_percent_is_found(written):
    assert close_percents(written) == [1]
    assert not close_percents('f"{69} % of it"')


def test_no_sentence_is_written_with_one():
    close = {
        f"{path.relative_to(CHECKOUT)}:{line}"
        for path in PACKAGE.rglob("*.py")
        for line in close_percents(path.read_text(encoding="utf-8"))
    }
    assert not close


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_no_command_prints_one(words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(commands, words)
    assert done.exit_code in (0, 1), done.output
    assert not re.findall(r"[^\n]{0,30}\d%[^\n]{0,20}", done.output)
    assert done.output.strip()
