"""The numeric rooms refuse what means nothing, name the argument, and take all that their docstrings allow."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from rigcheck.errors import ArgumentError
from rigcheck.mechanics import clamps, fatigue, plasticity, plates, sections
from rigcheck.motion import keyframes, profiles, response, shaping, shock
from rigcheck.picture import cleanup, projection, wobble


@dataclass(frozen=True)
class Call:
    """A call that is right, and the bounds of its arguments.

    Of each argument in `positive` zero is refused and anything above it taken; of each in `not_negative` zero is
    taken too; `below` gives an upper bound that is itself refused, `up_to` one that is taken. Arguments in
    `one_number` take no arrays.
    """

    function: Callable[..., Any]
    right: dict[str, Any]
    positive: tuple[str, ...] = ()
    not_negative: tuple[str, ...] = ()
    below: dict[str, float] = field(default_factory=dict)
    up_to: dict[str, float] = field(default_factory=dict)
    one_number: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        return f"{self.function.__module__.removeprefix('rigcheck.')}.{self.function.__name__}"

    @property
    def bounded(self) -> list[str]:
        names = [*self.positive, *self.not_negative, *self.below, *self.up_to]
        return list(dict.fromkeys(names))


OSCILLATOR = {"angular_frequency": 12.0, "damping_ratio": 0.01}
WAVE = {
    "positive": ("angular_frequency",),
    "not_negative": ("damping_ratio",),
    "below": {"damping_ratio": 1.0},
}
PROFILE = profiles.profile("cycloidal")

CALLS = [
    Call(
        fatigue.fatigue_line,
        {"tensile_strength": 500e6, "fatigue_strength": 200e6, "fatigue_cycles": 1e6},
        positive=("tensile_strength", "fatigue_strength"),
    ),
    Call(
        fatigue.reversed_amplitude,
        {"amplitude": 50e6, "mean_stress": 20e6, "tensile_strength": 500e6, "notch_factor": 2.0},
        positive=("tensile_strength",),
        not_negative=("amplitude",),
    ),
    Call(
        fatigue.ring_down_cycles,
        {"damping_ratio": 0.01, "exponent": -0.1},
        positive=("damping_ratio",),
        below={"damping_ratio": 1.0},
    ),
    Call(
        fatigue.bend_strain,
        {"wire_diameter": 2e-3, "inside_radius": 4e-3},
        positive=("wire_diameter",),
        not_negative=("inside_radius",),
    ),
    Call(
        fatigue.hand_bends_to_failure,
        {
            "strain_range": 0.2,
            "tensile_strength": 90e6,
            "youngs_modulus": 69e9,
            "reduction_of_area": 0.8,
        },
        positive=("strain_range", "tensile_strength", "youngs_modulus", "reduction_of_area"),
    ),
    Call(
        clamps.bed_root,
        {"bending_stiffness": 0.8, "bed_modulus": 2e9, "grip_length": 0.02},
        positive=("bending_stiffness", "bed_modulus", "grip_length"),
    ),
    Call(
        clamps.play_angle,
        {"clearance": 1e-4, "grip_length": 6e-3},
        positive=("grip_length",),
        not_negative=("clearance",),
    ),
    Call(
        clamps.play_at_tip,
        {"clearance": 1e-4, "grip_length": 6e-3, "free_length": 0.3},
        positive=("grip_length", "free_length"),
        not_negative=("clearance",),
    ),
    Call(
        clamps.friction_capacity,
        {"clamp_force": 200.0, "friction_coefficient": 0.15, "contacts": 2},
        positive=("contacts",),
        not_negative=("clamp_force", "friction_coefficient"),
    ),
    Call(
        clamps.friction_force_needed,
        {"torque": 0.02, "diameter": 3e-3},
        positive=("diameter",),
    ),
    Call(
        clamps.clamp_force_from_screw,
        {"screw_torque": 0.5, "nominal_diameter": 3e-3, "nut_factor": 0.2},
        positive=("nominal_diameter", "nut_factor"),
        not_negative=("screw_torque",),
    ),
    Call(
        clamps.slip_use,
        {"torque": 0.02, "axial_force": 1.0, "diameter": 3e-3, "capacity": 60.0},
        positive=("diameter", "capacity"),
    ),
    Call(
        clamps.roll_torque,
        {
            "mass": 0.3,
            "unbalance_arm": 5e-3,
            "inertia_about_axis": 4e-5,
            "angular_acceleration": 3.0,
            "gravity_across": 1.0,
        },
        not_negative=("mass", "unbalance_arm", "inertia_about_axis", "angular_acceleration"),
    ),
    Call(
        projection.Camera.from_lens,
        {"distance": 1.1, "focal_length": 0.05, "sensor_width": 0.036, "image_width": 3840},
        positive=("distance", "focal_length", "sensor_width"),
        one_number=("distance", "focal_length", "sensor_width"),
    ),
    Call(
        wobble.seen_wobble,
        {"natural_frequency": 8.0, "extent": 2.0, "frame_rate": 50.0, "shutter_angle": math.pi},
        positive=("frame_rate", "shutter_angle"),
        not_negative=("natural_frequency", "extent"),
        up_to={"shutter_angle": 2 * math.pi},
    ),
    Call(
        wobble.lookalike_frequencies,
        {"seen": 3.0, "frame_rate": 50.0, "playback_rate": 25.0, "highest": 200.0},
        positive=("frame_rate", "playback_rate"),
        one_number=("frame_rate", "playback_rate"),
    ),
    Call(sections.coarse_pitch, {"nominal_diameter": 4e-3}, positive=("nominal_diameter",)),
    Call(sections.solid_round, {"diameter": 3e-3}, positive=("diameter",)),
    Call(sections.threaded, {"nominal_diameter": 4e-3}, positive=("nominal_diameter",)),
    Call(
        sections.tube,
        {"outer_diameter": 4e-3, "wall_thickness": 0.5e-3},
        positive=("outer_diameter", "wall_thickness"),
    ),
    Call(sections.strip, {"width": 10e-3, "thickness": 1e-3}, positive=("width", "thickness")),
    Call(
        plasticity.plastic_round,
        {"outer_diameter": 1.5e-3, "youngs_modulus": 69e9, "yield_strength": 34e6},
        positive=("outer_diameter", "youngs_modulus", "yield_strength"),
    ),
    Call(
        plasticity.plastic_strip,
        {"width": 10e-3, "thickness": 1e-3, "youngs_modulus": 69e9, "yield_strength": 34e6},
        positive=("width", "thickness", "youngs_modulus", "yield_strength"),
    ),
    Call(
        plates.rigidity_from_droop_test,
        {"weight_per_area": 8.0, "overhang": 0.08, "droop": 0.015},
        positive=("weight_per_area", "overhang", "droop"),
    ),
    Call(
        plates.disc_droop,
        {"weight_per_area": 8.0, "outer_radius": 0.05, "hub_radius": 0.01, "flexural_rigidity": 0.02},
        positive=("outer_radius", "flexural_rigidity"),
        not_negative=("weight_per_area",),
    ),
    Call(
        plates.droop_over_insert,
        {
            "prop_length": 0.21,
            "prop_width": 0.15,
            "embed_length": 0.06,
            "prop_weight_per_area": 6.0,
            "prop_rigidity_along": 0.02,
            "prop_rigidity_across": 0.01,
            "insert_length": 0.1,
            "insert_width": 0.08,
            "insert_start": 0.02,
            "insert_weight_per_area": 12.0,
            "insert_rigidity_along": 1.6,
            "insert_rigidity_across": 0.9,
            "poissons_ratio": 0.3,
        },
        positive=(
            "prop_length",
            "prop_width",
            "embed_length",
            "prop_rigidity_along",
            "prop_rigidity_across",
        ),
        not_negative=(
            "prop_weight_per_area",
            "insert_length",
            "insert_width",
            "insert_start",
            "insert_weight_per_area",
            "insert_rigidity_along",
            "insert_rigidity_across",
            "poissons_ratio",
        ),
        up_to={"poissons_ratio": 0.5},
    ),
    Call(
        plates.insert_moments,
        {
            "prop_length": 0.2,
            "prop_width": 0.1,
            "embed_length": 0.1,
            "weight_per_area": 20.0,
            "insert_length": 0.1,
            "insert_width": 0.08,
            "peak_factor": 2.0,
        },
        positive=(
            "prop_length",
            "prop_width",
            "embed_length",
            "insert_length",
            "insert_width",
            "peak_factor",
        ),
        not_negative=("weight_per_area",),
    ),
    Call(
        plates.joint_stiffness,
        {
            "embed_length": 0.04,
            "insert_width": 0.08,
            "insert_rigidity_across": 0.9,
            "wire_bending_stiffness": 0.8,
            "wire_torsional_stiffness": 0.6,
            "glue_modulus": 1e8,
        },
        positive=(
            "embed_length",
            "insert_width",
            "insert_rigidity_across",
            "wire_torsional_stiffness",
            "glue_modulus",
        ),
    ),
    Call(shock.worst_case, OSCILLATOR, **WAVE),
    Call(
        response.end_state,
        {"profile": PROFILE, "duration": 2.0, **OSCILLATOR},
        positive=("duration", "angular_frequency"),
        not_negative=("damping_ratio",),
        below={"damping_ratio": 1.0},
    ),
    Call(
        response.peak_bound,
        {"profile": PROFILE, "duration": 2.0, **OSCILLATOR},
        positive=("duration", "angular_frequency"),
        not_negative=("damping_ratio",),
        below={"damping_ratio": 1.0},
    ),
    Call(shaping.zv_shaper, OSCILLATOR, one_number=("damping_ratio",), **WAVE),
    Call(shaping.zvd_shaper, OSCILLATOR, one_number=("damping_ratio",), **WAVE),
    Call(
        shaping.residual_envelope,
        {"profile": PROFILE, "duration": 2.0, **OSCILLATOR},
        positive=("duration", "angular_frequency"),
        not_negative=("damping_ratio",),
        below={"damping_ratio": 1.0},
    ),
    Call(
        keyframes.sampling_line,
        {"sampling_rate": 50.0, "peak_velocity": 0.2, "peak_acceleration": 0.5},
        positive=("sampling_rate",),
        not_negative=("peak_velocity", "peak_acceleration"),
        one_number=("peak_velocity", "peak_acceleration"),
    ),
    Call(
        wobble.exposure_time,
        {"shutter_angle": math.pi, "frame_rate": 50.0},
        positive=("shutter_angle", "frame_rate"),
        up_to={"shutter_angle": 2 * math.pi},
    ),
    Call(wobble.blur_length, {"velocity": [0.1, 0.0], "exposure": 0.01}, positive=("exposure",)),
    Call(
        wobble.exposure_smoothing,
        {"natural_frequency": 8.0, "exposure": 0.01},
        positive=("exposure",),
        not_negative=("natural_frequency",),
    ),
    Call(
        wobble.vibration_blur,
        {"natural_frequency": 8.0, "extent": 0.5, "exposure": 0.01},
        positive=("exposure",),
        not_negative=("natural_frequency", "extent"),
    ),
    Call(
        wobble.seen_frequency,
        {"natural_frequency": 8.0, "frame_rate": 50.0, "playback_rate": 25.0},
        positive=("frame_rate", "playback_rate"),
        not_negative=("natural_frequency",),
    ),
    Call(
        cleanup.time_by_area,
        {"area_px": [2e5], "time_per_megapixel": 60.0},
        positive=("time_per_megapixel",),
    ),
    Call(
        cleanup.time_by_frames,
        {"frames": 200, "time_per_frame": 60.0},
        positive=("time_per_frame",),
        not_negative=("frames",),
    ),
]


# What the rooms of motion and picture name the unit of; those of mechanics show the value as given.
UNITS = {
    "angular_frequency": "rad/s",
    "distance": "m",
    "duration": "s",
    "exposure": "s",
    "extent": "px",
    "focal_length": "m",
    "frame_rate": "1/s",
    "frames": "frames",
    "natural_frequency": "Hz",
    "playback_rate": "1/s",
    "pulse_duration": "s",
    "sampling_rate": "Hz",
    "sensor_width": "m",
    "shutter_angle": "rad",
    "time_per_frame": "s",
    "time_per_megapixel": "s",
}


def cases(kind: Callable[[Call], Any]) -> list[Any]:
    return [pytest.param(call, name, id=f"{call.name}-{name}") for call in CALLS for name in kind(call)]


@pytest.mark.parametrize(("call", "name"), cases(lambda call: call.bounded))
@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0], ids=["nan", "inf", "negative"])
def test_what_is_no_such_quantity_is_refused_by_name(call: Call, name: str, value: float) -> None:
    with pytest.raises(ArgumentError, match=name) as refused:
        call.function(**{**call.right, name: value})
    assert "None" not in str(refused.value), "a unit or a name is missing"
    assert str(refused.value).startswith(name), "the name comes first"
    if "mechanics" not in call.name and name in UNITS:
        assert f"given {value:g} {UNITS[name]}; " in str(refused.value)
    if "mechanics" in call.name:
        zero_too = name in call.not_negative
        bounds = ("0 or more", "from 0 ") if zero_too else ("positive", "above 0 ")
        assert any(bound in str(refused.value) for bound in bounds), "what is allowed"


@pytest.mark.parametrize(
    ("call", "name"), cases(lambda call: [name for name in call.bounded if name not in call.one_number])
)
def test_one_bad_value_among_good_ones_is_refused(call: Call, name: str) -> None:
    with pytest.raises(ArgumentError, match=name):
        call.function(**{**call.right, name: np.array([call.right[name], math.nan])})


@pytest.mark.parametrize(("call", "name"), cases(lambda call: call.positive))
def test_zero_is_refused_where_it_means_nothing(call: Call, name: str) -> None:
    with pytest.raises(ArgumentError, match=name):
        call.function(**{**call.right, name: 0.0})


@pytest.mark.parametrize(("call", "name"), cases(lambda call: call.not_negative))
def test_zero_is_taken_where_it_means_something(call: Call, name: str) -> None:
    call.function(**{**call.right, name: 0.0})


@pytest.mark.parametrize(("call", "name"), cases(lambda call: call.below))
def test_upper_bounds_are_refused(call: Call, name: str) -> None:
    with pytest.raises(ArgumentError, match=name):
        call.function(**{**call.right, name: call.below[name]})
    call.function(**{**call.right, name: 0.99 * call.below[name]})


@pytest.mark.parametrize(("call", "name"), cases(lambda call: call.up_to))
def test_upper_bounds_are_taken(call: Call, name: str) -> None:
    call.function(**{**call.right, name: call.up_to[name]})
    with pytest.raises(ArgumentError, match=name):
        call.function(**{**call.right, name: 1.01 * call.up_to[name]})
