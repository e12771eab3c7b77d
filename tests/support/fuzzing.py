"""Seeded abuse of the program: mutated files and flags, run in one process, and all that may go wrong watched.

A case is a command line and the files beside it. It is bad where it ends in anything but an exit code of 0, 1 or 2,
prints a traceback, warns, hangs, prints figures that are no numbers or control
characters, or calls a rig "pass" that nobody could build.

The long run, which prints how far it is and every bad case as it comes::

    python tests/support/fuzzing.py --first 1000000 --count 100000 --report fuzzed.txt
"""

# ruff: noqa: E501 - lists of bad values read best in rows

from __future__ import annotations

import argparse
import io
import json
import math
import os
import re
import resource
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

# As the program does, before the first array: threads that wait for work count as processor time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

__all__ = [
    "BENT",
    "FLOATING",
    "HANGING",
    "KEYS",
    "LINE",
    "NUMBERS",
    "TAKE",
    "TWO",
    "UNITS",
    "Case",
    "Watch",
    "cases",
    "everything",
    "mutated_table",
    "run_case",
    "run_many",
    "run_words",
]

SECONDS = 2.0
"""Most processor time of a case, on a machine that needs `_QUIET` for the work of `_calibration`."""
ALL_OF_STOCK = 10.0
"""The same where all of stock is tried, some 300 sizes, each with its own ranges: a search, which shows its progress."""

_QUIET = 5.6e-3
"""Processor time of the calibration on the quiet machine that the limit was set on [s]."""
_PAGE = "sheet.html"
_KILLED = 5.0
"""Times the limit after which a case is ended."""

MEGABYTES = 500.0
"""Most memory of the process."""

FLOATING = """
[camera]
field_width = "420 mm"
image_width = 3840
frame_rate = "50 fps"

[[prop]]
name = "inkwell"
mass = "310 g"
size = ["52 mm", "45 mm", "52 mm"]

[[prop.support]]
material = "music-wire"
diameter = "3 mm"
length = "180 mm"
clamp = "collet"

[[prop.move]]
slide = "220 mm"
along = "up"
duration = "4 s"
"""

TWO = """
[[prop]]
name = "paper crane"
mass = "14 g"

[[prop.support]]
material = "carbon-tube"
diameter = "4 mm"
wall = "0.5 mm"
length = "200 mm"
offset = ["0 mm", "0 mm", "0 mm"]

[[prop.support]]
material = "music-wire"
diameter = "1 mm"
length = "200 mm"
offset = ["30 mm", "0 mm", "0 mm"]

[[prop.move]]
roll = "90 deg"
about = "toward"
duration = "3 s"
profile = "cycloidal"
"""

BENT = """
[limits]
hazard = "hands"
takes = 200

[[prop]]
name = "pencil tray"
mass = "80 g"
centre_of_mass = ["0 mm", "5 mm", "20 mm"]

[[prop.support]]
material = "brass-c260"
width = "6 mm"
thickness = "1.6 mm"
path = [["0 mm", "-60 mm", "-120 mm"], ["0 mm", "0 mm", "-60 mm"], ["0 mm", "0 mm", "0 mm"]]
root_stiffness = "12 N*m/rad"

[[prop.move]]
acceleration = "0.8 m/s^2"
along = "right"
"""

LINE = """
[[prop]]
name = "stamp"
mass = "5 g"

[[prop.support]]
material = "music-wire"
diameter = "0.3 mm"
length = "300 mm"
from = "above"
tension = "20 N"

[[prop.support]]
material = "music-wire"
diameter = "0.3 mm"
length = "300 mm"
from = "below"
tension = "20 N"

[[prop.move]]
slide = "40 mm"
along = "right"
keys = "keys.csv"
"""

HANGING = """
[[prop]]
name = "quill"
mass = "9 g"

[[prop.support]]
material = "music-wire"
diameter = "0.4 mm"
length = "350 mm"
from = "above"

[[prop.move]]
slide = "40 mm"
along = "right"
duration = "3 s"
"""

KEYS = "time_s,value\n" + "".join(
    f"{0.04 * n:.2f},{40.0 * (1 - math.cos(math.pi * n / 50)) / 2:.3f}\n" for n in range(51)
)

MATERIAL = """
[[material]]
name = "shop-rod"
density = "2710 kg/m^3"
youngs_modulus = "69 GPa"
shear_modulus = "26 GPa"
yield_strength = "35 MPa"
tensile_strength = "90 MPa"
damping_ratio = 0.003
"""

