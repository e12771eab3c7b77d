"""Starting point of the command ``rigcheck`` and of ``python -m rigcheck``."""

from __future__ import annotations

import gc
import os

__all__ = ["main"]


def main() -> None:
    """Run the command line."""
    # A check lives for half a second and makes little garbage; collecting it would take a tenth of that. The
    # matrices are small, so threads of the linear algebra library only get in each other's way. Plug-ins of pydantic
    # would be looked for among all installed packages, and none is wanted.
    gc.set_threshold(200_000, 20, 20)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    from rigcheck.cli import run

    try:
        run()
    finally:
        # Nothing is left to collect but the modules themselves, and the process ends.
        gc.freeze()


if __name__ == "__main__":
    main()
