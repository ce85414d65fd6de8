"""A record wound to any moment on the screen."""
