"""One quantity over time: steady, step, drift, comes and goes; control charts."""
