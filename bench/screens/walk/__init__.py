"""The walk on the screen and line by line."""
