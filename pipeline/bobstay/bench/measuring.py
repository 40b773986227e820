"""What the benches share: time by the clock and of the processor, a process for each piece of work, growth."""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bobstay.errors import BobstayError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from bobstay.settings import Settings


@dataclass(slots=True)
class Spent:
    """Seconds by the clock and of the processor; all threads of this process count in the second."""

    seconds: float = 0.0
    processor: float = 0.0


@contextmanager
def timed() -> Iterator[Spent]:
    """Time what is done within; what it took stands in what is given once it is done."""
    spent = Spent()
    clock, processor = time.perf_counter(), time.process_time()
    yield spent
    spent.seconds, spent.processor = time.perf_counter() - clock, time.process_time() - processor


def in_a_process(module: str, arguments: Sequence[str], *, work: str) -> dict[str, Any]:
    """Return the JSON that `module` prints when it is called with `arguments`; `work` names it where it fails.

    In a process of its own the peak memory is that of the work alone. What it says of its progress goes on to the
    screen. Raises BobstayError where it fails.
    """
    command = [sys.executable, "-m", module, *arguments]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)  # noqa: S603 (this program itself)
    if done.returncode != 0:
        raise BobstayError(f"{work} failed", where=module)
    made: dict[str, Any] = json.loads(done.stdout)
    return made


def peak_mb() -> float:
    """Return the most memory this process has held; elsewhere than on Linux, that its parent held when it began too."""
    status = Path("/proc/self/status")
    if status.exists():
        (kilobytes,) = (line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM:"))
        return int(kilobytes) / 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def growth(sizes: Sequence[int], seconds: Sequence[float]) -> float:
    """Return the least-squares slope of ln seconds on ln size; nan for a single size."""
    x, y = [math.log(n) for n in sizes], [math.log(s) for s in seconds]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    spread = sum((a - mean_x) ** 2 for a in x)
    return sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / spread if spread else math.nan


def with_plain_estimate(settings: Settings) -> Settings:
    """Return the settings with the plain Weibull of each class for the estimate."""
    plain = replace(settings.estimate, detection="perfect", pooling="none", boat_effect=False)
    return replace(settings, estimate=plain)
