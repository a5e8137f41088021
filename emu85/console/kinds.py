"""The kinds of value a console form may have in its slots.

A kind reads its value from the words of the line, says in a message what it
wanted, and offers completions.  Kinds hold no state: what depends on the board
(symbols, devices, stops) comes with the :class:`Context`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

from emu85.board.device import Device
from emu85.board.quantities import Length
from emu85.bus.pins import PINS, first_pins
from emu85.console import numbers
from emu85.console.tokens import Token, without_comment
from emu85.errors import Place, UserError, nearest
from emu85.stops import next_words, parse


@dataclass(frozen=True)
class Context:
    """What the parsing of a line may know of the board it is for.

    Attributes:
        symbols: name to address.
        stops: numbers of the stops there are.
        devices: the board's devices by name.
        words: all console words.
        clock_hz: T-states a second, which turns a time into T-states.
        ends: the board's serial ends.
        joined: those that are joined to the outside.
        folder: from where files are named.
        timed: chips and devices of which the board file states times.
    """

    symbols: Mapping[str, int] = field(default_factory=dict)
    stops: Sequence[int] = ()
    devices: Mapping[str, Device] = field(default_factory=dict)
    words: Sequence[str] = ()
    clock_hz: float = 3_072_000.0
    ends: Sequence[str] = ()
    joined: Sequence[str] = ()
    folder: Path = Path()
    timed: Sequence[str] = ()


class Completion(NamedTuple):
    """A way to go on: the text, one line about it, and what it replaces.

    An empty text is a hint only.  ``replaces`` counts characters before the
    cursor; -1 is the word being typed.
    """

    text: str
    about: str = ""
    replaces: int = -1


class Kind:
    """One kind of value.

    Attributes:
        wants: what was expected, as it stands in a message.
        rest: it takes all that is left of the line.
        words_taken: how many words it takes.
        ends_at: words at which a row of such values ends.
    """

    wants: str
    rest: ClassVar[bool] = False
    words_taken: ClassVar[int] = 1
    ends_at: ClassVar[frozenset[str]] = frozenset()

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[Any, int]:
        """The value and how many words it took.

        Raises:
            UserError: the words are no such value.
        """
        return self.read(tokens[0].text, context), 1

    def read(self, text: str, context: Context) -> Any:
        """The value that one word stands for."""
        raise NotImplementedError

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        """Ways to go on when ``written`` is what stands of it so far."""
        return ()


@dataclass(frozen=True)
class Number(Kind):
    """A plain number, of base ``base`` unless its suffix says otherwise."""

    wants: str
    base: int
    low: int
    high: int

    def read(self, text: str, context: Context) -> int:
        return numbers.number(text, self.base, self.low, self.high, self.wants)


@dataclass(frozen=True)
class Decimal(Kind):
    """A decimal number that may have a fraction."""

    wants: str
    low: float
    high: float

    def read(self, text: str, context: Context) -> float:
        if not re.fullmatch(r"\d{1,9}(\.\d{1,9})?|\.\d{1,9}", text):
            raise UserError(f"{text!r} is not a number", expected=self.wants)
        value = float(text)
        if not self.low <= value <= self.high:
            raise UserError(f"{text} is out of range", expected=self.wants)
        return value


@dataclass(frozen=True)
class Address(Kind):
    """A number of up to ``digits`` hex digits, or a symbol with or without an offset."""

    wants: str
    high: int

    def read(self, text: str, context: Context) -> int:
        return numbers.address(text, context.symbols, self.high, self.wants)

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        if not written:
            return ()
        symbols = context.symbols.items()
        return [Completion(name, f"{at:04X}") for name, at in symbols if at <= self.high]


@dataclass(frozen=True)
class Range(Kind):
    """An address, or two with a hyphen between, both ends included."""

    wants: str = "an address range such as 8000-80FF"

    def read(self, text: str, context: Context) -> tuple[int, int]:
        low_text, hyphen, high_text = text.partition("-")
        low = numbers.address(low_text, context.symbols, 0xFFFF, self.wants)
        if not hyphen:
            return low, low
        high = numbers.address(high_text, context.symbols, 0xFFFF, self.wants)
        if high < low:
            raise UserError(f"the range {text} ends before it begins", expected=self.wants)
        return low, high


@dataclass(frozen=True)
class Choice(Kind):
    """One of some words; the value is the word as listed here."""

    wants: str
    table: Mapping[str, str]
    """Word to one line about it."""

    @property
    def words(self) -> Iterable[str]:
        return self.table

    def read(self, text: str, context: Context) -> str:
        for word in self.table:
            if word.casefold() == text.casefold():
                return word
        raise UserError(
            f"{text!r} is not one of them",
            expected=self.wants,
            nearest=nearest(text, self.table),
        )

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        return [Completion(word, about) for word, about in self.table.items()]


_MOST_NAMED = 12
"""Names that a message lists."""


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name


@dataclass(frozen=True)
class Named(Kind):
    """A name out of the context."""

    wants: str
    names: Callable[[Context], Iterable[str]]
    none: str
    """What to say when there is nothing of the sort."""

    def read(self, text: str, context: Context) -> str:
        names = list(self.names(context))
        for name in names:
            if name.casefold() == text.casefold():
                return name
        if not names:
            raise UserError(self.none)
        more = ", …" if len(names) > _MOST_NAMED else ""
        raise UserError(
            f"there is no {text!r}",
            expected=f"{self.wants}: {', '.join(names[:_MOST_NAMED])}{more}",
            nearest=nearest(text, names),
        )

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        return [Completion(_quoted(name)) for name in self.names(context)]


@dataclass(frozen=True)
class Offered(Kind):
    """A name that whoever uses it looks up; those of the context are offered."""

    wants: str
    names: Callable[[Context], Iterable[str]]

    def read(self, text: str, context: Context) -> str:
        return text

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        return [Completion(_quoted(name)) for name in self.names(context)]


_T_STATES = "T"
_UNITS = {
    "us": Fraction(1, 10**6),
    "ms": Fraction(1, 10**3),
    "s": Fraction(1),
    _T_STATES: Fraction(1),
}


@dataclass(frozen=True)
class ExactDuration(Kind):
    """A length of board time, ``2 ms`` or ``5000 T``; the value is a :class:`Length`."""

    wants: str = "a time such as 2 ms, 150 us, 1.5 s or 5000 T (T-states)"
    words_taken: ClassVar[int] = 2

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[Any, int]:
        together = re.fullmatch(r"([\d.]+)([A-Za-z]+)", tokens[0].text)
        if together:
            return self._length(together[1], together[2], context), 1
        if len(tokens) == 1:
            raise UserError(f"{tokens[0].text!r} has no unit", expected=self.wants)
        return self._length(tokens[0].text, tokens[1].text, context), 2

    def _length(self, amount: str, unit: str, context: Context) -> Length:
        by_folded = {u.casefold(): u for u in _UNITS}
        if not re.fullmatch(r"\d{1,12}(\.\d{1,9})?|\.\d{1,9}", amount):
            raise UserError(f"{amount!r} is not a number", expected=self.wants)
        if unit.casefold() not in by_folded:
            raise UserError(f"{unit!r} is not a unit of time", expected=self.wants)
        name = by_folded[unit.casefold()]
        length = Length(Fraction(amount) * _UNITS[name], name == _T_STATES)
        if not 1 <= round(length.t_states(Fraction(context.clock_hz))) < 1 << 53:
            raise UserError(
                f"{amount} {unit} is less than a T-state or too long", expected=self.wants
            )
        return length

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        if " " not in written:
            return ()
        abouts = ("microseconds", "milliseconds", "seconds", "T-states")
        return map(Completion, _UNITS, abouts)


class Duration(ExactDuration):
    """The same; the value is in whole T-states, the nearest."""

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[int, int]:
        length, taken = super().take(tokens, context)
        return round(length.t_states(Fraction(context.clock_hz))), taken


@dataclass(frozen=True)
class Name(Kind):
    """Any one word."""

    wants: str

    def read(self, text: str, context: Context) -> str:
        return text


@dataclass(frozen=True)
class Pin(Kind):
    """A pin of the CPU, or several with commas; the value is a list of their names.

    It takes two words where a name has a blank in it.
    """

    wants: str = f"a pin ({', '.join(PINS)})"
    words_taken: ClassVar[int] = 2
    ends_at: ClassVar[frozenset[str]] = frozenset({"to"})

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[list[str], int]:
        return first_pins([token.text for token in tokens])

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        begun = [
            written[m.start() :] for m in re.finditer(r"(?<![^\s,])[^\s,]|(?<![^\s,])\Z", written)
        ]
        for pin in PINS:
            fits = (text for text in begun if pin.casefold().startswith(text.casefold()))
            if (text := next(fits, None)) is not None:
                yield Completion(pin, "", len(text))


@dataclass(frozen=True)
class Rest(Kind):
    """The rest of the line as it stands, up to a comment."""

    wants: str = "text"
    rest: ClassVar[bool] = True

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[str, int]:
        return without_comment(tokens[0].raw), len(tokens)


@dataclass(frozen=True)
class Condition(Kind):
    """The condition of a stop: the rest of the line, in the language of :mod:`emu85.stops`.

    The value is the text.  It is read here to find mistakes, and by the one who
    uses it to have the condition.
    """

    wants: str = "a condition such as on MW at 8000-80FF data 1B"
    rest: ClassVar[bool] = True

    def take(self, tokens: Sequence[Token], context: Context) -> tuple[str, int]:
        text = without_comment(tokens[0].raw)
        try:
            parse(text, symbols=context.symbols)
        except UserError as error:
            column = tokens[0].column + max(error.place.column, 1) - 1
            raise UserError(
                error.message,
                Place(column=column),
                expected=error.expected,
                nearest=error.nearest,
            ) from None
        return text, len(tokens)

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        partial = re.search(r"[^\s,+\-]*\Z", written)
        replaces = len(partial.group()) if partial else 0
        for text, about in next_words(written, context.symbols):
            yield Completion(text, about, replaces)


@dataclass(frozen=True)
class File(Kind):
    """A file name; quotes keep its blanks."""

    wants: str = "a file name"

    def read(self, text: str, context: Context) -> Path:
        return context.folder / Path(text).expanduser()

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        head, slash, tail = written.rpartition("/")
        folder = Path(head or (slash or ".")).expanduser()
        return _files(folder, head + slash, tail)


def _files(folder: Path, prefix: str, tail: str) -> Iterator[Completion]:
    try:
        entries = sorted(os.scandir(folder), key=lambda e: e.name)
    except OSError:
        return
    for entry in entries:
        if not entry.name.startswith(tail) or (entry.name.startswith(".") and not tail):
            continue
        is_folder = entry.is_dir()
        name = f"{prefix}{entry.name}{'/' if is_folder else ''}"
        yield Completion(name, "folder" if is_folder else "file")


@dataclass(frozen=True)
class Speed(Kind):
    """How fast board time may pass: None without bounds, else a factor of real time."""

    wants: str = "off, real, or a factor of real time such as 0.1 or 10"

    def read(self, text: str, context: Context) -> float | None:
        if text.casefold() == "off":
            return None
        if text.casefold() == "real":
            return 1.0
        try:
            return Decimal(self.wants, 0.0001, 1000.0).read(text, context)
        except UserError:
            raise UserError(
                f"{text!r} is no speed",
                expected=self.wants,
                nearest=nearest(text, ("off", "real")),
            ) from None

    def complete(self, written: str, context: Context) -> Iterable[Completion]:
        return (
            Completion("off", "as fast as it goes"),
            Completion("real", "as fast as the crystal says"),
        )
