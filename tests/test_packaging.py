"""The packages that are handed out: they hold what they should, and work away from the checkout."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import tarfile
import zipfile
from dataclasses import dataclass
from email.parser import Parser
from pathlib import Path

import pytest

import rigcheck

CHECKOUT = Path(__file__).parents[1]
MATERIALS = sorted(path.name for path in (CHECKOUT / "materials").glob("*.toml"))
SHOT = "shots/desk-set.toml"

needs_build = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("build", "hatchling")),
    reason="build and hatchling are not installed here",
)


@dataclass(frozen=True, kw_only=True)
class Built:
    """What one build made, and a folder into which the wheel is installed."""

    sdist: Path
    wheel: Path
    installed: Path


def run(command: list[str | Path], folder: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = {key: value for key, value in os.environ.items() if not key.startswith("PYTHON")}
    return subprocess.run(
        [str(word) for word in command],
        cwd=folder,
        env={**kept, "PYTHONIOENCODING": "utf-8", **environment},
        capture_output=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Source package and wheel, the wheel built from the source package as everybody else would."""
    place = tmp_path_factory.mktemp("packages")
    target = place / "installed"
    done = run([sys.executable, "-m", "build", "--no-isolation", "--outdir", place, CHECKOUT], place)
    assert done.returncode == 0, done.stdout + done.stderr
    (sdist,), (wheel,) = place.glob("*.tar.gz"), place.glob("*.whl")
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", target]
    done = run([*pip, wheel], place)
    assert done.returncode == 0, done.stdout + done.stderr
    return Built(sdist=sdist, wheel=wheel, installed=target)


@needs_build
def test_wheel_holds_the_package_the_data_and_nothing_else(built):
    with zipfile.ZipFile(built.wheel) as archive:
        names = archive.namelist()
    tops = {name.split("/")[0] for name in names}
    assert tops == {"rigcheck", f"rigcheck-{rigcheck.__version__}.dist-info"}
    for needed in ("py.typed", "__main__.py", "views/templates/sheet.html", f"data/shared/{SHOT}"):
        assert f"rigcheck/{needed}" in names
    data = sorted(Path(name).name for name in names if name.startswith("rigcheck/data/materials/"))
    assert [name for name in data if name.endswith(".toml")] == MATERIALS
    modules = {str(path.relative_to(CHECKOUT)) for path in (CHECKOUT / "rigcheck").rglob("*.py")}
    assert modules <= set(names)
    assert not [name for name in names if "__pycache__" in name or name.endswith(".pyc")]


@needs_build
def test_metadata(built):
    with zipfile.ZipFile(built.wheel) as archive:
        folder = f"rigcheck-{rigcheck.__version__}.dist-info"
        metadata = Parser().parsestr(archive.read(f"{folder}/METADATA").decode())
        scripts = archive.read(f"{folder}/entry_points.txt").decode()
        assert f"{folder}/licenses/LICENSE" in archive.namelist()
    assert metadata["Name"] == "rigcheck"
    assert metadata["Version"] == rigcheck.__version__
    assert "rigcheck = rigcheck.__main__:main" in scripts


@needs_build
def test_source_package_holds_what_its_tests_need(built):
    with tarfile.open(built.sdist) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    for needed in ("README.md", "LICENSE", "pyproject.toml", "tests/conftest.py", f"shared/{SHOT}"):
        assert needed in names
    assert {f"materials/{name}" for name in MATERIALS} <= names
    hidden = {name.split("/")[0] for name in names if name.startswith(".")}
    assert hidden <= {".ci", ".gitignore"}
    assert not [name for name in names if "__pycache__" in name]


@needs_build
def test_installed_wheel_checks_the_demo_shot_and_knows_its_stock(built, tmp_path):
    """Outside the checkout, with the demo shot that lies in the package."""
    shot = built.installed / "rigcheck" / "data" / "shared" / SHOT
    place = {"PYTHONPATH": str(built.installed)}
    program = [sys.executable, "-m", "rigcheck"]
    where = run([sys.executable, "-c", "import rigcheck; print(rigcheck.__file__)"], tmp_path, **place)
    assert Path(where.stdout.strip()).is_relative_to(built.installed)

    checked = run([*program, "check", shot, "--json"], tmp_path, **place)
    assert checked.stderr == ""
    result = json.loads(checked.stdout)
    assert checked.returncode == 1  # the paper crane fails, as the README says
    assert {prop["name"]: prop["verdict"] for prop in result["props"]}["paper crane"] == "fail"

    stock = run([*program, "stock", "music-wire"], tmp_path, **place)
    assert stock.returncode == 0, stock.stderr
    assert "7850 kg/m³" in stock.stdout

    script = run([built.installed / "bin" / "rigcheck", "--version"], tmp_path, **place)
    assert script.stdout == f"rigcheck {rigcheck.__version__}\n"


def test_editable_install_finds_its_materials(tmp_path):
    """An editable install is a .pth file that names the checkout; isolated from the folder it is called in."""
    site = tmp_path / "site"
    site.mkdir()
    (site / "rigcheck.pth").write_text(f"{CHECKOUT}\n", encoding="utf-8")
    call = (
        f"import site, sys; site.addsitedir({str(site)!r}); sys.argv = ['rigcheck', *sys.argv[1:]];"
        " from rigcheck.__main__ import main; main()"
    )
    stock = run([sys.executable, "-I", "-c", call, "stock", "music-wire"], tmp_path)
    assert stock.returncode == 0, stock.stderr
    assert "7850 kg/m" in stock.stdout