STOCK = f"""
{MATERIAL}
[[prop]]
name = "drawer"
mass = "1 g"

[[prop.support]]
material = "music-wire"
diameter = "2 mm"
length = "180 mm"

[[prop.support]]
material = "shop-rod"
diameter = "4 mm"
length = "180 mm"

[[prop.support]]
material = "carbon-tube"
diameter = "6 mm"
wall = "1 mm"
length = "180 mm"

[[prop.support]]
material = "brass-c260"
width = "6 mm"
thickness = "1.5 mm"
length = "180 mm"
"""

TAKE = "frame,time_s,x_px,y_px\n" + "".join(
    f"{n},{n / 50:.3f},{300 + 3 * math.exp(-n / 90) * math.sin(0.9 * n):.2f},{200 + 0.02 * n:.2f}\n"
    for n in range(220)
)

NUMBERS = [
    "0", "-0", "-1", "1e-9", "1e9", "1e308", "1e400", "1e-400", "-1e308", "9**9**9", "nan", "inf", "-inf", "NaN", "1_000",
    "٣", "３", "²", "½", "1e", "0x10", "1,5", "1.2.3", "", " ", "9" * 400, "0." + "0" * 400 + "1", "1e99999999999", "--3",
    "1/0", "3/0.0", "1/3", "true", "∞", "1e3e3", "+-2", "1 000", "10**100", "1j", "lambda: 0", "__import__('os')",
]  # fmt: skip
UNITS = [
    "mm", "m", "in", "km", "um", "ly", "kg", "g", "t", "s", "ms", "min", "h", "day", "fps", "Hz", "rpm", "deg", "rad", "px",
    "SWG", "AWG", "N", "GPa", "MPa", "N*m", "N*m/rad", "m/s^2", "g0", "%", "degC", "mm**9**9", "mm^999999", "mm mm", "/mm",
    "m³", "ｍｍ", "furlong", "planck_length", "mm +/- 5 %", "mm +/- 200 %", "mm +/- -1 mm", "mm ± inf mm", "mm +/- nan %", "",
]  # fmt: skip
TEXTS = [
    "\\u001b[31mred\\u001b[0m", "[bold]x[/bold]", "[/]", "<script>alert(1)</script>", "../../etc/passwd", "/etc/passwd",
    "\\u202egpj.exe", "\\u0000", "a" * 5000, "{{ 7*7 }}", "%s%n", "\\\\", "=cmd()", "\\n\\n", "é\\u0301", "💥", "\\u2028", "~",
    "file:///etc/passwd", "keys.csv/../keys.csv", "keys.csv", "nul", "music-wire", "brass-c260", "collet", "rigid", "behind",
    "above", "up", "toward", "overhead", "clear", "auto", "large", "linear", "box", "tube", "strand", "strip", "threaded",
]  # fmt: skip
VALUES = ["1", "-1", "0", "1.5", "nan", "inf", "-inf", "1e400", "true", "[]", "{}", '""', "[[]]", "1979-05-27", "9" * 30,
          '["1 mm"]', '["1 mm", "2 mm", "3 mm"]', "[1, 2, 3]", "0x7fffffffffffffff", "[[[[[[[]]]]]]]", '{ a = "1 mm" }']  # fmt: skip
LINES = [
    "[[prop]]", "[[prop.support]]", "[[prop.move]]", "[camera]", "[limits]", "[prop.insert]", "[prop.axis]", "[[material]]",
    "[[prop.support.sleeve]]", 'keys = "../keys.csv"', 'tension = "5 N"', 'hazard = "clear"', "modes = 100000", "takes = 0",
    "modes = 1", "residual_periods = 1e9", "image_width = 1e300", "image_width = 0", 'root_stiffness = "1e-30 N*m/rad"',
    'root_stiffness = "1e30 N*m/rad"', 'embed = "1 km"', 'section = "strand"', "wires = 1000000", "wires = 7", "= 1", "a.b.c = 1",
    'profile = "s-curve"', "ramp = 0.5", "ramp = 0", 'start = "1e6 s"', 'duration = "1e-9 s"', 'duration = "1e9 s"', 'roll = "1e9 deg"',
    'along = ["1", "0", "0"]', "along = [1, 0, 0]", "along = [0, 0, 0]", "along = [1e300, 1e300, 1e300]", 'from = "below"',
    'through = ["1 m", "0 m", "0 m"]', 'elevation = "90 deg"', 'displacement = "large"', 'sag = "1e-9 mm"', "wobble = 1e-12",
    'flexural_rigidity = "1e-9 N*m"', 'droop_test = { overhang = "80 mm", droop = "15 mm" }', 'grip = "0 mm"', 'mark = ["1 km", "0 mm", "0 mm"]',
]  # fmt: skip

