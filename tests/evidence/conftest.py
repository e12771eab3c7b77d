"""Notes what the evidence finds, and writes the index when asked."""

from __future__ import annotations

import evidence_index
import pytest


@pytest.fixture(scope="session")
def recorder(request) -> evidence_index.Recorder:
    """What the evidence of this session found."""
    return request.config.stash[RECORDER]


RECORDER = pytest.StashKey[evidence_index.Recorder]()


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config, items) -> None:
    """Count the evidence; the test of the index goes last, when all is known."""
    recorder = config.stash.setdefault(RECORDER, evidence_index.Recorder())
    for item in items:
        recorder.collect(item)
    items.sort(key=lambda item: item.path.name == "test_index.py" and item.path.parent.name == "evidence")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item):
    """Note the comparisons of a test."""
    with item.config.stash[RECORDER].comparing(item):
        return (yield)


def pytest_sessionfinish(session) -> None:
    """Write the index where it was asked for and all of it was run."""
    if not session.config.getoption("write_evidence", default=False) or session.testsfailed:
        return
    entries = list(session.config.stash[RECORDER].entries.values())
    modules = {path.name for path in evidence_index.INDEX.parent.glob("test_*.py")} - {"test_index.py"}
    if {entry.module for entry in entries} != modules:
        raise pytest.UsageError("run all of tests/evidence to write its index")
    evidence_index.write(entries)
