"""The sheet as a whole: what stands on it, in which order, and what it says where something could not be computed."""

from __future__ import annotations

import pytest

from rigcheck.errors import UnknownNameError
from rigcheck.files import read_rig, rig_from_text
from rigcheck.studies.check import check
from rigcheck.studies.sheet.study import sheet
from tests.support.sheet_rigs import SCRIPT, hard, plain
from tests.test_cli import CHECKOUT

DEMO = CHECKOUT / "shared" / "shots" / "desk-set.toml"


@pytest.fixture(scope="module")
def demo():
    return sheet(read_rig(DEMO))


@pytest.fixture(scope="module")
def odd():
    return sheet(rig_from_text(hard()))


def titles(result) -> list[str]:
    return [step.title for step in result.steps]


def test_it_says_what_the_check_says(demo):
    found = check(read_rig(DEMO))
    assert demo.check.verdict is found.verdict
    for one, prop in zip(demo.props, found.props, strict=True):
        assert one.check.findings == prop.findings


def test_every_caution_of_the_check_is_on_it_once(demo):
    said = [text for text, _ in demo.cautions]
    assert len(said) == len(set(said))
    assert set(said) == {text for prop in demo.check.props for text in prop.cautions} | set(
        demo.check.cautions
    )
    owners = dict(demo.cautions)
    assert owners["Carbon conducts electricity: keep it away from live parts."] == ("notebook",)
    assert owners["Local rules and a competent rigger come before this result."] == ()


def test_the_work_is_in_an_order_that_can_be_followed(demo):
    order = titles(demo)
    assert order[0] == "Change what fails before anything is cut: paper crane"
    wanted = [
        "Weigh",
        "Cut",
        "Clamp",
        "Set the mount",
        "Balance",
        "Proof load",
        "Hang the prop",
        "Run the moves",
    ]
    places = [next(i for i, title in enumerate(order) if title.startswith(word)) for word in wanted]
    assert places == sorted(places)
    assert order[-1] == "Take the props down first, then the rig"


def test_what_to_weigh_is_told_with_the_mass_of_the_file(demo):
    details = next(step.details for step in demo.steps if step.title.startswith("Weigh"))
    assert "inkwell 310 g, notebook 190 g and paper crane 14 g" in details[0]


def test_steps_that_do_not_apply_are_left_out(demo, odd):
    assert not {"Bend", "Bond the sleeves"} & set(titles(demo))
    assert {"Bend", "Bond the sleeves"} <= set(titles(odd))
    still = sheet(rig_from_text(plain()))
    assert not any(title.startswith("Run the moves") for title in titles(still))


def test_the_proof_load_that_would_bend_a_support_is_never_asked_for(demo):
    details = next(step.details for step in demo.steps if step.title.startswith("Proof load"))
    crane = next(text for text in details if text.startswith("paper crane"))
    assert "Do not make this test" in crane
    assert "ang 28 g" not in crane


def test_over_people_the_first_step_is_a_competent_person():
    result = sheet(rig_from_text(plain(head='[limits]\nhazard = "overhead"\n')))
    assert titles(result)[0] == "Hand this sheet to a competent person first"
    assert result.check.verdict.value != "pass"


def test_moves_are_told_in_seconds_and_frames(demo, odd):
    (move,) = demo.props[1].pictures.moves
    # 50 frames a second: 1.4 s is frame 70, 4 s frame 200.
    assert (move.words, move.start_frame, move.stop_frame) == (
        "slides 150 mm left",
        70.0,
        pytest.approx(200.0),
    )
    slide, roll = odd.props[0].pictures.moves
    assert (slide.start_frame, slide.unit, slide.value[-1]) == (None, "mm", pytest.approx(100.0))
    assert roll.words == "rolls 90 deg counterclockwise as seen from the camera's side"
    assert roll.value[-1] == pytest.approx(90.0)


def test_what_could_not_be_drawn_says_why(odd):
    assert odd.props[1].pictures.no_history == "It does not move."
    assert "peak acceleration" in odd.props[2].pictures.no_history
    assert odd.frame is None  # no camera


def test_the_whole_picture_is_in_pixels_from_its_middle(demo):
    # 3840 px over 420 mm: the inkwell's mark 110 mm left and 10 mm up is 1005.7 px left and 91.4 px up.
    spot = demo.frame.spots[0]
    assert spot.end_centre == pytest.approx([-110 * 3840 / 420, 10 * 3840 / 420], abs=1e-6)
    # It rises by 180 mm, so it starts that much lower.
    assert spot.start_centre == pytest.approx([-110 * 3840 / 420, -170 * 3840 / 420], abs=1e-6)
    assert demo.frame.edges == (-1920, 1920)


def test_one_prop_alone(demo):
    alone = sheet(read_rig(DEMO), prop="notebook")
    assert [one.check.name for one in alone.props] == ["notebook"]
    assert [cut.prop for cut in alone.cuts] == [("notebook",)]
    assert alone.props[0].check.findings == demo.props[1].check.findings
    with pytest.raises(UnknownNameError, match="inkwell"):
        sheet(read_rig(DEMO), prop="ink pot")


def test_sources_are_those_of_the_materials_used(demo):
    keys = [key for key, _ in demo.sources]
    assert "S7" in keys  # spring steel's modulus
    assert "S12" in keys  # aluminium 1100-O
    assert all(text for _, text in demo.sources)


def test_names_stay_as_typed(odd):
    assert odd.props[0].check.name == SCRIPT


def test_what_other_rooms_of_the_check_found_is_on_it(demo):
    first = demo.props[0]
    assert {figure.label for figure in first.approach_figures} == {
        "nearest to notebook",
        "nearest to paper crane",
    }
    assert [finding.id for finding in first.approach] == ["meeting"]
    assert [finding.id for finding in first.cleanup] == ["hidden"]


def test_clean_up_is_weighed_against_rigging_again_by_the_rates_of_the_file():
    post = '[post]\ncleanup = "6 min"\nrerig = "45 min"\ntake = "10 min"\n'
    camera = '[camera]\nfield_width = "420 mm"\nimage_width = 3840\nframe_rate = "50 fps"\n'
    move = '\n  [[prop.move]]\n  slide = "100 mm"\n  along = "left"\n  duration = "1 s"\n  profile = "cycloidal"\n'
    (one,) = sheet(rig_from_text(plain(head=camera + post, side="above", move=move))).props
    assert {finding.id for finding in one.cleanup} == {"hidden", "cleanup"}
    # It shows in all 51 frames of a second at 50 a second: 51 x 6 min = 5.1 h.
    assert any(figure.label == "clean-up" and figure.value == "5.1 h" for figure in one.cleanup_figures)
