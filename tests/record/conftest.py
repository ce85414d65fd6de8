"""Lets the tests here use the walks on paper."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "walk"))
