"""What the command ``explain`` is told beside the take: a bench test, known rates, the followed point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from rigcheck.errors import InputError, Problem
from rigcheck.units import QuantityError, parse_quantity, shown

__all__ = ["ExplainFlags", "explain_flags"]

_AXES = ("right", "up", "toward")


@dataclass(frozen=True, kw_only=True)
class ExplainFlags:
    """The same in SI.

    Attributes
    ----------
    hung, sag : float or None
        A mass hung on the prop [kg] and how much farther it then sags [m]; both or neither.
    rates : dict of str to float
        Known frequencies of the drive by name [Hz].
    point : tuple of float or None
        The followed point from the prop's centre of mass: right, up, toward [m].
    """

    hung: float | None = None
    sag: float | None = None
    rates: dict[str, float] = field(default_factory=dict)
    point: tuple[float, float, float] | None = None


def explain_flags(
    *,
    hung: str | None = None,
    sag: str | None = None,
    drive_rates: Sequence[str] = (),
    point: str | None = None,
) -> ExplainFlags:
    """Read the flags.

    Parameters
    ----------
    hung, sag : str, optional
        A mass and a length, for example ``200 g`` and ``1.6 mm``.
    drive_rates : sequence of str
        Frequencies, each with a name before it if there are several, for example ``belt = 23.5 Hz``.
    point : str, optional
        Three lengths, for example ``40 mm, 4 mm, 60 mm``.

    Returns
    -------
    ExplainFlags

    Raises
    ------
    InputError
        Everything that is wrong, each by its flag.

    Examples
    --------
    >>> explain_flags(hung="200 g", sag="1.6 mm", drive_rates=["belt = 23.5 Hz"])
    ExplainFlags(hung=0.2, sag=0.0016, rates={'belt': 23.5}, point=None)
    """
    problems: list[Problem] = []

    def read(flag: str, text: str, dimension: str, unit: str, *, positive: bool = True) -> float:
        try:
            value = parse_quantity(text.strip(), dimension, sign="positive" if positive else "any")
        except QuantityError as error:
            problems.append(Problem(where=flag, given=shown(text, 60), says=error.says, hint=error.hint))
            return 0.0
        return value.m_as(unit)

    if (hung is None) != (sag is None):
        there, missing, example = (
            ("--hung", "--sag", "1.6 mm") if sag is None else ("--sag", "--hung", "200 g")
        )
        problems.append(
            Problem(
                where=missing,
                says=f"is missing beside {there}: a bench test is a mass and how much farther it sags.",
                hint=f'Add {missing} "{example}".',
            )
        )
    mass = None if hung is None else read("--hung", hung, "mass", "kg")
    depth = None if sag is None else read("--sag", sag, "length", "m")
    rates: dict[str, float] = {}
    for text in drive_rates:
        name, _, value = text.rpartition("=")
        name = name.strip() or f"rate {len(rates) + 1}"
        rates[name] = read("--drive-rate", value, "frequency", "Hz")
    place = None
    if point is not None:
        parts = point.strip().strip("[]").split(",")
        if len(parts) == len(_AXES):
            right, up, toward = (read("--point", part, "length", "m", positive=False) for part in parts)
            place = (right, up, toward)
        else:
            problems.append(
                Problem(
                    where="--point",
                    given=shown(point, 60),
                    says="is not three lengths: right, up and toward the camera from the prop's centre of mass.",
                    hint='Write them like "40 mm, 4 mm, 60 mm".',
                )
            )
    if problems:
        raise InputError("flags", problems)
    return ExplainFlags(hung=mass, sag=depth, rates=rates, point=place)
