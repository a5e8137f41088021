"""Where the next line comes from: files, macro bodies and repeated lines, stacked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from emu85.errors import Place, UserError, nearest
from emu85.firmware.assembler.errors import Hopeless
from emu85.firmware.files import read_text
from emu85.firmware.image import SourceLine

_DEEPEST = 100
"""Macro calls within one another."""
_DEEPEST_FILES = 20
"""Files that include one another, without any of them coming twice."""
_MOST_LINES = 100_000
"""Lines that macros, repetitions and included files may make in one pass."""


@dataclass(slots=True)
class Conditional:
    """An IF that is open: whether its present branch is assembled, and where it stands."""

    line: SourceLine
    column: int
    active: bool
    seen_else: bool = False


@dataclass(slots=True)
class Frame:
    """One source of lines.

    Attributes:
        name: of a macro or directive; empty for a file.
        called: where a macro or repetition was asked for.
        conditionals: IFs opened in it; they must end in it.
    """

    lines: Iterator[SourceLine]
    file: str = ""
    name: str = ""
    called: Place = field(default_factory=Place)
    conditionals: list[Conditional] = field(default_factory=list)

    @property
    def active(self) -> bool:
        """Whether no IF leaves the next line out."""
        return all(condition.active for condition in self.conditionals)

    @property
    def is_file(self) -> bool:
        return not self.name


class Sources:
    """The stack of frames; the top one gives the next line."""

    def __init__(self) -> None:
        self.frames: list[Frame] = []
        self._made = 0

    @property
    def top(self) -> Frame:
        return self.frames[-1]

    def enter_file(self, text: str, file: str) -> None:
        """Go on with the lines of a file.

        Raises:
            Hopeless: the file is already open, or too many are.
        """
        open_files = [frame.file for frame in self.frames if frame.is_file]
        if any(_same(file, other) for other in open_files):
            raise Hopeless(f"{file} includes itself", expected="a file that is not open already")
        if len(open_files) >= _DEEPEST_FILES:
            raise Hopeless(
                "files include one another too deep", expected=f"at most {_DEEPEST_FILES} levels"
            )
        lines = text.split("\n")
        if lines[-1] == "":
            lines.pop()
        self.frames.append(
            Frame((SourceLine(file, n, t.rstrip("\r")) for n, t in enumerate(lines, 1)), file=file)
        )

    def enter_expansion(self, lines: Iterator[SourceLine], name: str, called: Place) -> None:
        """Go on with lines made by a macro or repetition.

        Raises:
            Hopeless: too many expansions are open.
        """
        if sum(not frame.is_file for frame in self.frames) >= _DEEPEST:
            raise Hopeless(
                f"{name} nests too deep",
                called,
                expected=f"at most {_DEEPEST} expansions in one another",
            )
        self.frames.append(Frame(lines, name=name, called=called))

    def next_line(self) -> SourceLine | None:
        """The next line of the top frame; None at its end.

        Raises:
            Hopeless: macros, repetitions and includes made too many lines.
        """
        line = next(self.top.lines, None)
        if line is not None and len(self.frames) > 1:
            self._made += 1
            if self._made > _MOST_LINES:
                raise Hopeless(
                    f"{self.top.name or self.top.file} makes too many lines",
                    Place(column=1),
                    expected=f"at most {_MOST_LINES} from macros, repetitions and includes",
                )
        return line

    @property
    def expanding(self) -> bool:
        """Whether the top frame is a macro or repetition."""
        return bool(self.frames) and not self.top.is_file

    def trail(self) -> str:
        """Where the macros that are open were called, innermost first."""
        calls = [f"{f.name} at {f.called}" for f in reversed(self.frames) if not f.is_file]
        shown = calls[:3] + (["..."] if len(calls) > 3 else [])
        return ", in ".join(shown)


def find_include(name: str, beside: str, directories: tuple[Path, ...]) -> tuple[str, str]:
    """Text and path of an included file: beside the including one, then in ``directories``.

    Raises:
        UserError: it is nowhere, or cannot be read.
    """
    places = (Path(beside).parent, *directories)
    try:
        found = next((d / name for d in places if (d / name).exists()), None)
        names = () if found else tuple(p.name for d in places if d.is_dir() for p in d.iterdir())
    except (OSError, ValueError) as error:
        raise UserError(f"{name!r} cannot be looked up", expected="a file name") from error
    if found is None:
        raise UserError(
            f"no file {name!r} to include",
            expected="a file beside this one or in an include directory",
            nearest=nearest(name, names),
        )
    return read_text(found), str(found)


def _same(one: str, other: str) -> bool:
    try:
        return Path(one).resolve() == Path(other).resolve()
    except (OSError, ValueError):
        return one == other
