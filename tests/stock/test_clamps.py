"""Clamps: extra free length, play, twist."""

import pytest

from rigcheck.errors import UnknownNameError, ValidityError
from rigcheck.stock import find_clamp, names


def test_rows():
    assert find_clamp("rigid").extra_length() is None
    assert find_clamp("collet").extra_length().value == 1
    assert find_clamp("pin vise").extra_length() == find_clamp("collet").extra_length()
    assert find_clamp("one-set-screw").extra_length().value == 3
    assert find_clamp("screw-and-washer").extra_length().bounds == (5, 10)
    assert find_clamp("foam-block").extra_length().value == 9


@pytest.mark.parametrize(
    ("name", "grip", "extra"),
    [
        ("plastic-block", 2, 7.7),
        ("plastic-block", 3, 3.3),
        ("plastic-block", 4, 2.7),  # half way between the rows for 3 and 5
        ("plastic-block", 5, 2.1),
        ("plastic-block", 20, 2.1),
        ("wood-block", 3, 11),
        ("wood-block", 5, 4.1),
        ("wood-block", 8, 3.2),
        ("collet", 0.5, 1),  # the data give no rows by grip for a collet
    ],
)
def test_extra_length_by_grip(name, grip, extra):
    datum = find_clamp(name).extra_length(grip_diameters=grip)
    assert datum.value == pytest.approx(extra)
    assert datum.low <= datum.value <= datum.high


def test_grip_too_short():
    with pytest.raises(ValidityError) as caught:
        find_clamp("wood-block").extra_length(grip_diameters=1.5)
    assert str(caught.value) == (
        "A grip of 1.5 diameters in a wood-block is too short to hold a root: at least 3 are needed to say "
        "anything. Use a longer grip."
    )


def test_what_a_clamp_lets_move():
    assert find_clamp("screw-and-washer").pivots
    assert not find_clamp("foam-block").twist_held
    assert find_clamp("one-set-screw").play.bounds == (0, 0.2e-3)
    for name in names("clamp"):
        clamp = find_clamp(name)
        assert clamp.play is None or name == "one-set-screw"
        assert clamp.pivots == (name == "screw-and-washer")


def test_unknown_clamp():
    with pytest.raises(UnknownNameError) as caught:
        find_clamp("colet")
    assert str(caught.value) == 'There is no clamp "colet" in stock. Did you mean "collet"?'
    with pytest.raises(UnknownNameError) as caught:
        find_clamp("xyz")
    assert "Known: rigid, collet, pin-vice, two-set-screws" in str(caught.value)
