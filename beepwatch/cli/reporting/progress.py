"""A progress bar on a terminal's standard error; anywhere else nothing."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress(name: str, total: float | None, wanted: bool) -> Iterator[Callable[[float], None]]:
    """Show how far a file is; call what this yields with the seconds done. total: None where not known."""
    if not (wanted and sys.stderr is not None and sys.stderr.isatty()):
        yield _nothing
        return
    from rich.console import Console  # noqa: PLC0415 - only a terminal needs it
    from rich.markup import escape  # noqa: PLC0415
    from rich.progress import Progress  # noqa: PLC0415

    bar = Progress(console=Console(stderr=True), transient=True, redirect_stdout=False)
    with bar:
        task = bar.add_task(escape(name), total=total)
        yield lambda seconds: bar.update(task, completed=seconds)


def _nothing(seconds: float) -> None:
    """Show nothing."""
