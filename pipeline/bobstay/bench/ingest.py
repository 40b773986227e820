"""How long a load takes beside the engine's plain typed load: `python -m bobstay.bench.ingest [--rows 1000000]`.

In one run on the same files: the plain load, and the whole one with every row checked, set aside or stored, and
reconciled; the ratio of their times, of their processor times, and the peak memory of each. Each is done in a process
of its own, so that its peak memory is its own; seconds run from the opening of the store to its closing, without the
start of Python. Ratios travel from machine to machine, seconds do not.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from bobstay.bench.looks import Fleet, generate
from bobstay.bench.measuring import in_a_process, peak_mb, timed
from bobstay.errors import BobstayError
from bobstay.tables import INPUT_BY_NAME, INSPECTIONS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from bobstay.tables import InputTable

PLAIN_TYPES = {"date": "DATE", "integer": "BIGINT", "number": "DOUBLE", "yes_no": "BOOLEAN"}
LIMIT = date(2027, 1, 10)
RATIO_BOUND, PEAK_BOUND_MB = 2.5, 3000  # what is promised of 10 million rows


@dataclass(frozen=True, slots=True)
class Load:
    """One load: how long it took, the most memory its process held, and what became of the rows."""

    seconds: float
    processor_seconds: float
    peak_mb: float
    rows_used: int
    rows_set_aside: int


@dataclass(frozen=True, slots=True)
class Measured:
    """Both loads of one file; `ratio` is the whole load's time over the plain one's."""

    rows: int
    file_mb: float
    plain: Load
    whole: Load

    @property
    def ratio(self) -> float:
        """Seconds of the whole load for each second of the plain one."""
        return self.whole.seconds / self.plain.seconds

    @property
    def processor_ratio(self) -> float:
        """The same of processor time, which other programs on the machine disturb less."""
        return self.whole.processor_seconds / self.plain.processor_seconds


def measured(rows: int, *, say: Callable[[str], None]) -> Measured:
    """Write a fleet of `rows` looks into a folder of its own, load it both ways, and take it away again.

    Raises BobstayError where the rows set aside are not those that were made bad.
    """
    import duckdb

    with TemporaryDirectory(prefix="bobstay_bench_") as name:
        place = Path(name)
        say(f"writing {rows} looks")
        with duckdb.connect() as con:
            fleet = generate(con, place, rows=rows)
        plain, whole = (_in_a_process(kind, fleet, place, say) for kind in LOADS)
        _refuse_unless_equal(whole, rows, fleet)
        return Measured(rows, fleet.looks.stat().st_size / 1e6, plain, whole)


def _refuse_unless_equal(whole: Load, rows: int, fleet: Fleet) -> None:
    if (whole.rows_used, whole.rows_set_aside) != (rows - fleet.bad_count, fleet.bad_count):
        raise BobstayError(
            f"of {rows} looks {whole.rows_set_aside} were set aside where {fleet.bad_count} were made bad",
            where="bobstay.bench.ingest",
            remedy="do not trust the time; please report this",
        )


def _in_a_process(kind: str, fleet: Fleet, place: Path, say: Callable[[str], None]) -> Load:
    say(f"the {kind} load")
    files = [str(path) for path in (place, fleet.boats, fleet.fittings, fleet.looks)]
    return Load(**in_a_process("bobstay.bench.ingest", ["--load", kind, *files], work=f"the {kind} load"))


def plain_load(place: Path, files: Mapping[str, Path]) -> tuple[int, int]:
    """Load each file into a typed table of its own and do nothing more; return the number of looks, and 0."""
    import duckdb

    with duckdb.connect(str(place / "plain.duckdb")) as con:
        for name, path in files.items():
            con.execute(f"CREATE TABLE {name} AS SELECT * FROM {_typed_scan(path, INPUT_BY_NAME[name])}", [str(path)])
        (count,) = con.execute("SELECT count(*) FROM inspections").fetchall()[0]
    return count, 0


def _typed_scan(path: Path, table: InputTable) -> str:
    if path.suffix == ".parquet":  # typed as it is
        return "read_parquet($1)"
    with path.open(encoding="utf-8") as file:
        names = file.readline().strip().split(",")
    kinds = {c.name: PLAIN_TYPES.get(c.kind, "VARCHAR") for c in table.columns}
    columns = ", ".join(f"'{name}': '{kinds[name]}'" for name in names)
    return f"read_csv($1, auto_detect=false, columns={{{columns}}}, delim=',', quote='\"', escape='\"', header=true)"


def whole_load(place: Path, files: Mapping[str, Path]) -> tuple[int, int]:
    """Take the files into a new store; return how many looks were used and set aside."""
    from bobstay.ingest import ingest
    from bobstay.store import opened

    with opened(place / "whole.duckdb", create=True) as con:
        taken = ingest(con, list(files.values()), limit=LIMIT)
    (looks,) = (file for file in taken.files if file.table == INSPECTIONS.name)
    return looks.rows_used, looks.rows_set_aside


LOADS = {"plain": plain_load, "whole": whole_load}


def _timed(kind: str, place: Path, files: Mapping[str, Path]) -> Load:
    import bobstay.ingest  # noqa: F401 - the start of Python is not timed

    with timed() as spent:
        used, aside = LOADS[kind](place, files)
    return Load(spent.seconds, spent.processor, peak_mb(), used, aside)


def report(found: Measured) -> str:
    """Return what was measured, in words."""
    lines = [f"{found.rows} looks, {found.file_mb:.0f} MB of CSV"]
    lines += [
        f"{name}: {load.seconds:.1f} s, {load.processor_seconds:.1f} s of processor, peak {load.peak_mb:.0f} MB"
        for name, load in (("plain typed load", found.plain), ("whole load", found.whole))
    ]
    lines.append(f"rows used {found.whole.rows_used}, set aside {found.whole.rows_set_aside}")
    lines.append(f"ratio {found.ratio:.2f}, of processor time {found.processor_ratio:.2f}")
    lines.append(f"promised for 10 million: ratio {RATIO_BOUND}, peak under {PEAK_BOUND_MB} MB")
    return "\n".join(lines)


def main() -> None:
    """Measure and print; with --load do one of the two loads and print its numbers as JSON."""
    parser = argparse.ArgumentParser(description="How long a load takes beside the engine's plain typed load.")
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--load", nargs=5, metavar=("KIND", "DIR", "BOATS", "FITTINGS", "LOOKS"), help="one load only")
    asked = parser.parse_args()
    if asked.load is None:
        found = measured(asked.rows, say=lambda text: print(text, file=sys.stderr))  # noqa: T201
        print(report(found))  # noqa: T201
        return
    kind, place, *paths = asked.load
    files = dict(zip(("boats", "fittings", "inspections"), map(Path, paths), strict=True))
    print(json.dumps(asdict(_timed(kind, Path(place), files))))  # noqa: T201


if __name__ == "__main__":
    main()
