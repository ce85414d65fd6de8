"""The room of faults that come and go: which place it is, how far along the cable, what happened unseen."""
