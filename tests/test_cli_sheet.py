"""The sheet and the figures from the command line: what is written, what is not, and with which exit code."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.test_cli import FAILING, GOOD, plain_environment, process


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "rig.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "weak.toml").write_text(FAILING, encoding="utf-8")
    return tmp_path


def test_a_sheet_is_written_beside_you_and_says_where(folder):
    done = process(folder, "sheet", "rig.toml")
    assert done.returncode == 0
    assert "Wrote rig-sheet.html." in done.stdout
    assert "Cautions" in done.stdout
    text = (folder / "rig-sheet.html").read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>")
    assert text.rstrip().endswith("</html>")


def test_a_file_that_is_there_is_kept_unless_asked(folder):
    (folder / "s.html").write_text("mine", encoding="utf-8")
    done = process(folder, "sheet", "rig.toml", "-o", "s.html")
    assert done.returncode == 2
    assert done.stderr == (
        "rigcheck: s.html is there already and was not replaced. Give another name, or add --overwrite.\n"
    )
    assert (folder / "s.html").read_text(encoding="utf-8") == "mine"
    done = process(folder, "sheet", "rig.toml", "-o", "s.html", "--overwrite")
    assert done.returncode == 0
    assert "Rig sheet" in (folder / "s.html").read_text(encoding="utf-8")
    assert sorted(path.name for path in folder.iterdir()) == ["rig.toml", "s.html", "weak.toml"]


def test_a_shot_that_fails_gets_its_sheet_and_exit_code_1(folder):
    done = process(folder, "sheet", "weak.toml", "-o", "s.html")
    assert done.returncode == 1
    assert "FAIL" in done.stdout
    assert (folder / "s.html").exists()


def test_the_sheet_as_json_writes_nothing_else(folder):
    done = process(folder, "sheet", "rig.toml", "--json")
    found = json.loads(done.stdout)
    assert found["format"] == "rigcheck-sheet/1"
    assert found["check"]["format"] == "rigcheck-check/1"
    (cut,) = found["cuts"]
    # The file gives no grip and no embed: the length to cut is not known.
    assert (cut["free_mm"], cut["grip_mm"], cut["length_mm"]) == (120.0, None, None)
    (prop,) = found["props"]
    assert prop["moves"] == [
        {
            "number": 1,
            "says": "slides 100 mm up",
            "profile": "cycloidal",
            "start_s": 0.0,
            "end_s": 6.0,
            "start_frame": None,
            "end_frame": None,
        }
    ]
    assert prop["proof_load"]["load_kg"] == 0.2
    assert found["cautions"]
    assert not list(folder.glob("*.html"))


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_a_check_draws_its_figure(folder, ending):
    done = process(folder, "check", "rig.toml", "--figure", f"rig.{ending}")
    assert done.returncode == 0
    assert done.stderr == f"Wrote rig.{ending}.\n"
    head = (folder / f"rig.{ending}").read_bytes()[:8]
    assert head == (b"\x89PNG\r\n\x1a\n" if ending == "png" else b"<?xml ve")


def test_a_figure_of_another_kind_is_refused_before_the_work(folder):
    for command in ("check", "choose", "retime"):
        done = process(folder, command, "rig.toml", "--figure", "rig.jpg")
        assert done.returncode == 2
        assert "rig.jpg: a figure is written as .svg or .png" in done.stderr
        assert done.stdout == ""


def test_a_pdf_without_the_extra_says_what_to_install(folder, monkeypatch):
    from rigcheck.errors import OutputError
    from rigcheck.views.page import page_pdf

    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(OutputError, match=r"pip install 'rigcheck\[pdf\]'.*print it from a browser"):
        page_pdf("<html></html>")


def test_a_plain_check_loads_nothing_that_draws(folder):
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "rigcheck", "check", "rig.toml"],
        cwd=folder,
        env={**plain_environment(), "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=True,
    )
    loaded = {line.rpartition("|")[2].strip() for line in done.stderr.splitlines()}
    assert "numpy" in loaded
    assert not {"matplotlib", "jinja2", "markupsafe", "weasyprint", "rigcheck.studies.sheet.study"} & loaded
