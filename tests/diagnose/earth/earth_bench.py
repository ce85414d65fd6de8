"""Gives the tests here the plants of the benchmark as ``bench``."""

from tests.benchmarks import bench_earth as bench

__all__ = ["bench"]
