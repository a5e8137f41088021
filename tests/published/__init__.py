"""Checks of the emulator against published sources.

Expected values were taken down by hand and owe nothing to ``emu85.isa``.  No
document was at hand: every value is a value from memory of the source named
beside it, and where nobody has published, the check says that it is a choice.
"""
