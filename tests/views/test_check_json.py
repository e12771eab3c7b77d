"""The JSON of a check against a JSON Schema of the published form, and against values converted by hand."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pint
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rigcheck.studies.results import CheckResult, Finding, MotionResult, PropResult, StaticResult, Status
from rigcheck.views.as_json import check_json, dump

UNITS = {"mm": "mm", "deg": "deg", "N_m": "N*m", "MPa": "MPa", "Hz": "Hz", "s": "s"}

# The documented example of the form rigcheck-check/1; its values only show the form.
DOCUMENTED = """
{"format": "rigcheck-check/1", "title": "...", "verdict": "pass",
 "props": [{"name": "inkwell", "verdict": "pass",
  "static": {"method": "linear", "sag_mm": 1.9, "prop_displacement_mm": [0, -1.9, 0],
    "prop_rotation_deg": [0.9, 0, 0], "tip_displacement_mm": [0, -1.8, 0],
    "root_moment_N_m": 0.55, "peak_stress_MPa": 207.0, "yield_factor": 6.1, "set_mm": 0.0,
    "buckling_factor": null},
  "modes": [{"frequency_Hz": 11.3, "damping_ratio": 0.003, "direction": [0, 1, 0], "kind": "sway up-down"}],
  "motion": {"peak_deviation_mm": 0.2, "residual_wobble_mm": 0.05, "residual_wobble_px": 0.46,
    "settle_s": 0.4, "seen_frequency_Hz": 5.6},
  "ranges": {"sag_mm": [1.7, 2.2]}, "chance_of_pass": 0.93,
  "findings": [{"id": "residual-wobble", "status": "caution", "value": 0.46, "limit": 1.0, "unit": "px",
    "says": "...", "advice": ["..."]}],
  "assumptions": ["..."], "cautions": ["..."]}]}
