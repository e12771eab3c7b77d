"""What `choose` proposes, against closed forms: sag, lowest frequency and rank of each size of a list.

A light prop on a cantilever of a made-up material, held rigidly: Roark's Formulas for Stress and Strain, table of
beams, end load W L^3/3EI and own weight q L^4/8EI; lowest frequency sqrt(3EI/((m + 33/140 mu L) L^3)) / 2 pi,
Rayleigh's estimate for a heavy end mass (both from memory). The estimate is high by less than 0.1 % where the wire
weighs less than a tenth of the prop (its own error, seen against the exact equation); shear adds d^2/L^2.
"""

import math

import pytest

from rigcheck import choose, load, to_dict

pytestmark = pytest.mark.evidence(
    what="Sag, frequency and rank of the sizes that are proposed",
    source="Cantilever with end mass and own weight: Roark's table of beams, Rayleigh's 33/140 (from memory)",
    serves="choose",
)

GRAVITY = 9.80665
MASS, LENGTH, MODULUS, DENSITY = 0.05, 0.2, 200e9, 7850.0
DIAMETERS_MM = (2.0, 2.5, 3.0)
MATERIAL = {
    "name": "shop-steel",
    "density": "7850 kg/m^3",
    "youngs_modulus": "200 GPa",
    "shear_modulus": "77 GPa",
    "yield_strength": "1500 MPa",
    "tensile_strength": "1800 MPa",
}


def rig(*diameters: float) -> dict:
    return {
        "material": [MATERIAL],
        "analysis": {"displacement": "linear", "gravity_stiffness": False},
        "prop": [
            {
                "name": f"weight {diameter}",
                "mass": f"{MASS} kg",
                "support": [
                    {
                        "material": "shop-steel",
                        "diameter": f"{diameter} mm",
                        "length": f"{LENGTH} m",
                        "root_stiffness": "rigid",
                    }
                ],
                "move": [{"slide": "50 mm", "duration": "6 s", "profile": "cycloidal"}],
            }
            for diameter in diameters
        ],
    }


def closed_form(diameter: float) -> tuple[float, float]:
    """Sag [mm] and frequency [Hz]."""
    stiffness = MODULUS * math.pi / 64 * diameter**4
    per_length = DENSITY * math.pi / 4 * diameter**2
    sag = MASS * GRAVITY * LENGTH**3 / (3 * stiffness) + per_length * GRAVITY * LENGTH**4 / (8 * stiffness)
    mass = MASS + 33 / 140 * per_length * LENGTH
    return sag * 1e3, math.sqrt(3 * stiffness / (mass * LENGTH**3)) / (2 * math.pi)


@pytest.fixture(scope="module")
def candidates():
    made = choose(load(rig(2.0)), stock=load(rig(*DIAMETERS_MM)))
    found = [one for one in to_dict(made)["props"][0]["candidates"] if one["count"] == 1]
    assert {one["diameter_mm"] for one in found} == set(DIAMETERS_MM)
    return {one["diameter_mm"]: one for one in found}


@pytest.mark.parametrize("diameter", DIAMETERS_MM)
def test_sag_of_each_size(candidates, diameter):
    assert candidates[diameter]["sag_mm"] == pytest.approx(closed_form(diameter * 1e-3)[0], rel=1e-3)


@pytest.mark.parametrize("diameter", DIAMETERS_MM)
def test_frequency_of_each_size(candidates, diameter):
    assert candidates[diameter]["frequency_Hz"] == pytest.approx(closed_form(diameter * 1e-3)[1], rel=2e-3)


def test_the_thinnest_that_passes_comes_first(candidates):
    """All three pass here, so the least to paint out wins."""
    assert all(one["verdict"] == "pass" for one in candidates.values()), candidates
    assert list(candidates) == sorted(DIAMETERS_MM)
