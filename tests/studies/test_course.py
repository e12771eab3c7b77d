"""Findings on the moves themselves: rounded and coarse keyframes, fast rolls."""

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.results import Status

RIG = """
[camera]
field_width = "420 mm"
image_width = 3840
[[prop]]
name = "inkwell"
mass = "310 g"
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
"""


def cycloid(times, stroke):
    part = times / times[-1]
    return stroke * (part - np.sin(2 * np.pi * part) / (2 * np.pi))


def keyed(folder, *, count, digits, stroke=220.0, duration=4.0, moves='slide = "mm"'):
    times = np.linspace(0.0, duration, count)
    rows = [
        f"{time:.9f},{value:.{digits}f}" for time, value in zip(times, cycloid(times, stroke), strict=True)
    ]
    (folder / "keys.csv").write_text("time_s,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return rig_from_text(RIG + f'[[prop.move]]\n{moves}\nkeys = "keys.csv"\n', "test", folder=folder)


def finding(result, name):
    return next(found for found in result.props[0].findings if found.id == name)


def test_keys_of_a_profile_give_what_the_profile_gives(tmp_path):
    """The spline's acceleration is off by (spacing)^2/12 of its second derivative: 1e-3 here at most."""
    by_keys = check(keyed(tmp_path, count=401, digits=9)).props[0].motion
    planned = RIG + '[[prop.move]]\nslide = "220 mm"\nduration = "4 s"\nprofile = "cycloidal"\n'
    by_profile = check(rig_from_text(planned, "test")).props[0].motion
    assert by_keys.residual_wobble_px == pytest.approx(by_profile.residual_wobble_px, rel=2e-3)
    assert by_keys.peak_deviation.m_as("mm") == pytest.approx(by_profile.peak_deviation.m_as("mm"), rel=1e-4)


@pytest.mark.parametrize(
    ("moves", "keys"),
    [
        ('slide = "220 mm"', 220.0),
        ('slide = "-22 cm"', -22.2),
        ('slide = "8.66 in"', 8.6614),
        ('roll = "180 deg"', 180.0),
    ],
)
def test_keys_that_go_as_far_as_is_said_pass(tmp_path, moves, keys):
    """To 1 %: both are as typed."""
    found = finding(check(keyed(tmp_path, count=101, digits=6, stroke=keys, moves=moves)), "keys-travel")
    assert (found.status, found.advice) == (Status.PASS, ())
    assert found.says == "The keyframes go as far as the rig file says."


def test_keys_in_another_unit_than_is_said_are_told(tmp_path):
    """Keys in millimetres beside a slide in centimetres go ten times as far."""
    found = finding(check(keyed(tmp_path, count=101, digits=6, moves='slide = "22 cm"')), "keys-travel")
    assert found.status is Status.CAUTION
    assert (found.value, found.limit, found.unit) == (pytest.approx(220.0), None, "cm")
    assert (
        found.says
        == 'The keyframes go 220 cm, but the rig file says slide = "22 cm"; all here is for the keyframes.'
    )
    (advice,) = found.advice
    assert advice == (
        'If the keyframes are right, write slide = "220 cm"; if not, look at the unit they are in, or export them'
        " again."
    )


def test_keys_that_go_the_other_way_or_come_back_are_told(tmp_path):
    other = finding(
        check(keyed(tmp_path, count=101, digits=6, stroke=-220.0, moves='slide = "220 mm"')), "keys-travel"
    )
    assert other.says.startswith("The keyframes go -220 mm, but")
    keyed(tmp_path, count=101, digits=6)
    rows = "".join(f"{time},{value}\n" for time, value in ((0, 0), (1, 100), (2, 220), (3, 100), (4, 0)))
    (tmp_path / "keys.csv").write_text("time_s,value\n" + rows, encoding="utf-8")
    shot = rig_from_text(
        RIG + '[[prop.move]]\nslide = "220 mm"\nkeys = "keys.csv"\n', "test", folder=tmp_path
    )
    back = finding(check(shot), "keys-travel")
    assert back.says.startswith("The keyframes end where they began, but")
    assert back.advice == ('If the keyframes are right, write slide = "mm"; if not, export them again.',)


def test_nothing_is_said_of_a_travel_that_is_not_given(tmp_path):
    result = check(keyed(tmp_path, count=101, digits=6)).props[0]
    assert "keys-travel" not in {found.id for found in result.findings}


def test_whole_millimetres_at_a_fast_rate_are_called_rounded(tmp_path):
    found = finding(check(keyed(tmp_path, count=101, digits=0)), "keys-rounded")
    assert found.status is Status.CAUTION
    assert found.value > 0.1
    assert "is rounding" in found.says
    assert found.advice[0].startswith("Export the keys with more digits than steps of 1 mm,")


def test_noisy_keys_are_called_jerky(tmp_path):
    """A tenth of a millimetre of noise with nine digits lies on no grid, and jerks all the same."""
    shot = keyed(tmp_path, count=101, digits=9)
    times, values = np.loadtxt(tmp_path / "keys.csv", delimiter=",", skiprows=1).T
    noisy = values + 0.1 * np.random.default_rng(1).standard_normal(len(values))
    rows = [f"{time:.9f},{value:.9f}" for time, value in zip(times, noisy, strict=True)]
    (tmp_path / "keys.csv").write_text("time_s,value\n" + "\n".join(rows) + "\n", encoding="utf-8")
    found = finding(check(shot), "keys-rounded")
    assert found.status is Status.CAUTION
    assert "jerk from one to the next" in found.says


def test_fine_keys_pass(tmp_path):
    result = check(keyed(tmp_path, count=101, digits=6))
    assert finding(result, "keys-rounded").status is Status.PASS
    assert any("101 keys" in figure.value for figure in result.props[0].details)


def test_keys_near_the_natural_frequency_shake_the_rig(tmp_path):
    """Joined by straight lines, keys excite at their own rate: worst where that meets the sway."""
    frequency = check(keyed(tmp_path, count=101, digits=9)).props[0].modes[0].frequency.m_as("Hz")
    near = finding(check(keyed(tmp_path, count=round(4 * frequency) + 1, digits=9)), "keys-coarse")
    far = finding(check(keyed(tmp_path, count=401, digits=9)), "keys-coarse")
    assert near.status is Status.CAUTION
    assert far.status is Status.PASS
    assert near.value > 100 * far.value
    assert far.says == (
        "A head that joins the keyframes by straight lines shakes at 100 Hz and its multiples; too little to see."
    )


def test_keys_that_shake_at_twice_their_rate_are_told_too(tmp_path):
    """The sway lies on the second line of the spectrum: half as many keys as periods."""
    frequency = check(keyed(tmp_path, count=101, digits=9)).props[0].modes[0].frequency.m_as("Hz")
    beside = 0.62 * frequency  # neither it nor its double is near the sway
    second, between = (
        finding(check(keyed(tmp_path, count=round(4 * rate) + 1, digits=9)), "keys-coarse")
        for rate in (0.5 * frequency, beside)
    )
    assert second.value > 2 * between.value


def test_coarse_keys_of_a_roll_are_told(tmp_path):
    keyed(tmp_path, count=21, digits=9, stroke=90.0, duration=2.0)
    text = RIG + '[[prop.move]]\nroll = "deg"\nabout = "right"\nkeys = "keys.csv"\n'
    result = check(rig_from_text(text, "test", folder=tmp_path))
    found = finding(result, "keys-coarse")
    assert found.status is Status.CAUTION
    assert "shakes at 10 Hz and its multiples" in found.says
    assert any(
        "rad/s^2 at 10 Hz and at each of its multiples" in figure.value for figure in result.props[0].details
    )


@pytest.mark.parametrize(("duration", "told"), [("0.3 s", True), ("20 s", False)])
def test_a_roll_too_fast_for_the_theory_is_told(duration, told):
    shot = rig_from_text(RIG + f'[[prop.move]]\nroll = "180 deg"\nduration = "{duration}"\n', "test")
    ids = [found.id for found in check(shot).props[0].findings]
    assert ("fast-roll" in ids) is told
