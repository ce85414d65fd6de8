"""The job on the screen: where the plant stands, what is next, records, traces."""
