"""What still counts as good, and how the calculation is to be done."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, TypeAlias

from pydantic import Field

from rigcheck.model.fields import Choice, Flag, Length, Number, Quantity
from rigcheck.model.part import Part
from rigcheck.units import Measured, measured

__all__ = ["Analysis", "Displacement", "Hazard", "Limits"]

Hazard: TypeAlias = Literal["clear", "hands", "overhead"]
Displacement: TypeAlias = Literal["auto", "linear", "large"]


class Limits(Part):
    """What the shot has to keep to.

    Attributes
    ----------
    hazard : {"clear", "hands", "overhead"}
        Who is near: nobody under it; hands; people, animals or open flame under it.
    wobble : float
        Peak to peak [px]: above it fails, from 0.3 of it on is a caution.
    settle : Measured
        Time to be still after arriving [time].
    sag : Measured or None
        Most sag allowed [length]; None is no limit.
    takes : int
        How often the move is made.
    """

    header: ClassVar[str] = "[limits]"

    hazard: Annotated[Hazard, Choice(Hazard)] = Field(
        default="clear",
        description="Who is near: clear is nobody under it; hands; overhead is people, animals or open flame "
        "under it.",
        examples=["clear", "hands", "overhead"],
    )
    wobble: Annotated[float, Number(0, 10_000, above=True)] = Field(
        default=1.0, description="Most wobble, peak to peak, in pixels.", examples=[1.0]
    )
    settle: Annotated[Measured, Quantity("time")] = Field(
        default_factory=lambda: measured(0.25, "s"),
        description="How long it may take to be still after arriving.",
        examples=["0.25 s"],
    )
    sag: Length | None = Field(default=None, description="Most sag allowed.", examples=["5 mm"])
    takes: Annotated[int, Number(1, 100_000_000, integer=True)] = Field(
        default=60, description="How often the move is made.", examples=[60]
    )


class Analysis(Part):
    """How to calculate; for comparison with other calculations.

    Attributes
    ----------
    displacement : {"auto", "linear", "large"}
        auto goes to large displacement where the linear sag is large.
    gravity_stiffness : bool
        Whether weight takes part in the stiffness.
    shear : bool
        Whether supports deform in shear (Timoshenko) or not (Euler-Bernoulli).
    modes : int
        Least number of modes reported and used.
    residual_periods : float
        Periods of the lowest mode over which residual wobble is read.
    """

    header: ClassVar[str] = "[analysis]"

    displacement: Annotated[Displacement, Choice(Displacement)] = Field(
        default="auto", description="Small or large displacement.", examples=["auto", "linear", "large"]
    )
    gravity_stiffness: Annotated[bool, Flag()] = Field(
        default=True, description="false leaves the weight out of the stiffness.", examples=[True]
    )
    shear: Annotated[bool, Flag()] = Field(
        default=True, description="false is Euler-Bernoulli.", examples=[True]
    )
    modes: Annotated[int, Number(1, 60, integer=True)] = Field(
        default=6, description="At least this many modes are reported and used.", examples=[6]
    )
    residual_periods: Annotated[float, Number(0, 1000, above=True)] = Field(
        default=2.0,
        description="Periods of the lowest mode over which the residual wobble is read.",
        examples=[2],
    )
