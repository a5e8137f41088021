"""Where the compiled loop is kept, and that nothing depends on its being kept."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest
from numpy.typing import NDArray

from emu85.cpu import compiler
from emu85.cpu.machine_code import Code

START = """
from emu85.cpu import compiler
from emu85.cpu.machine_code import Code
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
import sys
print("numba" in sys.modules)
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
        return done.stdout.split("\n")[:5]

    first, second = start(), start()
    assert Path(first[0]).is_relative_to(tmp_path)
    assert first[1:] == ["False", "True", "7", "True"]
    assert second == [first[0], "True", "True", "7", "False"]


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
    assert _sum_compiled() == 42
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert _sum_compiled() == 42
    assert not list(tmp_path.rglob("*.code"))


def test_kept_code_that_is_damaged_is_compiled_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    assert _sum_compiled() == 42
    (kept,) = tmp_path.rglob("*.code")
    whole = kept.read_bytes()
    for damaged in (b"", b"{}\n", whole[:-1], whole[:40], whole[:-9] + b"?" + whole[-8:]):
        kept.write_bytes(damaged)
        assert _sum_compiled() == 42
        assert Code.from_bytes(kept.read_bytes()).arguments == [("int64", 1), ("int16", 2)]


def test_arrays_of_other_kinds_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    function = compiler.compiled.__wrapped__(__name__, "weighed")
    numbers, table = np.arange(8), np.ones((2, 4), np.int16)
    assert function(numbers, table) == sum(range(8))
    for others in (
        (numbers.astype(np.int32), table),
        (numbers.astype(np.float64), table),
        (numbers[::2], table),
        (numbers, table.T),
        (numbers, table[0]),
        (numbers,),
    ):
        with pytest.raises(TypeError, match="takes"):
            function(*others)


def test_bound_arrays_are_held_and_seen_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EMU85_CACHE", str(tmp_path))
    function = compiler.compiled.__wrapped__(__name__, "weighed")
    numbers = np.zeros(1000, np.int64)
    call = function.bound(numbers, np.full((10, 100), 3, np.int16))
    gc.collect()
    others = [np.full((10, 100), 99, np.int16) for _ in range(100)]
    numbers[:] = 5
    assert call() == 5 * 3 * 1000
    numbers[999] = -5
    assert call() == 5 * 3 * 998
    assert len(others) == 100


def weighed(numbers: NDArray[np.int64], weights: NDArray[np.int16]) -> int:
    """What the tests compile: a sum of products."""
    total = 0
    for row in range(weights.shape[0]):
        for column in range(weights.shape[1]):
            total += numbers[row * weights.shape[1] + column] * weights[row, column]
    return total


SIGNATURE = numba.int64(numba.int64[::1], numba.int16[:, ::1])


def _sum_compiled() -> int:
    function = compiler.compiled.__wrapped__(__name__, "weighed")
    return function(np.array([20, 2]), np.array([[2, 1]], np.int16))
