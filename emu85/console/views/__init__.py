"""Text pictures of the board: pure functions from records and registers to lines."""
