"""The file of a rehearsal: its heading and its lines.

::

    rehearsal: The gauge greets, and shows its log      # the title; always first
    board: saltmarsh                                    # a demo board, or a board file
    firmware: saltmarsh.asm                             # the board's own if left out

    hear "tide> " within 15 s
    enter log
    hear "paused, entries: 0\r\n"
    see no findings

Files named in it are found from the folder it is in.  ``include FILE`` puts the lines
of another file, which has no heading, in its place.  ``#`` at the beginning of a word
begins a comment.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from emu85.console.kinds import Context, Duration, Kind, Number
from emu85.console.slots import KINDS
from emu85.console.tokens import split_line, without_comment
from emu85.errors import Place, UserError, nearest
from emu85.firmware.files import read_text

SUFFIX = ".rehearsal"
TRACE = 100_000
"""Machine cycles that the trace holds unless the heading says otherwise."""
_FIRST = "rehearsal"
_MOST_LINES = 100_000
"""Lines, those of included files too: files that include one file twice grow fast."""
_DEEPEST = 16
_INCLUDE = "include"


@dataclass(frozen=True, slots=True)
class Line:
    """One line to perform: what stands in it, and where it stands."""

    place: Place
    text: str

    def blame(self, error: UserError) -> UserError:
        """A mistake found in this line, placed; one placed in another file is told in it."""
        if error.place.file or error.place.line:
            return UserError(str(error), self.place)
        place = Place(self.place.file, self.place.line, error.place.column)
        return error.at(place, source=self.text)


@dataclass(frozen=True, slots=True)
class Script:
    """A rehearsal as it was read.

    Attributes:
        path: its file.
        heading: by key, the value and the line it stands in.
        lines: the lines to perform.
    """

    path: Path
    heading: Mapping[str, tuple[str, Line]]
    lines: tuple[Line, ...]

    @property
    def folder(self) -> Path:
        """From where files are named."""
        return self.path.parent

    @property
    def title(self) -> str:
        """What it rehearses."""
        return self.heading[_FIRST][0]

    def value(self, key: str, kind: Kind, missing: int, clock_hz: float = 1.0) -> int:
        """A number of the heading.

        Raises:
            UserError: the heading has something else there.
        """
        if key not in self.heading:
            return missing
        text, line = self.heading[key]
        try:
            tokens = split_line(text)
            value, taken = kind.take(tokens, Context(clock_hz=clock_hz))
            if taken < len(tokens):
                place = Place(column=tokens[taken].column)
                raise UserError(f"{tokens[taken].text!r} is too much", place, expected=kind.wants)
        except UserError as error:
            column = line.text.index(text, line.text.index(":")) + max(1, error.place.column)
            raise line.blame(error.at(Place(column=column))) from None
        return int(value)

    def trace(self) -> int:
        """Machine cycles the trace holds.

        Raises:
            UserError: the heading has no such number.
        """
        return self.value("trace", Number("a count, 1 to 100000000", 10, 1, 100_000_000), TRACE)

    def time(self, key: str, clock_hz: float, missing: float) -> int:
        """A length of board time in T-states; ``missing`` is in seconds.

        Raises:
            UserError: the heading has no such time.
        """
        return self.value(key, Duration(), round(missing * clock_hz), clock_hz)

    def address(self) -> int | None:
        """Where a binary goes, or None.

        Raises:
            UserError: the heading has no such address.
        """
        return self.value("at", KINDS["ADDRESS"], 0) if "at" in self.heading else None


KEYS = {
    _FIRST: "what is rehearsed, in a few words",
    "board": "a demo board's name, or a board file",
    "firmware": "an image or a source; the board's own if left out",
    "at": "the address of a .bin, hexadecimal",
    "symbols": "a symbol file beside the firmware's own symbols",
    "trace": f"machine cycles to keep ({TRACE} if left out)",
    "patience": "how long 'hear' and 'reach' wait if they do not say (1 s if left out)",
    "limit": "how long a console line may run (60 s of board time if left out)",
}
"""The keys of the heading and what each is for."""
_NEEDED = (_FIRST, "board")


def read_script(path: Path) -> Script:
    """Read a rehearsal, and the files it includes.

    Raises:
        UserError: a file that cannot be read, or a mistake in its heading.
    """
    return parse_script(read_text(path), path)


def parse_script(text: str, path: Path) -> Script:
    """The same of a text; ``path`` is for messages, and where files are named from.

    Raises:
        UserError: as :func:`read_script`.
    """
    heading: dict[str, tuple[str, Line]] = {}
    body: list[Line] = []
    for line in _lines(text, path):
        if not body and _is_heading(line, heading):
            _take_heading(line, heading)
        else:
            body.append(line)
    last = Place(str(path), body[0].place.line if body else text.count("\n") + 1)
    for key in _NEEDED:
        if key not in heading:
            raise UserError(f"the heading has no '{key}:'", last, expected=_example(key))
    return Script(path, heading, tuple(_Includer().unfold(body, path, (path.resolve(),))))


def parts_among(paths: Sequence[Path]) -> set[Path]:
    """Those of some files that have no heading and that another of them includes."""
    included: set[Path] = set()
    without_heading: set[Path] = set()
    for path in paths:
        try:
            lines = list(_lines(read_text(path), path))
            included |= {file.resolve() for file in _included(lines, path)}
        except UserError:  # told when it is performed
            continue
        if not lines or not lines[0].text.strip().startswith(f"{_FIRST}:"):
            without_heading.add(path)
    return {path for path in without_heading if path.resolve() in included}


def _included(lines: Iterable[Line], path: Path) -> Iterator[Path]:
    """The files that the lines of one name for others to stand in their place."""
    for line in lines:
        if line.text.split(maxsplit=1)[0].casefold() == _INCLUDE:
            yield from (_beside(path, name) for name in _words(line)[1:])


def _beside(path: Path, name: str) -> Path:
    """A file named in another."""
    return path.parent / Path(name)


def _example(key: str) -> str:
    return f"'{key}: …', {KEYS[key]}"


def _lines(text: str, path: Path) -> Iterator[Line]:
    """The lines that say something."""
    for number, written in enumerate(text.splitlines(), 1):
        if without_comment(written.strip()):
            yield Line(Place(str(path), number), written)


def _is_heading(line: Line, heading: Mapping[str, object]) -> bool:
    word = line.text.split(maxsplit=1)[0]
    return not heading or ":" in word


def _take_heading(line: Line, heading: dict[str, tuple[str, Line]]) -> None:
    key, colon, value = line.text.strip().partition(":")
    column = len(line.text) - len(line.text.lstrip()) + 1
    if not heading and key != _FIRST:
        raise line.blame(
            UserError("not a rehearsal", Place(column=column), expected=_example(_FIRST))
        )
    if key not in KEYS or not colon:
        raise line.blame(
            UserError(
                f"a heading has no {key!r}",
                Place(column=column),
                expected=f"one of {', '.join(KEYS)}",
                nearest=nearest(key, KEYS),
            )
        )
    if key in heading:
        raise line.blame(UserError(f"a second '{key}:'", Place(column=column)))
    value = without_comment(value.strip())
    if not value:
        raise line.blame(
            UserError(f"'{key}:' has no value", Place(column=column), expected=KEYS[key])
        )
    heading[key] = (value, line)


class _Includer:
    """Puts the lines of included files in place, and sees that it comes to an end."""

    def __init__(self) -> None:
        self._count = 0

    def unfold(self, body: Iterable[Line], path: Path, within: tuple[Path, ...]) -> Iterator[Line]:
        """The lines of a file; ``within`` are the files, resolved, that include it."""
        for line in body:
            self._count += 1
            if self._count > _MOST_LINES:
                raise line.blame(UserError(f"more than {_MOST_LINES} lines with those included"))
            words = _words(line)
            if words[0].casefold() == _INCLUDE:
                yield from self._include(line, words[1:], path, within)
            else:
                yield line

    def _include(
        self, line: Line, names: list[str], path: Path, within: tuple[Path, ...]
    ) -> Iterator[Line]:
        if len(names) != 1:
            raise line.blame(UserError("'include' takes one file", expected="include FILE"))
        file = _beside(path, names[0])
        try:
            text = read_text(file)
        except UserError as error:
            place = Place(column=line.text.find(names[0]) + 1)
            raise line.blame(
                UserError(f"{file}: {error.message}", place, nearest=error.nearest)
            ) from None
        if file.resolve() in within:
            raise line.blame(
                UserError(f"{names[0]} includes itself", expected="a file that does not")
            )
        if len(within) == _DEEPEST:
            raise line.blame(UserError(f"files included more than {_DEEPEST} deep"))
        yield from self.unfold(_lines(text, file), file, (*within, file.resolve()))


def _words(line: Line) -> list[str]:
    try:
        return [token.text for token in split_line(line.text)]
    except UserError as error:
        raise line.blame(error) from None
