"""The grammar of console lines: one table of forms that parses and explains.

A *form* is one way to use a console word, written as the user reads it in the
help: ``"pace RATE [by CYCLE]"``.  Lower-case words stand for themselves, words in
capitals are *slots* and name a kind of value (:mod:`emu85.console.slots`),
brackets hold what may be left out, and a trailing ``...`` means "one or more".
That one line is the whole grammar of the form.  Optional parts are few, so each
form is unfolded into the flat sequences that it allows; parsing tries all of
them and reports what stood at the furthest place any of them got to, which is
the place the user went wrong.

Completion (:mod:`emu85.console.suggest`) walks the same sequences.

Everything here is pure: text and a :class:`~emu85.console.kinds.Context` in,
values or a located :class:`~emu85.errors.UserError` out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from emu85.console.kinds import Choice, Context, Kind
from emu85.console.slots import KINDS
from emu85.console.tokens import Token, split_line
from emu85.errors import Place, UserError, nearest

Action = Callable[..., None]


@dataclass(frozen=True, slots=True)
class Literal:
    """A word that stands for itself."""

    word: str


@dataclass(frozen=True, slots=True)
class Slot:
    """A place for a value.

    ``name`` is the argument's name; ``many`` takes one or more of them.
    """

    name: str
    kind: Kind
    many: bool = False


Element = Literal | Slot
Path = tuple[Element, ...]


@dataclass(frozen=True)
class Form:
    """One way to use a console word.

    Attributes:
        usage: the grammar, as shown in help.
        summary: one line of what it does.
        action: called with the session and the slots' values by name.
        detail: more for ``help WORD``; may be empty.
        not_said: beginnings of lines that are no form but mean this one.
        kinds: what the slots' names mean.
        paths: the flat sequences of elements that ``usage`` allows.
    """

    usage: str
    summary: str
    action: Action
    detail: str = ""
    not_said: tuple[str, ...] = ()
    kinds: Mapping[str, Kind] = field(default_factory=lambda: KINDS, repr=False)
    paths: tuple[Path, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "paths", tuple(_unfold(self.usage, self.kinds)))

    @property
    def word(self) -> str:
        """The first word."""
        return self.usage.split()[0]


@dataclass(frozen=True, slots=True)
class Command:
    """A parsed line: what to call, with which values, and where each of them stands."""

    form: Form
    values: Mapping[str, Any]
    columns: Mapping[str, int]


class Unfit(UserError):
    """A slot's value that turned out wrong when it was used.

    Attributes:
        slot: the argument's name.
        offset: characters of the value before what is wrong.
    """

    slot = ""
    offset = 0


@contextmanager
def unfit(slot: str, offset: int = 0) -> Iterator[None]:
    """Lay what goes wrong in the block to the value of a slot.

    A column that the mistake has counts from ``offset`` on.
    """
    try:
        yield
    except UserError as error:
        told = Unfit(error.message, expected=error.expected, nearest=error.nearest)
        told.slot, told.offset = slot, offset + max(error.place.column, 1) - 1
        raise told from None


_PART = re.compile(r"\[(?P<optional>[^\]]*)\]|(?P<word>[^\s\[\]]+)")


def _unfold(usage: str, kinds: Mapping[str, Kind]) -> Iterator[Path]:
    parts = [(m["optional"], m["word"]) for m in _PART.finditer(usage)]
    paths: list[Path] = [()]
    for optional, word in parts:
        if word is not None:
            paths = [(*path, _element(word, kinds)) for path in paths]
            continue
        group = tuple(_element(w, kinds) for w in optional.split())
        paths = paths + [(*path, *group) for path in paths]
    return iter(sorted(paths, key=len))


def _element(word: str, kinds: Mapping[str, Kind]) -> Element:
    many = word.endswith("...")
    name = word.removesuffix("...")
    if not name.isupper():
        return Literal(name)
    return Slot(name.lower(), kinds[name], many)


_MOST_QUOTED = 5
"""Words that a message names one by one."""


@dataclass(slots=True)
class _Failure:
    """The mistakes found at the furthest place any path got to."""

    at: int = -1
    errors: list[UserError] = field(default_factory=list)
    wanted: list[str] = field(default_factory=list)
    literals: list[str] = field(default_factory=list)

    def note(self, at: int, element: Element | None, error: UserError | None) -> None:
        if at < self.at:
            return
        if at > self.at:
            self.at, self.errors, self.wanted, self.literals = at, [], [], []
        if error is not None:
            self.errors.append(error)
        if isinstance(element, Literal):
            self.literals.append(element.word)
            self.wanted.append(f"'{element.word}'")
        elif isinstance(element, Slot):
            self.wanted.append(element.kind.wants)
            if isinstance(element.kind, Choice):
                self.literals.extend(element.kind.words)
        else:
            self.wanted.append("the end of the line")

    @property
    def expected(self) -> str:
        """What would have been right there; many words in a row without their quotes."""
        wanted = list(dict.fromkeys(self.wanted))
        words = [one for one in wanted if one.startswith("'")]
        if len(words) > _MOST_QUOTED:
            plain = ", ".join(sorted(word.strip("'") for word in words))
            wanted = [one for one in wanted if one not in words] + [f"one of {plain}"]
        return " or ".join(wanted)


def parse(line: str, forms: Sequence[Form], context: Context) -> Command | None:
    """The command that ``line`` asks for; None for a blank line or a comment.

    Raises:
        UserError: placed at the column of the first thing that cannot be taken.
    """
    tokens = split_line(line)
    if not tokens:
        return None
    mine = [form for form in forms if form.word == tokens[0].folded]
    if not mine:
        raise UserError(
            f"there is no console word {tokens[0].text!r}",
            Place(column=tokens[0].column),
            expected="a console word; 'help' lists them",
            nearest=nearest(tokens[0].text, {form.word for form in forms}),
        )
    failure = _Failure()
    for form in mine:
        for path in form.paths:
            found = _match(path, tokens, context, failure)
            if found is not None:
                return Command(form, *found)
    raise _told(failure, tokens, line, mine)


def _match(
    path: Path, tokens: Sequence[Token], context: Context, failure: _Failure
) -> tuple[dict[str, Any], dict[str, int]] | None:
    values: dict[str, Any] = {}
    columns: dict[str, int] = {}
    at = 0
    for element in path:
        if at >= len(tokens):
            failure.note(at, element, None)
            return None
        if isinstance(element, Slot):
            columns[element.name] = tokens[at].column
        try:
            at = take(element, tokens, at, context, values)
        except Misfit:
            failure.note(at, element, None)
            return None
        except UserError as error:
            failure.note(_index_at(tokens, error.place.column), element, error)
            return None
    if at < len(tokens):
        failure.note(at, None, None)
        return None
    return values, columns


class Misfit(Exception):
    """A word stands where the path wants another one."""


def take(
    element: Element,
    tokens: Sequence[Token],
    at: int,
    context: Context,
    values: dict[str, Any],
) -> int:
    """Have ``element`` take its words from ``at`` on; where the next ones stand.

    Raises:
        Misfit: a literal word is another one.
        UserError: a slot's value cannot be read.
    """
    if isinstance(element, Literal):
        if tokens[at].folded != element.word:
            raise Misfit
        return at + 1
    if not element.many:
        values[element.name], taken = _value(element.kind, tokens[at:], context)
        return at + taken
    found = values[element.name] = []
    ends_at = element.kind.ends_at
    while at < len(tokens) and not (found and tokens[at].folded in ends_at):
        value, taken = _value(element.kind, tokens[at:], context)
        found.append(value)
        at += taken
    return at


def _value(kind: Kind, tokens: Sequence[Token], context: Context) -> tuple[Any, int]:
    try:
        return kind.take(tokens, context)
    except UserError as error:
        if error.place.column:
            raise
        raise error.at(Place(column=tokens[0].column)) from None


def _index_at(tokens: Sequence[Token], column: int) -> int:
    """The last token that begins at or before a column."""
    return max((i for i, token in enumerate(tokens) if token.column <= column), default=0)


def _told(
    failure: _Failure, tokens: Sequence[Token], line: str, forms: Sequence[Form]
) -> UserError:
    wanted = failure.expected
    if failure.at >= len(tokens):
        return UserError(
            "the line ends too early", Place(column=len(line.rstrip()) + 1), expected=wanted
        )
    token = tokens[failure.at]
    close = _meant(tokens, forms) or nearest(token.text, failure.literals)
    if len({str(error) for error in failure.errors}) == 1 and not close:
        return failure.errors[0]
    if failure.wanted == ["the end of the line"]:
        message = f"{token.text!r} is more than this word takes"
    else:
        message = f"{token.text!r} cannot be taken here"
    offered = close or next((error.nearest for error in failure.errors if error.nearest), "")
    return UserError(message, Place(column=token.column), expected=wanted, nearest=offered)


def _meant(tokens: Sequence[Token], forms: Sequence[Form]) -> str:
    """The form that such a line means, though it is not said so; or an empty string."""
    said = " ".join(token.folded for token in tokens)
    for form in forms:
        if any(f"{said} ".startswith(f"{beginning} ") for beginning in form.not_said):
            return form.usage
    return ""
