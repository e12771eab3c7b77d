"""Files are written whole or not at all, and nothing is replaced unasked."""

import os
import stat
import sys
from pathlib import Path

import pytest

from rigcheck.errors import OutputError
from rigcheck.files import write_whole


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_writes_a_new_file(tmp_path) -> None:
    path = write_whole(tmp_path / "rig.toml", 'name = "inkwell"\nsize = "20 µm"\n')
    assert path.read_bytes() == 'name = "inkwell"\nsize = "20 µm"\n'.encode()
    assert names(tmp_path) == ["rig.toml"]


def test_replaces_only_when_asked(tmp_path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("old")
    with pytest.raises(OutputError) as caught:
        write_whole(path, "new")
    assert str(caught.value) == (
        f"{path} is there already and was not replaced. Give another name, or add --overwrite."
    )
    assert path.read_text() == "old"
    write_whole(path, "new", overwrite=True)
    assert path.read_text() == "new"
    assert names(tmp_path) == ["rig.toml"]


@pytest.mark.parametrize("overwrite", [False, True])
def test_a_failure_leaves_everything_as_it_was(tmp_path, monkeypatch, overwrite: bool) -> None:
    path = tmp_path / "rig.toml"
    if overwrite:
        path.write_text("old")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError) as caught:
        write_whole(path, "new", overwrite=overwrite)
    assert str(caught.value) == f"{path} was not written: no space left on device."
    assert names(tmp_path) == (["rig.toml"] if overwrite else [])
    assert not overwrite or path.read_text() == "old"


def test_a_name_taken_meanwhile_is_not_replaced(tmp_path, monkeypatch) -> None:
    path = tmp_path / "rig.toml"
    sync = os.fsync

    def slow(descriptor: int) -> None:
        sync(descriptor)
        path.write_text("somebody else's")

    monkeypatch.setattr(os, "fsync", slow)
    with pytest.raises(OutputError, match="is there already"):
        write_whole(path, "new")
    assert path.read_text() == "somebody else's"
    assert names(tmp_path) == ["rig.toml"]


@pytest.mark.parametrize("taken", [False, True])
def test_works_where_there_are_no_hard_links(tmp_path, monkeypatch, taken: bool) -> None:
    path = tmp_path / "rig.toml"

    def none(self: Path, target: Path) -> None:
        if taken:
            path.write_text("somebody else's")
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", none)
    if taken:
        with pytest.raises(OutputError, match="is there already"):
            write_whole(path, "new")
    else:
        write_whole(path, "new")
    assert path.read_text() == ("somebody else's" if taken else "new")
    assert names(tmp_path) == ["rig.toml"]


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("", "is a folder. Give a file name in it."),
        ("none/rig.toml", "is not there. Make it first, or give another file name."),
        ("bad\0name", "was not written: "),
    ],
)
def test_says_where_it_cannot_write(tmp_path, name: str, says: str) -> None:
    with pytest.raises(OutputError) as caught:
        write_whole(tmp_path / name, "text")
    assert says in str(caught.value)
    assert names(tmp_path) == []


@pytest.mark.skipif(sys.platform == "win32", reason="rights and links are others there")
def test_keeps_rights_and_links(tmp_path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text("old")
    path.chmod(0o640)
    os.symlink(path, tmp_path / "link.toml")
    write_whole(tmp_path / "link.toml", "new", overwrite=True)
    assert (tmp_path / "link.toml").is_symlink()
    assert path.read_text() == "new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    mask = os.umask(0o027)
    try:
        fresh = write_whole(tmp_path / "fresh.toml", "new")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(fresh.stat().st_mode) == 0o640
