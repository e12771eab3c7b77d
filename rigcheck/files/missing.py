"""The error for a file that is not there."""

from __future__ import annotations

from pathlib import Path

from rigcheck.errors import InputError, Problem

__all__ = ["missing_file"]


def missing_file(path: Path, *, ending: str = "") -> InputError:
    """Make the error for a file that is not there; it names the one beside it that was probably meant.

    Parameters
    ----------
    path : Path
        As typed.
    ending : str
        Of the files that could be meant, for example ``.toml``; any if left out.

    Returns
    -------
    InputError
    """
    import difflib  # only when something was misspelt

    try:
        beside = sorted(found.name for found in path.parent.glob(f"*{ending}") if found.is_file())[:1000]
    except (OSError, ValueError):
        beside = []
    whole = {Path(name).stem: name for name in beside} | {name: name for name in beside}
    close = difflib.get_close_matches(path.name, list(whole), n=1)
    meant = str(path.with_name(whole[close[0]])) if close else None
    problem = Problem(
        where="the file",
        says="there is no such file.",
        hint=f'Did you mean "{meant}"?' if meant else None,
    )
    return InputError(str(path), [problem], meant=meant)
