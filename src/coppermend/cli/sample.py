"""``coppermend demo``: the sample job, start to finish."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from coppermend.cli.output import JsonFlag, console, emit, say, say_next, table
from coppermend.cli.tree import examples
from coppermend.demo.job import SampleResult, run_sample
from coppermend.job.entry import STAGES, Stage


def _run_with_progress(out: Path) -> SampleResult:
    """Run the sample job with a bar on a terminal, or a line for each entry elsewhere."""
    if not console.is_terminal:
        return run_sample(
            out, lambda stage, seq, words: print(f"{stage:<8} entry {seq:>3}  {words}", flush=True)
        )
    columns = (
        TextColumn("{task.description:<9}"),
        BarColumn(),
        TextColumn("{task.fields[words]}"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console) as progress:
        bar = progress.add_task("receive", total=len(STAGES), words="")

        def tell(stage: Stage, seq: int, words: str) -> None:
            progress.update(
                bar, description=stage, completed=STAGES.index(stage), words=f"entry {seq}: {words}"[:60]
            )

        result = run_sample(out, tell)
        progress.update(bar, completed=len(STAGES), words="done")
    return result


@examples("coppermend demo --out sample", "coppermend demo --serve")
def demo(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the results go.")] = Path(
        "coppermend-demo"
    ),
    serve_after: Annotated[
        bool, typer.Option("--serve", help="Open the bench on the sample job afterwards.")
    ] = False,
    as_json: JsonFlag = False,
) -> int:
    """Run the whole sample job on an invented board, start to finish, and say what to open."""
    started = time.monotonic()
    result = run_sample(out, lambda *_: None) if as_json else _run_with_progress(out)
    document = {
        **result.summary,
        "seconds": round(time.monotonic() - started, 2),
        "files": {label: str(path) for label, path in result.files.items()},
    }

    def show_text() -> None:
        say("", f"Sample job {result.number}: passed its gate in {document['seconds']} s.")
        table("open these", ("what", "file"), document["files"].items())
        say_next("serve", "--data", out / "record")

    emit(document, as_json, show_text)
    if serve_after:
        from coppermend.cli.serving import serve  # noqa: PLC0415  (the server is not needed to run the job)

        return serve(data=out / "record")
    return 0
