"""The plant as physics: circuits, insulation, inputs of shelves, and the terminals that meters see."""
