"""Help: every command says what it does, and has an example that works as typed."""

from __future__ import annotations

import contextlib
import re
import shlex
import shutil
from pathlib import Path

import click
import numpy as np
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from rigcheck.cli import commands
from rigcheck.cli.group import COMMANDS

CHECKOUT = Path(__file__).parents[2]


def command(name: str) -> click.Command:
    found = commands.get_command(click.Context(commands), name)
    assert found is not None
    return found


def examples(help_text: str) -> list[str]:
    """The lines of the help that are commands, each whole where it goes on below a backslash."""
    return re.findall(r"^\s*(rigcheck .*)$", re.sub(r"\\\n\s*", "", help_text), re.MULTILINE)


EXAMPLES = [(name, line) for name in COMMANDS for line in examples(command(name).help or "")]


@pytest.fixture
def folder(tmp_path: Path):
    """A folder with the demo data, in which the examples run."""
    shutil.copytree(CHECKOUT / "shared", tmp_path / "shared")
    with contextlib.chdir(tmp_path):
        yield tmp_path


def own_video(path: Path) -> None:
    """What stands for the user's own video: a block that swings at 8 Hz and dies away."""
    pytest.importorskip("cv2")
    from rendered_takes import RenderedTake, encode

    def way(times):
        swing = 6 * np.exp(-times) * np.sin(50 * times)
        return np.stack([160 + 0 * times, 120 + swing, 0 * times], axis=1)

    encode(RenderedTake(way=way, frames=120, waves=12).pictures(), path, rate=50.0)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name):
    assert [line for of, line in EXAMPLES if of == name]
    said = CliRunner().invoke(commands, [name, "--help"]).stdout
    assert said.startswith("Usage: ")
    for option in command(name).params:
        assert isinstance(option, click.Argument) or option.help, option.name


@pytest.mark.parametrize(("name", "line"), EXAMPLES, ids=[line[:70] for _, line in EXAMPLES])
def test_every_example_works_as_typed(folder, name, line):
    words = shlex.split(line)[1:]
    assert words[0] == name
    if "take.mp4" in words:
        own_video(folder / "take.mp4")
    typed = None
    if "<" in words:
        typed = Path(words[words.index("<") + 1]).read_text(encoding="utf-8")
        words = words[: words.index("<")]
    elif name == "start":
        typed = (folder / "shared" / "answers" / "paper-crane.txt").read_text(encoding="utf-8")
    if ">" in words:
        words = words[: words.index(">")]
    done = CliRunner().invoke(commands, words, input=typed, catch_exceptions=False)
    assert done.exit_code in (0, 1), done.stderr
    assert done.stdout.strip()
    talks = name == "start" or "take.mp4" in words  # questions, and what is being followed
    wrote = done.stderr.startswith("Wrote ") and done.stderr.count("\n") == 1
    assert talks or wrote or done.stderr == ""


@pytest.mark.parametrize("width", [60, 80, 100])
def test_the_list_of_commands_is_not_cut_off(width):
    said = CliRunner().invoke(commands, ["--help"], terminal_width=width).stdout
    assert max(map(len, said.splitlines())) <= width
    assert "..." not in said.split("\nCommands:\n")[1]
    for name in COMMANDS:
        assert re.search(rf"^  {name} ", said, re.MULTILINE)


@pytest.mark.parametrize("name", COMMANDS)
def test_no_line_of_the_help_is_wider_than_80_columns(name):
    said = CliRunner().invoke(commands, [name, "--help"], terminal_width=80).stdout
    assert max(map(len, said.splitlines())) <= 80


def test_every_module_of_a_command_is_listed():
    others = {"__init__", "completing", "group", "next_step", "options", "running", "words"}
    modules = {path.stem for path in (CHECKOUT / "rigcheck" / "cli").glob("*.py")}
    assert set(COMMANDS) <= modules
    assert all(not hasattr(command_module(name), name) for name in modules - set(COMMANDS) - others)


def command_module(name: str):
    import importlib

    return importlib.import_module(f"rigcheck.cli.{name}")


# -- shell completion -----------------------------------------------------------------------------------


def offered(*words: str) -> list[str]:
    *before, incomplete = words
    completing = ShellComplete(commands, {}, "rigcheck", "_RIGCHECK_COMPLETE")
    return [item.value for item in completing.get_completions(before, incomplete)]


def test_commands_and_options_are_completed():
    assert offered("re") == ["retime"]
    assert "--details" in offered("check", "--d")


@pytest.mark.parametrize(
    "words", [("check", "{shot}", "--prop"), ("explain", "take.csv", "--rig", "{shot}", "--prop")]
)
def test_props_of_the_file_are_completed(words):
    shot = str(CHECKOUT / "shared" / "shots" / "desk-set.toml")
    words = tuple(word.format(shot=shot) for word in words)
    assert offered(*words, "") == ["inkwell", "notebook", "paper crane"]
    assert offered(*words, "n") == ["notebook"]
    assert offered("check", "nowhere.toml", "--prop", "") == []


def test_a_broken_file_offers_nothing(tmp_path):
    for content in (b"\xff", b"prop = 3", b"[[prop]]\nname = 3", b"[prop]\nname = 'a'"):
        (tmp_path / "rig.toml").write_bytes(content)
        assert offered("check", str(tmp_path / "rig.toml"), "--prop", "") == []


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("check", "--material", "music"), "music-wire"),
        (("check", "--clamp", "col"), "collet"),
        (("check", "--hazard", "o"), "overhead"),
        (("check", "--from", "be"), "behind"),
        (("check", "--section", "tu"), "tube"),
        (("check", "--along", "to"), "toward"),
        (("check", "--profile", "cy"), "cycloidal"),
        (("retime", "--profile", "cy"), "cycloidal"),
        (("stock", "grey"), "greyboard"),
    ],
)
def test_names_and_words_are_completed(words, found):
    assert found in offered(*words)


def test_sizes_are_not_completed():
    assert offered("check", "--mass", "") == []


def test_files_are_completed_by_the_shell():
    completing = ShellComplete(commands, {}, "rigcheck", "_RIGCHECK_COMPLETE")
    assert [item.type for item in completing.get_completions(["check"], "sha")] == ["file"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_shell_gets_its_script(shell, monkeypatch):
    from click.shell_completion import BashComplete, get_completion_class

    monkeypatch.setattr(BashComplete, "_check_version", staticmethod(lambda: None))
    made = get_completion_class(shell)(commands, {}, "rigcheck", "_RIGCHECK_COMPLETE").source()
    assert "_RIGCHECK_COMPLETE" in made
    assert f"_RIGCHECK_COMPLETE={shell}_source" in (commands.help or "")
