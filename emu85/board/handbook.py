"""What is known of each device, for people: from its module's text and its class's data.

The module docstring of a device names its data sheet and says, in paragraphs that
begin with ``Modelled:`` and ``Not modelled:``, what the device does; registers, pins
and options are those the board is built from.  Nothing is written twice.
"""

from __future__ import annotations

import inspect
import re
import sys
import textwrap

from emu85.board.description import BoardDescription, DeviceUse
from emu85.board.device import Device
from emu85.board.registry import RELATIVES, devices, nearest_device
from emu85.board.schema import device_block
from emu85.errors import UserError

WIDTH = 80
_HEADS = re.compile(r"\n(?=(?:Modelled|Not modelled|Choices?)\b.*?:)")


def device_named(word: str) -> type[Device]:
    """The device of a word, in any case.

    Raises:
        UserError: there is none.
    """
    by_word = {kind.casefold(): device for kind, device in devices().items()}
    if word.casefold() not in by_word:
        raise UserError(
            f"there is no device {word!r}",
            expected="one that 'emu85 devices' lists",
            nearest=nearest_device(word),
        )
    return by_word[word.casefold()]


def listing() -> str:
    """Every device word with a line about it, then parts that have none, by the nearest one."""
    known = [f"{kind:<12}{device.about}" for kind, device in devices().items()]
    others = [
        textwrap.fill(
            ", ".join(part for part in RELATIVES if RELATIVES[part] == kind),
            WIDTH,
            initial_indent=f"{kind:<12}",
            subsequent_indent=" " * 12,
        )
        for kind in sorted(set(RELATIVES.values()))
    ]
    return "\n".join([*known, "", _NEAREST, "", *others]) + "\n"


def variants(device: type[Device]) -> str:
    """The other devices that a device's module has and its text is about, with what they are."""
    others = [
        f"``{kind}`` ({_about_alone(other)})"
        for kind, other in devices().items()
        if other.__module__ == device.__module__ and other is not device
    ]
    return f"See also: {'; '.join(others)}." if others else ""


def _about_alone(device: type[Device]) -> str:
    return device.about.removeprefix(f"{device.kind}: ").removeprefix(f"{device.kind} ")


def paragraphs(device: type[Device]) -> list[str]:
    """The text of a device's module and its variants; indented ones keep their lines."""
    text = inspect.getdoc(sys.modules[device.__module__]) or ""
    found = re.split(r"\n\s*\n", _HEADS.sub("\n\n", text))[1:]
    found += filter(None, [variants(device)])
    return [part if part.startswith(" ") else " ".join(part.split()) for part in found]


def page(device: type[Device]) -> str:
    """All about a device, at most 80 columns where its module's text allows."""
    parts = [_title(device)]
    for part in paragraphs(device):
        plain = part.replace("``", "")
        parts.append(plain if part.startswith(" ") else textwrap.fill(plain, WIDTH))
    return "\n\n".join([*parts, "In a board file\n" + device_block(device)]) + "\n"


def board_page(description: BoardDescription) -> str:
    """The devices on a board as Markdown: where each is, and its module's text."""
    uses: dict[type[Device], list[DeviceUse]] = {}
    for use in description.devices:
        uses.setdefault(use.device, []).append(use)
    parts = [f"# {description.name}: its devices", _ABOUT.format(name=description.name)]
    for device, where in uses.items():
        parts.append(f"## {_title(device)}")
        parts.append("On the board: " + "; ".join(_place(use) for use in where) + ".")
        parts += [_marked_down(part) for part in paragraphs(device)]
    return "\n\n".join(parts) + "\n"


_NEAREST = """\
Parts that are not modelled, each beside the device that is nearest to it: the
same chip under another number, or one for the same use with other registers
('emu85 devices WORD' has them)"""

_ABOUT = """\
Written by `emu85 devices --board {name}`; `emu85 devices WORD` adds registers, pins and options."""


def _title(device: type[Device]) -> str:
    names_itself = device.about.startswith(device.kind)
    return device.about if names_itself else f"{device.kind}: {device.about}"


def _place(use: DeviceUse) -> str:
    if use.select is None:
        return f"`{use.name}`"
    low, high = use.select.low, use.select.high
    space, digits = ("port", 2) if use.select.space == 0x100 else ("address", 4)
    end = f"-{high:0{digits}X}" if high > low else ""
    return f"`{use.name}` at {space} {low:0{digits}X}{end}"


def _marked_down(part: str) -> str:
    if part.startswith(" "):
        return "```\n" + textwrap.dedent(part).rstrip() + "\n```"
    return textwrap.fill(part.replace("``", "`"), 100)
