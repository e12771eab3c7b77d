"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from rigcheck.errors import OutputError, reason_of

__all__ = ["check_free", "write_whole"]


def check_free(path: str | Path, *, overwrite: bool = False) -> None:
    """Say before long work what would keep `write_whole` from writing a file.

    Parameters
    ----------
    path : str or Path
        The file.
    overwrite : bool, optional
        Whether a file that is there may be replaced.

    Raises
    ------
    OutputError
        The file is there and may not be replaced, is a folder, or its folder is not there.
    """
    try:
        _target(Path(path), overwrite=overwrite)
    except (OSError, RuntimeError, ValueError) as error:
        raise _refused(Path(path), error) from error


def write_whole(path: str | Path, content: str | bytes, *, overwrite: bool = False) -> Path:
    """Write a file so that it is there whole, or as it was before.

    Parameters
    ----------
    path : str or Path
        The file. Where it is a link, what it points to is written.
    content : str or bytes
        What to write, text as UTF-8.
    overwrite : bool, optional
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        The file is there and may not be replaced, or it cannot be written; nothing is left behind.

    Notes
    -----
    It goes to a new file in the same folder, reaches the disk, and then takes the name in one step.
    Without `overwrite` that step is a hard link, which fails where the name has been taken meanwhile.
    """
    path = Path(path)
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        target = _target(path, overwrite=overwrite)
        _write(target, path, data, overwrite=overwrite)
    except (OSError, RuntimeError, ValueError) as error:
        raise _refused(path, error) from error
    return path


def _target(path: Path, *, overwrite: bool) -> Path:
    """Give the file that a path stands for, if it may be written."""
    target = path.resolve()
    if target.is_dir():
        raise OutputError(f"{path} is a folder. Give a file name in it.")
    if not target.parent.is_dir():
        raise OutputError(f"the folder {path.parent} is not there. Make it first, or give another file name.")
    if target.exists() and not overwrite:
        raise _taken(path)
    return target


def _refused(path: Path, error: Exception) -> OutputError:
    if isinstance(error, OutputError):
        return error
    return OutputError(f"{path} was not written: {reason_of(error)}.")


def _taken(path: Path) -> OutputError:
    return OutputError(
        f"{path} is there already and was not replaced. Give another name, or add --overwrite."
    )


def _write(target: Path, path: Path, content: bytes, *, overwrite: bool) -> None:
    """Write beside the target and move the file into place."""
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        part.chmod(_mode(target))
        if overwrite:
            part.replace(target)
            return
        try:
            target.hardlink_to(part)
        except FileExistsError:
            raise _taken(path) from None
        except OSError:
            # Some file systems have no hard links: look once more, then move.
            if target.exists():
                raise _taken(path) from None
            part.replace(target)
    finally:
        with contextlib.suppress(FileNotFoundError):
            part.unlink()


def _mode(target: Path) -> int:
    """Keep the rights of the file that is replaced; a new one has those any new file gets."""
    if target.exists():
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
