"""A bar on the terminal that shows how far a run has come."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def shown(count: int, *, quiet: bool) -> Iterator[Callable[[object], None]]:
    """Show a bar for so many things; call what is given once for each thing that is done."""
    columns = (TextColumn("Guides"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), disable=quiet) as progress:
        bar = progress.add_task("", total=count)
        yield lambda _: progress.advance(bar)
