"""The instrument's side of IEEE 488.2 and SCPI-1999."""
