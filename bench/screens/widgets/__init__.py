"""Things that are drawn: large digits, a connector's face, a limit as a scale."""
