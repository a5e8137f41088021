"""Board text as a tree whose every word knows its line and column.

The YAML is composed, never constructed: scalars keep the text that was written
(``0800`` stays ``0800``), no object is ever built from it, and the tree has
three kinds of node only.  Anchors, aliases and tags are refused, since a board
file has no use for them and they make places ambiguous.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import yaml

from emu85.errors import Place, UserError, nearest

_COLON = "a colon after each key; it may be missing in the line above"

_PLAIN_TAGS = frozenset(
    f"tag:yaml.org,2002:{name}"
    for name in ("str", "int", "float", "bool", "null", "timestamp", "merge", "value", "map", "seq")
)


@dataclass(frozen=True, slots=True)
class Node:
    """Any piece of the file: where it stands, and the line of text it stands in."""

    place: Place
    source: str

    def wrong(self, message: str, *, expected: str = "", near: str = "") -> UserError:
        """A mistake located at this piece."""
        return UserError(message, self.place, expected=expected, nearest=near, source=self.source)

    def unknown(self, what: str, word: str, words: Iterable[str]) -> UserError:
        """A word that is none of ``words``; all are listed, the most like is offered."""
        known = sorted(words)
        expected = "one of " + ", ".join(known) if known else ""
        return self.wrong(f"unknown {what} {word!r}", expected=expected, near=nearest(word, known))


@dataclass(frozen=True, slots=True)
class Word(Node):
    """A scalar, as written."""

    text: str


@dataclass(frozen=True, slots=True)
class Entries(Node):
    """A list."""

    items: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Table(Node):
    """A mapping; ``keys`` has the same entries as ``values``, in order of the file."""

    keys: dict[str, Word]
    values: dict[str, Node]


def compose(text: str, file: str) -> Node:
    """The tree of a board text.

    Raises:
        UserError: not YAML, an empty text, a key given twice, an alias or a tag.
    """
    lines = text.splitlines()
    try:
        root = _Loader(text, file, lines).get_single_node()
        if root is None:
            raise UserError("the board file is empty", Place(file, 1), expected="keys of a board")
        return _Tree(file, lines).node(root)
    except yaml.MarkedYAMLError as error:
        raise _marked(error, file, lines) from None
    except yaml.reader.ReaderError as error:
        raise _unreadable(error, text, file) from None
    except RecursionError:
        raise UserError("nested too deeply", Place(file), expected="a board file") from None
    except (ValueError, OverflowError) as error:
        raise UserError(f"not readable as YAML: {error}", Place(file)) from None


class _Loader(yaml.SafeLoader):
    """A loader that stops at the first alias, before any loop can be made with it."""

    def __init__(self, text: str, file: str, lines: list[str]) -> None:
        super().__init__(text)
        self._file = file
        self._lines = lines

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        if self.check_event(yaml.AliasEvent):
            mark = self.peek_event().start_mark  # type: ignore[no-untyped-call]
            place = Place(self._file, mark.line + 1, mark.column + 1)
            source = _line(self._lines, mark.line)
            raise UserError("aliases are not used in board files", place, source=source)
        return super().compose_node(parent, index)


class _Tree:
    def __init__(self, file: str, lines: list[str]) -> None:
        self.file = file
        self.lines = lines

    def node(self, node: yaml.Node) -> Node:
        place = Place(self.file, node.start_mark.line + 1, node.start_mark.column + 1)
        source = _line(self.lines, node.start_mark.line)
        if node.tag not in _PLAIN_TAGS:
            raise UserError(f"tags are not used in board files: {node.tag}", place, source=source)
        if isinstance(node, yaml.ScalarNode):
            return Word(place, source, node.value.strip())
        if isinstance(node, yaml.SequenceNode):
            return Entries(place, source, tuple(self.node(item) for item in node.value))
        assert isinstance(node, yaml.MappingNode)
        return self.table(node, place, source)

    def table(self, node: yaml.MappingNode, place: Place, source: str) -> Table:
        keys: dict[str, Word] = {}
        values: dict[str, Node] = {}
        for key_node, value_node in node.value:
            key = self.node(key_node)
            if not isinstance(key, Word):
                raise key.wrong("a key must be a word")
            if key.text in keys:
                first = keys[key.text].place.line
                raise key.wrong(f"{key.text!r} is given twice, first in line {first}")
            keys[key.text] = key
            values[key.text] = self.node(value_node)
        return Table(place, source, keys, values)


def _line(lines: list[str], number: int) -> str:
    return lines[number] if number < len(lines) else ""


def _marked(error: yaml.MarkedYAMLError, file: str, lines: list[str]) -> UserError:
    # What is never closed is placed where it was opened, not at the end of the file.
    # A key without its colon is placed where it stands, not where the colon was missed.
    unclosed = ("end of stream", "could not find expected ':'")
    is_unclosed = any(words in (error.problem or "") for words in unclosed)
    marks = (error.context_mark, error.problem_mark)
    mark = next(filter(None, marks if is_unclosed else reversed(marks)), None)
    place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file)
    source = _line(lines, mark.line) if mark else ""
    problem = " ".join(part for part in (error.context, error.problem) if part)
    expected = "" if is_unclosed or "mapping values" not in problem else _COLON
    return UserError(f"not YAML: {problem}", place, expected=expected, source=source)


def _unreadable(error: yaml.reader.ReaderError, text: str, file: str) -> UserError:
    before = text[: int(error.position)]
    line = before.count("\n") + 1
    column = len(before) - before.rfind("\n")
    shown = repr(text[int(error.position) : int(error.position) + 1])
    return UserError(f"a character that YAML does not allow: {shown}", Place(file, line, column))
