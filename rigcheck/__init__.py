"""Checks whether the hidden wire, rod or tube that carries a prop will sag, sway, bend for good or overload its head.

The questions, from Python::

    import rigcheck

    result = rigcheck.check("shared/shots/desk-set.toml")
    result.props[0].static.sag.to("mm")

The package's three layers can each be used alone: formulas (`rigcheck.mechanics`, `rigcheck.motion`: SI arrays),
objects (`rigcheck.model`, `rigcheck.stock`: quantities) and studies (`rigcheck.studies`). The names here are imported
when they are first used, so that the command line starts fast.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rigcheck.errors import InputError, RigcheckError, UnitError, UnknownNameError, ValidityError
    from rigcheck.library import check, choose, explain, load, retime, sheet, to_csv, to_dict, to_html
    from rigcheck.model import (
        Analysis,
        Axis,
        Camera,
        DroopTest,
        Insert,
        Limits,
        Move,
        OwnMaterial,
        Post,
        Prop,
        Shot,
        Sleeve,
        Support,
    )
    from rigcheck.units import Measured

__version__ = "0.1.0"

__all__ = [
    "Analysis",
    "Axis",
    "Camera",
    "DroopTest",
    "InputError",
    "Insert",
    "Limits",
    "Measured",
    "Move",
    "OwnMaterial",
    "Post",
    "Prop",
    "RigcheckError",
    "Shot",
    "Sleeve",
    "Support",
    "UnitError",
    "UnknownNameError",
    "ValidityError",
    "__version__",
    "check",
    "choose",
    "explain",
    "load",
    "retime",
    "sheet",
    "to_csv",
    "to_dict",
    "to_html",
]

_HOME = {
    **dict.fromkeys(
        ("check", "choose", "explain", "load", "retime", "sheet", "to_csv", "to_dict", "to_html"), "library"
    ),
    **dict.fromkeys(
        ("InputError", "RigcheckError", "UnitError", "UnknownNameError", "ValidityError"), "errors"
    ),
    "Measured": "units",
}


def __getattr__(name: str) -> Any:
    """Import the module that a public name lives in (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME.get(name, 'model')}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
