"""What the camera sees of a prop, held against figures worked out by hand."""

from __future__ import annotations

import re

import numpy as np
import pytest
from check_parts import computed

from rigcheck.motion.profiles import profile
from rigcheck.studies.carried import carried
from rigcheck.studies.hiding import HIDDEN_AREA
from rigcheck.studies.picturing import picturing
from rigcheck.studies.results import Contribution, Finding, Status

FIELD = '[camera]\nfield_width = "400 mm"\nimage_width = 4000\n'
"""Ten pixels a millimetre, seen from very far off."""
RATES = 'frame_rate = "50 fps"\nplayback_rate = "25 fps"\n'
LENS = '[camera]\ndistance = "1 m"\nfocal_length = "50 mm"\nsensor_width = "20 mm"\nimage_width = 4000\n'
"""The same scale at the mark, from a metre away."""
SLIDE = '[[prop.move]]\nslide = "100 mm"\nalong = "up"\nduration = "4 s"\nprofile = "polynomial-4567"\n'


def stiff(*more: str, diameter: str = "4 mm") -> str:
    """A rod that gives by a few thousandths of a millimetre under a few grams."""
    return (
        "\n".join(['material = "carbon-rod"', f'diameter = "{diameter}"', 'length = "100 mm"', *more]) + "\n"
    )


def prop(
    support: str,
    *,
    mass: str = "2 g",
    shape: str = "box",
    size: str = "40 mm, 40 mm, 40 mm",
    mark: str = "0 mm, 0 mm, 0 mm",
    more: str = "",
) -> str:
    sides, place = (", ".join(f'"{part.strip()}"' for part in text.split(",")) for text in (size, mark))
    sized = f'shape = "{shape}"\nsize = [{sides}]\n' if size else ""
    marked = f"mark = [{place}]\n" if mark else ""
    return f'[[prop]]\nname = "inkwell"\nmass = "{mass}"\n{marked}{sized}{more}[[prop.support]]\n{support}'


def look(*text: str) -> Contribution:
    """What the camera sees; findings have to come out as grave where only a verdict is wanted."""
    work = computed(*text)
    seen, for_verdict = picturing(work), picturing(work, for_verdict=True)
    assert [(one.id, one.label, one.status) for one in for_verdict.findings] == [
        (one.id, one.label, one.status) for one in seen.findings
    ]
    return seen


def finding(part: Contribution, name: str = "hidden") -> Finding:
    return next(one for one in part.findings if one.id == name)


def figure(part: Contribution, label: str) -> tuple[str, str]:
    return next((one.value, one.note) for one in part.figures if one.label == label)


def labels(part: Contribution) -> list[str]:
    return [one.label for one in part.figures]


# -- hidden or not -----------------------------------------------------------------------------------------


def test_a_support_from_behind_is_hidden() -> None:
    part = look(FIELD, RATES, prop(stiff()), SLIDE)
    found = finding(part)
    assert (found.status, found.value, found.limit, found.unit) == (Status.PASS, 0.0, HIDDEN_AREA, "px^2")
    assert found.says == "The prop hides its support, while it moves and after."
    assert found.advice == ()
    value, note = figure(part, "support shown, by side")
    assert value.startswith("behind 0 px^2; front ")
    assert note == "were it straight and unbent, at the end"
    assert "a choice" in part.assumptions[0]


def test_from_the_left_it_shows_as_far_as_it_sticks_out() -> None:
    """100 mm of rod, 20 of them inside the box: 800 px long, 40 px wide; 201 frames from 0 to 4 s at 50 a second."""
    part = look(FIELD, RATES, prop(stiff('from = "left"')), SLIDE)
    found = finding(part)
    assert found.status is Status.CAUTION
    # Its sag takes 2e-5 of the length, and its root end is square to the picture.
    assert found.value == pytest.approx(800 * 40, rel=1e-3)
    assert found.says == (
        "When the moves have ended 800 px of the support show beside the prop, 40 px wide (32,000 px^2), and it"
        " shows in all 201 frames of the moves."
    )
    assert found.advice == ("Bring the support in from behind: 0 px^2 of it would show, not 32,000 px^2.",)
    value, _ = figure(part, "support shown, by side")
    sides = dict(re.findall(r"(\w+) ([\d,]+) px\^2", value))
    assert sides == {
        "behind": "0",
        "front": "1,260",  # its end alone, a circle of 40 px: 1,257
        "left": "32,000",
        "right": "32,000",
        "above": "32,000",
        "below": "32,000",
    }
    assert any("height is not known" in said for said in part.assumptions)


