"""Bad input against everything that takes bytes from outside."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "walk"))