_SIZED = r'"(-?[0-9]+(?:\.[0-9]+)?) ([^"]+)"'

# Nobody builds such a rig on a table top: [SI, least, most]. Wide enough that nothing real is meant.
_BUILT = {
    "diameter": (2e-5, 0.15), "length": (2e-3, 8.0), "mass": (1e-6, 60.0), "duration": (5e-3, 10_800.0), "slide": (0.0, 12.0),
    "thickness": (1e-5, 0.1), "width": (1e-4, 0.5), "field_width": (2e-3, 100.0), "frame_rate": (0.1, 2e5),
}  # fmt: skip


@dataclass
class Case:
    """A command line with the files it names.

    Attributes
    ----------
    number : int
        Makes it again: ``next(cases(number, 1, folder))``.
    words : list of str
        Command line.
    files : dict of str to bytes
        By name.
    """

    number: int
    words: list[str]
    files: dict[str, bytes] = field(default_factory=dict)


@dataclass
class Watch:
    """What is wrong with a case.

    Attributes
    ----------
    case : Case
    wrong : list of str
        Empty where all is well.
    code : int or None
        Exit code.
    seconds : float
        Of processor time.
    output, errors : str
        What was printed.
    """

    case: Case
    wrong: list[str]
    code: int | None
    seconds: float
    output: str = ""
    errors: str = ""


class _Hang(BaseException):
    """A case took too long."""


def cases(first: int, count: int, *, commands: tuple[str, ...] = ("check",)) -> Iterator[Case]:
    """Give cases by number; each depends on its number alone."""
    for number in range(first, first + count):
        rng = np.random.default_rng([number, 20261125])
        kind = number % 10
        command = str(rng.choice(commands))
        if kind < 7 or command == "retime":
            yield Case(number, *_rig_case(rng, command))
        elif kind == 7:
            yield Case(number, *_flag_case(rng))
        elif kind == 8:
            yield Case(number, *_keys_case(rng))
        else:
            yield Case(number, *_take_case(rng))


def everything(first: int, count: int) -> Iterator[Case]:
    """Give cases of every command that reads a file or flags; each depends on its number alone.

    What takes long comes seldom: of 2,000 cases 40 time moves, 4 choose from a stock file, one from all of stock.
    """
    for number in range(first, first + count):
        rng = np.random.default_rng([number, 20261126])
        kind = number % 20
        if number % 2000 == 1999:
            yield Case(number, *_rig_case(rng, "choose"))
        elif number % 500 == 498:
            yield Case(number, *_stock_case(rng))
        elif number % 50 == 47:
            yield Case(number, *_rig_case(rng, "retime"))
        elif kind < 9:
            yield Case(number, *_rig_case(rng, "check"))
        elif kind < 11:
            yield Case(number, *_material_case(rng))
        elif kind < 13:
            yield Case(number, *_flag_case(rng))
        elif kind < 15:
            yield Case(number, *_keys_case(rng))
        elif kind < 17:
            yield Case(number, *_take_case(rng))
        elif kind == 17:
            yield Case(number, *_rig_case(rng, "sheet"))
        else:
            yield Case(number, *_words_case(rng))


def _pick(rng: np.random.Generator, choices: list[str]) -> str:
    return choices[int(rng.integers(len(choices)))]


def _quantity(rng: np.random.Generator) -> str:
    return f"{_pick(rng, NUMBERS)} {_pick(rng, UNITS)}"


def _keys_case(rng: np.random.Generator) -> tuple[list[str], dict[str, bytes]]:
    text = mutated_table(rng, KEYS)
    rig = FLOATING.replace('duration = "4 s"', 'keys = "keys.csv"')
    return ["check", "rig.toml", "--json"], {"rig.toml": rig.encode(), "keys.csv": text}


