"""The most memory a session takes with a full trace."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.bench.report import Row

_LINES = """run for 3 s
find on any data 3x
find on MW at A000 then OF
findings
"""

# VmHWM rather than the rusage of the child, which counts the parent's size too.
_CHILD = """
import sys
from pathlib import Path
from emu85.cli import main
status = main(["run", "--board", "saltmarsh", "--do", sys.argv[1]])
for line in Path("/proc/self/status").read_text().splitlines():
    if line.startswith("VmHWM"):
        print(line.split()[1], file=sys.stderr)
sys.exit(status)
"""


def memory() -> Iterator[Row]:
    """Peak resident size of a whole ``emu85 run`` whose trace holds a million records."""
    if not Path("/proc/self/status").exists():
        return
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder) / "lines.do"
        script.write_text(_LINES, encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-c", _CHILD, str(script)], capture_output=True, text=True, check=True
        )
    kilobytes = int(done.stderr.split()[-1])
    note = next((line for line in done.stdout.splitlines() if "machine cycles, in" in line), "")
    yield Row("peak memory, million-record trace", kilobytes / 1024, "MB", 300, True, note)
