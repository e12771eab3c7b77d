"""Settings for every test: helpers in `support/` and beside the benchmarks are importable, property tests repeat the
same examples."""

import os
import sys
from pathlib import Path

from hypothesis import settings

# As the program sets it: threads of the linear algebra library get in each other's way on small matrices.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

sys.path[:0] = [str(Path(__file__).parent / folder) for folder in ("support", "benchmarks")]

# The same examples on every machine and no time limit for one of them, so that a failure is never luck.
settings.register_profile("rigcheck", derandomize=True, deadline=None, max_examples=25)
settings.load_profile("rigcheck")


def pytest_addoption(parser) -> None:
    """The command that writes the index of the evidence."""
    parser.addoption(
        "--write-evidence",
        action="store_true",
        help="write what tests/evidence found into the README and tests/evidence/README.md",
    )
