"""Set: against hand sums, statics in space and fibre integrals of the same material law."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from check_parts import figure, finding
from lasting_rigs import OWN, SOFT, TUBE, move, run, wire
from numpy.polynomial.legendre import leggauss

from rigcheck.stock import find_material
from rigcheck.studies.lasting_set import SET_LIMIT
from rigcheck.studies.results import Status
from rigcheck.studies.words import mass_words

G = 9.80665


# -- loads ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("diameter", "strength", "printed"),
    [
        ("1.5 mm", "34 MPa", 5.7),
        ("2 mm", "34 MPa", 13.6),
        ("3 mm", "34 MPa", 46.0),
        ("1.5 mm", "170 MPa", 29.0),
    ],
)
def test_first_yield_load_at_200_mm(diameter: str, strength: str, printed: float) -> None:
    """Project's data file, section 1.4: 1100-O 5.7, 13.6, 46 g; annealed steel 29 g (derived, M = Rp pi d^3/32)."""
    result, _ = run(
        wire(
            "1 g",
            material="weightless",
            size=f'diameter = "{diameter}"',
            head=OWN.format(yield_strength=strength, damping=0.003),
        )
    )
    said = float(figure(result, "first yield at").split(" ")[0])
    # Two digits are shown here and there, of 5.74, 13.6, 45.9 and 28.7.
    assert said == pytest.approx(printed, rel=0.03)


def test_loads_count_the_wire_itself() -> None:
    """Derived here: (m + m_wire / 2) g L = k Rp pi d^3 / 32 with k = 0.5, 1 and 16 / (3 pi)."""
    result, _ = run(wire("1 g"))
    own = 2710 * math.pi / 4 * 0.0015**2 * 0.2
    for label, factor in (
        ("a bend begins to stay at", 0.5),
        ("first yield at", 1.0),
        ("folds at", 16 / (3 * math.pi)),
    ):
        mass = factor * 34e6 * math.pi * 0.0015**3 / 32 / (G * 0.2) - own / 2
        assert figure(result, label) == f"{mass_words(mass)} of prop"


def test_loads_of_a_hanging_wire_are_those_of_tension() -> None:
    # A wire that hangs straight has no moment; axial stress alone: m g = Rp A less its own weight.
    result, set_m = run(wire("500 g", length='length = "300 mm"\nfrom = "above"'))
    assert set_m == 0.0
    assert finding(result, "set").status is Status.PASS
    mass = 34e6 * math.pi / 4 * 0.0015**2 / G
    assert figure(result, "first yield at") == f"{mass_words(mass)} of prop"


# -- the bend that stays --------------------------------------------------------------------------------


def stress(strain: np.ndarray, strength: float, modulus: float, onset: float) -> np.ndarray:
    """The material law of `rigcheck.mechanics.plasticity`, written again from its description."""
    first = onset * strength / modulus
    last = strength / modulus + 0.002
    size = np.abs(strain)
    middle = onset * strength + (1 - onset) * strength * (size - first) / (last - first)
    return np.sign(strain) * np.where(size <= first, modulus * size, np.where(size <= last, middle, strength))


Ring = tuple[float, float, float, float, float]
"""Inner and outer radius [m], strength and modulus [Pa], onset of a round layer."""


def fibre_moments(curvature: np.ndarray, rings: list[Ring]) -> np.ndarray:
    """Moments of bonded round layers at curvatures (n,), by strips across the section."""
    points, weights = leggauss(400)
    total = np.zeros(curvature.shape)
    for inner, outer, strength, modulus, onset in rings:
        y = outer * (points + 1) / 2
        chord = 2 * np.sqrt(outer**2 - y**2) - 2 * np.sqrt(np.maximum(inner**2 - y**2, 0.0))
        total += (
            stress(curvature[:, None] * y, strength, modulus, onset) @ (2 * weights * y * chord) * outer / 2
        )
    return total


def fibre_set(moments: np.ndarray, rings: list[Ring]) -> np.ndarray:
    """Curvatures that stay; springs back elastically, so moments must be under twice that of the onset."""
    stiffness = sum(math.pi / 4 * (outer**4 - inner**4) * modulus for inner, outer, _, modulus, _ in rings)
    elastic = min(onset * strength / modulus / outer for _, outer, strength, modulus, onset in rings)
    curvature = elastic * np.linspace(1.0, 12.0, 3000)
    held = fibre_moments(curvature, rings)
    assert moments.max() < held[-1]
    loaded = np.interp(moments, held, curvature)
    return np.where(moments > held[0], loaded - moments / stiffness, 0.0)


