"""The simulator: the plant as a circuit, and instruments that answer in the bytes of real ones.

The network solver (:mod:`bench.network.circuit`) and the instruments (``scpi``, ``meter``,
``supply``, ``insulation``, ``matrix``) are pure: no port, no clock, no file.
"""
