"""Compiling the loop and what counts over its records, once a version of the sources.

The machine code is kept in a folder of the user's cache named after a digest of
the sources it was made from and of the processor, so a changed instruction table or a
new release can never meet code compiled for an older one, and an installation that
cannot be written to does no harm.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import os
from functools import cache
from pathlib import Path

from emu85.cpu.machine_code import Code, Function, computer, made
from emu85.errors import UserError
from emu85.firmware.files import atomic_write

_PACKAGES = ("cpu", "isa", "bus", "profile/counting")
_LOOP = ("emu85.cpu.core", "run")


def cache_folder() -> Path:
    """Where the compiled loop of these sources is kept."""
    base = os.environ.get("EMU85_CACHE") or os.environ.get("XDG_CACHE_HOME")
    root = Path(base) if base else Path.home() / ".cache"
    return root / "emu85" / _digest()


def is_compiled() -> bool:
    """Whether the next start will find the loop compiled."""
    return _kept(*_LOOP) is not None


def compiled_loop() -> Function:
    """The loop as machine code; takes some seconds when :func:`is_compiled` is False.

    Returns:
        a function with the arguments of :func:`emu85.cpu.core.run`, which must be
        contiguous arrays of exactly the stated types.
    """
    return compiled(*_LOOP)


@cache
def compiled(module: str, name: str) -> Function:
    """A function over arrays as machine code, kept with the loop.

    Args:
        module: the full name of its module, which has its ``SIGNATURE`` and stands in one
            of the packages whose sources are digested.
        name: that of the function.
    """
    code = _kept(module, name)
    if code is None:
        source = importlib.import_module(module)
        code = made(getattr(source, name), source.SIGNATURE)
        folder = kept_in()
        if folder:
            with contextlib.suppress(UserError):  # it is made anew next time then
                atomic_write(_file(folder, module, name), code.to_bytes())
    return Function(code)


def kept_in() -> Path | None:
    """The folder that keeps the compiled loop, made if need be; None if it cannot be written."""
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None


def _kept(module: str, name: str) -> Code | None:
    """The machine code of before; None if there is none that is whole."""
    try:
        return Code.from_bytes(_file(cache_folder(), module, name).read_bytes())
    except (OSError, ValueError):
        return None


def _file(folder: Path, module: str, name: str) -> Path:
    return folder / f"{module}.{name}.code"


@cache
def _digest() -> str:
    root = Path(__file__).resolve().parent.parent
    text = hashlib.sha256(computer().encode())
    for package in _PACKAGES:
        for path in sorted((root / package).glob("*.py")):
            text.update(path.read_bytes())
    return text.hexdigest()[:16]