def _take_case(rng: np.random.Generator) -> tuple[list[str], dict[str, bytes]]:
    rate = (
        ["--fps", _pick(rng, ["50", "0", "-1", "nan", "1e300", "1e-300", "x"])] if rng.random() < 0.3 else []
    )
    return ["explain", "take.csv", *rate, "--json"], {"take.csv": mutated_table(rng, TAKE)}


def _material_case(rng: np.random.Generator) -> tuple[list[str], dict[str, bytes]]:
    """A rig whose supports are of a material of its own, spoilt in one to three lines of the material."""
    lines = MATERIAL.splitlines()
    for _ in range(int(rng.integers(1, 4))):
        _mutate_lines(rng, lines)
    rig = re.sub(r'material = "[^"]+"', 'material = "shop-rod"', _pick(rng, [FLOATING, TWO, BENT, HANGING]))
    content = "\n".join([*lines, rig]).encode("utf-8", "surrogatepass")
    return ["check", "rig.toml", *(["--json"] if rng.random() < 0.6 else [])], {"rig.toml": content}


def _stock_case(rng: np.random.Generator) -> tuple[list[str], dict[str, bytes]]:
    """A choice from a spoilt stock file, for a rig that may be spoilt too."""
    _, files = _rig_case(rng, "choose")
    if rng.random() < 0.5:
        files["rig.toml"] = _pick(rng, [FLOATING, TWO, BENT, HANGING]).encode()
    lines = STOCK.splitlines()
    for _ in range(int(rng.integers(1, 5))):
        _mutate_lines(rng, lines)
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    if rng.random() < 0.1:
        content = _mutate_bytes(rng, content)
    more = [word for word in ("--reach", "--pareto") if rng.random() < 0.2]
    words = ["choose", "rig.toml", "--stock", "stock.toml", *more]
    return [*words, "--json"] if rng.random() < 0.6 else words, {**files, "stock.toml": content}


def _words_case(rng: np.random.Generator) -> tuple[list[str], dict[str, bytes]]:
    """Words to search stock with."""
    known = [
        "carbon",
        "tube",
        "music",
        "wire",
        "14",
        "SWG",
        "brass",
        "2mm",
        "collet",
        "thinner",
        "yield",
        "AWG",
        "1/8",
        "in",
    ]
    words = []
    for _ in range(int(rng.integers(1, 5))):
        kind = int(rng.integers(5))
        if kind <= 1:
            words.append(_pick(rng, known))
        elif kind == 2:
            words.append(_pick(rng, TEXTS))
        elif kind == 3:
            words.append(_quantity(rng))
        else:
            text = list(_pick(rng, known))
            text.insert(
                int(rng.integers(len(text) + 1)),
                _pick(rng, ["*", "?", "[", "(", "\\", ".", "\u0301", "\u2028", "%"]),
            )
            words.append("".join(text))
    words = [_unescaped(word) for word in words]
    more = [word for word in ("--json", "--details") if rng.random() < 0.4]
    return ["stock", *more, "--", *words], {}


def _unescaped(text: str) -> str:
    """What may stand in a command line in place of a text that has TOML's escapes."""
    return text.encode().decode("unicode_escape", "replace").replace("\0", "") if "\\u" in text else text


def _rig_case(rng: np.random.Generator, command: str) -> tuple[list[str], dict[str, bytes]]:
    text = _pick(rng, [FLOATING, FLOATING, TWO, BENT, LINE, HANGING])
    lines = text.splitlines()
    for _ in range(int(rng.integers(1, 3))):
        _mutate_lines(rng, lines)
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    if rng.random() < 0.05:
        content = _mutate_bytes(rng, content)
    words = [command, "rig.toml"]
    if rng.random() < 0.6:
        words.append("--json")
    elif command == "sheet":
        words += ["--overwrite", "-o", _PAGE]
    elif command != "choose" and rng.random() < 0.3:
        words.append("--details")
    return words, {"rig.toml": content, "keys.csv": KEYS.encode()}


