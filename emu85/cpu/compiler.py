"""Compiling the loop and what counts over its records, once a version of the sources.

The machine code is kept in a folder of the user's cache named after a digest of
the sources it was made from, so a changed instruction table or a new release
can never meet code compiled for an older one, and an installation that cannot
be written to does no harm.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

_PACKAGES = ("cpu", "isa", "bus", "profile/counting")

Loop = Callable[..., int]


def cache_folder() -> Path:
    """Where the compiled loop of these sources is kept."""
    base = os.environ.get("EMU85_CACHE") or os.environ.get("XDG_CACHE_HOME")
    root = Path(base) if base else Path.home() / ".cache"
    return root / "emu85" / _digest()


def is_compiled() -> bool:
    """Whether the next start will find the loop compiled."""
    return any(cache_folder().rglob("*.nbi"))


@cache
def compiled_loop() -> Loop:
    """The loop as machine code; takes some seconds when :func:`is_compiled` is False.

    Returns:
        a callable with the arguments of :func:`emu85.cpu.core.run`, which must be
        contiguous arrays of exactly the stated types.
    """
    from emu85.cpu import core

    return compiled(core.run, core.SIGNATURE)


def compiled(function: Loop, signature: Any) -> Loop:
    """A function over arrays as machine code, kept with the loop.

    Its module stands in one of the packages whose sources are digested.

    Args:
        signature: numba's types of arguments and result.
    """
    import numba

    compiler: Any = numba.njit
    config: Any = numba.config
    before = config.CACHE_DIR
    folder = kept_in()
    config.CACHE_DIR = str(folder) if folder else before
    options = {"cache": folder is not None, "error_model": "numpy", "_nrt": False}
    try:
        dispatcher = compiler(signature, **options)(function)
    finally:
        config.CACHE_DIR = before
    # The entry point takes the arrays without looking their types up at each call.
    entry: Loop = dispatcher.overloads[dispatcher.signatures[0]].entry_point
    return entry


def kept_in() -> Path | None:
    """The folder that keeps the compiled loop, made if need be; None if it cannot be written."""
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return None
    return folder if os.access(folder, os.W_OK) else None


@cache
def _digest() -> str:
    root = Path(__file__).resolve().parent.parent
    text = hashlib.sha256(sys.version.encode())
    for package in _PACKAGES:
        for path in sorted((root / package).glob("*.py")):
            text.update(path.read_bytes())
    return text.hexdigest()[:16]
