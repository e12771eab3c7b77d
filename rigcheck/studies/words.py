"""Masses, lengths, shares, directions and lists in the words that findings and advice use."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "capitalised",
    "length_words",
    "listed",
    "mass_words",
    "material_words",
    "share_words",
    "side_words",
    "way_words",
]

_DIRECTIONS = (("right", "left"), ("up", "down"), ("toward the camera", "away from the camera"))


def capitalised(words: str) -> str:
    """The same with a capital at its beginning, and the rest as it was.

    Examples
    --------
    >>> capitalised("the 3 mm wire of a Desk set")
    'The 3 mm wire of a Desk set'
    """
    return words[:1].upper() + words[1:]


def mass_words(mass: float) -> str:
    """A mass in grams or kilograms with two or three digits.

    Parameters
    ----------
    mass : float
        [kg].

    Returns
    -------
    str

    Examples
    --------
    >>> mass_words(0.0057), mass_words(0.31), mass_words(10.87)
    ('5.7 g', '310 g', '10.9 kg')
    """
    grams = mass * 1e3
    if grams < 99.5:
        return f"{grams:.2g} g"
    return f"{grams:.0f} g" if grams < 999.5 else f"{mass:.3g} kg"


def material_words(material: str, section: str) -> str:
    """A material with the form it is sold in, where its name does not say so.

    Parameters
    ----------
    material : str
        Its name.
    section : str
        As in the rig file.

    Returns
    -------
    str

    Examples
    --------
    >>> material_words("brass-c260", "tube"), material_words("carbon-tube", "tube"), material_words("brass", "round")
    ('brass-c260 tube', 'carbon-tube', 'brass')
    """
    named = section == "round" or section in material.replace("-", " ").split()
    return material if named else f"{material} {section}"


def length_words(length: float) -> str:
    """The size of a length in millimetres with two or three digits.

    Parameters
    ----------
    length : float
        [m], either sign.

    Returns
    -------
    str

    Examples
    --------
    >>> length_words(-0.00048), length_words(0.18)
    ('0.48 mm', '180 mm')
    """
    size = abs(length) * 1e3
    return f"{size:.2g} mm" if size < 99.5 else f"{size:.0f} mm"


def share_words(share: float, *, places: int = 0) -> str:
    """A share of a whole in percent.

    Parameters
    ----------
    share : float
        1 for the whole.
    places : int
        Digits after the point.

    Returns
    -------
    str

    Examples
    --------
    >>> share_words(0.69), share_words(0.0123, places=1)
    ('69 %', '1.2 %')
    """
    return f"{100.0 * share:.{places}f} %"


def side_words(side: str) -> str:
    """Where a support comes from.

    Parameters
    ----------
    side : str
        One of `rigcheck.model.SIDES`.

    Returns
    -------
    str

    Examples
    --------
    >>> side_words("left"), side_words("behind")
    ('from the left', 'from behind')
    """
    return f"from the {side}" if side in ("front", "left", "right") else f"from {side}"


def way_words(vector: NDArray[np.float64]) -> str:
    """The direction word of a vector's largest component.

    Parameters
    ----------
    vector : array, shape (3,)
        Right, up, toward.

    Returns
    -------
    str

    Examples
    --------
    >>> import numpy as np
    >>> way_words(np.array([0.1, -0.5, 0.2]))
    'down'
    """
    axis = max(range(3), key=lambda axis: abs(vector[axis]))
    return _DIRECTIONS[axis][0 if vector[axis] >= 0 else 1]


def listed(parts: Sequence[str]) -> str:
    """Parts of a sentence with commas and a last ``and``.

    Parameters
    ----------
    parts : sequence of str
        Any number; of none the list is empty.

    Returns
    -------
    str

    Examples
    --------
    >>> listed(["up", "left", "back"])
    'up, left and back'
    """
    if len(parts) < 2:
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]
