"""A full disk, a kill in mid-write, and paths that lead out of the rig file's folder."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from fuzzing import FLOATING, LINE, run_words

from rigcheck.cli import commands

ROOT = Path(__file__).parents[2]
TAKE = ROOT / "shared" / "takes" / "notebook-take.csv"
DESK = ROOT / "shared" / "shots" / "desk-set.toml"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}

FULL = """
import resource, sys
sys.argv = ["rigcheck", *{words!r}]
from rigcheck.cli import run
resource.setrlimit(resource.RLIMIT_FSIZE, (200, 200))  # the kernel's answer to a write beyond it is an error
run()
"""


@pytest.mark.parametrize("there", [False, True], ids=["new", "overwrite"])
@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["retime", "rig.toml", "--export", "out.csv"], "out.csv"),
        (["check", "rig.toml", "--history", "out.csv"], "out.csv"),
        (["explain", str(TAKE), "--rig", str(DESK), "--prop", "notebook", "--save", "out.toml"], "out.toml"),
        (["sheet", "rig.toml", "-o", "out.html"], "out.html"),
    ],
    ids=["retime", "check", "explain", "sheet"],
)
def test_a_full_disk_loses_nothing(tmp_path, words, name, there):
    (tmp_path / "rig.toml").write_text(FLOATING)
    target = tmp_path / name
    if there:
        target.write_text("mine")
        words = [*words, "--overwrite"]
    before = sorted(path.name for path in tmp_path.iterdir())
    code = FULL.format(words=words)
    result = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=ENVIRONMENT, capture_output=True, text=True
    )
    assert "Traceback" not in result.stderr
    assert result.returncode == 2, result.stderr
    assert f"{name} was not written" in result.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert not there or target.read_text() == "mine"


KILLED = """
import os, sys, time
from rigcheck.files import write_whole
real = os.fsync
def wait(descriptor):
    print("writing", flush=True)
    time.sleep(60)
os.fsync = wait
write_whole(sys.argv[1], "x" * 10_000_000, overwrite=True)
"""


@pytest.mark.parametrize("there", [False, True], ids=["new", "overwrite"])
def test_a_kill_in_mid_write_leaves_the_file_as_it_was(tmp_path, there):
    target = tmp_path / "out.csv"
    if there:
        target.write_text("mine")
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(target)], env=ENVIRONMENT, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout.readline() == "writing\n"
        time.sleep(0.05)
        process.send_signal(signal.SIGKILL)
    assert target.exists() == there
    assert not there or target.read_text() == "mine"
    # What a killed process leaves behind is hidden and does not bear the name.
    assert all(path == target or path.name.startswith(".out.csv.") for path in tmp_path.iterdir())


@pytest.mark.parametrize(
    "path", ["../keys.csv", "../../etc/passwd", "/etc/passwd", "sub/../../keys.csv", "~/keys.csv"]
)
def test_keys_stay_in_the_rig_files_folder(tmp_path, path):
    folder = tmp_path / "shot"
    folder.mkdir()
    (tmp_path / "keys.csv").write_text("time_s,value\n0,0\n1,40\n")
    (folder / "rig.toml").write_text(LINE.replace("keys.csv", path))
    code, wrong, _, errors = run_words(["check", str(folder / "rig.toml")])
    assert not wrong
    assert code == 2
    assert "keys" in errors
    assert "root:" not in errors  # nothing of the file's content is told


def test_a_link_does_not_lead_out_either(tmp_path):
    folder = tmp_path / "shot"
    folder.mkdir()
    (tmp_path / "keys.csv").write_text("time_s,value\n0,0\n1,40\n")
    (folder / "keys.csv").symlink_to(tmp_path / "keys.csv")
    (folder / "rig.toml").write_text(LINE)
    code, wrong, _, errors = run_words(["check", str(folder / "rig.toml")])
    assert not wrong
    assert code == 2
    assert "keys" in errors


@pytest.mark.parametrize(
    ("command", "option"), [("check", "--history"), ("choose", "--csv"), ("retime", "--export")]
)
def test_a_table_goes_over_no_other_file(tmp_path, monkeypatch, command, option):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(FLOATING)
    (tmp_path / "out.csv").write_text("mine")
    done = CliRunner().invoke(commands, [command, "rig.toml", option, "out.csv"])
    assert "out.csv is there already and was not replaced" in str(done.exception) + done.output
    assert (tmp_path / "out.csv").read_text() == "mine"
