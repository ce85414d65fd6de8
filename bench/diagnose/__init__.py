"""Pure questions about wiring and evidence: plain data in, plain data out, no files and no meters.

Which wire is which (`identify`), what is wrong with the map (`explain`), which nets are joined that should be apart
(`apart`), whether the earth has one path (`earth`), where voltage is lost (`supply`), what changed over months
(`series`). What they ask for in a walk goes through `searches`.
"""
