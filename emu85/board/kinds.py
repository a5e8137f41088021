"""What a key of a board file may take, one object a kind.

A :class:`Kind` turns a node of the tree into a value or raises a located
:class:`UserError`, and says in a few words what it takes; the printed schema
and the messages both come from it.  Devices use the same kinds for their own
options.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Generic, TypeVar

from emu85.board import quantities
from emu85.board.nodes import Entries, Node, Table, Word
from emu85.errors import Mistakes, Place, UserError, nearest

T = TypeVar("T")
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9 _-]{0,30}", re.A)
_ADDRESS_LINE = re.compile(r"A([0-9]|1[0-5])", re.I | re.A)
_YES = {"yes": True, "no": False, "true": True, "false": False}


@dataclass(frozen=True, slots=True)
class Kind(Generic[T]):
    """A kind of value: ``takes`` is shown to the user, ``read`` reads a node."""

    takes: str
    read: Callable[[Node], T]


@dataclass(frozen=True, slots=True)
class Key:
    """A key of some table of the board file.

    ``default`` is the value when the key is left out; ``required`` keys have
    none.  ``default_text`` shows it in the printed schema.
    """

    name: str
    kind: Kind[Any]
    about: str
    default: Any = None
    default_text: str = ""
    required: bool = False


class Values:
    """The values read from a table, and the nodes they came from."""

    def __init__(self, table: Table, values: Mapping[str, Any]) -> None:
        self.table = table
        self._values = values

    def __getitem__(self, key: str) -> Any:
        return self._values[key]

    def given(self, key: str) -> bool:
        """Whether the file has the key."""
        return key in self.table.keys

    def node(self, key: str) -> Node:
        """The node of a key, or the whole table where the key was left out."""
        return self.table.values.get(key, self.table)

    def of(self, keys: tuple[Key, ...]) -> dict[str, Any]:
        """The values of these keys alone."""
        return {key.name: self._values[key.name] for key in keys}


def read_table(node: Node, keys: tuple[Key, ...], what: str, *, others: bool = False) -> Values:
    """Read a table that may have ``keys`` and no others, unless they are read elsewhere.

    Raises:
        UserError: an unknown or missing key, or a value its kind refuses; several
            are told together.
    """
    if not isinstance(node, Table):
        raise node.wrong(f"{what} must be a table of keys", expected=_names(keys))
    by_name = {key.name: key for key in keys}
    mistakes = Mistakes()
    for name, word in node.keys.items():
        with mistakes.noted():
            if name not in by_name and not others:
                raise word.unknown(f"key of {what}", name, by_name)
    is_misspelt = bool(mistakes.found)
    values = {}
    for key in keys:
        if is_misspelt and key.name not in node.values:
            continue  # it may be the one that is misspelt
        with mistakes.noted():
            values[key.name] = _value(node, key, what)
    mistakes.tell()
    return Values(node, values)


def _value(node: Table, key: Key, what: str) -> Any:
    if key.name in node.values:
        return key.kind.read(node.values[key.name])
    if key.required:
        raise node.wrong(f"{what} has no {key.name!r}", expected=key.kind.takes)
    return key.default


def word(node: Node, expected: str) -> str:
    """The text of a scalar that is not empty."""
    if not isinstance(node, Word):
        raise node.wrong("a list or table stands where one value belongs", expected=expected)
    if not node.text:
        raise node.wrong("the value is missing", expected=expected)
    return node.text


def scalar(takes: str, convert: Callable[[str], T]) -> Kind[T]:
    """A kind read from one word by ``convert``, whose errors get the word's place."""

    def read(node: Node) -> T:
        text = word(node, takes)
        try:
            return convert(text)
        except UserError as error:
            raise error.at(node.place, node.source) from None

    return Kind(takes, read)


def hexadecimal(takes: str, highest: int) -> Kind[int]:
    """A hexadecimal number up to ``highest``."""
    return scalar(takes, lambda text: quantities.hexadecimal(text, highest))


def count(lowest: int, highest: int, takes: str = "") -> Kind[int]:
    """A decimal number within limits."""
    return scalar(
        takes or f"{lowest} to {highest}",
        lambda text: quantities.decimal(text, lowest, highest),
    )


def frequency(lowest: Fraction, highest: Fraction) -> Kind[Fraction]:
    """A frequency in hertz within limits."""
    return scalar(
        "a frequency, as 6.144 MHz", lambda text: quantities.frequency(text, lowest, highest)
    )


