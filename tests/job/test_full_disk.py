"""A disk that takes no more gives one clear error and does no damage."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from coppermend.job.store import Store

# A limit on the size of files stands in for a full disk: writes beyond it fail as they would there.
SCRIPT = """
import resource, signal, sys
from pathlib import Path
from coppermend.errors import RecordError
from coppermend.job.store import Store

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with Store.open(Path(sys.argv[1]), "") as store:
    job = store.new_job({"customer": "Ana"}, who="Bo")
    resource.setrlimit(resource.RLIMIT_FSIZE, (700_000, 700_000))
    for attempt in (lambda: store.attach(b"x" * 900_000, "big.bin"), lambda: [
        print("kept", store.append(job, "note", "copper", {"text": "x" * 5000}, who="Bo").seq) for _ in range(10_000)
    ]):
        try:
            attempt()
        except RecordError as error:
            print("refused", error)
"""


def test_full_disk_refuses_clearly_and_damages_nothing(tmp_path: Path):
    """What was acknowledged before the disk was full is there, the record is whole, and it goes on with room again."""
    run = subprocess.run([sys.executable, "-c", SCRIPT, tmp_path], capture_output=True, text=True, check=True)

    lines = run.stdout.splitlines()
    refused = [line for line in lines if line.startswith("refused")]
    kept = [int(line.split()[1]) for line in lines if line.startswith("kept")]
    assert ["File too large" in refused[0], "disk" in refused[1], len(refused)] == [True, True, 2]
    assert kept == list(range(2, len(kept) + 2)) and len(kept) > 5
    with Store.open(tmp_path, "") as store:
        (job,) = store.jobs()
        assert store.last_seq(job.number) == kept[-1]
        assert store.verify() == ()
        assert (
            store.append(job.number, "note", "copper", {"text": "room again"}, who="Bo").seq == kept[-1] + 1
        )
    assert list((tmp_path / "attachments").rglob("*.tmp")) == []
