"""Boards under test: the pytest plugin, and what its fixtures give.

The plugin (:mod:`emu85.testing.plugin`) is found by pytest once emu85 is installed and
imports the emulator only when a test asks for it.
"""
