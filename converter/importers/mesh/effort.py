"""How much work one file may be: counted and never measured, so that the same file gives the same answer anywhere.

What grows faster than the triangles is the search for the table: each fit costs its vertices times the square of
its numbers, and there may be many tables to try. So every fit is charged what it takes, and a body whose share is
used up keeps the best table so far.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

#: Seconds of an ordinary processor for a file of up to `USUAL` triangles, and in proportion for more.
SECONDS = 7.0
USUAL = 100_000
#: Seconds that any body takes, and each of its triangles: to find a radius and a thread.
BODY, TRIANGLE = 0.02, 5e-6
#: Share of all that is left which a single body may take though its triangles are few.
LARGEST_SHARE = 0.25
#: Seconds of one step of a fit: for each vertex, for each vertex and number, and for each vertex and pair of numbers.
_VERTEX, _NUMBER, _PAIR = 6e-7, 1.2e-8, 6e-10
_PART = 2e-4


class Effort:
    """Work that may still be done, in seconds of an ordinary processor.

    Attributes:
        left: of the whole; below 0 once it is overdrawn.
    """

    def __init__(self, triangles: int) -> None:
        self.left = SECONDS * max(1.0, triangles / USUAL)
        self._reserve = 0.0  # for other bodies
        self._triangles = triangles

    @property
    def is_used_up(self) -> bool:
        """Whether the share of the body that is worked on is gone."""
        return self.left <= self._reserve

    @property
    def is_empty(self) -> bool:
        """Whether nothing is left for any body."""
        return self.left <= 0.0

    @contextmanager
    def for_body(self, triangles: int) -> Iterator[None]:
        """Work on one body: its share is that of its triangles in those not yet seen, and what others left over.

        Args:
            triangles: of the body; 0 where they will be counted in another try at it.
        """
        self.left -= BODY + TRIANGLE * triangles
        share = max(LARGEST_SHARE, triangles / max(1, triangles, self._triangles))
        self._reserve = self.left * (1.0 - share)
        self._triangles -= triangles
        try:
            yield
        finally:
            self._reserve = 0.0

    def spend_on_step(self, vertices: int, numbers: int, parts: int) -> None:
        """A step of a fit of so many numbers to so many vertices."""
        self.left -= vertices * (_VERTEX + numbers * (_NUMBER + numbers * _PAIR)) + parts * _PART
