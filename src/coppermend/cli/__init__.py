"""Command line: open, call, print. Decides nothing about electronics."""

from coppermend.cli.app import main

__all__ = ["main"]
