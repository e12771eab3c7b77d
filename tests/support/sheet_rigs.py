"""Rig files for the sheet: bent, sleeved, several supports, a roll, no camera, and names that look like markup."""

from __future__ import annotations

import json

SCRIPT = "<script>alert('x')</script> blotter & \"sons\" $x^2$"
TITLE = '<b>Shelf</b> & "friends" – take 12 {{ 7*7 }}'


def hard(name: str = SCRIPT, title: str = TITLE, head: str = "") -> str:
    """A shot that has everything a page can stumble over."""
    return f"""
format = 1
title = {json.dumps(title)}
{head}
[limits]
hazard = "hands"
takes = 40

[[prop]]
name = {json.dumps(name)}
mass = "120 g"
shape = "box"
size = ["120 mm", "20 mm", "80 mm"]
centre_of_mass = ["0 mm", "5 mm", "20 mm"]
  [[prop.support]]
  material = "music-wire"
  diameter = "3 mm"
  path = [["0 mm","120 mm","-60 mm"], ["0 mm","0 mm","-60 mm"], ["0 mm","0 mm","0 mm"]]
  clamp = "collet"
  grip = "15 mm"
  embed = "30 mm"
    [[prop.support.sleeve]]
    material = "brass-c260"
    diameter = "4 mm"
    wall = "0.45 mm"
    start = "10 mm"
    end = "70 mm"
  [[prop.support]]
  material = "music-wire"
  diameter = "2 mm"
  length = "90 mm"
  from = "behind"
  offset = ["30 mm", "0 mm", "0 mm"]
  clamp = "one-set-screw"
  grip = "12 mm"
  [prop.axis]
  payload = "1 kg"
  [[prop.move]]
  slide = "100 mm"
  along = "up"
  duration = "2 s"
  profile = "cycloidal"
  [[prop.move]]
  roll = "90 deg"
  about = "toward"
  start = "0.5 s"
  duration = "2.5 s"
  profile = "cycloidal"

[[prop]]
name = "stamp"
mass = "40 g"
  [[prop.support]]
  material = "carbon-tube"
  diameter = "4 mm"
  wall = "1 mm"
  length = "300 mm"
  from = "above"
  clamp = "wood-block"
  grip = "50 mm"

[[prop]]
name = "pencil"
mass = "9 g"
shape = "cylinder"
along = "right"
size = ["170 mm", "7 mm", "7 mm"]
  [[prop.support]]
  material = "music-wire"
  diameter = "1 mm"
  length = "120 mm"
  from = "left"
  [[prop.move]]
  acceleration = "0.8 m/s^2"
  along = "up"
"""


def plain(
    *,
    mass: str = "100 g",
    length: str = "200 mm",
    diameter: str = "4 mm",
    side: str = "behind",
    more: str = "",
    head: str = "",
    move: str = "",
) -> str:
    """One prop on one straight, rigidly held steel wire of its own without weight to speak of."""
    return f"""
{head}
[[material]]
name = "ideal"
density = "1 kg/m^3"
youngs_modulus = "200 GPa"
shear_modulus = "77 GPa"
yield_strength = "500 MPa"

[[prop]]
name = "inkwell"
mass = "{mass}"
size = ["40 mm", "30 mm", "20 mm"]
{more}
  [[prop.support]]
  material = "ideal"
  diameter = "{diameter}"
  length = "{length}"
  from = "{side}"
  root_stiffness = "rigid"
  grip = "20 mm"
  embed = "10 mm"
{move}
"""
