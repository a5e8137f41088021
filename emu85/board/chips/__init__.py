"""Devices, one file each; the registry finds every module of this package."""
