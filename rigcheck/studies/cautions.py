"""The safe-load cautions that stand on every output, by who is near the rig."""

from __future__ import annotations

__all__ = ["REQUIRED_FACTOR", "cautions"]

REQUIRED_FACTOR = {"clear": 1.5, "hands": 3.0, "overhead": 10.0}
"""Strength over stress by who is near. Common practice, no single source; the lifting codes that the data
file cites ask 4 to 10, and 10 with a second independent hold over people."""

_ALWAYS = (
    (
        "A calculation from typical material data is not a test: hang twice the weight on the finished rig, over a"
        " cushion, before the take."
    ),
    "Local rules and a competent rigger come before this result.",
)
_NEAR = {
    "clear": "Only for a set with nobody under the prop; keep hands and faces out while it hangs or moves.",
    "hands": "Hands work under the prop: catch it with a second, slack hold, and wear eye protection near wire ends.",
    "overhead": (
        "People, animals or open flame under the prop: this tool never passes that. Have a competent person"
        " (licensed where the law asks for it) design it, with ten times the strength and a second hold that works"
        " on its own."
    ),
}


def cautions(hazard: str, material_cautions: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The cautions for one prop.

    Parameters
    ----------
    hazard : str
        As `rigcheck.model.Limits` names it.
    material_cautions : tuple of str
        What the materials themselves ask for, for example against splinters.

    Returns
    -------
    tuple of str
        Never empty; the one about who is near comes first.
    """
    return (_NEAR[hazard], *_ALWAYS, *dict.fromkeys(material_cautions))
