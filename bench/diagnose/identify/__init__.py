"""Which wire is which: the conductors of a cable without labels, named by tags, clips, sizes or a tester."""
