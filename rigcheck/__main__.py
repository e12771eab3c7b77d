"""Starting point of the command ``rigcheck`` and of ``python -m rigcheck``."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the command line."""
    from rigcheck.cli import run

    run()


if __name__ == "__main__":
    main()