def _mutate_lines(rng: np.random.Generator, lines: list[str]) -> None:
    where = int(rng.integers(len(lines)))
    kind = int(rng.choice(9, p=[0.3, 0.25, 0.08, 0.07, 0.06, 0.06, 0.04, 0.1, 0.04]))
    keyed = [place for place, line in enumerate(lines) if " = " in line]
    sized = [place for place in keyed if re.search(_SIZED, lines[place])]
    if kind <= 1 and sized:
        # Still valid, but from likely to absurd.
        where = int(rng.choice(sized))
        factor = 10.0 ** (rng.normal(0.0, 0.3) if kind == 0 else rng.uniform(-9.0, 9.0))
        lines[where] = re.sub(
            _SIZED, lambda found: f'"{float(found[1]) * factor:.6g} {found[2]}"', lines[where]
        )
    elif kind <= 4 and keyed:
        where = int(rng.choice(keyed))
        key = lines[where].split(" = ", 1)[0]
        if kind <= 2:
            lines[where] = f'{key} = "{_quantity(rng)}"'
        elif kind == 3:
            lines[where] = f'{key} = "{_pick(rng, TEXTS)}"'
        else:
            lines[where] = f"{key} = {_pick(rng, VALUES)}"
    elif kind == 5:
        del lines[where]
        if not lines:
            lines.append("")
    elif kind == 6:
        lines.insert(where, lines[int(rng.integers(len(lines)))])
    elif kind == 7:
        lines.insert(where, _pick(rng, LINES))
    else:
        line = lines[where]
        at = int(rng.integers(len(line) + 1))
        lines[where] = (
            line[:at]
            + _pick(rng, ["=", '"', "[", "]", "x", " ", "#", "'", "\\", "\t", "é", "\ud800", "_"])
            + line[at:]
        )


def _mutate_bytes(rng: np.random.Generator, content: bytes) -> bytes:
    data = bytearray(content)
    for _ in range(int(rng.integers(1, 6))):
        if not data:
            break
        at = int(rng.integers(len(data)))
        kind = int(rng.integers(3))
        if kind == 0:
            data[at] = int(rng.integers(256))
        elif kind == 1:
            del data[at : at + int(rng.integers(1, 40))]
        else:
            data[at:at] = bytes(rng.integers(0, 256, int(rng.integers(1, 8))).tolist())
    return bytes(data)


def _flag_case(rng: np.random.Generator) -> tuple[list[str], dict[str, bytes]]:
    flags = {
        "material": "music-wire",
        "diameter": "3mm",
        "length": "180mm",
        "mass": "310g",
        "slide": "220mm",
        "duration": "4s",
    }
    more = ["wall", "width", "thickness", "wires", "from", "clamp", "root-stiffness", "size", "shape", "profile", "along",
            "acceleration", "field-width", "image-width", "frame-rate", "playback-rate", "hazard", "section"]  # fmt: skip
    for _ in range(int(rng.integers(1, 4))):
        name = _pick(rng, [*flags, *more])
        text = _quantity(rng) if rng.random() < 0.6 else _pick(rng, TEXTS)
        if rng.random() < 0.1:
            flags.pop(name, None)
        else:
            flags[name] = _unescaped(text)
    words = ["check", *(f"--{name}={text}" for name, text in flags.items())]
    return [*words, "--json"] if rng.random() < 0.5 else words, {}


def mutated_table(rng: np.random.Generator, text: str) -> bytes:
    """Spoil a table in one to four ways."""
    lines = text.splitlines()
    for _ in range(int(rng.integers(1, 5))):
        where = int(rng.integers(len(lines))) if rng.random() < 0.8 else 0
        kind = int(rng.integers(7))
        cells = lines[where].split(",")
        if kind <= 2:
            cells[int(rng.integers(len(cells)))] = _pick(rng, NUMBERS)
            lines[where] = ",".join(cells)
        elif kind == 3:
            del lines[where : where + int(rng.integers(1, 60))]
        elif kind == 4:
            lines.insert(
                where,
                _pick(rng, ["", "#", ",,,", "a,b", lines[0] if lines else "", '"', "=1+1", "1;2", "\t"]),
            )
        elif kind == 5:
            lines = [line.replace(",", _pick(rng, [";", "\t", " ", ",,"])) for line in lines]
        else:
            scale = 10.0 ** rng.uniform(-12, 12)
            lines = [lines[0], *(_scaled(line, scale) for line in lines[1:])] if lines else lines
        if not lines:
            lines = [""]
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    return _mutate_bytes(rng, content) if rng.random() < 0.2 else content


def _scaled(line: str, scale: float) -> str:
    head, _, last = line.rpartition(",")
    try:
        return f"{head},{float(last) * scale:.9g}"
    except ValueError:
        return line


