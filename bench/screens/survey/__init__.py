"""Surveying: one find after the other, on a screen or line by line, from one conversation."""
