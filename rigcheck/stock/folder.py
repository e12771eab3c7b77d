"""Where the shipped data lies: beside the package in a checkout, inside it when installed."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from rigcheck.errors import RigcheckError

__all__ = ["data_folder"]

_PACKAGE = Path(__file__).resolve().parent.parent


@cache
def data_folder(name: str) -> Path:
    """Return the folder of shipped data of that name.

    Parameters
    ----------
    name : str
        ``"materials"`` or ``"shared"``.

    Returns
    -------
    pathlib.Path
        ``rigcheck/data/<name>`` of an installed package, else ``<name>`` beside the package of a checkout.

    Raises
    ------
    RigcheckError
        Neither exists: the installation is incomplete.
    """
    # The installed place first: a stranger's folder may lie beside the package in site-packages.
    for folder in (_PACKAGE / "data" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise RigcheckError(
        f'The folder "{name}" that belongs to rigcheck is missing beside {_PACKAGE}. Install rigcheck again.'
    )