def run_case(case: Case, folder: Path, *, room: float = 1.0) -> Watch:
    """Run a case in this process and watch it; with `room`, so many times the time is allowed."""
    for name, content in case.files.items():
        (folder / name).write_bytes(content)
    words = [str(folder / word) if word in case.files or word == _PAGE else word for word in case.words]
    of_all = case.words[0] == "choose" and "--stock" not in case.words
    limit = (ALL_OF_STOCK if of_all else SECONDS) * slowness() * room
    start = resource.getrusage(resource.RUSAGE_SELF)
    code, wrong, output, errors = run_words(words, _KILLED * limit)
    end = resource.getrusage(resource.RUSAGE_SELF)
    seconds = end.ru_utime + end.ru_stime - start.ru_utime - start.ru_stime
    if seconds > limit and not wrong:
        wrong.append(f"took {seconds:.1f} s, {limit:.1f} s are allowed")
    if end.ru_maxrss / 1024.0 > MEGABYTES and end.ru_maxrss > start.ru_maxrss:
        wrong.append(f"memory rose to {end.ru_maxrss / 1024.0:.0f} MB")
    if code not in (0, 1, 2) and not wrong:
        wrong.append(f"exit code {code}")
    if "Traceback" in errors or "Traceback" in output:
        wrong.append("printed a traceback")
    if bad := re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", output + errors):
        wrong.append(f"printed the control character {bad[0]!r}")
    if code == 2 and not errors.strip():
        wrong.append("refused without a word")
    if code in (0, 1) and "--json" in words:
        wrong += _wrong_json(output, case)
    return Watch(case, wrong, code, seconds, output, errors)


_slowness: list[float] = []


def slowness() -> float:
    """How many times as long as on the quiet machine of `_QUIET` a fixed piece of work takes now; at least 1.

    Processor time counts more where other programs fill the caches, and on slower machines. The middle of five,
    taken again at every fiftieth call.
    """
    if not _slowness or _slowness[0] <= 0:
        times = sorted(_calibration() for _ in range(5))
        _slowness[:] = [50.0, max(1.0, times[2] / _QUIET)]
    _slowness[0] -= 1
    return _slowness[1]


def _calibration() -> float:
    """Processor time of a little of all that a check does: small systems, long arrays, Python [s]."""
    rng = np.random.default_rng(0)
    square, wide = rng.standard_normal((40, 40)), rng.standard_normal((3, 4000))
    start = time.process_time()
    total = 0.0
    for _ in range(300):
        total += float(np.linalg.solve(square, square[:, :4])[0, 0]) + float((wide * wide).sum(axis=0).max())
        counts: dict[int, int] = {}
        for index in range(60):
            counts[index] = counts.get(index - 1, 0) + index
    return time.process_time() - start


def run_many(chosen: Iterator[Case], count: int, folder: Path, report: Path | None = None) -> list[str]:
    """Run many cases, and tell how far it is on stderr: what is wrong, also written to a file as it comes."""
    wrong: list[str] = []
    spent: dict[str, list[float]] = {}
    began = told = time.monotonic()
    slowest, worst = 0.0, -1
    done = 0

    def say(text: str) -> None:
        print(text, file=sys.__stderr__, flush=True)
        if report is not None:
            with report.open("a", encoding="utf-8") as file:
                file.write(text + "\n")

    def state() -> str:
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
        passed = time.monotonic() - began
        return (
            f"{done} of {count} cases in {passed:.0f} s, {len(wrong)} wrong; slowest {slowest:.2f} s (case {worst}), "
            f"most memory {megabytes:.0f} MB, this machine now {slowness():.2f} times the quiet one"
        )

    for case in chosen:
        watch = run_case(case, folder)
        done += 1
        spent.setdefault(case.words[0], []).append(watch.seconds)
        if watch.seconds > slowest:
            slowest, worst = watch.seconds, case.number
        for text in watch.wrong:
            wrong.append(f"case {case.number}: {case.words[0]}: {text}")
            say(wrong[-1])
        if time.monotonic() - told > 30.0:
            told = time.monotonic()
            say(state())
    say(state())
    for name, seconds in sorted(spent.items()):
        say(f"  {name}: {len(seconds)} cases, {np.mean(seconds):.3f} s each, {max(seconds):.2f} s at most")
    return wrong


