"""What the operator meets: the screen in the terminal, and the same walk line by line.

A screen is a client of the runner: it folds the growing record, shows the state, and sends wishes. Words, the face of
a connector, the scale and the digits are pure functions; only the apps and their programs know Textual.
"""
