"""Words that depend on a number."""

from __future__ import annotations


def counted(count: int, thing: str) -> str:
    """``1 stop``, ``2 stops``: a count of things whose plural takes an s."""
    return f"{count} {thing}{'' if count == 1 else 's'}"


def cut(text: str, width: int) -> str:
    """The text, its end left out if it is wider than ``width``, and a mark in its place."""
    return text if len(text) <= width else f"{text[: width - 1]}…"
