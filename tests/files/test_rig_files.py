"""Reading good rig files: the two samples of the format, and what a file may look like."""

import math
import os
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigcheck import files
from rigcheck.errors import InputError
from rigcheck.files import read_rig, rig_from_text
from rigcheck.model import Shot

HERE = Path(__file__).parent
SMALLEST = (HERE / "smallest.toml").read_text(encoding="utf-8")


def mm(vector) -> tuple[float, ...]:
    return tuple(part.m_as("mm") for part in vector)


def test_the_smallest_file() -> None:
    shot = read_rig(HERE / "smallest.toml")
    (prop,) = shot.prop
    (support,) = prop.support
    (move,) = prop.move
    assert (prop.name, prop.mass.m_as("kg")) == ("inkwell", 0.31)
    assert support.material == "music-wire"
    assert (support.diameter.m_as("mm"), support.length.m_as("mm")) == (3.0, 180.0)
    assert (move.slide.m_as("mm"), move.duration.m_as("s")) == (220.0, 4.0)


def test_every_field_of_the_whole_file() -> None:
    shot = read_rig(HERE / "whole.toml")
    assert (shot.format, shot.title) == (1, "Desk set, shot 4")

    camera = shot.camera
    assert camera.field_width.m_as("mm") == 420.0
    assert (camera.distance, camera.focal_length, camera.sensor_width) == (None, None, None)
    assert camera.image_width == 3840
    assert (camera.frame_rate.m_as("Hz"), camera.playback_rate.m_as("Hz")) == (50.0, 25.0)
    assert (camera.shutter_angle.m_as("deg"), camera.elevation.m_as("deg")) == (180.0, 0.0)

    limits = shot.limits
    assert (limits.hazard, limits.wobble, limits.takes) == ("clear", 1.0, 60)
    assert (limits.settle.m_as("s"), limits.sag.m_as("mm")) == (0.25, 5.0)

    analysis = shot.analysis
    assert (analysis.displacement, analysis.gravity_stiffness, analysis.shear) == ("auto", True, True)
    assert (analysis.modes, analysis.residual_periods) == (6, 2.0)

    post = shot.post
    assert (post.cleanup.m_as("min"), post.cleanup_per_megapixel) == (6.0, None)
    assert (post.rerig.m_as("min"), post.take.m_as("min")) == (45.0, 10.0)

    (material,) = shot.material
    assert (material.name, material.density.m_as("kg/m^3")) == ("shop-rod", 2710.0)
    assert (material.youngs_modulus.m_as("GPa"), material.shear_modulus.m_as("GPa")) == (69.0, 26.0)
    assert (material.yield_strength.m_as("MPa"), material.tensile_strength.m_as("MPa")) == (35.0, 90.0)
    assert material.damping_ratio == 0.003

    (prop,) = shot.prop
    assert (prop.name, prop.mass.m_as("g")) == ("inkwell", 310.0)
    assert mm(prop.mark) == (-40.0, 10.0, 0.0)
    assert (prop.shape, prop.along, mm(prop.size)) == ("cylinder", (0.0, 1.0, 0.0), (52.0, 45.0, 52.0))
    assert mm(prop.centre_of_mass) == (0.0, 0.0, 12.0)
    assert prop.inertia is None
    assert prop.flexural_rigidity.m_as("N*m") == 0.02
    assert prop.droop_test is None

    insert = prop.insert
    assert (insert.material, insert.thickness.m_as("mm")) == ("greyboard", 2.0)
    assert (mm(insert.size), insert.grain) == ((90.0, 70.0), "along")

    (support,) = prop.support
    assert (support.material, support.section) == ("music-wire", "round")
    assert (support.diameter.m_as("mm"), support.length.m_as("mm")) == (3.0, 180.0)
    assert (support.wall, support.width, support.thickness, support.wires, support.path) == (None,) * 5
    assert (support.from_, mm(support.offset)) == ("behind", (0.0, 0.0, 0.0))
    assert (support.clamp, support.root_stiffness, support.tension) == ("collet", None, None)
    assert (support.grip.m_as("mm"), support.embed.m_as("mm")) == (15.0, 40.0)

    (sleeve,) = support.sleeve
    assert (sleeve.material, sleeve.diameter.m_as("mm"), sleeve.wall.m_as("mm")) == ("brass-c260", 4.0, 0.45)
    assert (sleeve.start.m_as("mm"), sleeve.end.m_as("mm")) == (0.0, 90.0)

    axis = prop.axis
    assert (axis.payload.m_as("kg"), axis.moment.m_as("N*m"), axis.torque.m_as("N*m")) == (3.0, 2.0, 0.5)
    assert axis.stiffness.m_as("N*m/rad") == 200.0

    slide, roll = prop.move
    assert (slide.kind, slide.slide.m_as("mm"), slide.along) == ("slide", 220.0, (0.0, 1.0, 0.0))
    assert (slide.start.m_as("s"), slide.duration.m_as("s")) == (0.0, 4.0)
    assert (slide.profile, slide.ramp) == ("trapezoidal", 0.333)
    assert (roll.kind, roll.roll.m_as("deg"), roll.about) == ("roll", 180.0, (0.0, 0.0, 1.0))
    assert (roll.duration.m_as("s"), roll.through) == (4.0, None)


