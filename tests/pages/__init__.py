"""Pages of the documentation that are drawn from the program, and what is checked of all pages."""
