"""Gives the tests here the plants of the benchmark, ``tests/benchmarks/bench_earth.py``, as ``bench``."""

import importlib.util
import sys
from pathlib import Path

_path = Path(__file__).parents[1] / "benchmarks" / "bench_earth.py"
_spec = importlib.util.spec_from_file_location("bench_earth", _path)
bench = importlib.util.module_from_spec(_spec)
sys.modules["bench_earth"] = bench  # dataclasses look their module up
_spec.loader.exec_module(bench)
