"""A board on which an 8257 writes bytes into RAM while the CPU is held."""

from __future__ import annotations

BOARD = """
name: pump
crystal: 6 MHz
memory:
  - {rom: 2K, at: 0000}
  - {ram: 1K, at: 8000}
ports:
  - {device: 8257, name: dma, at: 40-4F, port 0: 10}
  - {device: latch, name: ask, at: 20, clear: yes}
  - {device: switches, name: in, at: 10, value: 5A}
lines:
  HOLD: dma.hrq
  dma.hlda: HLDA
  dma.drq0: ask.q0
"""
