"""A program for the kill tests: it writes entries and attachments for ever and acknowledges each on stdout.

Lines: ``job NUMBER``, ``entry NUMBER SEQ TEXT``, ``attachment SHA256 SIZE``. Usage: writer.py FOLDER SEED [COUNT]
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

from coppermend.job.store import Store


def acknowledge(*words: object) -> None:
    """Say that something is durable, at once."""
    print(*words, flush=True)


def main(folder: str, seed: str, count: str = "1000000000") -> None:
    """Open the record, start a job and write into it, an attachment now and then."""
    rng = random.Random(seed)
    store = Store.open(Path(folder))
    job = store.new_job({"customer": f"writer {seed}"}, who="writer")
    acknowledge("job", job)
    for i in range(int(count)):
        if rng.random() < 0.3:
            data = rng.randbytes(rng.choice((10, 1000, 50_000)))
            sha256 = store.attach(data, f"{i}.bin")
            acknowledge("attachment", sha256, len(data))
            body = {"sha256": sha256, "name": f"{seed}-{i}"}
            entry = store.append(job, "photo", "inspect", body, who="writer")
            acknowledge("entry", job, entry.seq, f"{seed}-{i}")
        else:
            entry = store.append(job, "note", "inspect", {"text": f"{seed}-{i}"}, who="writer")
            acknowledge("entry", job, entry.seq, f"{seed}-{i}")


if __name__ == "__main__":
    main(*sys.argv[1:])
