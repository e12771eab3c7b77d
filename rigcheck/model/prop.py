"""A prop: a rigid thing with mass, on one or several supports, carried through its moves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar, Literal, TypeAlias, get_args

from pydantic import ConfigDict, Field, ValidationInfo, field_validator

from rigcheck.model.fields import (
    DIRECTIONS,
    Choice,
    Direction,
    Inertia,
    Length,
    LengthVector,
    Name,
    Quantity,
    QuantityList,
    Rows,
    flaw,
)
from rigcheck.model.move import Move
from rigcheck.model.part import Flaw, Part, raise_all
from rigcheck.model.support import Support
from rigcheck.units import Measured, measured

__all__ = ["Axis", "DroopTest", "Grain", "Insert", "Prop", "Shape"]

Shape: TypeAlias = Literal["box", "cylinder", "disc", "sphere"]
Grain: TypeAlias = Literal["along", "across"]

_ROUNDED = 0.01
"""Slack for inertia typed with two or three digits."""
_SAME_PLACE = 1e-9
"""How far from the origin still counts as the origin [m]."""


class DroopTest(Part):
    """A strip of the soft prop hung over a table edge, as in the cantilever test of ASTM D1388.

    Attributes
    ----------
    overhang, droop : Measured
        Length beyond the edge, and how far its end hangs below the table top [length].
    """

    header: ClassVar[str] = "[prop.droop_test]"

    overhang: Length = Field(description="Length beyond the table edge.", examples=["80 mm"])
    droop: Length = Field(description="How far the end hangs down.", examples=["15 mm"])

    @field_validator("droop")
    @classmethod
    def _hangs_less_than_its_length(cls, value: Measured, info: ValidationInfo) -> Measured:
        overhang = info.data.get("overhang")
        if overhang is not None and value.m_as("m") >= overhang.m_as("m"):
            raise flaw(f'has to be less than the overhang, "{overhang}".', "Test a shorter overhang.")
        return value


class Insert(Part):
    """A stiff sheet hidden in a soft prop.

    Attributes
    ----------
    material : str
        A sheet from stock, or a material of the shot's own.
    thickness : Measured
        [length].
    size : tuple of 2 Measured
        Along the support and across it [length].
    grain : {"along", "across"}
        How the stiff direction of the sheet lies to the support.
    """

    header: ClassVar[str] = "[prop.insert]"

    material: Annotated[str, Name()] = Field(
        description="A sheet from stock, or your own.", examples=["greyboard"]
    )
    thickness: Length = Field(description="Thickness of the sheet.", examples=["2 mm"])
    size: Annotated[
        tuple[Measured, Measured], QuantityList("length", ("along the support", "across it"), "positive")
    ] = Field(description="Along the support, across it.", examples=[["90 mm", "70 mm"]])
    grain: Annotated[Grain, Choice(Grain)] = Field(
        default="along", description="Stiff direction of the sheet.", examples=list(get_args(Grain))
    )


class Axis(Part):
    """Ratings of the motorised head or slide; what is not given is not checked.

    Attributes
    ----------
    payload : Measured or None
        [mass].
    moment, torque : Measured or None
        Across its shaft, and about it [torque].
    stiffness : Measured or None
        Of the head against turning [torque/angle].
    """

    header: ClassVar[str] = "[prop.axis]"

    payload: Annotated[Measured, Quantity("mass")] | None = Field(
        default=None, description="Most mass it may carry.", examples=["3 kg"]
    )
    moment: Annotated[Measured, Quantity("torque")] | None = Field(
        default=None, description="Most moment across its shaft.", examples=["2 N*m"]
    )
    torque: Annotated[Measured, Quantity("torque")] | None = Field(
        default=None, description="Most torque about its shaft.", examples=["0.5 N*m"]
    )
    stiffness: Annotated[Measured, Quantity("rotational stiffness")] | None = Field(
        default=None, description="Stiffness of the head against turning.", examples=["200 N*m/rad"]
    )


class Prop(Part):
    """A rigid thing that seems to float.

    Attributes
    ----------
    name : str
        Unlike that of any other prop of the shot.
    mass : Measured
        All beyond the tip but the insert, which is added [mass].
    mark : tuple of 3 Measured, or None
        Where its centre of mass should be when the moves end, from the frame's centre [length].
    shape : {"box", "cylinder", "disc", "sphere"} or None
        With `size` it gives the inertia; box where only a size is given.
    along : tuple of 3 float
        Unit vector of the axis of a cylinder or disc.
    size : tuple of 3 Measured, or None
        Right, up, toward [length].
    centre_of_mass : tuple of 3 Measured
        From the first support's tip [length].
    inertia : tuple of 3 or 6 Measured, or None
        About the centre of mass: right, up, toward, then the entries right-up, up-toward, toward-right of the
        tensor [mass length^2].
    flexural_rigidity : Measured or None
        Of a soft prop, per unit width [torque].
    droop_test : DroopTest or None
        Instead of it.
    insert : Insert or None
        Stiffener hidden in it.
    support : tuple of Support
        At least one; the first one's tip is the origin of the prop.
    axis : Axis or None
        Ratings of the head.
    move : tuple of Move
        In order from the ground; none is a prop that stands still.
    """

    header: ClassVar[str] = "[[prop]]"

    name: Annotated[str, Name()] = Field(description="What you call it.", examples=["inkwell"])
    mass: Annotated[Measured, Quantity("mass")] = Field(
        description="Everything beyond the tip, except the insert, which is added.", examples=["310 g"]
    )
    mark: LengthVector | None = Field(
        default=None,
        description="Where its centre of mass should be when the moves end, from the frame's centre.",
        examples=[["-40 mm", "10 mm", "0 mm"]],
    )
    shape: Annotated[Shape, Choice(Shape)] | None = Field(
        default=None, description="Its shape, for the inertia.", examples=list(get_args(Shape))
    )
    along: Direction = Field(
        default=DIRECTIONS["up"], description="Axis of a cylinder or disc.", examples=["up", [0, 1, 1]]
    )
    size: Annotated[tuple[Measured, Measured, Measured], QuantityList("length", sign="positive")] | None = (
        Field(None, description="Right, up, toward.", examples=[["52 mm", "45 mm", "52 mm"]])
    )
    centre_of_mass: LengthVector = Field(
        default_factory=lambda: (measured(0.0, "mm"),) * 3,
        description="From the first support's tip: right, up, toward.",
        examples=[["0 mm", "0 mm", "12 mm"]],
    )
    inertia: Inertia | None = Field(
        default=None,
        description="About the centre of mass: right, up, toward; six values add the tensor's entries "
        "right-up, up-toward, toward-right.",
        examples=[["4e-5 kg*m^2", "3e-5 kg*m^2", "5e-5 kg*m^2"]],
    )
    flexural_rigidity: Annotated[Measured, Quantity("flexural rigidity")] | None = Field(
        default=None, description="Bending stiffness of a soft prop, per unit width.", examples=["0.02 N*m"]
    )
    droop_test: DroopTest | None = Field(
        default=None,
        description="Instead of flexural_rigidity: how far the soft prop droops over a table edge.",
        examples=[{"overhang": "80 mm", "droop": "15 mm"}],
    )
    insert: Insert | None = Field(default=None, description="A stiff sheet hidden in a soft prop.")
    support: Annotated[tuple[Support, ...], Rows("[[prop.support]]", 1, 50)] = Field(
        description="The wires, rods, tubes or strips that carry it."
    )
    axis: Axis | None = Field(default=None, description="Ratings of the motorised head or slide.")
    move: Annotated[tuple[Move, ...], Rows("[[prop.move]]", 0, 100)] = Field(
        default=(), description="What the axes do; ground first, each carries the next."
    )

    model_config = ConfigDict(
        json_schema_extra={
            "not": {"required": ["flexural_rigidity", "droop_test"]},
            "dependentRequired": {"shape": ["size"], "along": ["shape"]},
        }
    )

    @classmethod
    def complete(cls, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """Take a prop with a size and no shape as a box."""
        return {**given, "shape": "box"} if "size" in given and "shape" not in given else given

    @classmethod
    def flaws(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Ask for what a shape needs, and for one way to say how soft the prop is."""
        if "support" not in given:
            yield Flaw(
                "support", "is missing: a prop hangs on at least one.", "Add [[prop.support]] under it."
            )
        if "shape" in given and "size" not in given:
            yield Flaw("size", "is missing: a shape needs its size.", cls.add("size"))
        if "along" in given and "shape" not in given:
            yield Flaw(
                "along",
                "is the axis of a shape, and no shape is given.",
                "Add shape; the direction of a move goes under [[prop.move]].",
            )
        if "flexural_rigidity" in given and "droop_test" in given:
            yield Flaw("droop_test", "cannot stand beside flexural_rigidity.", "Keep one of the two.")

    @field_validator("inertia")
    @classmethod
    def _inertia_of_a_body(cls, value: tuple[Measured, ...] | None) -> tuple[Measured, ...] | None:
        if value is not None and not _is_possible([entry.m_as("kg*m^2") for entry in value]):
            raise flaw(
                "belongs to no possible body: none of the three about its own axes can be more than the sum "
                "of the other two.",
                "Look at the values and units again, or give shape and size instead.",
            )
        return value

    @field_validator("support")
    @classmethod
    def _first_tip_is_the_origin(cls, value: tuple[Support, ...]) -> tuple[Support, ...]:
        raise_all("support", cls._flaws_of_first(value[0]))
        return value

    @staticmethod
    def _flaws_of_first(first: Support) -> Iterator[Flaw]:
        if any(abs(part.m_as("m")) > _SAME_PLACE for part in first.offset):
            yield Flaw(
                (0, "offset"),
                "the first support cannot have one: offsets are measured from its tip.",
                "Leave it out there.",
            )
        if first.path is not None and any(abs(part.m_as("m")) > _SAME_PLACE for part in first.path[-1]):
            yield Flaw(
                (0, "path"),
                "the path of the first support has to end at its tip, which is the origin.",
                'Let the last point be ["0 mm", "0 mm", "0 mm"].',
            )


def _is_possible(entries: list[float]) -> bool:
    """Tell whether three or six entries are the inertia tensor of some body.

    Notes
    -----
    The tensor is the trace of the second moment of mass less that second moment, J = tr(S) 1 - S, so
    S = tr(J)/2 1 - J must have no negative principal value (derived here).
    """
    import numpy as np

    right, up, toward, right_up, up_toward, toward_right = [*entries, 0.0, 0.0, 0.0][:6]
    tensor = np.array(
        [[right, right_up, toward_right], [right_up, up, up_toward], [toward_right, up_toward, toward]]
    )
    second_moment = 0.5 * np.trace(tensor) * np.eye(3) - tensor
    return bool(np.linalg.eigvalsh(second_moment).min() >= -_ROUNDED * max(right, up, toward))
