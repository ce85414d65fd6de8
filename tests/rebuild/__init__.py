"""A whole rebuild, from the pile of cables to the last shelf and a year of faults, drawn: by hand and with the tool.

``plants`` draws what there is and what is wrong with it, ``team`` who does the work, ``by_hand`` and ``proveout`` are
the two ways to do it, ``year`` is what comes after, ``figures`` counts. The truth lives in the simulated plant
 (:mod:`tests.rebuild.site`); neither way looks at it but through readings and looks.
"""
