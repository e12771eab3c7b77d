"""Counts how many mutants of the numeric rooms the tests kill; run by `.ci/mutants` in a copy of the tree.

mutmut makes the mutants and notes which test runs which function. Each mutant of a random sample then meets the
tests that run its function, those of the rooms before `tests/evidence` and `tests/studies` and the quickest first. It
does so in a child of a pytest session that has collected all tests and run none, so that no cache hides a mutant.
`equivalent_mutants.toml` beside this file holds the survivors that no test can kill, each with its reason, keyed by
function and changed line.
"""

from __future__ import annotations

import json
import math
import os
import random
import resource
import subprocess
import sys
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOMS = ("mechanics", "motion", "picture")
FIRST = (*(f"tests/{room}" for room in ROOMS), "tests/test_numeric_arguments.py")
SECOND = ("tests/evidence", "tests/studies")
EQUIVALENT = Path(__file__).with_name("equivalent_mutants.toml")
GIVE_UP_AFTER = 4.0  # times what its tests take, and 30 s: a suite that does not end does not pass
KILLED, SURVIVED = 1, 0  # how a mutant's process ends; a crash or a time-out is killed too


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


def _make_mutants() -> None:
    """Let mutmut make all mutants and note the tests that run each function, by settings in the copy's own file."""
    settings = {
        "source_paths": ["rigcheck"],
        "only_mutate": [f"rigcheck/{room}/*" for room in ROOMS],
        "also_copy": ["materials", "shared", "README.md", "DEVELOPERS.md", "LICENSE", ".ci"],
        "pytest_add_cli_args_test_selection": [*FIRST, *SECOND],
        "track_dependencies": False,
        "use_git_change_detection": False,
    }
    lines = [
        f"{key} = {json.dumps(value)}" for key, value in settings.items()
    ]  # JSON's lists and words are TOML's
    with Path("pyproject.toml").open("a", encoding="utf-8") as project:
        project.write("\n".join(["", "[tool.mutmut]", *lines, ""]))
    # It makes and notes before it finds that there is no mutant of this name to run.
    subprocess.run(["mutmut", "run", "--max-children", "1", "no.such.mutant"], check=False)


def _tests_of_functions(stats: dict[str, Any]) -> dict[str, list[str]]:
    """The tests that run each function, those of the rooms first, the quickest first."""

    def order(test: str) -> tuple[bool, float, str]:
        return test.startswith(SECOND), stats["duration_by_test"].get(test, 0.0), test

    return {
        function: sorted(tests, key=order)
        for function, tests in stats["tests_by_mangled_function_name"].items()
    }


def _names() -> list[str]:
    """Every mutant."""
    names: list[str] = []
    for path in Path("mutants/rigcheck").rglob("*.meta"):
        names += json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return sorted(names)


class _Mutation:
    """A plugin for pytest that runs the collected tests against each mutant of a sample, and not by themselves."""

    def __init__(self, sample: list[str], stats: dict[str, Any]) -> None:
        self.sample, self.seconds = sample, stats["duration_by_test"]
        self.of_function = _tests_of_functions(stats)
        self.survivors: list[str] = []
        self.shown = os.fdopen(os.dup(1), "w", buffering=1)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """End a mutant's process with the first test that fails."""
        if report.failed:
            os._exit(KILLED)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Run one mutant after the other."""
        items = {item.nodeid: item for item in session.items}
        if not self._survives("no mutant", session.items):
            raise pytest.UsageError("tests fail without a mutant")
        begin = time.monotonic()
        for count, name in enumerate(self.sample, 1):
            function = name.rpartition("__mutmut_")[0]
            tests = [items[test] for test in self.of_function.get(function, []) if test in items]
            survives = self._survives(name, tests)
            if survives:
                self.survivors.append(name)
            left = (time.monotonic() - begin) / count * (len(self.sample) - count) / 60
            said = "survived" if survives else "killed"
            print(f"{count} of {len(self.sample)}, {left:.0f} min to go: {said} {name}", file=self.shown)
        return True

    def _survives(self, name: str, tests: list[pytest.Item]) -> bool:
        child = os.fork()
        if not child:
            code = KILLED
            try:
                os.environ["MUTANT_UNDER_TEST"] = name
                limit = int(30 + GIVE_UP_AFTER * sum(self.seconds.get(test.nodeid, 0.0) for test in tests))
                resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 1))
                for test, following in zip(tests, [*tests[1:], None], strict=False):
                    test.config.hook.pytest_runtest_protocol(item=test, nextitem=following)
                code = SURVIVED
            finally:
                os._exit(code)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == SURVIVED


def _survivors(sample: list[str]) -> list[str]:
    """Run a sample in the tree of mutants."""
    mutation = _Mutation(sample, json.loads(Path("mutants/mutmut-stats.json").read_text(encoding="utf-8")))
    stdout, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    os.chdir("mutants")
    sys.path.insert(0, str(Path.cwd()))
    os.environ |= {"MUTANT_UNDER_TEST": "", "PYTHONPATH": str(Path.cwd())}
    os.dup2(nowhere, 1)  # what pytest says of tests that fail on purpose
    try:
        ended = pytest.main(
            ["-q", "-p", "no:cacheprovider", "--rootdir=.", *FIRST, *SECOND], plugins=[mutation]
        )
    finally:
        os.dup2(stdout, 1)
        os.chdir("..")
    if ended != pytest.ExitCode.OK:
        raise SystemExit("No mutant was run: the tests fail without one.")
    return mutation.survivors


def _share(label: str, hits: int, of: int) -> str:
    low, high = interval(hits, of)
    return f"{label}: {hits} of {of}, {hits / max(of, 1):.1%} (95 %: {low:.1%} to {high:.1%})"


def main(size: int = 400, seed: int = 1) -> None:
    """Take a sample, run it, print what survives and the share that is killed."""
    os.environ["PATH"] = f"{Path(sys.executable).parent}:{os.environ['PATH']}"
    _make_mutants()
    names = _names()
    sample = random.Random(seed).sample(names, min(size, len(names)))
    print(f"{len(sample)} of {len(names)} mutants, seed {seed}", flush=True)
    survivors = _survivors(sample)

    reasons = equivalents()
    found = {}
    for name in survivors:
        shown = subprocess.run(["mutmut", "show", name], check=True, text=True, capture_output=True)
        found[name] = change_of(name, shown.stdout)
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
    killed = len(sample) - len(survivors)
    print("\n" + _share("Killed, of all", killed, len(sample)))
    print(_share("Killed, of all that are not equivalent", killed, len(sample) - len(equivalent)))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
