"""The errors rigcheck raises: one base, each also the built-in kind a caller would expect."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "ArgumentError",
    "InputError",
    "NotConvergedError",
    "OutputError",
    "Problem",
    "RigcheckError",
    "UnitError",
    "UnknownNameError",
    "ValidityError",
    "reason_of",
]


class RigcheckError(Exception):
    """Base of every error that rigcheck raises on purpose."""


class ArgumentError(RigcheckError, ValueError):
    """An argument of a library function has a wrong shape, sign or value."""


class UnitError(RigcheckError, ValueError):
    """A quantity cannot be read: no unit, wrong dimension, not a number."""


class UnknownNameError(RigcheckError, KeyError):
    """A material, clamp, gauge or prop of that name is not known.

    Attributes
    ----------
    given, meant : str or None
        The name as typed, and the known one that was probably meant.
    """

    def __init__(self, says: str, *, given: str | None = None, meant: str | None = None) -> None:
        super().__init__(f'{says} Did you mean "{meant}"?' if meant else says)
        self.given = given
        self.meant = meant

    def __str__(self) -> str:
        """Give the message itself, not its ``repr`` as `KeyError` does."""
        return str(self.args[0]) if self.args else ""


class ValidityError(RigcheckError, ValueError):
    """The theory does not hold for this input, so a number would mean nothing."""


class NotConvergedError(RigcheckError, ArithmeticError):
    """A solver stopped without a solution; the message says how far it came."""


class OutputError(RigcheckError, OSError):
    """A file was not written: it exists already, or the disk refused."""


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One thing that is wrong with the input, and what to do about it.

    Attributes
    ----------
    where : str
        The key as a person would write it, for example ``prop.support.diameter``.
    line : int or None
        Line of the file, counted from 1; None when the input came from flags, or the whole file is meant.
    given : str or None
        The value as typed; None when the key is missing.
    says : str
        What is wrong and what is allowed, in plain words.
    hint : str or None
        The fix, for example the nearest known word.
    """

    where: str
    line: int | None = None
    given: str | None = None
    says: str
    hint: str | None = None

    def __str__(self) -> str:
        """One line: place, key, value as typed, what is allowed, what to do."""
        place = f"line {self.line}, " if self.line is not None else ""
        given = f" = {self.given}" if self.given is not None else ""
        hint = f" {self.hint}" if self.hint else ""
        return f"{place}{self.where}{given}: {self.says}{hint}"


class InputError(RigcheckError, ValueError):
    """All the problems of one input, reported together.

    Attributes
    ----------
    source : str
        The file as typed, or what else it is.
    problems : tuple of Problem
        In the order of its lines.
    meant : str or None
        The file that was probably meant, where this one is not there.
    """

    def __init__(self, source: str, problems: list[Problem], *, meant: str | None = None) -> None:
        self.source = source
        self.meant = meant
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"{source}: {count} problem{'' if count == 1 else 's'}"
        super().__init__("\n".join([head, *(f"  {problem}" for problem in self.problems)]))


def reason_of(error: Exception) -> str:
    """What the system or a library says is wrong, to go on with in a sentence of ours, without its full stop.

    Parameters
    ----------
    error : Exception
        Not one of ours.

    Returns
    -------
    str

    Examples
    --------
    >>> reason_of(FileNotFoundError(2, "No such file or directory"))
    'no such file or directory'
    """
    reason = getattr(error, "strerror", None) or str(error)
    return f"{reason[:1].lower()}{reason[1:]}"
