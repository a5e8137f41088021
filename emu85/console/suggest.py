"""Completion and one-line help for a console line that is being typed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from emu85.console.grammar import Element, Form, Literal, Misfit, Path, Slot, take
from emu85.console.kinds import Context
from emu85.console.tokens import Token, split_line
from emu85.errors import UserError


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One way to go on.

    Attributes:
        text: what to write; empty for a hint that is only to be read.
        about: one line about it.
        replaces: how many characters before the cursor it takes the place of.
    """

    text: str
    about: str
    replaces: int


def suggestions(line: str, forms: Sequence[Form], context: Context) -> list[Suggestion]:
    """Ways to go on with ``line``, the cursor being at its end."""
    complete, started = _divide(line)
    found: dict[str, Suggestion] = {}
    for form, element, at in _expected(complete, forms, context):
        for one in _of(form, element, line[at:].lstrip(), started, context):
            ending = line[len(line) - one.replaces :].casefold()
            if one.text.casefold().startswith(ending) or not one.text:
                found.setdefault(one.text or one.about, one)
    return list(found.values())


def explain(line: str, forms: Sequence[Form], context: Context) -> list[Form]:
    """The forms that ``line`` may still become, in the order of the table."""
    complete, started = _divide(line)
    folded = started.casefold()
    fitting: dict[str, Form] = {}
    for form, element, _ in _expected(complete, forms, context):
        if isinstance(element, Literal) and not element.word.startswith(folded):
            continue
        if element is None and started:
            continue
        fitting.setdefault(form.usage, form)
    return list(fitting.values())


def _of(
    form: Form, element: Element | None, written: str, started: str, context: Context
) -> Iterator[Suggestion]:
    if isinstance(element, Literal):
        yield Suggestion(element.word, form.summary, len(started))
    elif isinstance(element, Slot):
        for text, about, replaces in element.kind.complete(written, context):
            count = len(started) if replaces < 0 else replaces
            yield Suggestion(text, about or element.kind.wants, count)


def _divide(line: str) -> tuple[list[Token], str]:
    """The complete words of a line, and the last one if it may still grow."""
    try:
        tokens = split_line(line)
    except UserError:  # inside a quote that is still open
        return [], ""
    if tokens and not line[-1:].isspace():
        return tokens[:-1], line[tokens[-1].column - 1 :]
    return tokens, ""


def _expected(
    tokens: Sequence[Token], forms: Iterable[Form], context: Context
) -> Iterator[tuple[Form, Element | None, int]]:
    """What may follow ``tokens``: form, element (None for the end), and where it begins."""
    for form in forms:
        for path in form.paths:
            yield from ((form, *rest) for rest in _expected_in(path, tokens, context))


def _expected_in(
    path: Path, tokens: Sequence[Token], context: Context
) -> Iterator[tuple[Element | None, int]]:
    at = 0
    values: dict[str, Any] = {}
    end = tokens[-1].column + len(tokens[-1].text) if tokens else 0
    for element in path:
        begins = tokens[at].column - 1 if at < len(tokens) else end
        if at >= len(tokens) or (isinstance(element, Slot) and element.kind.rest):
            yield element, begins
            return
        try:
            at = take(element, tokens, at, context, values)
        except Misfit:
            return
        except UserError as error:
            left = sum(token.column >= error.place.column for token in tokens)
            if isinstance(element, Slot) and element.kind.words_taken > left:
                yield element, begins
            return
        if isinstance(element, Slot) and element.many:
            yield element, end
    if at == len(tokens):
        yield None, end