def test_set_of_a_cantilever() -> None:
    """Curvature that stays by fibres, integrated by hand: ``int kappa (L - x) dx`` (derived here)."""
    result, set_m = run(wire("4 g", head='[analysis]\ndisplacement = "linear"'))
    assert set_m is not None
    per_length = 2710 * math.pi / 4 * 0.0015**2
    x = (np.arange(4000) + 0.5) / 4000 * 0.2
    moments = G * (0.004 * (0.2 - x) + per_length * (0.2 - x) ** 2 / 2)
    kept = fibre_set(moments, [(0.0, 0.00075, 34e6, 68.9e9, 0.5)])
    wanted = float(np.sum(kept * (0.2 - x)) * 0.2 / 4000)
    # The quadrature of strips across the kinks of the stress holds 1e-3.
    assert set_m == pytest.approx(wanted, rel=3e-3)
    found = finding(result, "set")
    assert found.value == pytest.approx(set_m * 1e3)
    assert found.says == (
        "This wire bends for good when the prop is hung: of its 7.2 mm of sag 0.49 mm is the wire giving way; when"
        " it is taken off, 0.49 mm down stay at the prop's"
        " place; it keeps a bend from 2.4 g on (50 % of its yield) and folds at 9.3 g."
    )


def test_set_of_a_bent_wire_in_space() -> None:
    """Chain of rigid pieces against one integral in space: ``int kappa x (c - p) ds`` with moments by statics."""
    path = np.array([[-0.04, 0.06, -0.15], [0.0, 0.0, -0.12], [0.0, 0.0, 0.0]])
    centre = np.array([0.01, 0.005, 0.02])
    typed = ", ".join("[" + ", ".join(f'"{v * 1e3} mm"' for v in point) + "]" for point in path)
    _, set_m = run(
        wire(
            "4.6 g",
            length=f"path = [{typed}]",
            prop='centre_of_mass = ["10 mm", "5 mm", "20 mm"]',
            head='[analysis]\ndisplacement = "linear"\ngravity_stiffness = false',
        )
    )
    assert set_m is not None
    down = np.array([0.0, -G, 0.0])
    per_length = 2710 * math.pi / 4 * 0.0015**2
    total = np.zeros(3)
    for piece in range(2):
        start, stop = path[piece], path[piece + 1]
        along = (stop - start) / np.linalg.norm(stop - start)
        length = float(np.linalg.norm(stop - start))
        share = ((np.arange(4000) + 0.5) / 4000)[:, None]
        place = start + share * (stop - start)
        moment = 0.0046 * np.cross(centre - place, down)
        moment += per_length * length * (1 - share) * np.cross((stop - place) / 2, down)
        if piece == 0:
            tail = path[2] - path[1]
            moment += per_length * np.linalg.norm(tail) * np.cross(path[1] + tail / 2 - place, down)
        bending = moment - (moment @ along)[:, None] * along
        size = np.linalg.norm(bending, axis=1, keepdims=True)
        # Torsion and tension leave less for bending: (sigma_a + sigma_b)^2 + 3 tau^2 = level^2.
        shear = np.abs(moment @ along).max() / (math.pi * 0.0015**3 / 16)
        weight = 0.0046 + per_length * (length + (np.linalg.norm(path[2] - path[1]) if piece == 0 else 0))
        pull = weight * G * abs(along[1]) / (math.pi * 0.00075**2)
        left = [math.sqrt(level**2 - 3 * shear**2) - pull for level in (17e6, 34e6)]
        kept = fibre_set(size, [(0.0, 0.00075, left[1], 68.9e9, left[0] / left[1])])
        total += np.cross(bending / size * kept, centre - place).sum(axis=0) * length / 4000
    # The check's moments come from elements with shear and its turning root; sums above are exact to 1e-3.
    assert set_m == pytest.approx(float(np.linalg.norm(total)), rel=5e-3)


