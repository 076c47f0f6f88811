"""Coppermend: restore battery-damaged control boards, one customer's board at a time."""

__version__ = "0.1.0"
