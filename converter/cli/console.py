"""What commands say and how: results on stdout, messages on stderr, colour and progress on a terminal only."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from threading import Lock, Timer
from time import monotonic
from types import TracebackType
from typing import TYPE_CHECKING, Any

from converter.cli.screens.page import echo, is_terminal, on
from converter.progress import listening

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.progress import Progress


#: Seconds of work before anything shows: most commands are done by then.
PATIENCE = 0.5
#: Seconds that a loop within another must last before it takes the line over, so that the line does not flicker.
_LASTING = 0.4


@dataclass(frozen=True, slots=True)
class Console:
    """How one command talks.

    Attributes:
        quiet: say nothing but results and failures.
        verbose: say more.
        as_json: results are JSON.
        as_csv: results are a list in CSV.
    """

    quiet: bool = False
    verbose: bool = False
    as_json: bool = False
    as_csv: bool = False

    def result(self, text: str) -> None:
        """Write a result on stdout."""
        echo(text)

    def json(self, document: Mapping[str, Any]) -> None:
        """Write a JSON document on stdout."""
        from converter.exporters.data.table_json import dumps

        sys.stdout.write(dumps(document))

    def csv(self, text: str) -> None:
        """Write a CSV list on stdout, byte for byte as a file would have it."""
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode("utf-8"))
        sys.stdout.buffer.flush()

    def say(self, text: str | Callable[[], str]) -> None:
        """A message on stderr, unless quiet; a longer one is made when it is wanted, to fit what stderr is."""
        if not self.quiet:
            with on(sys.stderr):
                echo(text if isinstance(text, str) else text(), sys.stderr)

    @contextmanager
    def progress(self, text: str) -> Iterator[None]:
        """Show what is going on and how far it has come while the body runs, on a terminal only; then wipe it.

        Nothing shows when quiet, and none beside JSON that goes to the same terminal.
        """
        if self.quiet or not is_terminal(sys.stderr) or (self.as_json and sys.stdout.isatty()):
            yield
            return
        from converter.quoting import one_line

        with ProgressBar(one_line(text)):
            yield


# --- the progress bar -------------------------------------------------------------------------
# One line on stderr that comes after half a second of work and goes without a trace. The library tells of its loops
# through `converter.progress`. What is counted is in our own words, never in a drawing's; what draws is loaded only
# when there is something to draw.


@dataclass(slots=True)
class Loop:
    """A loop that runs: what is counted, of how many (None: not known), how many are done, when it began."""

    what: str
    total: int | None
    began: float
    done: int = 0


class ProgressBar:
    """Listens to the loops of its body and shows how far they are; a context manager.

    Args:
        text: what is done, shown in front: ``reading rail.dxf``. Plain text without control characters.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self._loops: dict[int, Loop] = {}  # by mark, the outermost first
        self._next = 0
        self._shown: Progress | None = None
        self._over = False
        self._lock = Lock()
        self._timer = Timer(PATIENCE, self._show)
        self._timer.daemon = True
        self._listening = listening(self)

    def __enter__(self) -> ProgressBar:
        self._listening.__enter__()
        self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._listening.__exit__(kind, error, trace)
        self._timer.cancel()
        with self._lock:
            self._over = True
            if self._shown is not None:
                self._shown.stop()

    def enter(self, what: str, total: int | None) -> int:
        """A loop begins."""
        self._next += 1
        # a new mapping, since the drawing thread may be looking at the old one
        self._loops = {**self._loops, self._next: Loop(what, total, monotonic())}
        return self._next

    def step(self, mark: int, done: int) -> None:
        """So many are done."""
        self._loops[mark].done = done

    def leave(self, mark: int) -> None:
        """A loop is over."""
        self._loops = {other: loop for other, loop in self._loops.items() if other != mark}

    def now(self) -> tuple[str, Loop | None]:
        """What to write in front, and the loop to show: the innermost that lasts and has more than one thing in it."""
        loops = [loop for loop in self._loops.values() if loop.total is None or loop.total > 1]
        lasting = [loop for loop in loops if monotonic() - loop.began > _LASTING] or loops[:1]
        outer = [f"{loop.what} {loop.done + 1} of {loop.total}" for loop in lasting[:-1] if loop.total]
        return ", ".join([self.text, *outer]), lasting[-1] if lasting else None

    def _show(self) -> None:
        """Half a second has gone: load what draws, and draw until it is over."""
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
        from rich.table import Column

        bar = self

        class ProgressLine(Progress):
            def get_renderables(self) -> Iterable[RenderableType]:
                for task in self.tasks:  # one; none while it is being set up
                    task.description, loop = bar.now()
                    task.completed, task.total = (loop.done, loop.total) if loop else (0, None)
                    task.fields["count"] = _counted(loop)
                yield self.make_tasks_table(self.tasks)

        class Terminal(Console):
            def show_cursor(self, show: bool = True) -> bool:
                return False  # never hidden, so that no way to end leaves it so

        console = Terminal(file=sys.stderr, force_terminal=True, force_interactive=True)
        room = Column(no_wrap=True, overflow="ellipsis", max_width=max(16, console.width - 56))
        with self._lock:
            if self._over:
                return
            self._shown = ProgressLine(
                TextColumn("{task.description}", markup=False, table_column=room),
                BarColumn(24),
                TextColumn("{task.fields[count]}", markup=False),
                TimeElapsedColumn(),
                console=console,
                transient=True,
                refresh_per_second=8,
                redirect_stdout=False,
                redirect_stderr=False,
            )
            self._shown.add_task(self.text, total=None, count="")
            self._shown.start()


def _counted(loop: Loop | None) -> str:
    if loop is None:
        return ""
    return f"{loop.done} {loop.what}" if loop.total is None else f"{loop.done} of {loop.total} {loop.what}"
