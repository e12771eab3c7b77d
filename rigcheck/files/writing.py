"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from rigcheck.errors import OutputError

__all__ = ["write_whole"]


def write_whole(path: str | Path, text: str, *, overwrite: bool = False) -> Path:
    """Write a text file so that it is there whole, or as it was before.

    Parameters
    ----------
    path : str or Path
        The file. Where it is a link, what it points to is written.
    text : str
        The content, written as UTF-8.
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
    The text goes to a new file in the same folder, reaches the disk, and then takes the name in one step.
    Without `overwrite` that step is a hard link, which fails where the name has been taken meanwhile.
    """
    path = Path(path)
    try:
        target = path.resolve()
        if target.is_dir():
            raise OutputError(f"{path} is a folder. Give a file name in it.")
        if not target.parent.is_dir():
            raise OutputError(
                f"the folder {path.parent} is not there. Make it first, or give another file name."
            )
        if target.exists() and not overwrite:
            raise _taken(path)
        _write(target, path, text.encode("utf-8"), overwrite=overwrite)
    except OutputError:
        raise
    except (OSError, RuntimeError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path} was not written: {reason[0].lower()}{reason[1:]}.") from error
    return path


def _taken(path: Path) -> OutputError:
    return OutputError(
        f"{path} is there already and was not replaced. Give another name, or ask to overwrite it."
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
