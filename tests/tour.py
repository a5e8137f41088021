"""The README's tour, replayed: its files are written, its commands run, its output compared.

A fence whose line ends in a file name (``yaml tide.yaml``) is a file; a fence
``console replayed`` holds commands after ``$ `` with what they print.  After a
change that is meant, ``python -m tests.tour`` puts the new output in the README.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

README = Path(__file__).resolve().parent.parent / "README.md"
_FENCE = re.compile(r"^```(?P<info>[^\n`]+)\n(?P<body>.*?)^```$", re.M | re.S)
_FILE = re.compile(r"\w+ (?P<name>[\w-]+\.\w+)")
_REPLAYED = "console replayed"
_CI_MARKS = ("CI", "BUILD_NUMBER")
_TIME = re.compile(r"\bin (\d+ ms|\d+\.\d\ds)(?!\w)")


class Fence(NamedTuple):
    """A fenced block: the words after its backticks, its text, and where that stands."""

    info: str
    body: str
    start: int
    end: int


def fences(text: str) -> Iterator[Fence]:
    """The fenced blocks of a Markdown text, in order."""
    for found in _FENCE.finditer(text):
        yield Fence(found["info"].strip(), found["body"], *found.span("body"))


def file_name(fence: Fence) -> str | None:
    """The name of the file that a fence holds."""
    found = _FILE.fullmatch(fence.info)
    return found["name"] if found else None


def without_times(text: str) -> str:
    """The text without what differs from run to run: how long a query or a test run took."""
    return _TIME.sub("in N ms", text)


def commands(body: str) -> list[str]:
    """The command lines of a replayed fence."""
    return [line[2:] for line in body.splitlines() if line.startswith("$ ")]


def replay(text: str, folder: Path) -> str:
    """``text`` with the output that its commands give now.

    Args:
        folder: an empty folder for the tour's files.
    """
    environment = _environment(folder)
    parts, done = [], 0
    for fence in fences(text):
        name = file_name(fence)
        if name:
            (folder / name).write_text(fence.body, encoding="utf-8")
        if fence.info != _REPLAYED:
            continue
        shown = "".join(
            f"$ {command}\n{_run(command, folder, environment)}" for command in commands(fence.body)
        )
        parts += [text[done : fence.start], shown]
        done = fence.end
    return "".join([*parts, text[done:]])


def _environment(folder: Path) -> dict[str, str]:
    """Commands ``emu85`` and ``python`` that are those of this interpreter and these sources.

    Of pytest's plugins only emu85's own is loaded, by its name: an installed one may be
    of other sources.  The variables by which pytest knows a CI machine, where it cuts no
    line to the terminal's width, are left out: the output is the same everywhere.
    """
    programs = folder / ".programs"
    programs.mkdir()
    for name, arguments in (("python", ""), ("emu85", "-m emu85")):
        program = programs / name
        program.write_text(f'#!/bin/sh\nexec "{sys.executable}" {arguments} "$@"\n')
        program.chmod(0o755)
    path = os.pathsep.join((str(programs), os.environ.get("PATH", os.defpath)))
    sources = os.pathsep.join((str(README.parent), os.environ.get("PYTHONPATH", "")))
    plugins = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "PYTEST_PLUGINS": "emu85.testing.plugin"}
    inherited = {name: value for name, value in os.environ.items() if name not in _CI_MARKS}
    return {**inherited, **plugins, "PATH": path, "PYTHONPATH": sources, "COLUMNS": "80"}


def _run(command: str, folder: Path, environment: dict[str, str]) -> str:
    done = subprocess.run(
        ["/bin/sh", "-c", command],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
        cwd=folder,
        env=environment,
    )
    lines = (line.rstrip() for line in done.stdout.splitlines())
    return "".join(f"{line}\n" for line in lines)


def main() -> None:
    """Put what the commands print now in the README."""
    from emu85.firmware import atomic_write

    text = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        atomic_write(README, replay(text, Path(folder)))


if __name__ == "__main__":
    main()
