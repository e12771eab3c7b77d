"""Mutated rig files, tables, flags and quantities: no traceback, no hang, no warning, no figure that is none.

An ordinary run reads 2,000 cases and runs 2,000 whole. The long run runs 100,000 whole, with progress:
`python tests/support/fuzzing.py`, or `-m slow` here, where RIGCHECK_FUZZ_FIRST and RIGCHECK_FUZZ_COUNT name others. A
case can be made again from its number alone.
"""

import os
import subprocess
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pytest
from fuzzing import KEYS, NUMBERS, TAKE, UNITS, cases, everything, mutated_table, run_case, run_many

from rigcheck.errors import InputError, RigcheckError
from rigcheck.files import rig_from_flags, rig_from_text
from rigcheck.files.takes import keys_from_text, take_from_text
from rigcheck.units import QuantityError, parse_quantity

COUNT = 2000
ROOM = 3.0
"""An ordinary run shares its machine with others and looks for hangs only; the long run holds the limit itself."""


def read(case):
    """Read what a case holds, without working anything out."""
    if case.words[1] == "rig.toml":
        return rig_from_text(case.files["rig.toml"].decode("utf-8", "replace"))
    if case.words[0] == "explain":
        return take_from_text(case.files["take.csv"].decode("utf-8", "replace"), frame_rate=50.0)
    flags = dict(word.lstrip("-").split("=", 1) for word in case.words[1:] if "=" in word)
    return rig_from_flags({name.replace("-", "_"): value for name, value in flags.items()})


def test_what_is_read_is_whole_or_refused_in_words():
    outcomes = {"read": 0, "refused": 0}
    for case in cases(0, COUNT):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                read(case)
            outcomes["read"] += 1
        except RigcheckError as error:
            outcomes["refused" if str(error).strip() else "refused without a word"] += 1
    assert min(outcomes.values()) > COUNT // 5, outcomes  # neither is rare, or nothing is tried


def test_cases_run_whole(tmp_path):
    wrong = []
    for case in everything(0, COUNT):
        watch = run_case(case, tmp_path, room=ROOM)
        wrong += [f"case {case.number}: {text}" for text in watch.wrong]
    assert not wrong, "\n".join(wrong)


def test_every_command_is_tried():
    commands = {case.words[0] for case in everything(0, COUNT)}
    assert commands == {"check", "choose", "explain", "retime", "sheet", "stock"}
    words = [case.words for case in everything(0, COUNT)]
    assert sum("--stock" in one for one in words) == 4


FRESH = """
import sys
from pathlib import Path
from fuzzing import cases, run_case
watch = run_case(next(cases(int(sys.argv[1]), 1)), Path(sys.argv[2]), room=float(sys.argv[3]))
print(*watch.wrong, sep="; ")
"""


# A move of a week; two pulled lines under a heavy prop; a tube with next to no wall, rolled. Each took 0.5 to 1.3 GB.
@pytest.mark.parametrize("number", [5783, 7213, 5330])
def test_memory_stays_bounded(tmp_path, number):
    """In a process of its own, since the most that this one has used hides what a case takes."""
    here = Path(__file__).parents[1]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(here / "support"), str(here.parent)])}
    words = [sys.executable, "-c", FRESH, str(number), str(tmp_path), str(ROOM)]
    result = subprocess.run(words, env=environment, capture_output=True, text=True, check=True)
    assert result.stdout.strip() == ""


# Paths whose squares overflow; a strip 50 m wide, whose stiffness spans too many decades for its modes. Folded for 10
# to 30 s: a prop of 870 kg, a tube of 21 m, a wire of 4 micrometres.
@pytest.mark.parametrize("number", [6938, 60225, 60150, 60346, 70015])
def test_cases_that_once_went_wrong(tmp_path, number):
    watch = run_case(next(cases(number, 1)), tmp_path, room=ROOM)
    assert not watch.wrong


# Control characters in words that stock does not know; a thread pulled by 75 kN, whose bending is lost in rounding; a
# support of 16 nm, drawn as a point; rolls of a tube with a wall of a nanometre, and of one with a thread beside it;
# a support of 0.7 micrometres, whose nulls were looked for by the thousand. A wire of 1.6 nm beside a tube, one 62 m
# thick and 55 nm long, a strip 323 m wide: too stiff and too soft for numbers of 16 digits. A prop 9 km wide that
# goes round in circles; a move of ten days, listed frame by frame; moves of 4 and of 1 ms that passed.
@pytest.mark.parametrize(
    "number",
    [
        *(1050418, 1003499, 1000503, 1053577, 1003164, 1003800, 1052697, 2006600),
        *(4106103, 4109367, 4114184, 5020797, 5025137, 5008902, 5057883),
    ],
)
def test_cases_of_the_long_run_that_once_went_wrong(tmp_path, number):
    watch = run_case(next(everything(number, 1)), tmp_path, room=ROOM)
    assert not watch.wrong


@pytest.mark.slow
def test_many_cases_run_whole(tmp_path):
    first, count = (
        int(os.environ.get(f"RIGCHECK_FUZZ_{name}", default))
        for name, default in (("FIRST", 1_000_000), ("COUNT", 100_000))
    )
    wrong = run_many(everything(first, count), count, tmp_path)
    assert not wrong, "\n".join(wrong)


def test_the_same_number_makes_the_same_case():
    again = next(cases(123, 1))
    assert [(one.words, one.files) for one in cases(120, 5)][3] == (again.words, again.files)


def test_quantities_are_parsed_and_never_evaluated():
    """Every number with every unit, and 3,000 at random: a finite value or a refusal, each at once."""
    rng = np.random.default_rng(8)
    texts = [f"{number}{gap}{unit}" for number in NUMBERS for unit in UNITS for gap in (" ", "")]
    letters = list("0123456789.eE+-*/^() _,'\"mkgsNPaHz%±³²µ٣３∞\u0000\u200b")
    texts += ["".join(rng.choice(letters, int(rng.integers(1, 24)))) for _ in range(3000)]
    start = time.process_time()
    read = 0
    for text in texts:
        for dimension in ("length", "mass"):
            try:
                value = parse_quantity(text, dimension, sign="any")
            except QuantityError:
                continue
            read += 1
            assert np.isfinite(value.m_as({"length": "m", "mass": "kg"}[dimension]))
    assert read > 20
    assert time.process_time() - start < 60.0  # a thousandth of what one evaluated 9**9**9 takes


@pytest.mark.parametrize(
    "text", ["9**9**9 mm", "10**10**10 mm", "1 mm**9**9", "9" * 5000 + " mm", "1e999999999 mm"]
)
def test_towers_of_powers_are_refused_at_once(text):
    start = time.process_time()
    with pytest.raises(QuantityError):
        parse_quantity(text, "length")
    assert time.process_time() - start < 1.0


@pytest.mark.parametrize(
    ("text", "reader"), [(KEYS, keys_from_text), (TAKE, take_from_text)], ids=["keys", "take"]
)
def test_tables(text, reader):
    rng = np.random.default_rng(9)
    read = 0
    for _ in range(300):
        try:
            table = reader(mutated_table(rng, text).decode("utf-8", "replace"))
        except InputError:
            continue
        read += 1
        assert np.isfinite(table.times).all()
        assert (np.diff(table.times) > 0.0).all()
    assert 20 < read < 280
