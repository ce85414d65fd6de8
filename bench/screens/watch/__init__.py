"""A watch on the screen: the last minutes as a strip, what is moved, what jumped, which place it is."""
