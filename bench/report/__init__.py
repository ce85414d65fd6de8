"""Reports: what a record says, for people, without a screen."""
