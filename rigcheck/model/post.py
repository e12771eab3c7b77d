"""What it costs to clean a shot up afterwards: the user's own rates, for comparison with rigging again.

In the rig file, all of it optional and nothing assumed where it is left out::

    [post]
    cleanup = "6 min"                  # for each frame in which a support shows; or by what shows:
    # cleanup_per_megapixel = "2 min"  # for each million pixels of support, all frames together
    rerig = "45 min"                   # working time to rig the prop again, everybody added up
    take = "10 min"                    # and to shoot another take
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar

from pydantic import ConfigDict, Field

from rigcheck.model.fields import Quantity
from rigcheck.model.part import Flaw, Part
from rigcheck.units import Measured

__all__ = ["Post"]

Time = Annotated[Measured, Quantity("time")]


class Post(Part):
    """The user's own rates. There are no defaults: they depend on the picture and on who paints.

    Attributes
    ----------
    cleanup : Measured or None
        Working time for each frame in which a support shows [time]; or
    cleanup_per_megapixel : Measured or None
        for each million pixels of support that show, all frames together [time].
    rerig, take : Measured or None
        Working time to rig again and to shoot another take, everybody added up [time].
    """

    header: ClassVar[str] = "[post]"

    cleanup: Time | None = Field(
        default=None, description="Your time to clean up one frame.", examples=["6 min"]
    )
    cleanup_per_megapixel: Time | None = Field(
        default=None,
        description="Instead of cleanup: your time for a million pixels of support.",
        examples=["2 min"],
    )
    rerig: Time | None = Field(default=None, description="Time to rig the prop again.", examples=["45 min"])
    take: Time | None = Field(default=None, description="Time to shoot another take.", examples=["10 min"])

    model_config = ConfigDict(json_schema_extra={"not": {"required": ["cleanup", "cleanup_per_megapixel"]}})

    @classmethod
    def flaws(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Ask for one way to rate the clean-up."""
        if "cleanup" in given and "cleanup_per_megapixel" in given:
            yield Flaw("cleanup_per_megapixel", "cannot stand beside cleanup.", "Keep one of the two.")