def test_two_supports_show_together() -> None:
    second = "[[prop.support]]\n" + stiff('from = "right"', 'offset = ["0 mm", "5 mm", "0 mm"]')
    part = look(FIELD, prop(stiff('from = "left"') + second))
    assert finding(part).value == pytest.approx(2 * 800 * 40, rel=1e-3)
    assert finding(part).says == "1,600 px of the support show beside the prop, 40 px wide (64,000 px^2)."


def test_a_sleeve_shows_its_own_width() -> None:
    tube = 'material = "brass-c260"\ndiameter = "6 mm"\nwall = "0.9 mm"\nstart = "10 mm"\nend = "40 mm"\n'
    part = look(FIELD, prop(stiff('from = "left"') + f"[[prop.support.sleeve]]\n{tube}"))
    assert finding(part).value == pytest.approx((800 - 300) * 40 + 300 * 60, rel=2e-3)


def test_a_strip_that_lies_flat_shows_its_edge() -> None:
    strip = 'material = "carbon-rod"\nwidth = "10 mm"\nthickness = "2 mm"\nlength = "100 mm"\nfrom = "left"\n'
    part = look(FIELD, prop(strip))
    assert finding(part).value == pytest.approx(800 * 20, rel=2e-3)
    sides = dict(re.findall(r"(\w+) ([\d,]+) px\^2", figure(part, "support shown, by side")[0]))
    assert (sides["left"], sides["front"]) == ("16,000", "2,000")


def test_a_strand_is_as_wide_as_its_wires_together() -> None:
    """Seven wires, one among six, are three wires wide."""
    strand = 'material = "music-wire"\ndiameter = "1 mm"\nwires = 7\nlength = "100 mm"\nfrom = "above"\n'
    assert finding(look(FIELD, prop(strand))).value == pytest.approx(800 * 30, rel=2e-3)


def test_it_shows_in_the_frames_in_which_it_sticks_out() -> None:
    """A ball rolls a quarter turn about up: its rod, at last behind it, comes from the side.

    At the angle a from behind the rod's middle line sticks out of the ball's outline where L sin a > r, and its
    edge where L sin a + d/2 cos a > r.
    """
    turn = (
        '[[prop.move]]\nroll = "90 deg"\nabout = "up"\nthrough = ["0 mm", "0 mm", "0 mm"]\nduration = "4 s"\n'
    )
    part = look(FIELD, RATES, prop(stiff(), shape="sphere"), turn)
    found = finding(part)
    share = np.arange(201) / 200
    angle = np.pi / 2 * (1 - profile("trapezoidal").displacement(share))
    reach = 100 * np.sin(angle) + 2 * np.cos(angle)
    frames = int((reach > 20).sum())
    words = re.fullmatch(
        r"It shows in (\d+) of 201 frames of the moves, at most ([\d,]+) px\^2; when they have ended it is hidden\.",
        found.says,
    )
    assert words
    assert abs(int(words[1]) - frames) <= 1
    assert found.status is Status.CAUTION
    # At the start all of the rod lies across the picture, but for what is in the ball.
    assert found.value == pytest.approx(800 * 40, rel=0.01)
    assert figure(part, "support shown, by side")[1] == "were it straight and unbent, at most over the moves"


def test_it_shows_from_the_frame_in_which_it_enters_the_picture() -> None:
    """The rod left of the box comes in at the left edge, 200 mm off the middle, when the box is 20 mm beyond."""
    inward = SLIDE.replace('"100 mm"', '"300 mm"').replace('"up"', '"right"')
    part = look(FIELD, RATES, prop(stiff('from = "left"')), inward)
    left = -300 * (1 - profile("polynomial-4567").displacement(np.arange(201) / 200)) - 20
    # A frame counts from one pixel on: 1 px^2 of a rod 40 px wide is 2.5 thousandths of a millimetre.
    frames = int(((left + 200) * 10 * 40 >= HIDDEN_AREA).sum())
    assert 50 < frames < 150
    assert f"it shows in {frames} of 201 frames of the moves." in finding(part).says


