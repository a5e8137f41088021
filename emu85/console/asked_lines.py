"""Lines entered at a prompt of one's own, on a terminal or from a pipe."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator

from emu85.console.kept_terminal import terminal_kept


def asked_lines(prompt: str) -> Iterator[str]:
    """What is entered, line after line, until its end (Ctrl-D on a terminal).

    Ctrl-C gives up the line that is being entered.  What comes from a pipe is shown
    behind the prompt, so that the output reads as it would on a terminal.
    """
    if sys.stdin.isatty() and sys.stdout.isatty():
        with terminal_kept():
            yield from _at_terminal(prompt)
        return
    for line in sys.stdin:
        text = line.rstrip("\r\n")
        print(f"{prompt}{text}")
        yield text


def _at_terminal(prompt: str) -> Iterator[str]:
    from prompt_toolkit import PromptSession

    session: PromptSession[str] = PromptSession()
    while True:
        with contextlib.suppress(KeyboardInterrupt):
            try:
                line = session.prompt(prompt)
            except EOFError:
                return
            yield line
