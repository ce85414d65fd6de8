"""The dialogue: bytes cut into frames, replies matched to questions and read."""