def test_every_line_that_the_whole_file_only_mentions(tmp_path) -> None:
    """Its comments give further keys; here they stand in a file."""
    (tmp_path / "inkwell-keys.csv").write_text("time_s,value\n0,0\n4,220\n")
    text = """
    [post]
    cleanup_per_megapixel = "2 min"

    [camera]
    distance = "1.1 m"
    focal_length = "50 mm"
    sensor_width = "36 mm"
    image_width = 3840

    [[prop]]
    name = "notebook"
    mass = "310 g"
    inertia = ["4e-5 kg*m^2", "3e-5 kg*m^2", "5e-5 kg*m^2", "0 kg*m^2", "1e-6 kg*m^2", "-1e-6 kg*m^2"]
    droop_test = { overhang = "80 mm", droop = "15 mm" }
      [[prop.support]]
      material = "music-wire"
      diameter = "14 SWG"
      path = [["0 mm","0 mm","-180 mm"], ["0 mm","0 mm","0 mm"]]
      root_stiffness = ["12 N*m/rad", "rigid", "12 N*m/rad"]
      tension = "20 N"
      [[prop.support]]
      material = "music-wire"
      diameter = "1/8 in"
      length = "180 mm +/- 1 mm"
      root_stiffness = "12 N*m/rad"
      offset = ["30 mm", "0 mm", "0 mm"]
      [[prop.move]]
      acceleration = "0.08 g0"
      along = [1, 1, 0]
      [[prop.move]]
      keys = "inkwell-keys.csv"
      slide = "mm"
      [[prop.move]]
      roll = "180 deg"
      about = "up"
      through = ["0 mm", "0 mm", "-180 mm"]
      duration = "4 s"
    """
    shot = rig_from_text(text, folder=tmp_path)
    assert shot.camera.distance.m_as("m") == 1.1
    assert (shot.camera.focal_length.m_as("mm"), shot.camera.sensor_width.m_as("mm")) == (50.0, 36.0)
    prop = shot.prop[0]
    assert [entry.m_as("kg*m^2") for entry in prop.inertia] == [4e-5, 3e-5, 5e-5, 0.0, 1e-6, -1e-6]
    assert (prop.droop_test.overhang.m_as("mm"), prop.droop_test.droop.m_as("mm")) == (80.0, 15.0)
    first, second = prop.support
    # 14 SWG is 0.080 in: BS 3737:1964, as the stock's gauge list gives it.
    assert first.diameter.m_as("in") == pytest.approx(0.080, rel=1e-12)
    assert first.diameter.text == "14 SWG"
    assert [mm(point) for point in first.path] == [(0.0, 0.0, -180.0), (0.0, 0.0, 0.0)]
    assert first.root_stiffness[1] == "rigid"
    assert first.tension.m_as("N") == 20.0
    assert second.length.range_as("mm") == pytest.approx((179.0, 181.0))
    assert second.root_stiffness.m_as("N*m/rad") == 12.0
    assert mm(second.offset) == (30.0, 0.0, 0.0)
    peak, keyed, roll = prop.move
    assert peak.acceleration.m_as("m/s^2") == pytest.approx(0.08 * 9.80665, rel=1e-15)
    assert peak.along == pytest.approx((math.sqrt(0.5), math.sqrt(0.5), 0.0), rel=1e-15)
    assert keyed.keys == (tmp_path / "inkwell-keys.csv").resolve()
    assert (keyed.kind, keyed.key_unit) == ("slide", "mm")
    assert (roll.about, mm(roll.through)) == ((0.0, 1.0, 0.0), (0.0, 0.0, -180.0))


