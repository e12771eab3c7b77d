"""Set, fatigue and thin tubes together: what each of them says is tested beside its own module."""

from __future__ import annotations

from check_parts import assert_skipped
from lasting_rigs import run, wire


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
    assert_skipped(result, "There is no settled state to judge it by.", "set", "fatigue")
