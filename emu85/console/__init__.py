"""The console: its grammar, words, views, and the terminal application.

Nothing else in emu85 knows of terminals.
"""
