"""What an output did over time, kept as steps, and saved as sound or as a table.

A step is a T-state and the level from then on.  A sound file is made by averaging
the level over each sample's time, so that steps between samples keep their moment and
pitches are true; nothing is filtered beyond that.
"""

from __future__ import annotations

import io
import wave
from collections import deque
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emu85.errors import UserError
from emu85.firmware.files import atomic_write

SAMPLE_RATE = 44_100
MOST_STEPS = 2_000_000
LONGEST = 600
"""Seconds of sound that are saved, the last ones."""


class Recording:
    """Steps of one output, the oldest forgotten when there are too many.

    Attributes:
        steps: (T-state, level), T-states rising.
    """

    def __init__(self) -> None:
        self.steps: deque[tuple[int, int]] = deque(maxlen=MOST_STEPS)

    def note(self, t: int, level: int) -> None:
        """The level from T-state ``t`` on; the last one said for a T-state counts."""
        if self.steps and self.steps[-1][0] == t:
            self.steps[-1] = (t, level)
        elif not self.steps or self.steps[-1][1] != level:
            self.steps.append((t, level))

    def clear(self) -> None:
        """Forget everything."""
        self.steps.clear()

    def samples(self, clock: Fraction, end: int, lowest: int, highest: int) -> NDArray[np.int16]:
        """Sound from the first step to T-state ``end``.

        Args:
            clock: T-states a second.
            lowest, highest: levels that become the ends of the range.

        Returns:
            int16 at :data:`SAMPLE_RATE`, at least one sample.
        """
        t = np.array([at for at, _ in self.steps] + [end], dtype=np.float64)
        level = np.array([value for _, value in self.steps], dtype=np.float64)
        area = np.concatenate(([0.0], np.cumsum(np.diff(t) * level)))
        width = float(clock) / SAMPLE_RATE
        count = max(1, min(int((t[-1] - t[0]) / width), LONGEST * SAMPLE_RATE))
        bounds = t[-1] - width * np.arange(count, -1, -1)
        means = np.diff(np.interp(bounds, t, area)) / width
        middle, half = (highest + lowest) / 2, (highest - lowest) / 2
        scaled = np.clip((means - middle) / half, -1.0, 1.0) * 32767
        samples: NDArray[np.int16] = np.rint(scaled).astype("<i2")
        return samples

    def save_wav(self, path: Path, clock: Fraction, end: int, lowest: int, highest: int) -> None:
        """Write a mono WAV file of 16 bits.

        Raises:
            UserError: there is nothing to save, or the file cannot be written.
        """
        if not self.steps:
            raise UserError("nothing has come out yet, so there is no sound to save")
        file = io.BytesIO()
        with wave.open(file, "wb") as sound:
            sound.setnchannels(1)
            sound.setsampwidth(2)
            sound.setframerate(SAMPLE_RATE)
            sound.writeframes(self.samples(clock, end, lowest, highest).tobytes())
        atomic_write(path, file.getvalue())

    def save_csv(self, path: Path, clock: Fraction, full: Fraction) -> None:
        """Write a line for each step: seconds, T-state, volts (``full`` for FF), level.

        Levels are bytes in hexadecimal, as a converter reads them from a file.

        Raises:
            UserError: there is nothing to save, or the file cannot be written.
        """
        if not self.steps:
            raise UserError("nothing has come out yet, so there is nothing to save")
        lines = [
            f"{float(t / clock):.9f},{t},{float(full * level / 255):.4f},{level:02X}"
            for t, level in self.steps
        ]
        atomic_write(path, "\n".join(["seconds,T-state,volts,level", *lines]) + "\n")


def by_suffix(path: Path, *suffixes: str) -> str:
    """Which of these a file's name ends in.

    Raises:
        UserError: none of them.
    """
    suffix = path.suffix.casefold()
    if suffix not in suffixes:
        raise UserError(
            f"{path.name!r} does not say what to save",
            expected="a file name in " + " or ".join(suffixes),
        )
    return suffix
