"""Reach: the end of the stretch of lengths that passes from the shortest on."""

import numpy as np
import pytest

from rigcheck.files import rig_from_text
from rigcheck.studies.candidates import Candidates, Item
from rigcheck.studies.choose.grades import grade_candidates
from rigcheck.studies.choose.reach import LONGEST, SHORTEST, longest_reach

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
    found = longest_reach(np.arange(6), lambda rows, lengths: (lengths > limits[rows]).astype(int))
    assert np.isnan(found[4])
    assert found[5] == pytest.approx(LONGEST)
    for value, limit in zip(found[:4], limits[:4], strict=True):
        assert limit - max(1.0e-3, 0.01 * limit) - 1e-9 <= value <= limit
    assert found[0] == pytest.approx(SHORTEST)


def test_a_lucky_longer_length_does_not_count():
    found = longest_reach(
        np.zeros(1, dtype=int), lambda rows, lengths: ((lengths > 0.1) & (lengths < 0.6)).astype(int)
    )
    assert found[0] <= 0.1


def test_reach_of_a_cantilever_under_a_sag_limit():
    """Sag of a massless cantilever is W L^3/(3 E I), derived here; the wire's own weight takes off some."""
    shot = rig_from_text(RIG)
    sizes = (2e-3, 3e-3, 4e-3)
    items = [Item(material="music-wire", section="round", diameter=d, label="") for d in sizes]
    candidates = Candidates(shot, shot.prop[0], items, counts=(1,))
    found = longest_reach(
        np.arange(3), lambda rows, lengths: grade_candidates(candidates, rows, lengths, quick=True).rank
    )
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
