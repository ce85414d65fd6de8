"""Instruments that answer as real ones do, over any world."""