def test_outside_the_frame_it_does_not_count() -> None:
    """The frame ends 200 mm left of its middle, 20 mm beyond the prop's left side."""
    part = look(FIELD, prop(stiff('from = "left"'), mark="-160 mm, 0 mm, 0 mm"))
    assert finding(part).value == pytest.approx(200 * 40, rel=1e-3)


def test_a_camera_from_above_sees_the_support_over_the_prop() -> None:
    """30 degrees down: what is behind rises over the prop, and what leans with the line of sight hides."""
    part = look(FIELD + 'elevation = "30 deg"\n', RATES, prop(stiff(), shape="sphere"), SLIDE)
    found = finding(part)
    # 100 mm seen at half its length stick 30 mm out of the ball of 20, in the level of the picture.
    assert found.status is Status.CAUTION
    assert found.value == pytest.approx(300 * 40, rel=0.05)
    assert found.advice[0].startswith(
        "Bring the support in straight behind it as the lens sees it: 0 px^2 of it would show, not 12,"
    )
    assert figure(part, "support shown, by side")[0].startswith("in line 0 px^2; ")


def test_a_bent_support_comes_into_view_over_the_prop() -> None:
    """Under its sag the root of a soft wire stands higher than the top of a flat prop."""
    soft = 'material = "music-wire"\ndiameter = "1.5 mm"\nlength = "200 mm"\n'
    text = (FIELD, prop(soft, mass="60 g", size="40 mm, 8 mm, 40 mm"))
    work = computed(*text)
    part, still = picturing(work), work.still
    sag, lean = float(still.sag[0]), float(still.rotation[0, 0])
    assert sag > 8e-3
    assert finding(part).status is Status.CAUTION
    # From the root down to the top of the prop, whose far edge its lean lifts.
    top = 4 * np.cos(lean) + 20 * np.sin(lean)
    assert finding(part).value == pytest.approx((sag * 1e3 - top) * 10 * 15, rel=0.03)
    assert "behind 0 px^2" in figure(part, "support shown, by side")[0]
    (advice,) = finding(part).advice
    assert advice.startswith("Take a stiffer or shorter support: straight, 0 px^2 would show, not ")


def test_the_settled_shape_is_the_elastic_line() -> None:
    """Cantilever with an end load: y = delta (3 s^2 - s^3) / 2 (any beam table; from memory)."""
    soft = 'material = "carbon-rod"\ndiameter = "3 mm"\nlength = "200 mm"\n'
    work = computed(prop(soft, mass="60 g"), '[analysis]\ndisplacement = "linear"\n')
    body, still = carried(work.prop, work.reading, work.still), work.still
    points = body.lines[0].points
    s = (points[:, 2] + 0.2) / 0.2
    sag = float(still.sag[0])
    assert len(points) > 4
    # The rod's own 2 g and its shear are all that differs, both some thousandths.
    np.testing.assert_allclose(-points[:, 1], sag * (3 * s**2 - s**3) / 2, atol=2e-3 * sag)
    # The settled middle is on the mark, and the mount as far above it as it sags.
    rotation, position = body.poses(np.zeros(1))
    np.testing.assert_allclose(body.middles(rotation, position), np.zeros((1, 3)), atol=1e-12)
    assert float(position[0, 1] + points[0, 1]) == pytest.approx(sag, rel=1e-9)


def test_a_slanting_cylinder_lies_along_its_axis() -> None:
    more = "along = [0, 1, 1]\n"
    work = computed(prop(stiff(), shape="cylinder", size="10 mm, 60 mm, 60 mm", more=more))
    body = carried(work.prop, work.reading, work.still)
    assert body.axis == 1
    np.testing.assert_allclose(body.size, [0.01, 0.06, 0.06], rtol=1e-9)
    np.testing.assert_allclose(body.orientation[:, 1], np.array([0, 1, 1]) / np.sqrt(2), atol=1e-3)


