"""Paper out: return tag and return report."""
