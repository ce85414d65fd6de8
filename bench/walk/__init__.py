"""The walk: events, requests and the state machine that folds the one into the other."""
