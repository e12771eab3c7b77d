"""The index in both READMEs says what the evidence says: modules, sources, counts, and the worst difference."""

from __future__ import annotations

import evidence_index
import pytest

from rigcheck.cli.group import COMMANDS

WRITE = "python -m pytest tests/evidence --write-evidence"
TABLES = (evidence_index.INDEX, evidence_index.README)
MODULES = sorted(
    path.name for path in evidence_index.INDEX.parent.glob("test_*.py") if path.name != "test_index.py"
)
# What these make is checked by the command whose work it is, or against the standard that it follows.
CHECKED_ELSEWHERE = {"start": "check", "schema": "check", "sheet": "check"}


@pytest.fixture(autouse=True)
def _not_while_it_is_written(request):
    if request.config.getoption("write_evidence", default=False):
        pytest.skip("the index is being written")


def rows(path):
    return {row[5].split("]")[0].strip("[`"): row for row in evidence_index.rows(evidence_index.block(path))}


@pytest.mark.parametrize("path", TABLES, ids=["index", "readme"])
def test_every_module_has_its_row(path):
    assert sorted(rows(path)) == MODULES, WRITE


def test_both_tables_say_the_same():
    one, other = ({name: row[:5] for name, row in rows(path).items()} for path in TABLES)
    assert one == other, WRITE


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_an_outside_check(command):
    served = {word for row in rows(evidence_index.INDEX).values() for word in row[2].split(", ")}
    assert CHECKED_ELSEWHERE.get(command, command) in served


@pytest.mark.parametrize("module", MODULES)
def test_the_row_says_what_was_found(recorder, module):
    """As far as this session ran the module: all of its tests, or it says nothing about the worst."""
    entry = recorder.entries.get(module)
    if entry is None:
        return
    what, source, serves, tests, worst, _ = rows(evidence_index.INDEX)[module]
    assert [what, source, serves] == [entry.what, entry.source, entry.serves], WRITE
    if entry.passed == 0 or entry.collected != entry.passed or str(entry.collected) != tests:
        # a part was asked for (-k, a single test), or tests came or went
        assert entry.passed < int(tests) or str(entry.collected) == tests, WRITE
        return
    if entry.worst is None:
        assert worst == "see the tests", WRITE
        return
    # Another machine rounds differently; what is above rounding has to be as stated.
    assert entry.worst <= 1.5 * evidence_index.read(worst), WRITE
    assert worst.startswith("under") or entry.worst >= 0.3 * evidence_index.read(worst), WRITE