def test_set_of_a_sleeved_wire() -> None:
    """Both layers by fibres: soft wire in a soft copper tube over all its length."""
    _, set_m = run(
        wire(
            "60 g",
            head='[analysis]\ndisplacement = "linear"',
            more=TUBE,
        )
    )
    assert set_m is not None
    copper, soft = find_material("copper-annealed").at(3e-3), find_material(SOFT).at(1.5e-3)
    assert copper.yield_strength is not None
    tube = (0.0008, 0.0015, copper.yield_strength.value, copper.youngs_modulus.value, 0.5)
    rings = [(0.0, 0.00075, 34e6, soft.youngs_modulus.value, 0.5), tube]
    areas = (math.pi * 0.00075**2, math.pi * (0.0015**2 - 0.0008**2))
    per_length = areas[0] * 2710 + areas[1] * copper.density.value
    x = (np.arange(4000) + 0.5) / 4000 * 0.2
    moments = G * (0.06 * (0.2 - x) + per_length * (0.2 - x) ** 2 / 2)
    kept = fibre_set(moments, rings)
    assert set_m == pytest.approx(float(np.sum(kept * (0.2 - x)) * 0.2 / 4000), rel=5e-3)


def test_stiff_core_pulls_a_soft_tube_back() -> None:
    """A carbon rod stays elastic in a soft tube: by fibres with a core that never yields."""
    result, set_m = run(
        wire("90 g", material="carbon-rod", more=TUBE, head='[analysis]\ndisplacement = "linear"')
    )
    assert set_m is not None
    copper, carbon = find_material("copper-annealed").at(3e-3), find_material("carbon-rod").at(1.5e-3)
    assert copper.yield_strength is not None
    rings = [
        (0.0, 0.00075, 1e12, carbon.youngs_modulus.value, 1.0),
        (0.0008, 0.0015, copper.yield_strength.value, copper.youngs_modulus.value, 0.5),
    ]
    areas = (math.pi * 0.00075**2, math.pi * (0.0015**2 - 0.0008**2))
    per_length = areas[0] * carbon.density.value + areas[1] * copper.density.value
    x = (np.arange(4000) + 0.5) / 4000 * 0.2
    moments = G * (0.09 * (0.2 - x) + per_length * (0.2 - x) ** 2 / 2)
    wanted = float(np.sum(fibre_set(moments, rings) * (0.2 - x)) * 0.2 / 4000)
    assert set_m == pytest.approx(wanted, rel=5e-3)
    says = finding(result, "set").says
    assert says.startswith("This sleeve bends for good when the prop is hung")
    assert "folds" not in says


def test_status_changes_at_half_a_millimetre() -> None:
    assert SET_LIMIT == 5e-4
    below, above = run(wire("4.0 g"))[0], run(wire("4.05 g"))[0]
    for result, status in ((below, Status.CAUTION), (above, Status.FAIL)):
        found = finding(result, "set")
        assert found.status is status
        assert found.limit == pytest.approx(0.5)
        assert found.value is not None
        assert (found.value <= 0.5) is (status is Status.CAUTION)
    assert finding(below, "set").advice[0].startswith("Hang the prop once before you line up the shot")
    assert "A lasting bend of up to 0.5 mm at the prop counts as a caution, more as a fail: a choice." in (
        above.assumptions
    )
    assert (
        "Soft wire begins to keep a bend at 50 % of its proof stress (common-practice)." in above.assumptions
    )


def test_nothing_sets() -> None:
    result, set_m = run(wire("2 g"))
    assert set_m == 0.0
    found = finding(result, "set")
    assert (found.status, found.value) == (Status.PASS, 0.0)
    assert found.says == (
        "It springs back straight when the prop comes off; it would keep a bend from 2.4 g on."
    )
    assert found.advice == ()


def test_soft_wire_folds() -> None:
    result, set_m = run(wire("14 g"))
    assert set_m is None
    found = finding(result, "set")
    assert (found.status, found.value) == (Status.FAIL, None)
    assert found.says == (
        "This wire bends for good when the prop is hung, and folds under it: it keeps a bend from 2.4 g on"
        " (50 % of its yield) and folds at 9.3 g,"
        " and the prop weighs 14 g."
    )


def test_moving_load_alone_sets() -> None:
    result, set_m = run(wire("2 g", move=move("200 mm", "0.6 s")))
    found = finding(result, "set")
    assert set_m == 0.0
    assert found.status is Status.CAUTION
    assert found.says == (
        "Hung at rest the wire stays straight, but the swing of the move can bend it for good."
    )
    assert re.fullmatch(
        r"Make the move about \d(\.\d)? times as long; then nothing of it stays\.", found.advice[0]
    )
    slow, _ = run(wire("2 g", move=move("200 mm", "6 s")))
    assert finding(slow, "set").status is Status.PASS