def run_words(words: list[str], seconds: float = 60.0) -> tuple[int | None, list[str], str, str]:
    """Run a command line in this process: exit code, what went wrong, what was printed on stdout and on stderr."""
    from rigcheck.cli import run

    output, errors = (
        io.TextIOWrapper(io.BytesIO(), "utf-8"),
        io.TextIOWrapper(io.BytesIO(), "utf-8", errors="backslashreplace"),
    )
    code: int | None = None
    wrong: list[str] = []
    argv, sys.argv = sys.argv, ["rigcheck", *words]
    try:
        with warnings.catch_warnings(), redirect_stdout(output), redirect_stderr(errors), _limited(seconds):
            warnings.simplefilter("error")
            run()
            code = 0
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else (0 if end.code is None else 1)
    except _Hang as hang:
        wrong.append(f"hung at {_place(hang)}")
    except BaseException as error:
        wrong.append(f"{type(error).__name__}: {str(error)[:120]} at {_place(error)}")
    finally:
        sys.argv = argv
    texts = []
    for stream in (output, errors):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode("utf-8", "replace"))
    return code, wrong, texts[0], texts[1]


@contextmanager
def _limited(seconds: float) -> Iterator[None]:
    def stop(signum: int, frame: Any) -> None:
        raise _Hang

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def _place(error: BaseException) -> str:
    """The last two places in our code."""
    places = []
    trace = error.__traceback__
    while trace is not None:
        name = trace.tb_frame.f_code.co_filename
        if "rigcheck/" in name.replace("\\", "/") and "/tests/" not in name:
            places.append(f"{Path(name).name}:{trace.tb_lineno}")
        trace = trace.tb_next
    return " < ".join(reversed(places[-3:])) or "?"


def _wrong_json(output: str, case: Case) -> list[str]:
    def refuse(text: str) -> float:
        raise ValueError(text)

    try:
        said = json.loads(output, parse_constant=refuse)
    except ValueError as error:
        return [f"JSON that is none: {error}"]
    wrong = []
    for key, value in _numbers(said):
        if not math.isfinite(value):
            wrong.append(f"{key} is {value}")
    for prop in said.get("props", []) if str(said.get("format", "")).startswith("rigcheck-check/") else []:
        if not prop["cautions"]:
            wrong.append("no cautions")
        if prop["verdict"] == "pass":
            wrong += _absurd(case, prop)
    return wrong


def _numbers(value: Any, key: str = "") -> Iterator[tuple[str, float]]:
    if isinstance(value, dict):
        for name, one in value.items():
            yield from _numbers(one, f"{key}.{name}")
    elif isinstance(value, list):
        for one in value:
            yield from _numbers(one, key)
    elif isinstance(value, float):
        yield key, value


def _absurd(case: Case, prop: dict[str, Any]) -> list[str]:
    """Sizes of a file that nobody builds, of a prop that is called a pass."""
    import tomllib

    from rigcheck.units import QuantityError, parse_quantity

    if "rig.toml" not in case.files:
        return []
    try:
        file = tomllib.loads(case.files["rig.toml"].decode())
    except (ValueError, UnicodeDecodeError):
        return []
    dimensions = {"mass": ("mass", "kg"), "duration": ("time", "s"), "frame_rate": ("frame rate", "Hz")}
    mine = next((one for one in file.get("prop", []) if one.get("name") == prop["name"]), {})
    tables = [mine, *mine.get("support", []), *mine.get("move", []), file.get("camera", {})]
    wrong = []
    for table in tables:
        for key, (low, high) in _BUILT.items():
            text = table.get(key)
            if not isinstance(text, str):
                continue
            dimension, unit = dimensions.get(key, ("length", "m"))
            try:
                value = abs(parse_quantity(text, dimension, sign="any").m_as(unit))
            except (QuantityError, KeyError, ValueError):
                continue
            if not low <= value <= high:
                wrong.append(f"pass with {key} = {text}")
    if prop["verdict"] == "pass" and file.get("limits", {}).get("hazard") == "overhead":
        wrong.append("pass overhead")
    return wrong


def _main() -> None:
    reader = argparse.ArgumentParser(description="Run mutated files and flags, and report what goes wrong.")
    reader.add_argument("--first", type=int, default=1_000_000, help="number of the first case")
    reader.add_argument("--count", type=int, default=100_000, help="how many")
    reader.add_argument("--report", type=Path, help="file to write what is wrong to, as it comes")
    given = reader.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        wrong = run_many(everything(given.first, given.count), given.count, Path(folder), given.report)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    _main()
