"""The result types: the gravest status, the margin, and that nothing in them can be changed."""

from __future__ import annotations

import dataclasses
from itertools import permutations

import pytest

from rigcheck.studies import results
from rigcheck.studies.results import Finding, Status, worst

PASS, CAUTION, FAIL, SKIPPED = Status.PASS, Status.CAUTION, Status.FAIL, Status.SKIPPED


@pytest.mark.parametrize(
    ("statuses", "gravest"),
    [
        ([PASS], PASS),
        ([PASS, CAUTION], CAUTION),
        ([PASS, CAUTION, FAIL], FAIL),
        ([PASS, SKIPPED], PASS),
        ([SKIPPED, FAIL], FAIL),
        # nothing was checked: that is no pass
        ([], CAUTION),
        ([SKIPPED, SKIPPED], CAUTION),
    ],
)
def test_gravest_of_several(statuses, gravest):
    for order in permutations(statuses):
        assert worst(list(order)) is gravest


def finding(**values) -> Finding:
    return Finding(id="sag", label="sag", status=PASS, says="It sags.", **values)


@pytest.mark.parametrize(
    ("values", "margin"),
    [
        ({"value": 0.5, "limit": 1.0}, 2.0),
        ({"value": 2.0, "limit": 1.0}, 0.5),
        ({"value": 6.0, "limit": 1.5, "at_least": True}, 4.0),
        ({"value": 0.75, "limit": 1.5, "at_least": True}, 0.5),
        ({"value": 0.0, "limit": 1.0}, None),
        ({"value": None, "limit": 1.0}, None),
        ({"value": 1.0}, None),
    ],
)
def test_margin_is_above_one_inside(values, margin):
    assert finding(**values).margin == margin


def test_statuses_are_words():
    assert [status.value for status in Status] == ["pass", "caution", "fail", "skipped"]
    assert f"{Status.FAIL}" == "fail"


@pytest.mark.parametrize("name", results.__all__)
def test_results_are_frozen_and_keyword_only(name):
    kind = getattr(results, name)
    if not dataclasses.is_dataclass(kind):
        return
    assert all(field.kw_only for field in dataclasses.fields(kind))
    assert kind.__dataclass_params__.frozen


def test_a_finding_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        finding().status = FAIL
