"""How things are said, the same on every page and line: readings, limits, verdicts, lists and times in words; axes."""
