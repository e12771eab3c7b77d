"""The list of equivalent mutants speaks of lines that stand in the code, and gives a reason for each."""

from __future__ import annotations

import importlib
import inspect

import mutants


def test_every_equivalent_mutant_changes_a_line_of_its_function() -> None:
    for change, reason in mutants.equivalents().items():
        parts = change.function.split(".")
        thing = importlib.import_module(".".join(parts[:3]))
        for name in parts[3:]:
            thing = getattr(thing, name)
        source = "\n".join(line.strip() for line in inspect.getsource(thing).splitlines())
        assert change.was in source, f"{change.function} has no line {change.was!r} any more"
        assert change.becomes != change.was
        assert len(reason.split()) >= 4, f"{change.function}: {reason!r} is no reason"


def test_a_change_is_read_from_what_mutmut_shows() -> None:
    diff = (
        "# rigcheck.motion.shock.x_worst_case__mutmut_3: survived\n--- rigcheck/motion/shock.py\n"
        "+++ rigcheck/motion/shock.py\n@@ -1,3 +1,3 @@\n def worst_case():\n-    least = 1\n+    least = 2\n"
    )
    expected = mutants.Change(
        function="rigcheck.motion.shock.worst_case", was="least = 1", becomes="least = 2"
    )
    assert mutants.change_of("rigcheck.motion.shock.x_worst_case__mutmut_3", diff) == expected
    method = mutants.change_of("rigcheck.motion.profiles.xǁProfileǁ_peak__mutmut_3", diff)
    assert method.function == "rigcheck.motion.profiles.Profile._peak"


def test_interval_of_a_share() -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3: 81 of 263 gives 0.2553 to 0.3662 (from
    memory)."""
    low, high = mutants.interval(81, 263)
    assert round(low, 4) == 0.2553
    assert round(high, 4) == 0.3662
    assert mutants.interval(0, 0) == (0.0, 1.0)
