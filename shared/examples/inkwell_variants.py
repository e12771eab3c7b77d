"""rigcheck from Python: how thick a rod does the inkwell need, and what else would carry it?

Run it in the folder that holds `shared/`:  python shared/examples/inkwell_variants.py
It prints a line for each diameter and writes nothing; redirect the table of candidates where you want it.
"""

from __future__ import annotations

import pint

import rigcheck

quantity = pint.get_application_registry().Quantity

RIG = {
    "title": "Inkwell, on steel rod",
    "camera": {"field_width": "420 mm", "image_width": 3840},
    "prop": [
        {
            "name": "inkwell",
            "mass": quantity(310, "g"),
            "shape": "cylinder",
            "size": ["52 mm", "45 mm", "52 mm"],
            "support": [{"material": "stainless-304-spring", "length": "160 mm", "clamp": "collet"}],
            "move": [{"slide": "180 mm", "duration": "4 s", "profile": "polynomial-4567"}],
        }
    ],
}


def with_diameter(diameter: pint.Quantity) -> rigcheck.Shot:
    """The same rig on a rod of another diameter."""
    prop = RIG["prop"][0]
    support = {**prop["support"][0], "diameter": diameter}
    return rigcheck.load({**RIG, "prop": [{**prop, "support": [support]}]})


def main() -> None:
    for millimetres in (2, 3, 4, 5, 6):
        result = rigcheck.check(with_diameter(quantity(millimetres, "mm")))
        (prop,) = result.props
        print(f"{millimetres} mm: {prop.verdict.value}, sags {prop.static.sag.to('mm'):.3g~}")

    print()
    found = rigcheck.choose(with_diameter(quantity(4, "mm")), most=5)
    print(rigcheck.to_csv(found), end="")

    print()
    caution = rigcheck.to_dict(result)["props"][0]["cautions"][0]
    print(f"Caution: {caution}")


if __name__ == "__main__":
    main()
