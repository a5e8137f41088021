"""Where the user's own state is kept between sessions."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def folder() -> Path:
    """The folder for history and the like; it may not exist yet.

    The XDG Base Directory Specification names it on Unix; on Windows it stands
    under the local application data.
    """
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    else:
        base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "emu85"
