"""Where on a supply path voltage is lost, and what a first power's readings say is wrong with a shelf."""
