"""``python -m coppermend``."""

from coppermend.cli import main

main()
