"""What holds for every device on the shelf, whatever it does."""

from __future__ import annotations

import re
import sys

import pytest

from emu85.board import Device, registry, schema

DEVICES = registry.devices()
PIN = re.compile(r"[a-z][a-z0-9_]*")


@pytest.mark.parametrize("kind", DEVICES)
def test_pins_are_declared_once_and_well(kind: str) -> None:
    device = DEVICES[kind]
    sources, sinks = device.sources(), device.sinks()
    assert all(PIN.fullmatch(pin) for pin in (*sources, *sinks))
    assert all((*sources.values(), *sinks.values())), "every pin says what it is"
    assert device.open_collector <= set(sources)
    assert not set(device.clock_inputs) & set(device.frame_inputs)
    if device.serial_pins:
        takes, sends = device.serial_pins
        assert takes in device.frame_inputs and sends in device.frame_outputs


@pytest.mark.parametrize("kind", DEVICES)
def test_keys_do_not_clash(kind: str) -> None:
    device = DEVICES[kind]
    placing = schema.PORT if device.registers else schema.WIRED
    names = [key.name for key in (*placing, *device.options, *schema.added(device))]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("kind", DEVICES)
def test_memory_in_the_package(kind: str) -> None:
    part = DEVICES[kind].memory_part
    assert part is None or (part.kind in ("rom", "ram") and 0 < part.size <= 0x10000)


@pytest.mark.parametrize("kind", DEVICES)
def test_it_says_what_it_is(kind: str) -> None:
    device = DEVICES[kind]
    assert device.about and device.about == device.about.strip()
    assert len(sys.modules[device.__module__].__doc__ or "") > 80


def test_the_base_has_no_pins() -> None:
    assert Device.sources() == Device.sinks() == {}
