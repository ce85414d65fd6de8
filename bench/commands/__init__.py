"""The commands, one module each: ``arguments(parser)`` and ``run(arguments) -> exit code``.

Exit codes, the same for every command: 0 all is well or all passed; 1 something failed, is undecided, or was skipped;
2 the input is bad; 3 aborted, or trouble with an instrument or a record.

A command's module is loaded for its help, which must answer at once: at its top it imports what is light
(``common``, ``bench.errors``), and what the work needs in the function that does it. What commands share and load only
to work (``run_here``, ``job_source``, ``start_screen`` and the like) imports at the top.
"""
