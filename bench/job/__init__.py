"""The folder of records: evidence, readiness, what to do next, and a point traced over time."""
