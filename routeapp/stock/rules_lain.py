"""What lay in a cabinet at which moment, by the books."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise


@dataclass(frozen=True)
class Lain:
    """Pieces of one prize in one cabinet: `first` at the beginning, and `steps` of (moment, pieces from then on), each
    moment once, oldest first."""

    first: int
    steps: Sequence[tuple[datetime, int]]

    def before(self, moment: datetime) -> int:
        """Pieces just before a moment."""
        return self._after_steps(bisect_left(self.steps, moment, key=lambda step: step[0]))

    def after(self, moment: datetime) -> int:
        """Pieces from a moment on, with what was counted and put in at it."""
        return self._after_steps(bisect_right(self.steps, moment, key=lambda step: step[0]))

    def _after_steps(self, many: int) -> int:
        return self.steps[many - 1][1] if many else self.first

    def _between(self, start: datetime, end: datetime) -> list[datetime]:
        first = bisect_right(self.steps, start, key=lambda step: step[0])
        return [at for at, _ in self.steps[first : bisect_left(self.steps, end, key=lambda step: step[0])]]

    def was_inside(self, start: datetime, end: datetime) -> bool | None:
        """Whether some lay there all the time between two moments; None: for a part of it."""
        there = {self.after(at) > 0 for at in (start, *self._between(start, end))}
        return there.pop() if len(there) == 1 else None

    def days_inside(self, start: datetime, end: datetime) -> float:
        """Days between two moments in which some lay there."""
        marks = [start, *self._between(start, end), end] if start < end else []
        return sum((until - at) / timedelta(days=1) for at, until in pairwise(marks) if self.after(at) > 0)