def test_what_cannot_be_seen_is_skipped_with_its_reason() -> None:
    def reason(*text: str) -> str:
        found = finding(look(*text))
        assert found.status is Status.SKIPPED
        return found.says

    assert reason(prop(stiff())) == "No [camera] is given."
    assert reason(FIELD, prop(stiff(), size="")) == "No size is given, so its outline is not known."
    buckles = 'material = "music-wire"\ndiameter = "0.5 mm"\nlength = "400 mm"\nfrom = "below"\n'
    assert reason(FIELD, prop(buckles, mass="200 g")) == "There is no settled state to judge it by."
    near = LENS.replace('"1 m"', '"60 mm"')
    assert "lens is inside the prop" in reason(near, prop(stiff(), size="200 mm, 200 mm, 200 mm"))


def test_without_a_mark_it_is_pictured_in_the_middle() -> None:
    part = look(FIELD, prop(stiff(), mark=""))
    assert finding(part).status is Status.PASS
    assert finding(part).says == "The prop hides its support."
    assert "No mark is given, so the prop is pictured in the middle of the frame." in part.assumptions


def test_without_a_frame_rate_the_share_of_the_move_is_told() -> None:
    part = look(FIELD, prop(stiff('from = "left"')), SLIDE)
    assert finding(part).says.endswith("and it shows for 100 % of the moves.")
    assert "blur at top speed" not in labels(part)


# -- wobble ------------------------------------------------------------------------------------------------

WIRE = 'material = "music-wire"\ndiameter = "2 mm"\nlength = "160 mm"\n'


def shake(along: str, duration: str = "0.62 s") -> str:
    return f'[[prop.move]]\nslide = "60 mm"\nalong = {along}\nduration = "{duration}"\n'


@pytest.mark.parametrize(
    ("along", "words"),
    [('"up"', "up-down"), ('"right"', "left-right"), ("[1, 1, 0]", "slanting"), ("[1, -1, 0]", "slanting")],
)
def test_the_widest_direction_on_the_sensor(along: str, words: str) -> None:
    part = look(FIELD, RATES, prop(WIRE, mass="60 g"), shake(along))
    value, _ = figure(part, "wobble in the picture")
    assert words in value
    if words == "slanting":
        same = "1, 1" in along
        assert ("up and right" in value or "right and up" in value) is same
        assert float(value.split(" ")[0]) > 0.3


def test_how_a_wobble_looks_at_other_frame_rates() -> None:
    """Folded and slowed by hand; the true rate is that of the first mode."""
    work = computed(FIELD, RATES, prop(WIRE, mass="60 g"), shake('"up"'))
    still, motion = work.still, work.motion
    assert motion is not None
    assert motion.residual_px is not None
    true, extent = float(still.natural_frequency[0, 0]), float(motion.residual_px[0])
    assert 6 < true < 12.4
    part = picturing(work)
    assert float(figure(part, "wobble in the picture")[0].split(" ")[0]) == pytest.approx(extent, rel=5e-3)
    value, note = figure(part, "seen on playback")
    assert float(value.split(" ")[0]) == pytest.approx(true / 2, rel=5e-3)
    assert note == f"{true:.3g} Hz on set, shown at 0.5 of its speed"
    value, note = figure(part, "would look the same")
    assert [float(number) for number in re.findall(r"[\d.]+", value)] == pytest.approx(
        [50 - true, 50 + true, 100 - true], rel=5e-3
    )
    assert note == "true rates up to 100 Hz that these frames cannot tell from it"
    # Half of a fiftieth of a second: a sine of the rate f smears by its extent times sin(pi f T).
    assert float(figure(part, "blur of the wobble")[0].split(" ")[0]) == pytest.approx(
        extent * np.sin(np.pi * true * 0.01), rel=6e-3
    )
    slow, fast = (figure(part, f"the same at {rate} fps") for rate in (25, 100))
    assert slow[1] == fast[1] == "shown at 25 fps"
    for (words, _), rate in ((slow, 25), (fast, 100)):
        seen, moves, blur = (float(number) for number in re.findall(r"[\d.]+", words)[:3])
        assert seen == pytest.approx(true * 25 / rate, rel=5e-3)
        assert moves == pytest.approx(extent * np.sinc(true * 0.5 / rate), rel=6e-3)
        assert blur == pytest.approx(extent * np.sin(np.pi * true * 0.5 / rate), rel=6e-3)
    assert all(one.id != "false-frequency" for one in part.findings)