def choice(*words: str) -> Kind[str]:
    """One of a few words."""
    takes = " or ".join(words)

    def read(node: Node) -> str:
        text = word(node, takes)
        for candidate in words:
            if candidate.casefold() == text.casefold():
                return candidate
        raise node.unknown("word", text, words)

    return Kind(takes, read)


def listing(kind: Kind[T], longest: int, takes: str) -> Kind[tuple[T, ...]]:
    """A list of values of one kind; a single value is a list of one."""

    def read(node: Node) -> tuple[T, ...]:
        nodes = node.items if isinstance(node, Entries) else (node,)
        if len(nodes) > longest:
            raise nodes[longest].wrong("the list is too long", expected=f"at most {longest}")
        return tuple(kind.read(item) for item in nodes)

    return Kind(takes, read)


def address_lines(highest: int) -> Kind[int]:
    """Address lines as a mask: ``A13``, ``A11-A13`` or a list of these."""
    takes = f"address lines A0 to A{highest}, as A{highest} or A{highest - 2}-A{highest} or a list"

    def one(node: Node) -> int:
        mask = 0
        ends = [part.strip() for part in word(node, takes).split("-")]
        found = [_ADDRESS_LINE.fullmatch(end) for end in ends]
        numbers = [int(match[1]) for match in found if match]
        if len(numbers) != len(ends) or len(ends) > 2 or max(numbers) > highest:
            raise node.wrong("not an address line", expected=takes)
        for number in range(min(numbers), max(numbers) + 1):
            mask |= 1 << number
        return mask

    def read(node: Node) -> int:
        mask = 0
        for item in node.items if isinstance(node, Entries) else (node,):
            mask |= one(item)
        return mask

    return Kind(takes, read)


def _names(keys: tuple[Key, ...]) -> str:
    return "keys " + ", ".join(key.name for key in keys)


def _name(text: str) -> str:
    if not _NAME.fullmatch(text):
        raise UserError(
            f"{text!r} cannot be a name",
            expected="a letter, then letters, digits, spaces, - or _, 31 at most",
        )
    return text


def _yes_no(text: str) -> bool:
    if text.casefold() not in _YES:
        raise UserError(f"{text!r} is neither yes nor no", expected="yes or no")
    return _YES[text.casefold()]


def _battery(node: Node) -> bool | Path:
    text = word(node, BATTERY.takes)
    if text.casefold() in _YES:
        return _YES[text.casefold()]
    if not Path(text).suffix:  # more likely a slip than a file
        near = nearest(text, ("yes", "no"))
        raise node.wrong(f"{text!r} is no battery", expected=BATTERY.takes, near=near)
    return FILE.read(node)


def _beside(node: Node) -> Path:
    text = word(node, FILE.takes)
    if "\0" in text:
        raise node.wrong("not a file name", expected=FILE.takes)
    return Path(node.place.file).parent / text


def located(place: Place, text: str) -> Word:
    """A word that does not come from a file, such as one typed at the console."""
    return Word(place, "", text)


TEXT: Kind[str] = scalar("text", lambda text: text)
NAME: Kind[str] = scalar("a name", _name)
YES_NO: Kind[bool] = scalar("yes or no", _yes_no)
BYTE: Kind[int] = hexadecimal("a byte, 00 to FF", 0xFF)
BYTES: Kind[tuple[int, ...]] = listing(BYTE, 100_000, "a list of bytes")
SIZE: Kind[int] = scalar("a size, as 2K or 800H", quantities.byte_count)
TIME: Kind[Fraction] = scalar("a time, as 20 ms", quantities.duration)
ADDRESS_SPAN: Kind[tuple[int, int | None]] = scalar(
    "an address or a range of them, as 8000-87FF", lambda text: quantities.span(text, 0xFFFF)
)
PORT_SPAN: Kind[tuple[int, int | None]] = scalar(
    "a port or a range of them, as 20-23", lambda text: quantities.span(text, 0xFF)
)
DEVICE_PORT: Kind[int] = hexadecimal("a port that a device is at, 00 to FF", 0xFF)
"""The board reader sees to it that some device is selected there."""
FILE: Kind[Path] = Kind("a file, found from the board file's folder", _beside)
BATTERY: Kind[bool | Path] = Kind("yes, no, or a file for its bytes, as log.ram", _battery)
