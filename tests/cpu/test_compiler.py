"""Where the compiled loop is kept, and that nothing depends on its being kept."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from emu85.cpu import compiler, core

START = """
from emu85.cpu import compiler
print(compiler.cache_folder())
print(compiler.is_compiled())
loop = compiler.compiled_loop()
print(compiler.is_compiled())
from emu85.machine import Machine
machine = Machine.from_text('''
name: bare
crystal: 2 MHz
memory:
  - {ram: 64K, at: 0000-FFFF}
''')
print(machine.run(t_states=4).t)
"""


def test_the_first_start_compiles_and_the_next_one_finds_it(tmp_path: Path) -> None:
    environment = {**os.environ, "EMU85_CACHE": str(tmp_path)}
    root = Path(compiler.__file__).resolve().parents[2]

    def start() -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", START],
            env={**environment, "PYTHONPATH": str(root)},
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout.split("\n")[:4]

    first, second = start(), start()
    assert Path(first[0]).is_relative_to(tmp_path)
    assert first[1:] == ["False", "True", "7"]
    assert second == [first[0], "True", "True", "7"]


def test_the_folder_is_named_after_the_sources(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EMU85_CACHE", "/somewhere")
    monkeypatch.setenv("XDG_CACHE_HOME", "/elsewhere")
    assert compiler.cache_folder().parent == Path("/somewhere/emu85")
    monkeypatch.delenv("EMU85_CACHE")
    assert compiler.cache_folder().parent == Path("/elsewhere/emu85")
    monkeypatch.delenv("XDG_CACHE_HOME")
    assert compiler.cache_folder().parent == Path.home() / ".cache" / "emu85"


def test_nothing_is_compiled_in_an_empty_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    assert not compiler.is_compiled()


def test_a_folder_that_cannot_be_made_or_written_is_done_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path / "file"))
    asked: list[dict[str, object]] = []

    entry = SimpleNamespace(entry_point=len)
    compiled = SimpleNamespace(signatures=[0], overloads={0: entry})

    def njit(_: object, **options: object) -> object:
        asked.append(options)

        def compile_it(function: object) -> object:
            assert function is core.run
            return compiled

        return compile_it

    monkeypatch.setattr("numba.njit", njit)
    assert compiler.compiled_loop.__wrapped__() is len
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert compiler.compiled_loop.__wrapped__() is len
    monkeypatch.undo()
    assert [options["cache"] for options in asked] == [False, False]
