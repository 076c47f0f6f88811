"""What the damage touched: areas and damage maps in, graded parts, pads, vias, tracks and nets out."""
