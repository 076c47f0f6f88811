"""The board as a graph: model, part types, readers, checks, drawing."""
