"""``python -m emu85`` is the command ``emu85``."""

from emu85.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
