"""The small language of stops: text to a :class:`Condition`, and what may follow.

A step is a list of parts in any order, each given once (line levels as often as
there are lines)::

    [on] OF,MR,MW,IOR,IOW,INA,BI,HALT,HOLD,RESET | any | read | write | finding
    at ADDRESS      outside RANGE      [at] hi BYTE      [at] lo BYTE      data BYTE
    with LINE high|low|rises|falls     (when and with are one word; 'and' joins)
    after COUNT
    then STEP

One parser serves both uses.  Wherever it has to choose it also notes, if the
text ends there, what it would have taken; :func:`next_words` reads those notes,
so completion cannot drift away from the grammar.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from emu85.bus.cycles import DESCRIPTIONS, Cycle
from emu85.bus.lines import BY_NAME, NAMES
from emu85.errors import Place, UserError, nearest
from emu85.stops.compose import Parts, Value, add_line, compose
from emu85.stops.condition import ANY, Condition, Step
from emu85.stops.numbers import (
    ADDRESS,
    BYTE,
    Kind,
    Pattern,
    Span,
    is_foreign_hex,
    read_count,
    read_number,
    read_pattern,
)

Word = tuple[str, str]
"""A word that may follow and its one-line help; an empty word is a hint only."""

_T = TypeVar("_T")

_MOST_PASSES = 10**15

TYPE_WORDS: dict[str, frozenset[Cycle]] = {
    **{cycle.name.casefold(): frozenset({cycle}) for cycle in Cycle},
    **{text.casefold(): frozenset({cycle}) for cycle, text in DESCRIPTIONS.items()},
    "any": ANY,
    "read": frozenset({Cycle.MR, Cycle.IOR}),
    "write": frozenset({Cycle.MW, Cycle.IOW}),
}
"""What may stand for cycle types, folded to lower case."""

TYPE_HELP: tuple[Word, ...] = (
    *((cycle.name, DESCRIPTIONS[cycle]) for cycle in Cycle),
    ("any", "every machine cycle; not HALT, HOLD and RESET"),
    ("read", "MR and IOR"),
    ("write", "MW and IOW"),
)
FINDING_HELP: Word = ("finding", "a cycle that gave rise to a finding")
PART_HELP: tuple[Word, ...] = (
    ("at", "the address or port: 8004, 8000-80FF, 8x0x, a symbol"),
    ("outside", "any address but these: outside 0000-1FFF"),
    ("hi", "the high byte of the address, A15-A8"),
    ("lo", "the low byte of the address, A7-A0"),
    ("data", "the byte on the data bus: 1B, 30-39, 3x, 0000xxx1B, 'A'"),
    ("with", "the level of a line, or its change since the cycle before"),
    ("after", "let so many matches go by; the next one holds"),
)
ON_HELP: Word = ("on", "the cycle types to look at")
WHEN_HELP: Word = ("when", "a line alone, whatever the bus does: when SOD high")
THEN_HELP: Word = ("then", "what to look for once all this was met")
AND_HELP: Word = ("and", "a further line, or a further part")
LEVEL_HELP: tuple[Word, ...] = (
    ("high", "the line is high"),
    ("low", "the line is low"),
    ("rises", "high now, low in the cycle before"),
    ("falls", "low now, high in the cycle before"),
)
LINE_HELP: tuple[Word, ...] = tuple((name, f"the {name} line") for name in NAMES.values())

_LEVELS = {"high": (True, False), "low": (False, False), "rises": (True, True)}
_LEVELS["falls"] = (False, True)

_KEYWORDS = ("on", *(word for word, _ in PART_HELP), "when", "then", "and")
_HINTS: dict[str, Word] = {
    "at": ("", "an address or port: 8004, 8000-80FF, 8x0x, SYMBOL, SYMBOL+3"),
    "outside": ("", "a range of addresses: 0000-1FFF"),
    "hi": ("", "a byte: 80, or 8x"),
    "lo": ("", "a byte: 1B, or xB"),
    "data": ("", "a byte: 1B, 30-39, 3x, 0000xxx1B, 'A'"),
    "after": ("", "a decimal count; that many matches go by and the next one holds"),
}

_CHARACTER = re.compile(r"'(?:''|[^'])'")
_TOKEN = re.compile(r"'(?:''|[^'])'|[,+\-]|[^\s,+\-]+")
_PARTIAL = re.compile(r"[^\s,+\-]*\Z")


@dataclass(frozen=True, slots=True)
class _Token:
    text: str
    column: int

    @property
    def folded(self) -> str:
        return self.text.casefold()


def parse(text: str, *, symbols: Mapping[str, int] | None = None) -> Condition:
    """The condition that ``text`` words.

    Args:
        text: what stands after ``stop``, e.g. ``"on MW at 8000-80FF data 1B"``.
        symbols: names that may stand for addresses, ports and bytes, in either
            case.  A word that begins with a letter and is a symbol is taken for
            the symbol; a leading 0 makes it a number (``0FACE``).

    Raises:
        UserError: with the column in ``text``, what was expected and the
            nearest valid word.
    """
    parser = _Parser(text, symbols or {})
    try:
        return parser.condition()
    except UserError as error:
        raise error.at(error.place, text) from None


def next_words(text: str, symbols: Mapping[str, int] | None = None) -> list[Word]:
    """What may stand at the end of a stop text that is being typed.

    The last word, if the text does not end in a blank, is taken as unfinished:
    the words returned begin with it and would replace it.

    Returns:
        Pairs of word and one-line help.  A pair with an empty word is a hint
        about a value, to be shown but not inserted.  Empty when the text
        cannot be read up to its end.
    """
    found = _PARTIAL.search(text)
    start = found.start() if found else len(text)
    partial = text[start:].casefold()
    parser = _Parser(text[:start], symbols or {})
    with contextlib.suppress(UserError):
        parser.condition()
    return [(w, h) for w, h in parser.offers if not w or w.casefold().startswith(partial)]


class _Parser:
    def __init__(self, text: str, symbols: Mapping[str, int]) -> None:
        self.text = text
        self.tokens = [_Token(m.group(), m.start() + 1) for m in _TOKEN.finditer(text)]
        self.position = 0
        self.offers: list[Word] = []
        self._names = symbols
        self._symbols = {name.casefold(): value for name, value in symbols.items()}

    # Reading tokens

    def peek(self, ahead: int = 0) -> str:
        """The token ``ahead``, folded; empty past the end."""
        index = self.position + ahead
        return self.tokens[index].folded if index < len(self.tokens) else ""

    def take(self, *words: str) -> str:
        """Step over the next token if it is one of ``words``, and give it; else ``""``."""
        word = self.peek()
        if word not in words:
            return ""
        self.position += 1
        return word

    @property
    def ended(self) -> bool:
        return self.position >= len(self.tokens)

    @property
    def column(self) -> int:
        """Where the next token stands; past the text, if there is none."""
        if not self.ended:
            return self.tokens[self.position].column
        return len(self.text.rstrip()) + 1

    def offer(self, words: Iterable[Word]) -> None:
        """Note what would be taken here, if the text ends here."""
        if self.ended:
            self.offers.extend(words)

    def refuse(self, message: str, *, expected: str = "", near: str = "") -> UserError:
        return UserError(message, Place(column=self.column), expected=expected, nearest=near)

    def missing(self, what: str, expected: str) -> UserError:
        if self.ended:
            return self.refuse(f"{what} is missing", expected=expected)
        shown = self.tokens[self.position].text
        return self.refuse(f"{shown!r} stands where {what} belongs", expected=expected)

    # The grammar

    def condition(self) -> Condition:
        steps = [self.step()]
        while self.take("then"):
            steps.append(self.step())
        return Condition(tuple(steps))

    def step(self) -> Step:
        parts = Parts()
        self.offer((ON_HELP, WHEN_HELP, *TYPE_HELP, FINDING_HELP, *PART_HELP))
        if self.ended or self.peek() == "then":
            raise self.missing("what to look for", "cycle types such as MW, or 'when SOD high'")
        if self.peek() not in _KEYWORDS:
            self.types(parts)
        while self.part(parts):
            pass
        return compose(parts)

    def part(self, parts: Parts) -> bool:
        """Read one part; False where the step ends."""
        started = parts.looks_at_bus or parts.line_mask or "after" in parts.columns
        if started:
            self.offer(word for word in PART_HELP if word[0] not in parts.columns)
            self.offer((AND_HELP, THEN_HELP))
        if self.ended or self.peek() == "then":
            return False
        if started and self.take("and"):
            self.offer(PART_HELP)
            if self.peek() not in _PARTS:
                self.line(parts)
                return True
        if self.peek() == "at" and self.peek(1) in _HALVES:
            self.position += 1
        keyword = self.peek()
        if keyword not in _PARTS:
            word = self.tokens[self.position].text
            raise self.refuse(
                f"{word!r} is not part of a stop",
                expected="at, outside, hi, lo, data, with, after or then",
                near=nearest(word, _KEYWORDS),
            )
        if keyword in parts.columns or (keyword == "on" and parts.types):
            raise self.refuse(f"{keyword!r} is given twice", expected="each part once")
        self.position += 1
        if keyword in _VALUED:
            parts.columns[keyword] = self.column
            self.offer((_HINTS[keyword],))
        if keyword == "at":
            self.offer(word for word in PART_HELP if word[0] in _HALVES)
        _PARTS[keyword](self, parts)
        return True

    def types(self, parts: Parts) -> None:
        self.offer((*TYPE_HELP, FINDING_HELP))
        if self.take("finding"):
            if self.peek() == ",":
                raise self.refuse("'finding' is no cycle type", expected="e.g. MR with finding")
            parts.finding = True
            return
        parts.types = self.type()
        while self.take(","):
            self.offer(TYPE_HELP)
            parts.types |= self.type()

    def type(self) -> frozenset[Cycle]:
        return self.phrase(TYPE_WORDS, "a cycle type", [word for word, _ in TYPE_HELP])

    def line(self, parts: Parts) -> None:
        self.offer((*LINE_HELP, FINDING_HELP))
        if self.take("finding"):
            parts.finding = True
            return
        column = self.column
        line = self.phrase(BY_NAME, "a line", list(NAMES.values()))
        self.offer(LEVEL_HELP)
        high, edge = self.phrase(_LEVELS, "a level", list(_LEVELS))
        add_line(parts, line, high=high, edge=edge, column=column)

    def phrase(self, table: Mapping[str, _T], what: str, names: list[str]) -> _T:
        """The value of the longest name of ``table``, of one or two words, that stands here."""
        expected = "one of " + ", ".join(names)
        pair = f"{self.peek()} {self.peek(1)}"
        if pair in table:
            self.position += 2
            return table[pair]
        word = self.peek()
        if word in table:
            self.position += 1
            return table[word]
        if not word or word in (",", "+", "-"):
            raise self.missing(what, expected)
        near = nearest(pair, table) or nearest(word, table)
        shown = self.tokens[self.position].text
        refusal = self.refuse(
            f"{shown!r} is not {what}", expected=expected, near=_spelt(near, names)
        )
        self.offer_rest(table, word)
        raise refusal

    def offer_rest(self, table: Iterable[str], word: str) -> None:
        """Note the second words of names of which only the first has been written."""
        if self.position + 1 != len(self.tokens):
            return
        rest = [name[len(word) + 1 :] for name in table if name.startswith(word + " ")]
        if rest:
            self.position += 1
            self.offer((second, f"{word.upper()} {second.upper()}") for second in rest)

    def count(self, parts: Parts) -> None:
        expected = "a decimal count, e.g. after 5"
        if self.ended:
            raise self.missing("a count", expected)
        passes = read_count(self.peek())
        if passes is None:
            raise self.missing("a count", expected)
        if passes > _MOST_PASSES:
            raise self.refuse("this count is too large", expected=f"at most {_MOST_PASSES}")
        self.position += 1
        parts.passes = passes

    # Values

    def value(self, kind: Kind) -> Value:
        """A number, a range or a pattern."""
        column = self.column
        first = self.operand(kind)
        if not self.take("-"):
            return first
        self.offer((("", f"the end of the range, {kind.expected}"),))
        last = self.operand(kind)
        if not (isinstance(first, Span) and isinstance(last, Span)):
            raise UserError(
                "a range has no don't-care digits",
                Place(column=column),
                expected="two numbers, or a pattern alone",
            )
        if last.low < first.low:
            raise UserError(
                "this range runs backwards",
                Place(column=column),
                expected="the lower end first",
            )
        return Span(first.low, last.low, first.short and last.short)

    def operand(self, kind: Kind) -> Value:
        """A number with its offsets, as a span of one; or a pattern."""
        self.offer(
            (name, f"{value:04X}H") for name, value in self._names.items() if value <= kind.limit
        )
        keyword = self.peek() in (",", "+", "-", *_KEYWORDS)
        if self.ended or (keyword and self.peek() not in self._symbols):
            raise self.missing(kind.noun, kind.expected)
        word = self.tokens[self.position].text
        number = self.number(word, kind)
        if number is None:
            return self.pattern(word, kind)
        short = number <= 0xFF and (len(word) <= 2 or not word[0].isdigit())
        column = self.column
        self.position += 1
        while self.take("+"):
            added = "" if self.ended else self.tokens[self.position].text
            number, word = number + self.offset(kind), f"{word}+{added}"
        if not 0 <= number <= kind.limit:
            raise UserError(
                f"{word!r} is too large for {kind.noun}",
                Place(column=column),
                expected=kind.expected,
            )
        return Span(number, number, short and number <= 0xFF)

    def number(self, word: str, kind: Kind) -> int | None:
        if word[0] == "'":
            return self.character(word, kind)
        symbol = None if word[0].isdigit() else self._symbols.get(word.casefold())
        return read_number(word, kind.digits) if symbol is None else symbol

    def character(self, word: str, kind: Kind) -> int:
        code = ord(word[1]) if _CHARACTER.fullmatch(word) else 256
        if code > 127 or kind is not BYTE:
            raise self.refuse(f"{word!r} is not {kind.noun}", expected=kind.expected)
        return code

    def offset(self, kind: Kind) -> int:
        self.offer((("", "what to add, hexadecimal"),))
        word = self.peek()
        number = None if self.ended else read_number(word, kind.digits)
        if number is None:
            raise self.missing("an offset", "a hexadecimal number after '+'")
        self.position += 1
        return number

    def pattern(self, word: str, kind: Kind) -> Pattern:
        if is_foreign_hex(word, kind.digits):
            raise self.refuse(
                f"{word!r} is not how numbers are written here",
                expected=f"{word[2:]}, or {kind.noun} ending in H if x is a don't-care nibble",
            )
        found = read_pattern(word, kind.digits)
        if found is None:
            raise self.refuse(
                f"{word!r} is not {kind.noun}",
                expected=kind.expected,
                near=nearest(word, self._names),
            )
        self.position += 1
        return Pattern(*found, short=len(word) <= 2)


def _spelt(folded: str, names: list[str]) -> str:
    """``folded`` as ``names`` spell it, however it is spaced; itself if they do not have it."""
    squeezed = folded.replace(" ", "").replace(".", "")
    for name in names:
        if name.casefold().replace(" ", "").replace(".", "") == squeezed:
            return name
    return folded


def _read_value(name: str, kind: Kind) -> Callable[[_Parser, Parts], None]:
    return lambda parser, parts: setattr(parts, name, parser.value(kind))


_PARTS: dict[str, Callable[[_Parser, Parts], None]] = {
    "on": _Parser.types,
    "at": _read_value("at", ADDRESS),
    "outside": _read_value("outside", ADDRESS),
    "hi": _read_value("hi", BYTE),
    "lo": _read_value("lo", BYTE),
    "data": _read_value("data", BYTE),
    "with": _Parser.line,
    "when": _Parser.line,
    "after": _Parser.count,
}
_VALUED = frozenset(_HINTS)
_HALVES = ("hi", "lo")
"""These may follow ``at`` and mean the same without it."""
