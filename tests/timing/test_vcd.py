"""The dump read back by an independent reader, and every machine cycle found again.

The reader is pyvcd's, which knows nothing of us.  As a logic analyser would, the test takes
the address where ALE falls and the byte where RD, WR or INTA rises, and tells the type of
cycle by the status lines (MCS-80/85 Family User's Manual, October 1979, machine cycle
chart; value from memory).
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from vcd.reader import TokenKind, tokenize

from emu85.bus.cycles import STATES, Cycle
from emu85.bus.lines import Line
from emu85.firmware.files import atomic_stream
from emu85.machine import Machine
from emu85.profile import Gathering
from emu85.timing.vcd import VcdWriter, identifier
from tests.timing.waves import light, moves, placer, slow

STATUS = {
    (0, 1, 1): Cycle.OF,
    (0, 1, 0): Cycle.MR,
    (0, 0, 1): Cycle.MW,
    (1, 1, 0): Cycle.IOR,
    (1, 0, 1): Cycle.IOW,
    (1, 1, 1): Cycle.INA,
}
"""IO/M, S1, S0."""


class Recovered(NamedTuple):
    """A machine cycle as it is seen on the pins."""

    type: int
    address: int
    data: int


def dump(machine: Machine) -> bytes:
    """The whole trace as a file."""
    stream = io.BytesIO()
    writer = VcdWriter(stream, placer("8085AH"), machine.board.name)
    writer.feed(machine.trace.all())
    writer.finish(machine.t)
    return stream.getvalue()


def recover(stream: io.BufferedIOBase) -> Iterator[Recovered]:
    """Machine cycles with a strobe, from the pins alone."""
    names: dict[str, str] = {}
    now: dict[str, object] = {}
    address = -1
    for token in tokenize(stream):
        if token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
            continue
        if token.kind is TokenKind.CHANGE_VECTOR:
            now[names[token.vector_change.id_code]] = token.vector_change.value
            continue
        if token.kind is not TokenKind.CHANGE_SCALAR:
            continue
        name, value = names[token.scalar_change.id_code], token.scalar_change.value
        before, now[name] = now.get(name), value
        if name == "ALE" and (before, value) == ("1", "0"):
            assert isinstance(now["A"], int) and isinstance(now["AD"], int)
            address = now["A"] << 8 | now["AD"]
        elif name in ("RD_n", "WR_n", "INTA_n") and (before, value) == ("0", "1"):
            io_m, s1, s0 = (int(str(now[pin])) for pin in ("IO_M", "S1", "S0"))
            data = now["AD"]
            assert isinstance(data, int)
            yield Recovered(STATUS[io_m, s1, s0], address, data)


def wanted(records: NDArray[np.void]) -> list[Recovered]:
    """What the trace says of the cycles that have a strobe and are the CPU's own."""
    silent = [int(one) for one in (*STATES, Cycle.BI)]
    own = ~np.isin(records["type"], silent) & (records["lines"] & int(Line.HLDA) == 0)
    columns = (records[own][name].tolist() for name in Recovered._fields)
    return list(map(Recovered, *columns))


@pytest.mark.parametrize("machine", [light(), slow(0), slow(3)], ids=["light", "0", "3"])
def test_every_machine_cycle_is_recovered(machine: Machine) -> None:
    found = list(recover(io.BytesIO(dump(machine))))
    assert found == wanted(machine.trace.all())
    assert len(found) > 50


def test_a_long_run(tmp_path: Path) -> None:
    """Written while the board runs, with a ring that holds a small part of it."""
    run_and_recover(tmp_path, 50_000)


@pytest.mark.skipif("EMU85_LONG" not in os.environ, reason="EMU85_LONG=1: takes minutes")
def test_a_million_machine_cycles(tmp_path: Path) -> None:
    run_and_recover(tmp_path, 1_000_000)


def run_and_recover(tmp_path: Path, cycles: int) -> None:
    """So many cycles with a strobe and some more, each found again in the file."""
    machine = Machine.from_board("saltmarsh", trace=4_000)
    firmware = machine.board.firmware
    assert firmware is not None
    machine.load(firmware)

    class Keep:
        def __init__(self) -> None:
            self.cycles: list[Recovered] = []

        def feed(self, records: NDArray[np.void]) -> None:
            self.cycles += wanted(records)

    kept = Keep()
    file = tmp_path / "long.vcd"
    with atomic_stream(file) as stream:
        writer = VcdWriter(stream, placer("8085AH"), "saltmarsh")
        with Gathering(machine, kept, writer) as gathering:
            machine.run(t_states=int(3.7 * cycles))
        writer.finish(machine.t)
    assert gathering.complete
    assert len(kept.cycles) > cycles
    with file.open("rb") as stream:
        for number, found in enumerate(recover(stream)):
            if found != kept.cycles[number]:
                raise AssertionError(f"cycle {number}: {found}, not {kept.cycles[number]}")
    assert number + 1 == len(kept.cycles)


def test_the_changes_are_those_of_the_waveform() -> None:
    """Each value at each moment, held against the stream of changes that drawings use."""
    machine = light()
    names: dict[str, str] = {}
    seen: dict[str, list[tuple[int, object]]] = {}
    ps = -1
    for token in tokenize(io.BytesIO(dump(machine))):
        if token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
        elif token.kind is TokenKind.CHANGE_TIME:
            assert token.time_change >= ps
            ps = token.time_change
        elif token.kind in (TokenKind.CHANGE_SCALAR, TokenKind.CHANGE_VECTOR):
            is_scalar = token.kind is TokenKind.CHANGE_SCALAR
            code, value = token.scalar_change if is_scalar else token.vector_change
            history = seen.setdefault(names[code], [])
            level = int(value) if value in ("0", "1") else value
            if not history or history[-1][1] != level:
                history.append((ps, level))
    for pin in {change.pin for change in moves(machine, placer("8085AH"))}:
        expected = [
            (one.ps, one.level if isinstance(one.level, int) else "z" if one.level is None else "x")
            for one in moves(machine, placer("8085AH"))
            if one.pin == pin
        ]
        found = [(at, value) for at, value in seen[identifier(pin)][1:]]  # all begin unknown
        if expected[0][1] == "x":
            expected = expected[1:]
        assert found == expected, pin


def test_cycle_types_stand_as_letters() -> None:
    machine = light()
    codes: dict[str, str] = {}
    types = []
    for token in tokenize(io.BytesIO(dump(machine))):
        if token.kind is TokenKind.VAR:
            codes[token.var.reference] = token.var.id_code
        elif (
            token.kind is TokenKind.CHANGE_VECTOR and token.vector_change.id_code == codes["cycle"]
        ):
            value = token.vector_change.value
            if isinstance(value, int):
                types.append(value.to_bytes(5, "big").decode().strip())
    assert types == [Cycle(int(one)).name for one in machine.trace.all()["type"]]


def test_the_same_run_gives_the_same_file() -> None:
    assert dump(light()) == dump(light())


def test_a_file_given_up_leaves_what_was_there(tmp_path: Path) -> None:
    file = tmp_path / "a.vcd"
    file.write_text("before")
    with pytest.raises(KeyboardInterrupt), atomic_stream(file) as stream:
        stream.write(b"half")
        raise KeyboardInterrupt
    assert file.read_text() == "before"
    assert list(tmp_path.iterdir()) == [file]
