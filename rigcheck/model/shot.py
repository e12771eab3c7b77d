"""A shot: all props, the camera, the limits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar

from pydantic import Field

from rigcheck.errors import UnknownNameError
from rigcheck.model.camera import Camera
from rigcheck.model.fields import Name, Number, Rows, listing, nearest
from rigcheck.model.limits import Analysis, Limits
from rigcheck.model.material import OwnMaterial
from rigcheck.model.part import Flaw, Part
from rigcheck.model.post import Post
from rigcheck.model.prop import Prop

__all__ = ["FORMAT", "Shot"]

FORMAT = 1
"""Number of the rig file's format that this package reads."""


class Shot(Part):
    """What a rig file says.

    Attributes
    ----------
    format : int
        Number of the file's format.
    title : str
        What the shot is called; may be empty.
    camera : Camera or None
        Without one, results stay in millimetres.
    limits : Limits
        What still counts as good.
    analysis : Analysis
        How to calculate.
    post : Post or None
        The user's rates for cleaning up.
    material : tuple of OwnMaterial
        The user's own materials.
    prop : tuple of Prop
        At least one.
    """

    header: ClassVar[str] = ""

    format: Annotated[int, Number(FORMAT, FORMAT, integer=True)] = Field(
        default=FORMAT, description="Number of the file's format.", examples=[FORMAT]
    )
    title: Annotated[str, Name(most=200, empty=True)] = Field(
        default="", description="What the shot is called.", examples=["Desk set, shot 4"]
    )
    camera: Camera | None = Field(default=None, description="Without it, results stay in mm.")
    limits: Limits = Field(default_factory=lambda: Limits(), description="What still counts as good.")
    analysis: Analysis = Field(
        default_factory=lambda: Analysis(), description="For comparison with other calculations."
    )
    post: Post | None = Field(default=None, description="Your own rates for cleaning up, to weigh it by.")
    material: Annotated[tuple[OwnMaterial, ...], Rows("[[material]]", 0, 200)] = Field(
        default=(), description="Your own materials, beside the stock."
    )
    prop: Annotated[tuple[Prop, ...], Rows("[[prop]]", 1, 200)] = Field(description="The things that float.")

    @classmethod
    def flaws(cls, given: Mapping[str, Any]) -> Iterator[Flaw]:
        """Ask for a prop, and for names that differ."""
        if "prop" not in given:
            yield Flaw("prop", "is missing: a shot has at least one.", 'Add [[prop]] with name = "inkwell".')
        for key in ("prop", "material"):
            for position in _named_again(given.get(key)):
                yield Flaw(
                    (key, position, "name"),
                    "is the name of an earlier one too.",
                    "Give each a name of its own.",
                )

    def find_prop(self, name: str) -> Prop:
        """Find a prop by its name.

        Parameters
        ----------
        name : str
            As in the file.

        Returns
        -------
        Prop
            The prop of that name.

        Raises
        ------
        UnknownNameError
            There is none of that name; the message lists those there are.
        """
        for prop in self.prop:
            if prop.name == name:
                return prop
        names = [prop.name for prop in self.prop]
        known = listing([f'"{known}"' for known in names])
        says = f'no prop is called "{name[:80]}"; the shot has {known}.'
        raise UnknownNameError(says, given=name, meant=nearest(name, names))

    def own_material(self, name: str) -> OwnMaterial | None:
        """Find one of the shot's own materials.

        Parameters
        ----------
        name : str
            As a support, sleeve or insert gives it.

        Returns
        -------
        OwnMaterial or None
            None where the name is not one of the shot's own.
        """
        return next((material for material in self.material if material.name == name), None)


def _named_again(tables: Any) -> Iterator[int]:
    """Give the positions of tables that have the name of an earlier one."""
    seen: set[str] = set()
    for position, table in enumerate(tables if isinstance(tables, (list, tuple)) else ()):
        name = table.get("name") if isinstance(table, Mapping) else getattr(table, "name", None)
        if isinstance(name, str):
            if name.strip() in seen:
                yield position
            seen.add(name.strip())
