"""What a prop rides on, in a few words."""

from __future__ import annotations

import pytest

from rigcheck import load
from rigcheck.studies.reading.supports import describe


@pytest.mark.parametrize(
    ("material", "said"),
    [
        ("carbon-tube", "8 mm x 1 mm carbon-tube, 180 mm"),
        ("brass tube", "8 mm x 1 mm brass tube, 180 mm"),
        ("aluminium-6061-t6", "8 mm x 1 mm aluminium-6061-t6 tube, 180 mm"),
    ],
)
def test_a_tube_is_called_one_once(material, said):
    support = {
        "material": material,
        "section": "tube",
        "diameter": "8 mm",
        "wall": "1 mm",
        "length": "180 mm",
    }
    shot = load({"prop": [{"name": "inkwell", "mass": "310 g", "support": [support]}]})
    assert describe(shot.prop[0]).startswith(said)
