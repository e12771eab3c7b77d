"""Fitted values written into the text of a rig file: what changes, what stays, and what is refused."""

import pytest

from rigcheck.errors import OutputError
from rigcheck.files import rig_from_text
from rigcheck.studies.explain.results import Change, Fitted
from rigcheck.studies.explain.save import fitted_text, save_fitted

RIG = """# my shot
format = 1

[[prop]]
name = "inkwell"
mass = "310 g"          # with ink

  [[prop.support]]
  material = "music-wire"  # from the drawer
  diameter = "3 mm"
  length = "180 mm"
  clamp = "collet"

[[prop]]
name = "notebook"
mass = "190 g"
  [[prop.support]]
  material = "music-wire"
  diameter = "2.5 mm"
  length = "150 mm"
"""


def fitted(*changes, prop="inkwell", take="take.csv"):
    return Fitted(prop=prop, take=take, changes=changes, says=())


def written(*changes, text=RIG, **more):
    new = fitted_text(fitted(*changes, **more), rig_from_text(text), text)
    return new, rig_from_text(new)


def changed_lines(new, text=RIG):
    old = text.splitlines()
    return [line for line in new.splitlines() if line not in old]


class TestOneValue:
    def test_mass(self) -> None:
        new, shot = written(Change(key="mass", value=0.3456))
        assert shot.find_prop("inkwell").mass.m_as("g") == pytest.approx(345.6)
        assert shot.find_prop("notebook").mass.m_as("g") == 190
        assert changed_lines(new) == [
            '# fitted to take.csv; was mass = "310 g"',
            'mass = "345.6 g"          # with ink',
        ]

    def test_clamp_becomes_a_stiffness(self) -> None:
        new, shot = written(Change(key="root_stiffness", support=0, value=12.5))
        support = shot.find_prop("inkwell").support[0]
        assert support.root_stiffness.m_as("N*m/rad") == pytest.approx(12.5)
        assert support.clamp is None
        assert '  # fitted to take.csv; was clamp = "collet"' in new.splitlines()

    def test_a_stiffness_where_there_was_none(self) -> None:
        new, shot = written(Change(key="root_stiffness", support=0, value=12.5), prop="notebook")
        assert shot.find_prop("notebook").support[0].root_stiffness.m_as("N*m/rad") == pytest.approx(12.5)
        assert changed_lines(new) == ['  root_stiffness = "12.5 N*m/rad"  # fitted to take.csv']

    def test_centre_of_mass(self) -> None:
        _, shot = written(Change(key="centre_of_mass", value=(0.0, -0.002, 0.0123)))
        assert [part.m_as("mm") for part in shot.find_prop("inkwell").centre_of_mass] == pytest.approx(
            [0.0, -2.0, 12.3]
        )

    def test_size_and_material(self) -> None:
        _, shot = written(Change(key="diameter", support=0, value="2.5 mm"))
        assert str(shot.find_prop("inkwell").support[0].diameter) == "2.5 mm"
        _, shot = written(Change(key="material", support=0, value="brass-c260"))
        assert shot.find_prop("inkwell").support[0].material == "brass-c260"

    def test_damping_makes_a_material_of_its_own(self) -> None:
        new, shot = written(Change(key="damping_ratio", value=0.0042))
        assert shot.find_prop("inkwell").support[0].material == "music-wire-as-shot"
        assert shot.find_prop("notebook").support[0].material == "music-wire"
        own = shot.own_material("music-wire-as-shot")
        assert own.damping_ratio == pytest.approx(0.0042)
        assert own.youngs_modulus.m_as("GPa") == pytest.approx(205, rel=0.05)
        # Again: the copy is this prop's alone, so it is changed where it stands.
        again, shot = written(Change(key="damping_ratio", value=0.006), text=new)
        assert shot.own_material("music-wire-as-shot").damping_ratio == pytest.approx(0.006)
        assert again.count("[[material]]") == 1


class TestTheText:
    def test_line_ends_and_comments_stay(self) -> None:
        text = RIG.replace("\n", "\r\n")
        new, _ = written(Change(key="root_stiffness", support=0, value=12.5), text=text)
        assert "\n" not in new.replace("\r\n", "")
        assert "# my shot" in new
        assert "# from the drawer" in new

    def test_a_take_with_an_odd_name_is_a_comment_still(self) -> None:
        new, shot = written(Change(key="mass", value=0.4), take='a\n[[prop]]\nname = "x"\x1b[31m')
        assert len(shot.prop) == 2
        assert "\x1b" not in new

    def test_values_in_one_line(self) -> None:
        support = '{ material = "music-wire", diameter = "3 mm", length = "180 mm" }'
        text = f'prop = [{{ name = "inkwell", mass = "310 g", support = [{support}] }}]\n'
        _, shot = written(Change(key="mass", value=0.4), text=text)
        assert shot.prop[0].mass.m_as("g") == pytest.approx(400)
        with pytest.raises(OutputError, match="of its own to add to"):
            written(Change(key="root_stiffness", support=0, value=12.5), text=text)


class TestTheFile:
    def test_nothing_fitted(self, tmp_path) -> None:
        rig = tmp_path / "rig.toml"
        rig.write_text(RIG)
        for nothing in (None, fitted()):
            with pytest.raises(OutputError, match="nothing was fitted"):
                save_fitted(nothing, rig, tmp_path / "new.toml")
        assert not (tmp_path / "new.toml").exists()

    def test_the_old_file_only_when_asked(self, tmp_path) -> None:
        rig = tmp_path / "rig.toml"
        rig.write_text(RIG)
        change = fitted(Change(key="mass", value=0.4))
        with pytest.raises(OutputError, match="is there already"):
            save_fitted(change, rig, rig)
        assert rig.read_text() == RIG
        save_fitted(change, rig, rig, overwrite=True)
        assert "400 g" in rig.read_text()

    def test_keys_beside_the_old_file_are_missed_elsewhere(self, tmp_path) -> None:
        (tmp_path / "keys.csv").write_text("time_s,value\n0,0\n1,50\n2,100\n")
        rig = tmp_path / "rig.toml"
        move = '\n  [[prop.move]]\n  slide = "mm"\n  keys = "keys.csv"\n'
        rig.write_text(RIG + move)
        change = fitted(Change(key="mass", value=0.4))
        other = tmp_path / "other"
        other.mkdir()
        with pytest.raises(OutputError, match="keys"):
            save_fitted(change, rig, other / "new.toml")
        assert save_fitted(change, rig, tmp_path / "new.toml").exists()
