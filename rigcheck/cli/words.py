"""Words of the user in messages."""

from __future__ import annotations

__all__ = ["plain"]


def plain(text: str) -> str:
    """The text without characters that would steer a terminal."""
    return "".join(
        letter if letter.isprintable() or letter == "\n" else "\N{REPLACEMENT CHARACTER}" for letter in text
    )
