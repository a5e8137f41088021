"""The guide's examples are run as they stand on the page."""

import importlib
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from emu85.board import chips, registry
from emu85.board.schema import schema_text
from emu85.bus.cycles import Cycle
from emu85.bus.lines import Line
from emu85.errors import UserError
from emu85.firmware import assemble
from emu85.isa import INSTRUCTIONS
from emu85.machine import Machine
from tests.tour import fences, file_name

GUIDE = Path(__file__).resolve().parent.parent / "DEVELOPERS.md"
TEXT = GUIDE.read_text(encoding="utf-8")
FILES = {name: f.body for f in fences(TEXT) if (name := file_name(f))}
_LIMIT = 3072
"""1 ms at 3.072 MHz in T-states."""


def _as_package(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What installing a package from the page's two files leaves on the path."""
    project = tomllib.loads(FILES["pyproject.toml"])["project"]
    entries = project["entry-points"]["emu85.devices"]
    installed = folder / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
    installed.mkdir()
    (installed / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
    )
    lines = "".join(f"{name} = {place}\n" for name, place in entries.items())
    (installed / "entry_points.txt").write_text(f"[emu85.devices]\n{lines}")
    (folder / "watchdog.py").write_text(FILES["watchdog.py"])
    monkeypatch.syspath_prepend(folder)


def test_the_package_names_its_only_module() -> None:
    """Else an installer refuses a folder with any other Python file in it."""
    project = tomllib.loads(FILES["pyproject.toml"])
    (place,) = project["project"]["entry-points"]["emu85.devices"].values()
    assert project["tool"]["setuptools"]["py-modules"] == [place.split(":")[0]]


def _as_chip(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file as if it lay in the folder of our own devices."""
    (folder / "watchdog.py").write_text(FILES["watchdog.py"])
    monkeypatch.setattr(chips, "__path__", [*chips.__path__, str(folder)])


@pytest.fixture(params=[_as_package, _as_chip])
def kennel(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Machine]:
    """The page's board with the page's device and firmware."""
    request.param(tmp_path, monkeypatch)
    importlib.invalidate_caches()
    registry.devices.cache_clear()
    machine = Machine.from_text(FILES["kennel.yaml"], file="kennel.yaml")
    machine.load(assemble(FILES["kennel.asm"], "kennel.asm").image)
    yield machine
    for name in ("watchdog", f"{chips.__name__}.watchdog"):
        sys.modules.pop(name, None)
    monkeypatch.undo()
    registry.devices.cache_clear()


def _kicks(records: np.ndarray) -> np.ndarray:
    """Ends of the writes to port 30, in T-states."""
    there = (records["type"] == Cycle.IOW) & (records["address"] == 0x3030)
    ends: np.ndarray = records["t"][there] + 3
    return ends


def test_the_device_complains_in_time_and_no_sooner(kennel: Machine) -> None:
    kennel.run(t_states=4000)
    records = kennel.trace.all()
    kicks = _kicks(records)
    assert len(kicks) == 6  # five by the program, one by the TRAP routine
    high = np.flatnonzero(records["lines"] & Line.TRAP)
    assert records["t"][high[0] - 1] <= kicks[4] + _LIMIT < records["t"][high[0]]
    assert np.all(records["t"][high] <= kicks[5])


def test_trap_takes_the_firmware_to_its_routine(kennel: Machine) -> None:
    kennel.stops.add("on OF at 0024")
    kennel.run(seconds=0.01)
    kinds = [Cycle(int(kind)) for kind in kennel.trace.last(4)["type"]]
    assert kinds == [Cycle.BI, Cycle.MW, Cycle.MW, Cycle.OF]
    assert kennel.registers.sp == 0x87FE


def test_the_count_can_be_read_and_the_hand_can_bark(kennel: Machine) -> None:
    kennel.run(t_states=4000)
    dog = kennel.board.devices["dog"]
    assert (kennel.board.peek(0x10030), dog.state()) == (1, "late 1 times")
    kennel.board.adjust("dog", "bark")
    assert kennel.board.peek(0x10030) == 2
    kennel.power()
    assert kennel.board.peek(0x10030) == 0


def test_power_begins_the_wait_anew(kennel: Machine) -> None:
    kennel.run(t_states=4000)
    first = kennel.trace.all().copy()
    kennel.power()
    kennel.run(t_states=4000)
    assert np.array_equal(first, kennel.trace.all())


def test_the_schema_prints_the_device(kennel: Machine) -> None:
    assert "a timer that complains when nobody writes to it" in schema_text()


def test_a_wrong_limit_is_told_with_its_line(kennel: Machine) -> None:
    text = FILES["kennel.yaml"].replace("limit: 1 ms", "limit: soon")
    line = text.splitlines().index("    limit: soon") + 1
    with pytest.raises(UserError, match="soon") as refused:
        Machine.from_text(text, file="kennel.yaml")
    assert refused.value.place.line == line


def test_the_list_of_choices_is_complete() -> None:
    printed = subprocess.run(
        [sys.executable, "-c", FILES["choices.py"]],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    ).stdout.splitlines()
    choices = {one.choice for one in INSTRUCTIONS} - {""}
    assert {line.partition(": ")[2] for line in printed} == choices


def test_every_file_that_the_guide_names_is_there() -> None:
    root = GUIDE.parent
    named = set(re.findall(r"`([\w./]+\.py|[\w.]+/[\w./]*)`", TEXT))
    assert len(named) > 20
    known = {*FILES, "chips/"}
    missing = {
        n for n in named - known if not any((b / n).exists() for b in (root, root / "emu85"))
    }
    assert not missing
