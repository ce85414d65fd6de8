"""One path to earth: where a second one runs, which bond is poor, and what these readings cannot see."""
