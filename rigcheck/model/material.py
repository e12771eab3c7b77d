"""A material of the user's own, beside the stock."""

from __future__ import annotations

from typing import Annotated, ClassVar

from pydantic import Field, ValidationInfo, field_validator

from rigcheck.model.fields import Name, Number, Quantity, flaw
from rigcheck.model.part import Part
from rigcheck.units import Measured

__all__ = ["OwnMaterial"]

_LEAST_SHEAR, _MOST_SHEAR = 1e-3, 1.0
"""Of Young's modulus: wider than any solid. Isotropic ones lie from 1/3 to 1/2, fibre along it from 1/100 on (from
memory)."""

Modulus = Annotated[Measured, Quantity("pressure")]


class OwnMaterial(Part):
    """A material the user has measured or looked up. Where it has the name of one in stock, it is taken.

    Attributes
    ----------
    name : str
        What supports, sleeves and inserts call it.
    density : Measured
        [mass/length^3].
    youngs_modulus, shear_modulus : Measured
        [pressure]; without a shear modulus the material counts as isotropic.
    yield_strength, tensile_strength : Measured or None
        [pressure]; None where not known.
    damping_ratio : float or None
        Share of critical damping; None takes the usual guess.
    """

    header: ClassVar[str] = "[[material]]"

    name: Annotated[str, Name()] = Field(description="What the supports call it.", examples=["shop-rod"])
    density: Annotated[Measured, Quantity("density")] = Field(
        description="Density.", examples=["2710 kg/m^3"]
    )
    youngs_modulus: Modulus = Field(description="Young's modulus.", examples=["69 GPa"])
    shear_modulus: Modulus | None = Field(default=None, description="Shear modulus.", examples=["26 GPa"])
    yield_strength: Modulus | None = Field(
        default=None, description="Stress at which bend begins to stay.", examples=["35 MPa"]
    )
    tensile_strength: Modulus | None = Field(
        default=None, description="Stress at which it breaks.", examples=["90 MPa"]
    )
    damping_ratio: Annotated[float, Number(0, 0.5)] | None = Field(
        default=None, description="Share of critical damping.", examples=[0.003]
    )

    @field_validator("shear_modulus")
    @classmethod
    def _shears_as_materials_do(cls, value: Measured | None, info: ValidationInfo) -> Measured | None:
        stretch = info.data.get("youngs_modulus")
        if value is None or stretch is None:
            return value
        ratio = value.m_as("Pa") / stretch.m_as("Pa")
        if not _LEAST_SHEAR <= ratio <= _MOST_SHEAR:
            raise flaw(
                f'does not go with the Young\'s modulus "{stretch}": metals and plastics have about 0.4 of it, rods'
                " of fibre a thirtieth. Look at the units of both."
            )
        return value

    @field_validator("tensile_strength")
    @classmethod
    def _breaks_after_it_yields(cls, value: Measured | None, info: ValidationInfo) -> Measured | None:
        yields = info.data.get("yield_strength")
        if value is not None and yields is not None and value.m_as("Pa") < yields.m_as("Pa"):
            raise flaw(f'is less than the yield strength "{yields}"; a material yields before it breaks.')
        return value
