"""The simulator: the plant as a circuit, and instruments that answer in the bytes of real ones.

The network solver (:mod:`bench.network.circuit`), the plant (``world``) and its instruments (``twins``, and ``scpi``
for what they have in common) are pure: no port, no clock, no file. ``serve`` puts them on real ports, in a process that
``process`` starts.
"""
