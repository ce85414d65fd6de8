"""Bad input against everything that takes bytes from outside."""
