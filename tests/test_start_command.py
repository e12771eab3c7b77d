"""``rigcheck start`` as its user meets it: through a pipe, left and resumed, stopped by a signal."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from rigcheck.errors import InputError, OutputError
from rigcheck.files.start_draft import draft_path, read_draft, write_draft

CHECKOUT = Path(__file__).parents[1]
ANSWERS = (CHECKOUT / "shared" / "answers" / "paper-crane.txt").read_text(encoding="utf-8")


def environment() -> dict[str, str]:
    plain = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    return {**plain, "PYTHONPATH": str(CHECKOUT), "PYTHONIOENCODING": "utf-8", "COLUMNS": "80"}


def start(folder: Path, *words: str, answers: str | bytes) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "rigcheck", "start", *words],
        cwd=folder,
        env=environment(),
        input=answers if isinstance(answers, bytes) else answers.encode(),
        capture_output=True,
        timeout=120,
        check=False,
    )
    result = subprocess.CompletedProcess(
        done.args, done.returncode, done.stdout.decode(), done.stderr.decode()
    )
    assert "Traceback" not in result.stderr, result.stderr
    return result


def test_answers_from_a_file_write_a_rig_and_check_it(tmp_path):
    done = start(tmp_path, "crane.toml", "--json", answers=ANSWERS)
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["format"] == "rigcheck-start/1"
    assert result["file"] == "crane.toml"
    assert result["check"]["format"] == "rigcheck-check/1"
    assert result["check"]["props"][0]["name"] == "paper crane"
    assert result["check"]["props"][0]["cautions"]
    rig = tomllib.loads((tmp_path / "crane.toml").read_text(encoding="utf-8"))
    assert rig["prop"][0]["support"][0]["length"] == "6 in"
    assert [path.name for path in tmp_path.iterdir()] == ["crane.toml"]  # no draft is left


def test_the_questions_go_to_stderr_and_the_verdict_to_stdout(tmp_path):
    done = start(tmp_path, answers=ANSWERS)
    assert "Kitchen scales" in done.stderr
    assert "[prop 1]> paper crane\n" in done.stderr  # answers that nobody typed are shown
    assert "Wrote my-rig.toml" in done.stderr
    assert done.stdout.splitlines()[0].endswith("Crane over the desk")
    assert "Cautions" in done.stdout
    assert all(line == line.rstrip() for line in done.stdout.splitlines())


def test_left_and_resumed_with_nothing_lost(tmp_path):
    lines = ANSWERS.splitlines(keepends=True)
    for count in (7, 20):
        part = start(tmp_path, "crane.toml", answers="".join(lines[count - 7 if count == 7 else 7 : count]))
        assert part.returncode == 2
        assert f"{count} answers are kept in crane.draft.toml" in " ".join(part.stderr.split())
        assert "To go on: rigcheck start crane.toml" in part.stderr
        assert not (tmp_path / "crane.toml").exists()
    rest = start(tmp_path, "crane.toml", answers="".join(lines[20:]))
    assert "20 answers are kept" in rest.stderr
    whole = start(tmp_path, "whole.toml", answers=ANSWERS)
    assert rest.stdout == whole.stdout
    assert (tmp_path / "crane.toml").read_text() == (tmp_path / "whole.toml").read_text()


def test_a_wrong_answer_is_asked_again(tmp_path):
    done = start(
        tmp_path, answers=ANSWERS.replace("14 g\n", "14\n14 g\n").replace("clear\n", "cleer\nclear\n")
    )
    assert done.returncode == 0
    assert '! "14" has no unit; a mass needs one. Write "14 g".' in done.stderr
    assert 'Did you mean "clear"?' in done.stderr


def test_back_and_stop(tmp_path):
    done = start(tmp_path, answers="back\nFirst\nback\nSecond\nclear\nstop\n")
    assert done.returncode == 2
    assert "This is the first question." in done.stderr
    assert read_draft(tmp_path / "my-rig.draft.toml") == {"title": "Second", "hazard": "clear"}


def test_nothing_answered_leaves_nothing(tmp_path):
    done = start(tmp_path, answers="")
    assert done.returncode == 2
    assert "nothing is kept" in " ".join(done.stderr.split())
    assert list(tmp_path.iterdir()) == []


def test_it_never_writes_over_a_file_unasked(tmp_path):
    rig = tmp_path / "crane.toml"
    rig.write_text("mine")
    done = start(tmp_path, "crane.toml", answers=ANSWERS)
    assert done.returncode == 2
    assert "rigcheck check crane.toml" in done.stderr
    assert "What do you call" not in done.stderr  # told before the first question
    assert rig.read_text() == "mine"
    assert start(tmp_path, "crane.toml", "--overwrite", answers=ANSWERS).returncode == 0
    assert "paper crane" in rig.read_text()


def test_a_file_that_is_no_draft_is_left_alone(tmp_path):
    other = tmp_path / "crane.draft.toml"
    other.write_text("[[prop]]\n")
    done = start(tmp_path, "crane.toml", answers=ANSWERS)
    assert done.returncode == 2
    assert "not a draft" in done.stderr
    assert other.read_text() == "[[prop]]\n"


@pytest.mark.parametrize("words", [("nowhere/crane.toml",), (".",)])
def test_places_that_cannot_be_written_are_told_first(tmp_path, words):
    done = start(tmp_path, *words, answers=ANSWERS)
    assert done.returncode == 2
    assert "What do you call" not in done.stderr


def test_bytes_that_are_no_text(tmp_path):
    done = start(tmp_path, answers=b"\xff\xfe\x00\x1b[31m\n" + b"y" * 20_000 + b"\nDesk\n")
    assert done.returncode == 2
    assert "\x1b" not in done.stderr
    assert "too long" in done.stderr
    assert read_draft(tmp_path / "my-rig.draft.toml") == {"title": "Desk"}


@pytest.mark.skipif(os.name != "posix", reason="signals as here are of POSIX systems")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_stopped_by_a_signal_nothing_is_lost(tmp_path, how):
    process = subprocess.Popen(
        [sys.executable, "-m", "rigcheck", "start", "crane.toml"],
        cwd=tmp_path,
        env=environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdin is not None
    process.stdin.write("".join(ANSWERS.splitlines(keepends=True)[:4]).encode())
    process.stdin.flush()
    draft = tmp_path / "crane.draft.toml"
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and len(read_draft(draft)) < 4:
        time.sleep(0.02)
    process.send_signal(how)
    _, said = process.communicate(timeout=60)
    assert b"Traceback" not in said
    assert list(read_draft(draft).values()) == ["Crane over the desk", "clear", "paper crane", "14 g"]
    if how is signal.SIGINT:
        assert process.returncode == 2
        assert b"rigcheck start crane.toml" in said


def test_drafts_are_read_back_as_written(tmp_path):
    draft = draft_path(tmp_path / "a.toml")
    answers = {"title": 'quo"te \\ ünï \x7f', "prop 1 name": ""}
    write_draft(draft, answers, command="rigcheck start 'a b.toml'")
    assert read_draft(draft) == answers
    draft.write_bytes(b"\xff")
    with pytest.raises(InputError, match="not a draft"):
        read_draft(draft)
    with pytest.raises(InputError, match="cannot be opened"):
        read_draft(tmp_path)
    with pytest.raises(OutputError):
        write_draft(tmp_path / "nowhere" / "a.toml", answers, command="")
