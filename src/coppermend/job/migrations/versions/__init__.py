"""One module per step; each names the step before it."""
