"""How far reading is, on standard error; nothing where standard error is no terminal."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from ..warehouse.ingest import OnProgress
from ..warehouse.ingest import Progress as Step


@contextmanager
def showing_progress() -> Iterator[OnProgress]:
    """A progress bar for the length of a ``with`` block; what to call with each step."""
    console = Console(stderr=True)
    columns = (BarColumn(), MofNCompleteColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("", total=None)

        def show(step: Step) -> None:
            page = f", page {step.page} of {step.pages}" if step.pages else ""
            bar.update(task, total=step.total, completed=step.done, description=f"{step.document}{page}")

        yield show