@given(st.floats(0.5, 20.0), st.floats(10.0, 2000.0))
def test_mm_and_inch_rigs_agree(diameter: float, length: float) -> None:
    def shot(scale: float, unit: str) -> Shot:
        text = SMALLEST.replace('"3 mm"', f'"{diameter / scale!r} {unit}"')
        return rig_from_text(text.replace('"180 mm"', f'"{length / scale!r} {unit}"'))

    metric, imperial = shot(1.0, "mm").prop[0].support[0], shot(25.4, "in").prop[0].support[0]
    for key in ("diameter", "length"):
        one, other = (getattr(support, key).m_as("m") for support in (metric, imperial))
        assert one == pytest.approx(other, rel=4e-15)


def test_own_materials_go_for_supports_sleeves_and_inserts() -> None:
    text = """
    [[material]]
    name = "shop-rod"
    density = "2710 kg/m^3"
    youngs_modulus = "69 GPa"
    [[prop]]
    name = "crane"
    mass = "20 g"
    insert = { material = "shop-rod", thickness = "1 mm", size = ["50 mm", "20 mm"] }
    [[prop.support]]
    material = "shop-rod"
    diameter = "2 mm"
    length = "1 m"
    sleeve = [{ material = "shop-rod", diameter = "3 mm", wall = "0.5 mm", end = "0.5 m" }]
    """
    shot = rig_from_text(text)
    assert shot.own_material(shot.prop[0].support[0].material) is shot.material[0]


@pytest.mark.parametrize("change", [lambda text: text.replace("\n", "\r\n"), lambda text: "\ufeff" + text])
def test_line_ends_and_marks_of_other_editors_do_not_matter(change, tmp_path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(change(SMALLEST).encode("utf-8"))
    assert read_rig(path) == read_rig(HERE / "smallest.toml")


def test_a_file_of_keys_may_lie_in_a_folder_below(tmp_path) -> None:
    (tmp_path / "keys").mkdir()
    (tmp_path / "keys" / "a.csv").write_text("time_s,value\n")
    move = 'keys = "keys/a.csv"\nslide = "mm"\n'
    text = SMALLEST.replace('slide = "220 mm"\nduration = "4 s"\n', move)
    (tmp_path / "rig.toml").write_text(text)
    assert read_rig(tmp_path / "rig.toml").prop[0].move[0].keys == (tmp_path / "keys" / "a.csv").resolve()


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
def test_a_link_out_of_the_folder_is_followed_and_refused(tmp_path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    (tmp_path / "secret.csv").write_text("time_s,value\n")
    os.symlink(tmp_path / "secret.csv", home / "a.csv")
    os.symlink(home / "loop.csv", home / "loop.csv")
    for name, says in (("a.csv", "lies outside the folder"), ("loop.csv", "is not there")):
        move = f'keys = "{name}"\nslide = "mm"\n'
        with pytest.raises(InputError, match=says):
            rig_from_text(SMALLEST.replace('slide = "220 mm"\nduration = "4 s"\n', move), folder=home)


def test_what_the_room_offers() -> None:
    for name in files.__all__:
        assert hasattr(files, name)
