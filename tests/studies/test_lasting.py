"""Set, fatigue and thin tubes together: what each of them says is tested beside its own module."""

from __future__ import annotations

from check_parts import finding
from lasting_rigs import run, wire

from rigcheck.studies.results import Status


def test_no_settled_state() -> None:
    result, set_m = run(
        wire(
            "400 g",
            size='diameter = "1 mm"',
            length='length = "300 mm"\nfrom = "below"',
            material="music-wire",
        )
    )
    assert set_m is None
    for name in ("set", "fatigue"):
        found = finding(result, name)
        assert (found.status, found.says) == (Status.SKIPPED, "There is no settled state to judge it by.")
