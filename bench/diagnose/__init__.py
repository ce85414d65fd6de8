"""Pure questions about wiring and evidence: plain data in, plain data out, no files and no meters.

Which wire is which (`identify` and its planners), what is wrong with the map (`explain`), which nets
are shorted (`isolation`), what has to be proven again (`reprove`), whether the earth has one path.
"""
