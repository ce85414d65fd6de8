"""The plant: its files, the resolved model with one electrical view, and named faults.

Reading order: ``file`` (what a person writes), ``model`` (what the program works with), ``resolve`` (from the one to
the other), ``load`` (a file with all its problems), ``faults`` and ``faulty`` (a plant that is not as designed).
"""
