"""A two-pass assembler for the 8085 in Intel's syntax."""

from emu85.firmware.assembler.errors import AssemblyErrors
from emu85.firmware.assembler.passes import assemble
from emu85.firmware.assembler.result import Assembly

__all__ = ["Assembly", "AssemblyErrors", "assemble"]
