"""A register whose reads a device is told of only while it asks for that."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from emu85.board import Device, Read, Register, registry
from emu85.firmware import assemble
from emu85.machine import Machine


class Watcher(Device):
    """Register 0 shows 10H; while bit 0 of register 1 is set, reads count up to 13H, then stop."""

    kind = "watcher"
    registers = (
        Register("seen", "watched", Read.WATCHED),
        Register("asks", "bit 0: watch", written=True),
    )
    told = 0

    def power(self) -> None:
        self.told = 0
        self.site.publish(0, 0x10)

    def read(self, register: int) -> int:
        self.told += 1
        self.site.publish(0, 0x20)
        if self.told == 3:
            self.site.watch_reads(0, False)
        return 0x10 + self.told

    def write(self, register: int, value: int) -> None:
        self.site.watch_reads(0, bool(value & 1))


@pytest.fixture(autouse=True)
def plugged() -> Iterator[None]:
    known = registry.devices()
    known[Watcher.kind] = Watcher
    yield
    del known[Watcher.kind]


def kept(firmware: str, count: int, ports: str) -> tuple[list[int], int]:
    """Bytes that firmware keeps from 8000 on, and how many reads the device was told of."""
    machine = Machine.from_text(
        "name: bench\ncrystal: 4 MHz\nmemory:\n  - {rom: 2K, at: 0000}\n  - {ram: 1K, at: 8000}\n"
        f"ports:\n  - {{device: watcher, at: 20-21}}\n{ports}"
    )
    text = "KEEP MACRO\n IN 20H\n MOV M, A\n INX H\n ENDM\n LXI H, 8000H\n" + firmware + " HLT\n"
    machine.load(assemble(text, "watch.asm").image)
    machine.run(seconds=0.01)
    device = machine.board.devices["watcher"]
    assert isinstance(device, Watcher)
    return list(machine.memory[0x8000 : 0x8000 + count]), device.told


def test_reads_are_told_while_the_device_asks() -> None:
    firmware = (
        " KEEP\n KEEP\n MVI A, 1\n OUT 21H\n KEEP\n KEEP\n MVI A, 0\n OUT 21H\n KEEP\n KEEP\n"
    )
    assert kept(firmware, 6, "") == ([0x10, 0x10, 0x11, 0x12, 0x20, 0x20], 2)


def test_the_read_in_which_the_device_stops_asking_is_its_own() -> None:
    """And what it answered is for that read alone."""
    firmware = " MVI A, 1\n OUT 21H\n" + " KEEP\n" * 5 + " IN 21H\n MOV M, A\n"
    assert kept(firmware, 6, "") == ([0x11, 0x12, 0x13, 0x20, 0x20, 0xFF], 3)


def test_a_power_cycle_ends_it() -> None:
    machine = Machine.from_text(
        "name: bench\ncrystal: 4 MHz\nmemory:\n  - {rom: 2K, at: 0000}\n"
        "ports:\n  - {device: watcher, at: 20-21}\n"
    )
    machine.load(assemble(" MVI A, 1\n OUT 21H\n IN 20H\n HLT\n", "a.asm").image)
    machine.run(seconds=0.01)
    machine.load(assemble(" IN 20H\n HLT\n", "b.asm").image)
    machine.power()
    machine.run(seconds=0.01)
    device = machine.board.devices["watcher"]
    assert isinstance(device, Watcher)
    assert (machine.registers.a, device.told) == (0x10, 0)


def test_where_two_chips_answer_it_is_told_always() -> None:
    switches = "  - {device: switches, at: 20, value: F1, shared: yes}\n"
    assert kept(" KEEP\n KEEP\n", 2, switches) == ([0x11 & 0xF1, 0x12 & 0xF1], 2)
