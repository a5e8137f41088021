"""The devices a board file can name.

Our own are the modules of ``emu85.board.chips``; other packages add theirs
through the entry point group ``emu85.devices``, each entry a :class:`Device`
subclass.
"""

from __future__ import annotations

import functools
import importlib
import pkgutil
import re
from importlib.metadata import entry_points

from emu85.board import chips
from emu85.board.device import Device
from emu85.errors import UserError, nearest

GROUP = "emu85.devices"

RELATIVES: dict[str, str] = {
    **dict.fromkeys(("8155H",), "8155"),
    **dict.fromkeys(("8156H",), "8156"),
    **dict.fromkeys(("8755A",), "8755"),
    **dict.fromkeys(("8251", "82C51", "82C51A"), "8251A"),
    **dict.fromkeys(("8250", "8250A", "82C50A", "16450", "16C450", "16550A", "16C550"), "16550"),
    **dict.fromkeys(("82C53",), "8253"),
    **dict.fromkeys(("82C54",), "8254"),
    **dict.fromkeys(("8255",), "8255A"),
    **dict.fromkeys(("82C55",), "82C55A"),
    **dict.fromkeys(("8237", "8237A", "82C37", "82C37A", "9517", "9517A"), "8257"),
    **dict.fromkeys(("8259", "82C59", "82C59A", "9519", "9519A"), "8259A"),
    **dict.fromkeys(("82C79",), "8279"),
    **dict.fromkeys(("HD44780", "HD44780U", "44780U"), "44780"),
    **dict.fromkeys(("8212", "8282", "74273", "74LS273", "74374", "74LS374"), "latch"),
    **dict.fromkeys(("74244", "74LS244"), "switches"),
    **dict.fromkeys(("ADC0801", "ADC0804", "ADC0808", "ADC0809"), "converter"),
    **dict.fromkeys(("DAC0800", "DAC0808"), "dac"),
}
"""The device nearest to a part that has no device word of its own, by part number.

The same chip under another number, or one of the same use whose registers differ; a
spelling says nothing about that.  Common practice, no published source.
"""

ALONE = frozenset(
    {
        "8202", "8203", "8205", "8214", "8216", "8224", "8226", "8228", "8231",
        "8232", "8238", "8256", "8271", "8272", "8273", "8274", "8275", "8276",
        "8278", "8283", "8286", "8287", "8288", "8289", "8291", "8292", "8294",
        "8295", "8041", "8042", "8741", "8742", "6522", "6821", "6845", "6850",
    }
)  # fmt: skip
"""Parts of the trade that nothing here resembles, however near a number may look."""

_MARKED = re.compile(r"(?:[A-Z]{1,2}(?=\d))?(.+?)(?:-\d+)?")
"""A part number with the letter of its package before it and its speed behind it."""


@functools.cache
def devices() -> dict[str, type[Device]]:
    """Device classes by the word that a board file uses.

    Raises:
        UserError: an entry point that cannot be loaded or is no device.
    """
    found: dict[str, type[Device]] = {}
    for info in pkgutil.iter_modules(chips.__path__):
        module = importlib.import_module(f"{chips.__name__}.{info.name}")
        for value in vars(module).values():
            if _is_device(value) and value.__module__ == module.__name__:
                found[value.kind] = value
    for entry in entry_points(group=GROUP):
        try:
            device = entry.load()
        except Exception as error:  # a plug-in may fail in any way while it is imported
            raise UserError(f"the device plug-in {entry.name!r} does not load: {error}") from error
        if not _is_device(device):
            raise UserError(f"the device plug-in {entry.name!r} is not a device with a kind")
        if device.kind in found:
            raise UserError(f"the device plug-in {entry.name!r} takes a used word, {device.kind!r}")
        found[device.kind] = device
    return dict(sorted(found.items()))


def nearest_device(word: str) -> str:
    """The device word to offer for one that is none, or ``""``."""
    words = {kind.upper(): kind for kind in devices()}
    marked = _MARKED.fullmatch(word.upper())
    for number in (word.upper(), marked[1] if marked else ""):
        if number in RELATIVES:
            return RELATIVES[number]
        if number in words:
            return words[number]
        if number in ALONE:
            return ""
    return nearest(word, devices())


def _is_device(value: object) -> bool:
    return isinstance(value, type) and issubclass(value, Device) and bool(value.kind)
