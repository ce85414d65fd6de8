"""One resistive network for all: what hangs together, what is read between two points, what flows under load.

:mod:`bench.network.circuit` answers for networks by name; :mod:`bench.network.cases` for many networks at once that
differ in few branches. Below them: one island factored, loads of constant power, small matrices, disjoint sets.
"""
