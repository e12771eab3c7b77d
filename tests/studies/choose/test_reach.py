"""Reach: the end of the stretch of lengths that passes from the shortest on."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigcheck.files import rig_from_text
from rigcheck.studies.candidates import Candidates, Item, stock_items
from rigcheck.studies.choose.grades import grade_candidates
from rigcheck.studies.choose.reach import LONGEST, SHORTEST, longest_reach, reaches_of
from rigcheck.studies.choose.study import choose
from rigcheck.studies.grading import CAUTION_SHARE
from rigcheck.studies.rigs import divided_at_ends

RIG = """
[limits]
sag = "2 mm"
[[prop]]
name = "card"
mass = "50 g"
[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
"""


def test_a_known_limit_is_found_to_its_promise():
    limits = np.array([0.0205, 0.1234, 0.5, 1.2, 0.001, 9.0])
    found = longest_reach(np.arange(6), lambda rows, lengths: np.where(lengths > limits[rows], -1.0, 1.0))
    assert np.isnan(found[4])
    assert found[5] == pytest.approx(LONGEST)
    for value, limit in zip(found[:4], limits[:4], strict=True):
        assert limit - max(1.0e-3, 0.01 * limit) - 1e-9 <= value <= limit
    assert found[0] == pytest.approx(SHORTEST)


def test_a_lucky_longer_length_does_not_count():
    found = longest_reach(
        np.zeros(1, dtype=int), lambda rows, lengths: np.where((lengths > 0.1) & (lengths < 0.6), -1.0, 1.0)
    )
    assert found[0] <= 0.1


def one_after_another(room):
    """Reach of one candidate as it is described: steps of 40 % until one fails, then halved."""
    steps = np.round(np.geomspace(SHORTEST, LONGEST, 14) / 1e-3) * 1e-3
    low = high = 0.0
    for step in steps:
        if room(step) < 0:
            high = step
            break
        low = step
    if low == 0 or high == 0:
        return low or np.nan
    while high - low > max(1e-3, 0.01 * low) + 1e-9:
        middle = np.round(0.5 * (low + high) / 1e-3) * 1e-3
        low, high = (middle, high) if room(middle) >= 0 else (low, middle)
    return low


@settings(max_examples=60)
@given(
    st.lists(st.floats(0.005, 3.0), min_size=1, max_size=400),
    st.floats(0.0, 3.0),
    st.floats(0.0, 400.0),
    st.integers(0, 2**32 - 1),
)
def test_looking_ahead_changes_no_answer(limits, height, often, seed):
    """Whatever the guess, and where the room goes up and down so that lengths pass and fail in turn."""
    limit = np.array(limits)

    def room_of(rows, lengths):
        return 3.0 * np.log(limit[rows] / lengths) + height * np.sin(often * lengths + rows)

    guess = limit * np.exp(np.random.default_rng(seed).normal(size=len(limit)))
    rows = np.arange(len(limit))
    expected = [one_after_another(lambda length, row=row: room_of(row, length)) for row in rows]
    for known in (None, guess):
        found = longest_reach(rows, room_of, guess=known)
        np.testing.assert_allclose(found, expected, rtol=0, atol=1e-9)


def test_a_good_guess_takes_few_looks():
    """Each look is a batch, which costs as much as a hundred rows."""
    limits = np.geomspace(0.03, 1.2, 120)
    batches = []

    def room_of(rows, lengths):
        batches.append(len(rows))
        return 3.0 * np.log(limits[rows] / lengths)

    longest_reach(np.arange(120), room_of, guess=limits)
    assert len(batches) <= 4
    assert sum(batches) < 120 * 18


def test_reach_of_a_cantilever_under_a_sag_limit():
    """Sag of a massless cantilever is W L^3/(3 E I), derived here; the wire's own weight takes off some."""
    shot = rig_from_text(RIG)
    sizes = (2e-3, 3e-3, 4e-3)
    items = [Item(material="music-wire", section="round", diameter=d, label="") for d in sizes]
    candidates = Candidates(shot, shot.prop[0], items, counts=(1,))
    found = longest_reach(
        np.arange(3),
        lambda rows, lengths: -1.0 * grade_candidates(candidates, rows, lengths, quick=True).rank,
    )
    graded = grade_candidates(candidates)
    known = reaches_of(candidates, np.arange(3), graded)
    assert [known[size, 1] for size in range(3)] == found.tolist()
    E = candidates.material.youngs_modulus
    bare = (2e-3 * 3 * E * np.pi * np.array(sizes) ** 4 / 64 / (0.05 * 9.80665)) ** (1 / 3)
    assert (found < bare).all()
    # Own weight: at most 3/8 of the wire's weight counts at the tip.
    wire = candidates.material.density * np.pi * np.array(sizes) ** 2 / 4 * bare
    least = bare * (0.05 / (0.05 + wire * 3 / 8)) ** (1 / 3)
    assert (found > 0.985 * least).all()
    passes = grade_candidates(candidates, np.arange(3), found).rank
    assert (passes == 0).all()
    assert (grade_candidates(candidates, np.arange(3), found * 1.02 + 1e-3).rank > 0).all()


MOVED = """
format = 1
[camera]
field_width = "420 mm"
image_width = 3840
[limits]
hazard = "{hazard}"
[[prop]]
name = "card"
mass = "60 g"
[[prop.support]]
material = "carbon-rod"
diameter = "4 mm"
length = "180 mm"
[[prop.move]]
slide = "150 mm"
along = "left"
duration = "2.6 s"
profile = "trapezoidal"
"""


@pytest.mark.parametrize("hazard", ["clear", "overhead"])
def test_what_passes_by_a_quick_look_passes(hazard):
    """What is left out for reach decides nothing: a bound in place of a wobble is on the same side of its limit."""
    shot = rig_from_text(MOVED.format(hazard=hazard))
    items = [item for item in stock_items(shot) if item.material in ("carbon-rod", "music-wire")]
    candidates = Candidates(shot, shot.prop[0], items, counts=(1,))
    rows = np.repeat(np.arange(len(candidates)), 16)
    lengths = np.tile(np.geomspace(0.03, 0.4, 16), len(candidates))
    quick = grade_candidates(candidates, rows, lengths, quick=True)
    whole = grade_candidates(candidates, rows, lengths)
    near = ~(whole.large | whole.too_weak | whole.too_soft)
    best = 1 if hazard == "overhead" else 0
    assert ((quick.rank <= best) == (whole.rank <= best))[near].all()
    assert set(whole.ranks["residual-wobble"][near]) == {0, 1, 2}
    told, limit = whole.values["residual-wobble"], 1.0 if hazard == "overhead" else CAUTION_SHARE
    bound = quick.values["residual-wobble"]
    above, below = near & (bound > told * (1 + 1e-4)), near & (bound < told * (1 - 1e-4))
    assert min(above.sum(), below.sum()) > 10
    assert bound[above].max() <= limit < bound[below].min()


def test_reach_is_that_of_one_length_after_another():
    shot = rig_from_text(MOVED.format(hazard="clear"))
    items = [item for item in stock_items(shot) if item.material == "music-wire"]
    candidates = Candidates(shot, shot.prop[0], items, counts=(1, 2))
    graded = grade_candidates(candidates)
    shown = np.flatnonzero(candidates.count == 2)[::5].tolist()
    found = reaches_of(candidates, np.argsort(graded.rank, kind="stable"), graded, shown)
    # On more supports, what is shown alone.
    assert sum(count == 2 for _, count in found) == len(shown)

    def passes(index, length):
        return -float(grade_candidates(candidates, np.array([index]), np.array([length]), quick=True).rank[0])

    some = list(found)[::5]
    assert any(count == 2 for _, count in some)
    for item, count in some:
        index = int(np.flatnonzero((candidates.item == item) & (candidates.count == count))[0])
        expected = one_after_another(lambda length, index=index: passes(index, length))
        assert found[item, count] == pytest.approx(expected, nan_ok=True, abs=1e-9)


def test_reach_where_large_displacement_is_wanted_is_by_linear_theory():
    """It would take the solution for large displacement of every length, and within a tenth of it changes little."""
    text = RIG + '\n[analysis]\ndisplacement = "{0}"\n'
    items = [Item(material="music-wire", section="round", diameter=d, label="") for d in (2e-3, 3e-3, 4e-3)]
    found = []
    for displacement in ("linear", "large"):
        shot = rig_from_text(text.format(displacement))
        candidates = Candidates(shot, shot.prop[0], items, counts=(1, 2))
        order = np.arange(len(candidates))
        found.append(reaches_of(candidates, order, grade_candidates(candidates)))
        chosen = choose(shot, stock=shot, counts=(1,), cures=False).props[0]
        said = [line for line in chosen.assumptions if line.startswith("Reach")]
        assert ("; it is by linear theory" in said[0]) == (displacement == "large")
    assert found[0] == found[1]
    assert min(found[0].values()) > SHORTEST


def test_which_thin_wires_bend_only_at_their_ends_is_told_without_a_rig():
    """All that are divided there are among those that may be; of what carries the card well none is."""
    shot = rig_from_text(RIG)
    candidates = Candidates(shot, shot.prop[0], stock_items(shot), counts=(1, 2))
    for length in (0.02, 0.2, 1.5):
        for count in (1, 2):
            rows = np.flatnonzero(candidates.count == count)
            lengths = np.full(len(rows), length)
            may = candidates.may_bend_at_ends_only(rows, lengths)
            divided = divided_at_ends(candidates.task_of(rows, lengths).rig)
            assert not (divided & ~may).any()
            assert (may & ~divided).sum() < 0.25 * len(rows)
    assert divided.any()
    thick = np.flatnonzero(candidates.across[candidates.item] > 2e-3)
    assert not candidates.may_bend_at_ends_only(thick, np.full(len(thick), 0.3)).any()
