"""Rig files of one wire under a small prop, and what the check says of its set, its life and its wall."""

from __future__ import annotations

from check_parts import computed, rig_file

from rigcheck.studies.lasting import lasting
from rigcheck.studies.results import Contribution

SOFT = "aluminium-1100-o"
# 34 MPa and 68.9 GPa at any size, but next to no weight and no soft onset: the wire of the data file's sums.
OWN = """
[[material]]
name = "weightless"
density = "1 kg/m^3"
youngs_modulus = "68.9 GPa"
yield_strength = "{yield_strength}"
damping_ratio = {damping}
"""


def run(text: str) -> tuple[Contribution, float | None]:
    """What `lasting` returns for a rig file."""
    return lasting(computed(text))


def wire(
    mass: str = "14 g",
    *,
    material: str = SOFT,
    size: str = 'diameter = "1.5 mm"',
    length: str = 'length = "200 mm"',
    more: str = "",
    head: str = "",
    prop: str = "",
    move: str = "",
) -> str:
    """A rig file of one wire."""
    support = (f'material = "{material}"', size, length, more, move)
    return rig_file(*support, name="crane", mass=mass, prop=prop, head=head)


TUBE = """
[[prop.support.sleeve]]
material = "copper-annealed"
diameter = "3 mm"
wall = "0.7 mm"
end = "200 mm"
"""
MOVE = '[[prop.move]]\nslide = "{stroke}"\nduration = "{duration}"'


def move(stroke: str = "100 mm", duration: str = "4 s") -> str:
    """A slide."""
    return MOVE.format(stroke=stroke, duration=duration)
