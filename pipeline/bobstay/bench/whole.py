"""From files to the priority list beside the engine's plain typed load: `python -m bobstay.bench.whole [--rows N,N]`.

In one run on the same files, each in a process of its own: the plain load, and the job up to the table `priority`
(load, lives, estimate, ranking with its guidance) with the plain estimate and with the full default one, and a script
of pandas and lifelines that does the plain job. Ratios of times, peak memory, and how each stage's time grows with the
rows. Checks, alerts, plan, back-test and pages are apart.
"""

from __future__ import annotations

import argparse
import json
import sys
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from bobstay.bench import by_pandas
from bobstay.bench.ingest import LIMIT, plain_load
from bobstay.bench.looks import Fleet, generate
from bobstay.bench.measuring import growth, in_a_process, peak_mb, timed, with_plain_estimate

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from bobstay.settings import Settings

WAYS = ("plain load", "plain", "default", "pandas")


@dataclass(frozen=True, slots=True)
class Done:
    """One way through: seconds, processor seconds and peak memory by the end of each stage; the rows ranked."""

    seconds: dict[str, float]
    processor: dict[str, float]
    peaks_mb: dict[str, float]
    ranked: int

    @property
    def peak_mb(self) -> float:
        """The most memory held."""
        return max(self.peaks_mb.values())

    @property
    def total(self) -> float:
        """Seconds of all stages together."""
        return sum(self.seconds.values())


class Stages:
    """Times stages one after another."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.processor: dict[str, float] = {}
        self.peaks_mb: dict[str, float] = {}

    @contextmanager
    def timed(self, name: str) -> Iterator[None]:
        """Time what is done within under `name`."""
        with timed() as spent:
            yield
        self.seconds[name], self.processor[name] = spent.seconds, spent.processor
        self.peaks_mb[name] = peak_mb()


def settings_of(way: str) -> Settings:
    """Return the settings of one way: the plain Weibull of each class, or the defaults."""
    from bobstay.settings import Settings

    return Settings() if way == "default" else with_plain_estimate(Settings())


def through(way: str, place: Path, files: Sequence[Path]) -> Done:
    """Go one way on the files of boats, fittings and looks, into a store in `place`."""
    stages, ranked = Stages(), 0
    if way == "plain load":
        with stages.timed("load"):
            plain_load(place, dict(zip(("boats", "fittings", "inspections"), files, strict=True)))
    elif way == "pandas":
        with stages.timed("script"):
            ranked = len(by_pandas.ranked(files, as_of=LIMIT))
    else:
        ranked = _job(stages, place / f"bobstay {way}.duckdb", files, settings_of(way))
    return Done(stages.seconds, stages.processor, stages.peaks_mb, ranked)


def _job(stages: Stages, store_path: Path, files: Sequence[Path], settings: Settings) -> int:
    from bobstay import store
    from bobstay.run import estimate_now, job, lives_now, rank_now, take_in

    how, out = replace(settings, as_of=LIMIT), store_path.parent / "out"
    with stages.timed("load"):
        take_in(files, store_path=store_path, settings=how, say=_quiet)
    with job(store_path, out=out, settings=how, say=_quiet) as opened, store.at_once(opened.con):
        for name, work in (("lives", lives_now), ("estimate", estimate_now), ("rank", rank_now)):
            with stages.timed(name):
                work(opened)
        return int(store.value(opened.con, "SELECT count(*) FROM priority"))


def _quiet(_: str) -> None:
    pass


def measured(rows: int, ways: Sequence[str], *, kind: str) -> dict[str, Done]:
    """Write a fleet of `rows` looks as CSV or Parquet and go each way; the files are taken away again."""
    import duckdb

    with TemporaryDirectory(prefix="bobstay_bench_") as name:
        with duckdb.connect() as con:
            fleet = generate(con, Path(name), rows=rows, kind=kind)
        return {way: _in_a_process(way, fleet, Path(name)) for way in ways}


def _in_a_process(way: str, fleet: Fleet, place: Path) -> Done:
    _say(f"{fleet.looks.suffix[1:]}, {way}")
    files = [str(path) for path in (place, fleet.boats, fleet.fittings, fleet.looks)]
    done = Done(**in_a_process("bobstay.bench.whole", ["--one", way, *files], work=f"the way '{way}'"))
    _say(", ".join(f"{n} {s:.1f} s, {done.peaks_mb[n]:.0f} MB" for n, s in done.processor.items()))
    return done


def _say(text: str) -> None:
    sys.stderr.write(text + "\n")


def lines(found: dict[int, dict[str, Done]]) -> list[str]:
    """Return a Markdown table of every size and way, and of how the time of each stage grows from size to size."""
    told = [
        "| looks | way | seconds | of the plain load | processor seconds by stage | peak MB by then | ranked |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for rows, ways in found.items():
        base = ways["plain load"].total
        for way, done in ways.items():
            stages = ", ".join(f"{name} {seconds:.1f}" for name, seconds in done.processor.items())
            peaks = ", ".join(f"{name} {peak:.0f}" for name, peak in done.peaks_mb.items())
            told.append(
                f"| {rows:,} | {way} | {done.total:.1f} | {done.total / base:.1f} | {stages} | {peaks} "
                f"| {done.ranked:,} |"
            )
    return told + [line for pair in zip(found, list(found)[1:], strict=False) for line in _growth(found, pair)]


def _growth(found: dict[int, dict[str, Done]], sizes: tuple[int, int]) -> Iterator[str]:
    """Yield the exponents by which each stage's processor time grew between two sizes."""
    few, many = sizes
    for way, done in found[many].items():
        before = found[few][way].processor
        by_stage = (f"{name} {growth(sizes, (before[name], done.processor[name])):.2f}" for name in done.processor)
        yield f"growth from {few:,} to {many:,}, {way}: {', '.join(by_stage)}"


def main() -> None:
    """Measure and print; with --one go one way and print its numbers as JSON."""
    parser = argparse.ArgumentParser(description="From files to the priority list beside the engine's plain load.")
    parser.add_argument("--rows", default="1000000", help="sizes, with commas between")
    parser.add_argument("--ways", default=",".join(WAYS))
    parser.add_argument("--kind", choices=("csv", "parquet"), default="csv")
    parser.add_argument("--one", nargs=5, metavar=("WAY", "DIR", "BOATS", "FITTINGS", "LOOKS"), help="one way only")
    asked = parser.parse_args()
    if asked.one is not None:
        way, place, *files = asked.one
        print(json.dumps(asdict(through(way, Path(place), [Path(f) for f in files]))))  # noqa: T201
        return
    sizes = [int(size) for size in asked.rows.split(",")]
    found = {rows: measured(rows, asked.ways.split(","), kind=asked.kind) for rows in sizes}
    print("\n".join(lines(found)))  # noqa: T201


if __name__ == "__main__":
    main()