def test_a_wobble_too_fast_for_the_frames_is_called_false() -> None:
    slow_camera = FIELD + 'frame_rate = "12 fps"\n'
    text = (slow_camera, prop(WIRE, mass="60 g"), shake('"up"'))
    work = computed(*text)
    part, still = picturing(work), work.still
    true = float(still.natural_frequency[0, 0])
    assert 6 < true < 8
    found = finding(part, "false-frequency")
    assert found.status is Status.CAUTION
    assert (found.value, found.limit, found.unit) == (pytest.approx(true), 6.0, "Hz")
    assert found.says == (
        f"On screen it seems to swing at {12 - true:.3g} Hz, which is false: these frames cannot follow"
        f" {true:.3g} Hz."
    )
    assert found.advice == ("Film a test at 20 fps or more, where it shows as it is.",)
    assert figure(part, "seen on playback")[1].startswith("a false rate: ")
    assert figure(part, "the same at 6 fps")[0].startswith(f"{true - 6:.3g} Hz, false, ")
    # Shot so fast that it is followed, it is not.
    assert figure(part, "the same at 24 fps")[0].startswith(f"{true:.3g} Hz, ")
    assert "false" not in figure(part, "the same at 24 fps")[0]


def test_a_still_prop_gets_no_words_on_its_wobble() -> None:
    part = look(FIELD, RATES, prop(stiff()), SLIDE)
    assert figure(part, "wobble in the picture") == ("under 0.01 px", "")
    assert "seen on playback" not in labels(part)


def test_of_a_push_the_direction_is_that_of_the_push() -> None:
    push = '[[prop.move]]\nacceleration = "1 m/s^2"\nalong = "right"\n'
    part = look(FIELD, RATES, prop(WIRE, mass="60 g"), push)
    assert "left-right" in figure(part, "wobble in the picture")[0]
    assert finding(part).says == "The prop hides its support."


# -- blur and depth ----------------------------------------------------------------------------------------


def test_blur_at_top_speed() -> None:
    """With a third of the time speeding up the top speed is 1.5 times the mean; half of 1/50 s is open."""
    part = look(
        FIELD, RATES, prop(stiff()), '[[prop.move]]\nslide = "120 mm"\nalong = "right"\nduration = "2 s"\n'
    )
    value, note = figure(part, "blur at top speed")
    assert float(value.split(" ")[0]) == pytest.approx(1.5 * 60 * 10 * 0.01, rel=5e-3)
    assert note == "900 px/s, open for 10 ms"


def test_blur_of_a_roll_is_that_of_the_corners() -> None:
    """Its middle stays; a corner of the box is 20 sqrt 2 mm off the axis."""
    turn = '[[prop.move]]\nroll = "180 deg"\nthrough = ["0 mm", "0 mm", "0 mm"]\nduration = "2 s"\n'
    part = look(FIELD, RATES, prop(stiff()), turn)
    speed = 1.5 * np.pi / 2 * 20 * np.sqrt(2) * 10
    assert float(figure(part, "blur at top speed")[0].split(" ")[0]) == pytest.approx(speed * 0.01, rel=0.01)


def test_depth_counts_through_perspective() -> None:
    """From 1.1 m to 1 m it grows by a tenth; without a distance nothing is said."""
    toward = SLIDE.replace('"up"', '"toward"')
    part = look(LENS, RATES, prop(stiff()), toward)
    value, note = figure(part, "size in the picture")
    assert value == f"starts {100 * (1 - 1 / 1.1):.2f} % smaller than it ends"
    assert note == "it goes 100 mm toward the lens"
    assert "size in the picture" not in labels(look(FIELD, RATES, prop(stiff()), toward))


