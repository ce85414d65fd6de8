"""Sequences: what is to be done, in order. Files, their checks, and unrolling into single steps."""
