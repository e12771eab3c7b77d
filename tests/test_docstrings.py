"""Public docstrings name the parameters that the signatures have, in their order (numpydoc)."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import textwrap

import click
import pytest

import rigcheck

SKIPPED = ("rigcheck.__main__",)
MODULES = [
    found.name for found in pkgutil.walk_packages(rigcheck.__path__, "rigcheck.") if found.name not in SKIPPED
]


def public(name: str):
    """Functions of a module that its ``__all__`` names and that are its own."""
    module = importlib.import_module(name)
    for word in getattr(module, "__all__", ()):
        value = getattr(module, word)
        value = getattr(value, "__wrapped__", value)
        if inspect.isfunction(value) and value.__module__ == name and not isinstance(value, click.Command):
            yield word, value


def described(docstring: str) -> list[str] | None:
    """The names under the heading Parameters; None where there is no such heading."""
    found = re.search(r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", docstring, re.MULTILINE | re.DOTALL)
    if found is None:
        return None
    lines = textwrap.dedent(found[1]).splitlines()
    heads = [re.match(r"([*\w, ]+?) ?(?::|$)", line) for line in lines if re.match(r"[*\w]", line)]
    return [name.strip().lstrip("*") for head in heads if head for name in head[1].split(",")]


@pytest.mark.parametrize("module", MODULES)
def test_docstrings_name_the_parameters_of_the_signature(module):
    wrong = {}
    for name, function in public(module):
        docstring = inspect.getdoc(function)
        taken = [one for one in inspect.signature(function).parameters if not one.startswith("_")]
        if not docstring:
            wrong[name] = "no docstring"
        elif (names := described(docstring)) is not None and names != taken:
            wrong[name] = f"described {names}, taken {taken}"
    assert not wrong


def test_what_it_would_see():
    parameters = "Parameters\n----------\na, b : float\n    What.\n*rest : int\n    More.\n"
    good = f"Do.\n\n{parameters}\nReturns\n-------\nfloat\n"
    assert described(good) == ["a", "b", "rest"]
    assert described("Do.") is None
