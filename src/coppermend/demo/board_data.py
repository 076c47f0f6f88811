"""The demo board's folder as it ships with the program: file names and bytes. Parsing is left to ``board``.

The folder is written by ``tools/make_demo_board.py``; edit the circuit there, not the files.
"""

from __future__ import annotations

from importlib import resources


def demo_board_files() -> dict[str, bytes]:
    """File name -> bytes of the demo board's folder, in order of name.

    >>> sorted(demo_board_files())
    ['board.toml', 'nets.csv', 'parts.csv', 'tracks.csv', 'vias.csv']
    """
    folder = resources.files("coppermend.demo") / "board"
    files = sorted((file for file in folder.iterdir() if file.is_file()), key=lambda file: file.name)
    return {file.name: file.read_bytes() for file in files if file.name.endswith((".toml", ".csv"))}
