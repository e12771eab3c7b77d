"""What a check hands back: frozen results with quantities, their method, assumptions and cautions.

Every view (terminal, page, JSON) draws these and computes nothing of its own. What could not be computed
is None, never 0; a check that could not be made is a `Finding` of status ``skipped`` with its reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from rigcheck.units import registry

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "CheckResult",
    "Contribution",
    "Figure",
    "Finding",
    "Influence",
    "Mode",
    "MotionResult",
    "PropResult",
    "StaticResult",
    "Status",
    "worst",
]


def _quantity(field: str, unit: str) -> property:
    """The number of a field as a quantity of pint, made when it is asked for; a view needs none."""

    def get(result: object) -> Any:
        value = getattr(result, field)
        return None if value is None else registry().Quantity(value, unit)

    return property(get, doc=f"`{field}` as a quantity of pint.")


class Status(StrEnum):
    """How a finding, a prop or a shot came out; ``skipped`` is a finding that could not be made."""

    PASS = "pass"
    CAUTION = "caution"
    FAIL = "fail"
    SKIPPED = "skipped"


_ORDER = (Status.PASS, Status.CAUTION, Status.FAIL)


def worst(statuses: list[Status]) -> Status:
    """The gravest of several statuses; skipped ones carry no weight, and nothing checked is a caution.

    Parameters
    ----------
    statuses : list of Status
        Any number of statuses.

    Returns
    -------
    Status
        ``pass``, ``caution`` or ``fail``.

    Examples
    --------
    >>> worst([Status.PASS, Status.SKIPPED, Status.CAUTION]).value
    'caution'
    >>> worst([]).value
    'caution'
    """
    graded = [status for status in statuses if status is not Status.SKIPPED]
    return max(graded, key=_ORDER.index) if graded else Status.CAUTION


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One check: its value beside its limit, what that means, and what to change.

    Attributes
    ----------
    id : str
        Stable name for programs, for example ``residual-wobble``.
    label : str
        Short name for people, for example ``wobble after the move``.
    status : Status
        How it came out.
    value, limit : float or None
        In `unit`; None where there is none.
    at_least : bool
        True where the value has to reach the limit (factors), False where it must stay under it.
    unit : str
        Unit of both, empty for a plain ratio.
    says : str
        One sentence in plain words.
    advice : tuple of str
        What to change and by how much, with the computed effect; best first.
    chance_of_pass : float or None
        Share of the variants within the inputs' ranges in which it passes; None where it was not varied.
    """

    id: str
    label: str
    status: Status
    value: float | None = None
    limit: float | None = None
    at_least: bool = False
    unit: str = ""
    says: str
    advice: tuple[str, ...] = ()
    chance_of_pass: float | None = None

    @property
    def margin(self) -> float | None:
        """Limit over value (or value over limit where it must be reached): above 1 is inside."""
        if self.value is None or self.limit is None:
            return None
        over, under = (self.value, self.limit) if self.at_least else (self.limit, self.value)
        return over / under if under else None


@dataclass(frozen=True, kw_only=True, eq=False)
class StaticResult:
    """The settled state under gravity. Vectors are right, up, toward.

    Each number with a unit stands under its name with the unit, as in the JSON, and under the bare name as a quantity
    of pint.
    """

    method: str
    sag_mm: float
    prop_displacement_mm: NDArray[np.float64]
    prop_rotation_deg: NDArray[np.float64]
    tip_displacement_mm: NDArray[np.float64]
    root_moment_N_m: float
    peak_stress_MPa: float
    yield_factor: float | None
    set_mm: float | None
    buckling_factor: float | None

    sag = _quantity("sag_mm", "mm")
    prop_displacement = _quantity("prop_displacement_mm", "mm")
    prop_rotation = _quantity("prop_rotation_deg", "deg")
    tip_displacement = _quantity("tip_displacement_mm", "mm")
    root_moment = _quantity("root_moment_N_m", "N*m")
    peak_stress = _quantity("peak_stress_MPa", "MPa")
    set = _quantity("set_mm", "mm")


@dataclass(frozen=True, kw_only=True)
class Mode:
    """One natural mode about the settled state.

    Attributes
    ----------
    frequency_Hz, damping_ratio, direction, kind
        What it is, and which way the centre of mass goes; `frequency` is a quantity of pint.
    wobble_share : float or None
        Its share of the wobble when the moves end; None without a move, or where nothing wobbles.
    lag_share : float or None
        Its share in how the prop follows the acceleration of the moves.
    """

    frequency_Hz: float
    damping_ratio: float
    direction: tuple[float, float, float]
    kind: str
    wobble_share: float | None = None
    lag_share: float | None = None

    frequency = _quantity("frequency_Hz", "Hz")


@dataclass(frozen=True, kw_only=True, eq=False)
class MotionResult:
    """What the planned move does to the prop; pixels and the seen frequency only with a camera.

    The bare names are quantities of pint, as in `StaticResult`.
    """

    peak_deviation_mm: float
    residual_wobble_mm: float
    residual_wobble_px: float | None
    settle_s: float | None
    seen_frequency_Hz: float | None
    worst_case: bool = False

    peak_deviation = _quantity("peak_deviation_mm", "mm")
    residual_wobble = _quantity("residual_wobble_mm", "mm")
    settle = _quantity("settle_s", "s")
    seen_frequency = _quantity("seen_frequency_Hz", "Hz")


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One more number for those who ask for details: its label, its value in words, and where it is from."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Influence:
    """How much of the spread of a figure one input causes by itself, and what would settle it.

    Attributes
    ----------
    figure : str
        As in `PropResult.ranges`, for example ``sag_mm``.
    label : str
        Of the input, for people.
    share : float
        First-order share of the variance, 0 to 1.
    measure : str
        What to do to know the input better, for example ``weigh the prop on kitchen scales``.
    """

    figure: str
    label: str
    share: float
    measure: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Contribution:
    """What one part of the check adds to a prop's result.

    Attributes
    ----------
    findings : tuple of Finding
        Its checks.
    figures : tuple of Figure
        Its further numbers, for the details.
    assumptions : tuple of str
        What it took for granted.
    """

    findings: tuple[Finding, ...] = ()
    figures: tuple[Figure, ...] = ()
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class PropResult:
    """Everything found about one prop.

    Attributes
    ----------
    name, support : str
        Of the prop, and what carries it.
    verdict : Status
        The gravest of its findings.
    static, modes, motion
        Figures; None or empty where there is no settled state or no move.
    ranges : mapping of str to (float, float)
        Where figures lie nine times in ten; keys as in the JSON.
    chance_of_pass : float or None
        Share of the variants within the inputs' ranges that pass as a whole; None where not computed.
    influences : tuple of Influence
        Which inputs make the figures unsure, for each figure the strongest first.
    surer : Influence or None
        The one whose measurement would settle most of what decides; None where it is settled, or none stands out.
    findings, assumptions, cautions, next_step, details
        What was found, taken for granted, is dangerous, is to be done, and further figures.
    """

    name: str
    verdict: Status
    static: StaticResult | None
    modes: tuple[Mode, ...]
    motion: MotionResult | None
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))
    chance_of_pass: float | None = None
    influences: tuple[Influence, ...] = ()
    surer: Influence | None = None
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    support: str
    next_step: str | None
    details: tuple[Figure, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class CheckResult:
    """The verdict on a shot."""

    title: str
    verdict: Status
    props: tuple[PropResult, ...]
    cautions: tuple[str, ...]
