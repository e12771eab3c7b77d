"""The camera: what a millimetre at the prop is in pixels, and how time is cut into frames."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar

from pydantic import ConfigDict, Field, ValidationInfo, field_validator

from rigcheck.model.fields import Length, Number, Quantity, flaw
from rigcheck.model.part import Flaw, Part
from rigcheck.units import Measured, measured

__all__ = ["Camera"]

_LENS = ("distance", "focal_length", "sensor_width")

FrameRate = Annotated[Measured, Quantity("frequency")]
Angle = Annotated[Measured, Quantity("angle", "any")]


class Camera(Part):
    """The camera that sees the shot. Its place across is the frame's centre, at the distance of the prop.

    Attributes
    ----------
    field_width : Measured or None
        What the frame spans at the prop [length]; or the three of the lens:
    distance, focal_length, sensor_width : Measured or None
        From the lens to the prop, and the lens itself [length].
    image_width : int
        Pixels across the frame.
    frame_rate, playback_rate : Measured or None
        As shot and as shown [1/time]. Without a playback rate it is shown as shot.
    shutter_angle : Measured
        Share of the frame time that is exposed, as an angle, 0 to 360 degrees; 180 degrees where not given.
    elevation : Measured
        How far the camera looks down [angle]: 0 is level, 90 degrees is straight down.
    """

    header: ClassVar[str] = "[camera]"

    field_width: Length | None = Field(
        default=None, description="What the frame spans at the prop.", examples=["420 mm"]
    )
    distance: Length | None = Field(
        default=None, description="From the lens to the prop.", examples=["1.1 m"]
    )
    focal_length: Length | None = Field(
        default=None, description="Focal length of the lens.", examples=["50 mm"]
    )
    sensor_width: Length | None = Field(
        default=None, description="Width of the sensor that is used.", examples=["36 mm"]
    )
    image_width: Annotated[int, Number(16, 100_000, integer=True)] = Field(
        description="Pixels across the frame.", examples=[3840]
    )
    frame_rate: FrameRate | None = Field(default=None, description="Frame rate as shot.", examples=["50 fps"])
    playback_rate: FrameRate | None = Field(
        default=None, description="Frame rate as shown.", examples=["25 fps"]
    )
    shutter_angle: Annotated[Measured, Quantity("angle")] = Field(
        default_factory=lambda: measured(180.0, "deg"),
        description="Exposed share of the frame time, as an angle up to 360 deg.",
        examples=["180 deg"],
    )
    elevation: Angle = Field(
        default_factory=lambda: measured(0.0, "deg"),
        description="How far the camera looks down: 90 deg looks straight down.",
        examples=["0 deg"],
    )

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {"required": ["field_width"], "not": {"anyOf": [{"required": [key]} for key in _LENS]}},
                {"required": list(_LENS), "not": {"required": ["field_width"]}},
            ]
        }
    )

    @classmethod
    def flaws(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Ask for the field width or the whole lens, and not both."""
        lens = [key for key in _LENS if key in given]
        if "field_width" in given:
            for key in lens:
                yield Flaw(
                    key, "cannot stand beside field_width.", "Keep field_width, or the three of the lens."
                )
        elif not lens:
            yield Flaw(
                "field_width",
                "is missing: the picture's scale is not known.",
                'Add field_width = "420 mm", or distance, focal_length and sensor_width.',
            )
        else:
            for key in _LENS:
                if key not in given:
                    yield Flaw(
                        key,
                        "is missing: the lens needs all three of distance, focal_length and sensor_width.",
                        cls.add(key),
                    )

    @field_validator("shutter_angle")
    @classmethod
    def _shutter_in_one_turn(cls, value: Measured) -> Measured:
        if value.m_as("deg") > 360.0 * (1.0 + 1e-12):
            raise flaw("is more than a whole turn: up to 360 deg is possible.", 'Write "180 deg".')
        return value

    @field_validator("elevation")
    @classmethod
    def _elevation_in_a_quarter_turn(cls, value: Measured) -> Measured:
        if abs(value.m_as("deg")) > 90.0 * (1.0 + 1e-12):
            raise flaw("has to be from -90 deg, looking straight up, to 90 deg, straight down.")
        return value

    @field_validator("focal_length")
    @classmethod
    def _lens_before_the_prop(cls, value: Measured | None, info: ValidationInfo) -> Measured | None:
        distance = info.data.get("distance")
        if value is not None and distance is not None and value.m_as("m") >= distance.m_as("m"):
            raise flaw("is not shorter than the distance to the prop, so there is no picture of it.")
        return value
