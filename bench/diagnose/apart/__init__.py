"""Nets that must be apart: all joins found and all insulation proven, in few readings."""
