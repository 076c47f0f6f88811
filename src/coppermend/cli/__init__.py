"""Command line: open, call, print. Decides nothing about electronics."""


def main() -> None:
    """Run the command line."""
    raise SystemExit("not yet")
