"""Judging: what a conductor should read, how sure a reading is, and whether it holds.

Reading order: ``conductor`` (what to expect), ``accuracy`` (what the meter promises), ``uncertainty`` and ``reading``
(how sure one reading is), ``limit`` and ``decision`` (pass, fail, undecided), ``advice`` and ``capability`` (what would
help), ``siblings`` (a pin that passes but stands out), then the trades' own rules: ``insulation``, ``charge``,
``harness``, ``fusing`` (what a wire survives).

Everything here is a pure function of plain numbers in base units (ohm, volt, ampere, farad, metre, second, degree
Celsius; cross-sections in mm²). Nothing is read or written, and no clock is asked. Every result has a ``sentence`` that
a tired volunteer understands. What cannot be judged raises :class:`bench.judge.judge_error.JudgeError`.

What every reading makes anew (components, budgets, limits, decisions) are structs of msgspec, the one library that is
imported here: they are made in a thirtieth of the time of frozen data classes.
"""
