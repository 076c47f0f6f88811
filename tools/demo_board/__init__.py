"""How the demo board is made: circuit, placement, facts, and a two-layer grid router. Not shipped."""
