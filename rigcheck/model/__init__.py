"""What a shot is: frozen, validated, with quantities."""

from rigcheck.model.camera import Camera
from rigcheck.model.fields import DIRECTIONS
from rigcheck.model.limits import Analysis, Displacement, Hazard, Limits
from rigcheck.model.material import OwnMaterial
from rigcheck.model.move import Move, Profile
from rigcheck.model.part import Part
from rigcheck.model.post import Post
from rigcheck.model.prop import Axis, DroopTest, Grain, Insert, Prop, Shape
from rigcheck.model.shot import FORMAT, Shot
from rigcheck.model.support import SIDES, Section, Side, Sleeve, Support

__all__ = [
    "DIRECTIONS",
    "FORMAT",
    "SIDES",
    "Analysis",
    "Axis",
    "Camera",
    "Displacement",
    "DroopTest",
    "Grain",
    "Hazard",
    "Insert",
    "Limits",
    "Move",
    "OwnMaterial",
    "Part",
    "Post",
    "Profile",
    "Prop",
    "Section",
    "Shape",
    "Shot",
    "Side",
    "Sleeve",
    "Support",
]
