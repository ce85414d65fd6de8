"""What all programs on a terminal share: the first paint, lines of styled text, signs, prompts."""
