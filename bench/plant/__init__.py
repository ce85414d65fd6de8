"""The plant: its files, the resolved model with one electrical view, and named faults.

Reading order: ``file`` (what a person writes), ``things`` and ``model`` (what the program works with), ``resolve`` with
``sites`` and ``cable_ends`` (from the one to the other), ``checks`` (what a whole plant must fulfil), ``load`` (a file
with all its problems), ``demand`` (currents and drops), ``faults`` and ``faulty`` (a plant that is not as designed).
"""
