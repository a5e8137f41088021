"""Time within and across machine cycles: waveforms, cards, delays, memory access."""