def test_a_wobble_in_depth_shows_off_the_middle_of_the_picture() -> None:
    """Toward and away moves what is at the side by its distance from the middle over that from the lens."""
    hanging = WIRE + 'from = "above"\n'
    text = (prop(hanging, mass="60 g", mark="150 mm, 0 mm, 0 mm"), shake('"toward"'))
    near = look(LENS, RATES, *text)
    motion = computed(LENS, RATES, *text).motion
    assert motion is not None
    value = figure(near, "wobble in the picture")[0]
    assert "left-right" in value
    corner = np.hypot(
        0.17, 0.02
    )  # the outline's farthest point from the picture's centre, 40 mm wide and high
    assert float(value.split(" ")[0]) == pytest.approx(float(motion.residual[0]) * 1e4 * corner, rel=0.02)
    assert figure(look(FIELD, RATES, *text), "wobble in the picture")[0] == "under 0.01 px"


# -- clean-up ----------------------------------------------------------------------------------------------

LEFT = (FIELD, RATES, prop(stiff('from = "left"')), SLIDE)


def test_clean_up_by_frames_against_rigging_again() -> None:
    """201 frames at 6 min are 20.1 h; rigging and shooting again takes 55 min."""
    post = '[post]\ncleanup = "6 min"\nrerig = "45 min"\ntake = "10 min"\n'
    part = look(post, *LEFT)
    found = finding(part, "cleanup")
    assert (found.status, found.unit) == (Status.CAUTION, "min")
    assert (found.value, found.limit) == (pytest.approx(201 * 6), pytest.approx(55))
    assert found.says == "Cleaning it up takes 20.1 h by your rate; to rig and shoot it again takes 55 min."
    assert found.advice == (
        "Rig it again so that the support is hidden: that saves 19.2 h.",
        "Cleaning up is as quick at 0.046 times your rate.",
    )
    assert figure(part, "clean-up") == ("20.1 h", "201 frames at 6 min, your rate")


def test_clean_up_by_area() -> None:
    """201 frames of 32,000 px are 6.43 megapixels."""
    post = '[post]\ncleanup_per_megapixel = "2 min"\nrerig = "45 min"\n'
    part = look(post, *LEFT)
    found = finding(part, "cleanup")
    assert found.status is Status.PASS
    assert found.value == pytest.approx(2 * 201 * 0.032, rel=2e-3)
    assert found.says == (
        "Cleaning it up takes 12.9 min by your rate, no longer than the 45 min to rig and shoot it again."
    )
    assert figure(part, "clean-up")[1] == "6.43 megapixels at 2 min, your rate"


def test_nothing_to_clean_up() -> None:
    found = finding(
        look('[post]\ncleanup = "6 min"\ntake = "10 min"\n', FIELD, RATES, prop(stiff()), SLIDE), "cleanup"
    )
    assert (found.status, found.value) == (Status.PASS, 0.0)
    assert found.says == "Nothing of the support shows, so there is nothing to clean up."


def test_clean_up_without_a_comparison_is_a_figure_and_no_verdict() -> None:
    part = look('[post]\ncleanup = "6 min"\n', *LEFT)
    assert "clean-up" in labels(part)
    assert all(one.id != "cleanup" for one in part.findings)


def test_without_post_nothing_is_said_of_it() -> None:
    part = look(*LEFT)
    assert "clean-up" not in labels(part)
    assert all(one.id != "cleanup" for one in part.findings)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (
            ('[post]\nrerig = "45 min"\n', *LEFT),
            "No rate is given: add cleanup or cleanup_per_megapixel to [post].",
        ),
        (('[post]\ncleanup = "6 min"\n', prop(stiff())), "What shows of the support is not known."),
        (
            ('[post]\ncleanup = "6 min"\n', FIELD, prop(stiff(), size="")),
            "What shows of the support is not known.",
        ),
        (
            ('[post]\ncleanup = "6 min"\n', FIELD, prop(stiff('from = "left"')), SLIDE),
            "The frames cannot be counted without a move and the camera's frame_rate.",
        ),
        (
            ('[post]\ncleanup = "6 min"\n', FIELD, RATES, prop(stiff('from = "left"'))),
            "The frames cannot be counted without a move and the camera's frame_rate.",
        ),
    ],
)
def test_clean_up_that_cannot_be_counted_is_skipped(text: tuple[str, ...], reason: str) -> None:
    found = finding(look(*text), "cleanup")
    assert (found.status, found.says) == (Status.SKIPPED, reason)
