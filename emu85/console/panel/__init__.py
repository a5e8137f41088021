"""The lamp panel: every line of the bus a lamp, full screen."""
