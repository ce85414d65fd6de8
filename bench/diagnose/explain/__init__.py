"""What people did to the wiring: the fewest causes that make the measured map out of the designed one."""
