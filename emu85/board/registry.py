"""The devices a board file can name.

Our own are the modules of ``emu85.board.chips``; other packages add theirs
through the entry point group ``emu85.devices``, each entry a :class:`Device`
subclass.
"""

from __future__ import annotations

import functools
import importlib
import pkgutil
from importlib.metadata import entry_points

from emu85.board import chips
from emu85.board.device import Device
from emu85.errors import UserError

GROUP = "emu85.devices"


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


def _is_device(value: object) -> bool:
    return isinstance(value, type) and issubclass(value, Device) and bool(value.kind)
