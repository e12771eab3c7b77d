"""Counts how many mutants of the numeric rooms the tests kill; run by `.ci/mutants` in a copy of the tree.

mutmut makes the mutants and notes which test runs which function. A random sample meets the tests of the numeric
rooms first, in mutmut's own run. What survives meets, in a process of its own so that no cache hides it, every test
of `tests/evidence` and `tests/studies` that runs its function too. `equivalent_mutants.toml` beside this file holds
the survivors that no test can kill, each with its reason, keyed by function and changed line.
"""

from __future__ import annotations

import json
import math
import os
import random
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOMS = ("mechanics", "motion", "picture")
FIRST = (*(f"tests/{room}" for room in ROOMS), "tests/test_numeric_arguments.py")
SECOND = ("tests/evidence", "tests/studies")
STATS = Path("mutants/mutmut-stats.json")
EQUIVALENT = Path(__file__).with_name("equivalent_mutants.toml")
TIMEOUT_S = 300.0  # a mutant that does not end counts as killed: the suite would not end either
NOT_KILLED = (
    None,
    0,
    5,
    33,
)  # not run, survived, no tests; all others are failing tests, crashes and time-outs


@dataclass(frozen=True, kw_only=True)
class Change:
    """What a mutant changes: `module.function` or `module.Class.function`, and the line before and after."""

    function: str
    was: str
    becomes: str


def equivalents() -> dict[Change, str]:
    """The reason of each mutant that changes nothing a test could see."""
    entries = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8")).get("equivalent", [])
    return {
        Change(function=entry["function"], was=entry["was"], becomes=entry["becomes"]): entry["reason"]
        for entry in entries
    }


def change_of(name: str, diff: str) -> Change:
    """The change that mutmut's diff of a mutant shows."""
    module, _, mangled = name.rpartition(".")
    function = mangled.rpartition("__mutmut_")[0]
    plain = function.removeprefix("xǁ").replace("ǁ", ".") if function.startswith("xǁ") else function[2:]
    lines = [line for line in diff.splitlines() if not line.startswith(("---", "+++", "#"))]

    def side(mark: str) -> str:
        return "\n".join(line[1:].strip() for line in lines if line.startswith(mark))

    return Change(function=f"{module}.{plain}", was=side("-"), becomes=side("+"))


def interval(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a share of a random sample (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, 209)."""
    if of == 0:
        return 0.0, 1.0
    z = 1.959964
    share, weight = hits / of, z * z / of
    middle = (share + weight / 2) / (1 + weight)
    half = z / (1 + weight) * math.sqrt(share * (1 - share) / of + weight / (4 * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def _configure(project: str, tests: tuple[str, ...]) -> None:
    """Choose the tests that mutmut runs, in the copy's own settings; forget what other tests covered."""
    settings = {
        "source_paths": ["rigcheck"],
        "only_mutate": [f"rigcheck/{room}/*" for room in ROOMS],
        "also_copy": ["materials", "shared", "README.md", "DEVELOPERS.md", "LICENSE", ".ci"],
        "pytest_add_cli_args_test_selection": list(tests),
        "track_dependencies": False,
        "use_git_change_detection": False,
    }
    lines = [
        f"{key} = {json.dumps(value)}" for key, value in settings.items()
    ]  # JSON's lists and words are TOML's
    Path("pyproject.toml").write_text("\n".join([project, "[tool.mutmut]", *lines, ""]), encoding="utf-8")
    STATS.unlink(missing_ok=True)


def _mutmut(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["mutmut", *words], check=False, text=True, capture_output=words[0] != "run")


def _tests_of_functions() -> dict[str, list[str]]:
    """The tests that run each function, quickest first."""
    stats = json.loads(STATS.read_text(encoding="utf-8"))
    seconds = stats["duration_by_test"]
    return {
        function: sorted(tests, key=lambda test: (seconds.get(test, 0.0), test))
        for function, tests in stats["tests_by_mangled_function_name"].items()
    }


def _results() -> dict[str, int | None]:
    """mutmut's code of every mutant."""
    codes: dict[str, int | None] = {}
    for path in sorted(Path("mutants/rigcheck").rglob("*.meta")):
        codes |= json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return codes


def _is_killed(name: str, tests: list[str]) -> bool:
    """Run a mutant against tests in a process of its own."""
    if not tests:
        return False
    listed = Path("tests_of_mutant.txt").resolve()
    listed.write_text("\n".join(tests), encoding="utf-8")
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-x",
        "-q",
        "-p",
        "no:cacheprovider",
        "--rootdir=.",
        f"@{listed}",
    ]
    surroundings = {**os.environ, "MUTANT_UNDER_TEST": name, "PYTHONPATH": str(Path("mutants").resolve())}
    try:
        ended = subprocess.run(
            command, cwd="mutants", env=surroundings, check=False, capture_output=True, timeout=TIMEOUT_S
        )
    except subprocess.TimeoutExpired:
        return True
    return ended.returncode not in NOT_KILLED


def _share(label: str, hits: int, of: int) -> str:
    low, high = interval(hits, of)
    return f"{label}: {hits} of {of}, {hits / max(of, 1):.1%} (95 %: {low:.1%} to {high:.1%})"


def main(size: int = 400, seed: int = 1) -> None:
    """Take a sample, run it, print what survives and the share that is killed."""
    os.environ["PATH"] = f"{Path(sys.executable).parent}:{os.environ['PATH']}"
    project = Path("pyproject.toml").read_text(encoding="utf-8")

    _configure(project, FIRST)
    _mutmut("run", "--max-children", "1", "no such mutant: makes them all and notes what the tests run")
    names = sorted(_results())
    sample = sorted(random.Random(seed).sample(names, min(size, len(names))))
    print(f"{len(sample)} of {len(names)} mutants, seed {seed}", flush=True)
    _mutmut("run", "--max-children", "1", *sample)
    codes = _results()
    left = [name for name in sample if codes[name] in NOT_KILLED]
    first = _tests_of_functions()

    _configure(project, SECOND)
    _mutmut("run", "--max-children", "1", "no such mutant: notes what these tests run")
    second = _tests_of_functions()
    survivors = []
    for count, name in enumerate(left, 1):
        function = name.rpartition("__mutmut_")[0]
        killed = _is_killed(name, first.get(function, []) + second.get(function, []))
        print(f"{count} of {len(left)}: {'killed' if killed else 'survived'} {name}", flush=True)
        if not killed:
            survivors.append(name)

    reasons = equivalents()
    found = {name: change_of(name, _mutmut("show", name).stdout) for name in survivors}
    equivalent = [name for name in survivors if found[name] in reasons]
    for title, group in (
        ("Equivalent", equivalent),
        ("Survived", [n for n in survivors if n not in equivalent]),
    ):
        print(f"\n{title}: {len(group)}")
        for name in group:
            change = found[name]
            reason = reasons.get(change)
            print(
                f"  {name}\n    - {change.was}\n    + {change.becomes}"
                + (f"\n    {reason}" if reason else "")
            )
    killed_in_all = len(sample) - len(survivors)
    print("\n" + _share("Killed, of all", killed_in_all, len(sample)))
    print(_share("Killed, of all that are not equivalent", killed_in_all, len(sample) - len(equivalent)))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
