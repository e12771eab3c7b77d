"""Words for masses, lengths, directions and lists."""

from __future__ import annotations

import numpy as np

from rigcheck.studies.words import length_words, listed, mass_words, way_words


def test_words() -> None:
    assert [mass_words(value) for value in (0.0024, 0.0996, 0.9996, 10.87)] == [
        "2.4 g",
        "100 g",
        "1 kg",
        "10.9 kg",
    ]
    assert [length_words(value) for value in (0.00048, -0.0996)] == ["0.48 mm", "100 mm"]
    assert way_words(np.array([0.1, -0.5, 0.2])) == "down"
    assert way_words(np.array([0.1, -0.5, 0.7])) == "toward the camera"


def test_listed() -> None:
    assert [listed(["a", "b", "c"][:count]) for count in range(4)] == ["", "a", "a and b", "a, b and c"]