"""


def closed(properties: dict[str, Any], **grown: Any) -> dict[str, Any]:
    """An object with exactly these keys, and perhaps those that the form has grown by since."""
    return {
        "type": "object",
        "properties": properties | grown,
        "required": list(properties),
        "additionalProperties": False,
    }


def or_null(schema: dict[str, Any]) -> dict[str, Any]:
    return {"anyOf": [schema, {"type": "null"}]}


TEXT = {"type": "string"}
TEXTS = {"type": "array", "items": TEXT}
NUMBER = {"type": "number"}
MAYBE = or_null(NUMBER)
VECTOR = {"type": "array", "items": NUMBER, "minItems": 3, "maxItems": 3}
VERDICT = {"enum": ["pass", "caution", "fail"]}
INFLUENCE = closed(
    {
        "figure": TEXT,
        "input": TEXT,
        "share": {"type": "number", "minimum": 0, "maximum": 1},
        "measure": TEXT,
    }
)
SCHEMA = closed(
    {
        "format": {"const": "rigcheck-check/1"},
        "title": TEXT,
        "verdict": VERDICT,
        "props": {
            "type": "array",
            "items": closed(
                {
                    "name": TEXT,
                    "verdict": VERDICT,
                    "static": or_null(
                        closed(
                            {
                                "method": TEXT,
                                "sag_mm": MAYBE,
                                "prop_displacement_mm": or_null(VECTOR),
                                "prop_rotation_deg": or_null(VECTOR),
                                "tip_displacement_mm": or_null(VECTOR),
                                "root_moment_N_m": MAYBE,
                                "peak_stress_MPa": MAYBE,
                                "yield_factor": MAYBE,
                                "set_mm": MAYBE,
                                "buckling_factor": MAYBE,
                            }
                        )
                    ),
                    "modes": {
                        "type": "array",
                        "items": closed(
                            {
                                "frequency_Hz": MAYBE,
                                "damping_ratio": MAYBE,
                                "direction": or_null(VECTOR),
                                "kind": TEXT,
                            },
                            wobble_share=MAYBE,
                            lag_share=MAYBE,
                        ),
                    },
                    "motion": or_null(
                        closed(
                            {
                                "peak_deviation_mm": MAYBE,
                                "residual_wobble_mm": MAYBE,
                                "residual_wobble_px": MAYBE,
                                "settle_s": MAYBE,
                                "seen_frequency_Hz": MAYBE,
                            }
                        )
                    ),
                    "ranges": or_null(
                        {
                            "type": "object",
                            "minProperties": 1,
                            "additionalProperties": {
                                "type": "array",
                                "items": MAYBE,
                                "minItems": 2,
                                "maxItems": 2,
                            },
                        }
                    ),
                    "chance_of_pass": or_null({"type": "number", "minimum": 0, "maximum": 1}),
                    "findings": {
                        "type": "array",
                        "items": closed(
                            {
                                "id": {"type": "string", "pattern": "^[a-z0-9-]+$"},
                                "status": {"enum": ["pass", "caution", "fail", "skipped"]},
                                "value": MAYBE,
                                "limit": MAYBE,
                                "unit": or_null({"type": "string", "minLength": 1}),
                                "says": TEXT,
                                "advice": TEXTS,
                            },
                            chance=or_null({"type": "number", "minimum": 0, "maximum": 1}),
                        ),
                    },
                    "assumptions": TEXTS,
                    "cautions": TEXTS,
                },
                to_be_surer=or_null(INFLUENCE),
                influences=or_null({"type": "array", "items": INFLUENCE, "minItems": 1}),
                figures={
                    "type": "array",
                    "items": closed({"label": TEXT, "value": TEXT, "note": or_null(TEXT)}),
                },
            ),
        },
    }
)


GROWN = ("wobble_share", "lag_share", "to_be_surer", "influences", "figures", "chance")


def keys_in_order(value: Any) -> Any:
    """The shape of a JSON value: keys in order, the first entry of each list, no values.

    Keys that the form has grown by stand after the documented ones, and are left out here.
    """
    if isinstance(value, dict):
        first = [key for key in value if key not in GROWN]
        assert list(value)[: len(first)] == first
        return [(key, None if key == "ranges" else keys_in_order(value[key])) for key in first]
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [keys_in_order(value[0])]
    return None


def test_the_schema_takes_the_documented_example_and_refuses_others() -> None:
    example = json.loads(DOCUMENTED)
    jsonschema.validate(example, SCHEMA)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**example, "more": 1}, SCHEMA)
    del example["props"][0]["motion"]["settle_s"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(example, SCHEMA)


def test_the_desk_set_has_the_documented_form(desk_set: CheckResult) -> None:
    written = json.loads(dump(check_json(desk_set)))
    jsonschema.validate(written, SCHEMA)
    assert keys_in_order(written) == keys_in_order(json.loads(DOCUMENTED))


def test_the_figures_of_the_details_are_there(desk_set: CheckResult) -> None:
    """What the details show (blur, other frame rates, clean-up), for programs too."""
    for written, prop in zip(check_json(desk_set)["props"], desk_set.props, strict=True):
        assert [(one["label"], one["value"]) for one in written["figures"]] == [
            (figure.label, figure.value) for figure in prop.details
        ]
    assert any(prop.details for prop in desk_set.props)


def test_values_carry_the_unit_of_their_key(desk_set: CheckResult) -> None:
    inkwell, notebook, crane = check_json(desk_set)["props"]
    assert inkwell["static"]["sag_mm"] == 0.223
    # 0.0019 rad; 1e-11 because twelve digits are kept
    assert inkwell["static"]["prop_rotation_deg"] == pytest.approx(
        [0.0019 * 180.0 / math.pi, 0.0, 0.0], rel=1e-11
    )
    assert crane["static"]["root_moment_N_m"] == 0.0325  # given in mN*m
    assert crane["modes"][1]["direction"] == [-0.6, 0.5, 0.62]
    assert notebook["motion"] == {
        "peak_deviation_mm": 0.21,
        "residual_wobble_mm": 0.0503,
        "residual_wobble_px": 0.46,
        "settle_s": 0.4,
        "seen_frequency_Hz": 8.95,
    }
    assert inkwell["ranges"]["sag_mm"] == [0.19, 0.27]
    assert inkwell["findings"][3] == {
        "id": "yield-factor",
        "status": "pass",
        "value": 12.9,
        "limit": 1.5,
        "unit": None,
        "says": "The tube carries it with ease.",
        "advice": [],
        "chance": None,
    }


def test_every_number_with_a_unit_is_a_quantity_too(desk_set: CheckResult) -> None:
    prop = desk_set.props[0]
    for part in (prop.static, prop.modes[0], prop.motion):
        for name, value in vars(part).items():
            bare = next((name.removesuffix(f"_{end}") for end in UNITS if name.endswith(f"_{end}")), name)
            if bare == name:
                continue
            quantity = getattr(part, bare)
            assert isinstance(quantity, pint.Quantity)
            assert quantity.units == pint.Unit(UNITS[name.removeprefix(f"{bare}_")])
            np.testing.assert_array_equal(quantity.magnitude, value)
    assert desk_set.props[2].static is not None
    assert desk_set.props[2].static.set is None
    assert prop.static is not None
    assert prop.static.root_moment.to("N*mm").magnitude == pytest.approx(547)


def test_absent_is_null_and_never_zero(desk_set: CheckResult) -> None:
    bare = replace(desk_set.props[0], static=None, modes=(), motion=None, ranges={}, chance_of_pass=None)
    written = check_json(replace(desk_set, props=(bare,)))
    jsonschema.validate(written, SCHEMA)
    prop = written["props"][0]
    assert (prop["static"], prop["motion"], prop["ranges"], prop["chance_of_pass"]) == (
        None,
        None,
        None,
        None,
    )
    assert prop["modes"] == []
    crane = check_json(desk_set)["props"][2]
    assert crane["static"]["set_mm"] is None
    assert crane["findings"][-1]["status"] == "skipped"
    assert crane["findings"][-1]["value"] is None
    assert check_json(desk_set)["props"][0]["static"]["set_mm"] == 0.0  # a real zero stays


def test_what_is_not_finite_is_null(desk_set: CheckResult) -> None:
    static, motion = desk_set.props[0].static, desk_set.props[0].motion
    assert isinstance(static, StaticResult)
    assert isinstance(motion, MotionResult)
    prop = replace(
        desk_set.props[0],
        static=replace(static, yield_factor=math.inf, tip_displacement_mm=np.array([0.0, np.nan, 0.0])),
        motion=replace(motion, settle_s=math.inf),
        ranges={"settle_s": (0.4, math.inf)},
        findings=(
            Finding(id="a", label="a", status=Status.FAIL, value=math.nan, limit=-math.inf, says="No."),
        ),
    )
    written = json.loads(dump(check_json(replace(desk_set, props=(prop,)))))
    jsonschema.validate(written, SCHEMA)
    entry = written["props"][0]
    assert entry["static"]["yield_factor"] is None
    assert entry["static"]["tip_displacement_mm"] is None
    assert entry["motion"]["settle_s"] is None
    assert entry["ranges"] == {"settle_s": [0.4, None]}
    assert (entry["findings"][0]["value"], entry["findings"][0]["limit"]) == (None, None)


def test_numpy_numbers_become_plain(desk_set: CheckResult) -> None:
    static = desk_set.props[0].static
    assert static is not None
    prop = replace(
        desk_set.props[0],
        static=replace(static, sag_mm=np.float64(0.5), yield_factor=np.float32(2.5)),  # type: ignore[arg-type]
        chance_of_pass=np.float64(0.5),
        ranges={"sag_mm": (np.float64(1.0), np.int64(2))},  # type: ignore[dict-item]
    )
    entry = check_json(replace(desk_set, props=(prop,)))["props"][0]
    for value in (entry["static"]["sag_mm"], entry["static"]["yield_factor"], *entry["ranges"]["sag_mm"]):
        assert type(value) is float


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e300, max_value=1e300))
@example(-0.0)
@example(1 / 3)
def test_nine_digits_survive(value: float) -> None:
    prop = PropResult(
        name="inkwell",
        verdict=Status.PASS,
        static=None,
        modes=(),
        motion=None,
        findings=(Finding(id="sag", label="sag", status=Status.PASS, value=value, says=""),),
        assumptions=(),
        cautions=(),
        support="",
        next_step=None,
    )
    result = CheckResult(title="", verdict=Status.PASS, props=(prop,), cautions=())
    written = json.loads(dump(check_json(result)))["props"][0]["findings"][0]["value"]
    # nine digits asked for; subnormal numbers have fewer of their own, hence the tiny absolute part
    assert written == pytest.approx(value, rel=1e-9, abs=1e-310)
    assert not (written == 0.0 and math.copysign(1.0, written) < 0)


def test_dump_refuses_what_json_has_no_word_for() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        dump({"a": math.nan})


@given(st.text())
def test_dumped_text_reads_back_and_cannot_steer_a_terminal(text: str) -> None:
    written = dump({"title": text})
    assert json.loads(written) == {"title": text}
    assert not set(written) & {
        chr(code) for code in (*range(10), *range(11, 32), *range(127, 160), 0x202E, 0x2066)
    }


def test_dump_keeps_letters_and_indents_by_one() -> None:
    assert dump({"title": "Étui 手帳", "props": []}) == '{\n "title": "Étui 手帳",\n "props": []\n}'
    assert (
        dump({"title": "\x7f\x9b\u202e\U000e0041"}) == '{\n "title": "\\u007f\\u009b\\u202e\\udb40\\udc41"\n}'
    )
