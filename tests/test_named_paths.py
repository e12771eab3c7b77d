"""Files and folders that the pages for users and developers name are there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[1]
PAGES = ("README.md", "DEVELOPERS.md")


def named_paths(text: str) -> set[str]:
    """What is linked, or stands in backticks with a slash in it, and ends as folders and files of the project do."""
    linked = re.findall(r"\]\(([\w./-]+)\)", text)
    quoted = [name for name in re.findall(r"`(\.?[\w./-]+)`", text) if "/" in name]
    return {name for name in (*linked, *quoted) if re.search(r"(/|\.(py|toml|md|csv|txt))$", name)}


@pytest.mark.parametrize("page", PAGES)
def test_every_path_is_there(page):
    names = named_paths((CHECKOUT / page).read_text(encoding="utf-8"))
    folders = (CHECKOUT, CHECKOUT / "rigcheck", (CHECKOUT / page).parent)
    assert not [name for name in sorted(names) if not any((folder / name).exists() for folder in folders)]


def test_what_it_would_see():
    assert named_paths("see `studies/check.py`, [it](tests/x.py), `rigcheck/`, `a / b` and `check.py`") == {
        "studies/check.py",
        "tests/x.py",
        "rigcheck/",
    }
