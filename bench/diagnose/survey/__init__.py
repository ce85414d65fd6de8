"""Which loose ends are one cable, which goes where, how surely, and what to look at next."""
