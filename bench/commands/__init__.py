"""The commands, one module each: ``arguments(parser)`` and ``run(arguments) -> exit code``.

Exit codes, the same for every command: 0 all is well or all passed; 1 something failed, is undecided, or was skipped;
2 the input is bad; 3 aborted, or trouble with an instrument or a record.
"""
