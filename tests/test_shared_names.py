"""What one module of the program takes from another is public there."""

from __future__ import annotations

import ast
from pathlib import Path

CHECKOUT = Path(__file__).parents[1]


def private_imports(source: str) -> list[str]:
    """Names with a leading underscore that a module takes from another one of the program."""
    return [
        f"{node.module}.{alias.name}"
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rigcheck")
        for alias in node.names
        if alias.name.startswith("_") and not alias.name.startswith("__")
    ]


def test_no_module_takes_what_is_private_to_another():
    taken = {
        str(path.relative_to(CHECKOUT)): names
        for path in (CHECKOUT / "rigcheck").rglob("*.py")
        if (names := private_imports(path.read_text(encoding="utf-8")))
    }
    assert not taken


def test_what_it_would_see():
    source = (
        "from rigcheck.views.terminal import _Page, render_check\nfrom rigcheck import __version__\nimport os"
    )
    assert private_imports(source) == ["rigcheck.views.terminal._Page"]