def test_brittle_support_keeps_no_bend() -> None:
    result, set_m = run(wire("200 g", material="carbon-rod"))
    found = finding(result, "set")
    assert (set_m, found.status, found.value) == (0.0, Status.PASS, 0.0)
    assert found.says == "It keeps no bend: it springs back or breaks, and the strength check looks at that."


def test_line_keeps_no_bend() -> None:
    result, set_m = run(
        wire(
            "20 g",
            material="nylon-monofilament",
            size='diameter = "0.3 mm"',
            length='length = "300 mm"\nfrom = "above"',
        )
    )
    assert set_m == 0.0
    assert finding(result, "set").says == "A tied line only pulls; it has no bend to keep."


def test_unknown_strength_is_skipped() -> None:
    own = OWN.format(yield_strength="34 MPa", damping=0.003).replace('yield_strength = "34 MPa"\n', "")
    result, set_m = run(wire(material="weightless", head=own))
    assert set_m is None
    found = finding(result, "set")
    assert found.status is Status.SKIPPED
    assert found.says == "No yield strength is known for weightless at this size."


@pytest.mark.parametrize(
    ("mass", "status"), [("4 g", Status.PASS), ("7 g", Status.CAUTION), ("14 g", Status.FAIL)]
)
def test_two_supports(mass: str, status: Status) -> None:
    other = wire(mass).split("[[prop.support]]")[1] + 'offset = ["30 mm", "0 mm", "0 mm"]'
    result, set_m = run(wire(mass, more=f"[[prop.support]]{other}"))
    found = finding(result, "set")
    assert found.status is status
    assert set_m is not None
    assert found.value == pytest.approx(set_m * 1e3)
    assert (set_m == 0.0) is (status is Status.PASS)
    if status is not Status.PASS:
        assert "when it is taken off" in found.says


def test_twisted_wire_sets_earlier() -> None:
    """Torsion uses up strength: von Mises, sqrt(b^2 + t^2) with M = m g L and T = m g e (derived here)."""
    result, _ = run(
        wire(
            "1 g",
            material="weightless",
            head=OWN.format(yield_strength="34 MPa", damping=0.003)
            + '[analysis]\ndisplacement = "linear"\ngravity_stiffness = false',
            prop='centre_of_mass = ["150 mm", "0 mm", "0 mm"]',
        )
    )
    modulus = math.pi * 0.0015**3 / 32
    stress_per_kg = math.hypot(G * 0.2 / modulus, math.sqrt(3) * G * 0.15 / (2 * modulus))
    assert figure(result, "first yield at") == f"{mass_words(34e6 / stress_per_kg)} of prop"


# -- what cures it --------------------------------------------------------------------------------------


def test_advice_on_sets_is_true() -> None:
    found = finding(run(wire("4.5 g"))[0], "set")
    said = " ".join(found.advice)
    size = re.search(r"Take ([\d.]+ mm) of the same wire: it springs back from up to ([\d.]+) g\.", said)
    shorter = re.search(r"Shorten the free length by (\d+) mm, to (\d+) mm: it springs back\.", said)
    harder = re.search(r"Take spring-steel-sm of the same size: it springs back from up to (\d+) g\.", said)
    most = re.search(r"Hang no more than ([\d.]+) g on it\.", said)
    assert size
    assert shorter
    assert harder
    assert most

    def sets(text: str) -> bool:
        value = run(text)[1]
        return value is None or value > 0

    assert size[1] == "2 mm"
    # The masses are shown with two or three digits.
    thick = f'diameter = "{size[1]}"'
    assert not sets(wire(f"{float(size[2]) * 0.98} g", size=thick))
    assert sets(wire(f"{float(size[2]) * 1.02} g", size=thick))
    left = int(shorter[2])
    assert int(shorter[1]) + left == 200
    assert not sets(wire("4.5 g", length=f'length = "{left} mm"'))
    assert sets(wire("4.5 g", length=f'length = "{left + 2} mm"'))
    linear = '[analysis]\ndisplacement = "linear"'
    assert not sets(wire(f"{float(harder[1]) * 0.99} g", material="spring-steel-sm", head=linear))
    assert sets(wire(f"{float(harder[1]) * 1.02} g", material="spring-steel-sm", head=linear))
    assert not sets(wire(f"{float(most[1]) * 0.97} g"))
    assert sets(wire(f"{float(most[1]) * 1.03} g"))
