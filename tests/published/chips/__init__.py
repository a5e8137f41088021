"""Each peripheral chip against its data sheet, driven by firmware over the bus."""
