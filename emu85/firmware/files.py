"""Reading and writing whole files, so that a failure never leaves half of one."""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from emu85.errors import Place, UserError, nearest
from emu85.written_files import PRINTED

_STALE = 60.0
"""Seconds for which nobody has written to a file that a killed process left."""

_MOST_DRAINED = 1 << 24
"""Bytes taken from a pipe or device."""


def read_bytes(path: Path, *, pipes: bool = False) -> bytes:
    """All bytes of a plain file, or of a pipe or device if ``pipes`` may be read as well.

    Raises:
        UserError: no such file, a directory or device, it may not be read, or a pipe
            or device gives more than a limit that keeps an endless one from filling
            the memory.
    """
    place = Place(str(path))
    try:
        if path.is_file():
            return path.read_bytes()
        if pipes and (path.is_fifo() or path.is_char_device()):
            return _drained(path)
        if path.exists():
            raise UserError("not a plain file", place, expected="a file")
    except (OSError, ValueError) as error:
        raise UserError(f"cannot be read: {_reason(error)}", place) from error
    raise UserError("no such file", place, nearest=_neighbour(path))


def _drained(path: Path) -> bytes:
    with path.open("rb") as stream:
        data = stream.read(_MOST_DRAINED + 1)
    if len(data) > _MOST_DRAINED:
        raise UserError(
            "does not end", Place(str(path)), expected=f"at most {_MOST_DRAINED >> 20} Mbytes"
        )
    return data


def read_text(path: Path, *, pipes: bool = False) -> str:
    """All text of a file, UTF-8 or, failing that, one byte a character.

    Raises:
        UserError: as :func:`read_bytes`.
    """
    data = read_bytes(path, pipes=pipes)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def atomic_write(path: str | Path, data: bytes | str) -> None:
    """Write a file as a whole: readers see the old content or the new, never a part.

    ``str`` is written as UTF-8 with the line ends it has.  A pipe or device takes the
    bytes and stays what it is.

    Raises:
        UserError: the file cannot be written; what stood there before is untouched.
    """
    if str(path) == PRINTED:
        raise UserError(f"nothing is printed by the name {PRINTED}", expected="a file's name")
    target = Path(path)
    content = data.encode() if isinstance(data, str) else data
    try:
        if target.exists() and not target.is_file() and not target.is_dir():
            target.write_bytes(content)
        else:
            _replace(target, content)
    except (OSError, ValueError) as error:
        place = Place(str(target))
        raise UserError(f"cannot be written: {_reason(error)}", place) from error


@contextlib.contextmanager
def atomic_stream(path: str | Path) -> Iterator[BinaryIO]:
    """A file to be written bit by bit; it stands at ``path`` once the block has ended well.

    Raises:
        UserError: the file cannot be written; what stood there before is untouched.
    """
    target = Path(path)
    try:
        with _replacing(target) as file:
            yield file
    except (OSError, ValueError) as error:
        raise UserError(f"cannot be written: {_reason(error)}", Place(str(target))) from error


def _replace(target: Path, content: bytes) -> None:
    with _replacing(target) as file:
        file.write(content)


@contextlib.contextmanager
def _replacing(target: Path) -> Iterator[BinaryIO]:
    """A temporary file that takes the target's place when the block has ended well."""
    _remove_stale(target)
    prefix = f".{target.name}.{os.getpid()}-"
    handle, name = tempfile.mkstemp(prefix=prefix, dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, _mode(target))
        os.replace(name, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(name)
        raise


def _remove_stale(target: Path) -> None:
    """Take away what processes have left that were killed while they wrote this file.

    Only what is no longer written to: the folder may be shared with another computer,
    whose processes are not known here.
    """
    if os.name != "posix":  # elsewhere nobody can be asked without harm
        return
    named = re.compile(rf"\.{re.escape(target.name)}\.(\d+)-\w+")
    with contextlib.suppress(OSError):
        for each in target.parent.iterdir():
            found = named.fullmatch(each.name)
            if found and not _is_alive(int(found[1])) and time.time() - _written(each) > _STALE:
                with contextlib.suppress(OSError):
                    each.unlink()


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # somebody else's
        return True
    return True


def _written(path: Path) -> float:
    return path.stat().st_mtime


def _mode(target: Path) -> int:
    """Permissions the finished file gets; mkstemp alone would hide it from others."""
    try:
        return target.stat().st_mode & 0o777
    except OSError:
        return 0o644


def _reason(error: Exception) -> str:
    return error.strerror or str(error) if isinstance(error, OSError) else str(error)


def _neighbour(path: Path) -> str:
    try:
        return nearest(path.name, (entry.name for entry in path.parent.iterdir()))
    except (OSError, ValueError):
        return ""
