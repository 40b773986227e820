"""One pass over the rows of a part: cells in their usual form are typed in SQL, all others kept as text to be read.

The view `lined` has the line of each row, for each canonical column of the file the typed cell (for a day: the text
and its two bounds) and, beside all but text, NAME__odd: the trimmed text of a cell that is not in its usual form. The
view `usual` has those rows that have no odd cell. Both stand on the temporary table `staged`, which holds the same in
a third of the room: words as numbers of a list, of a day in its usual form only the day, and the odd cells of a row in
one list, `odds`, which nearly every row is without. Of a file that costs little to read again (Parquet) `staged` holds
only the rows with an odd cell; the view `fresh` reads all others from the file each time they are asked for.
"""

from __future__ import annotations

from itertools import compress, islice
from typing import TYPE_CHECKING, Any

from bobstay.ingest.preflight import can_be_named
from bobstay.sql_text import quoted
from bobstay.store import handed_over

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator
    from pathlib import Path

    import duckdb
    import pyarrow as pa

    from bobstay.ingest.record import Header, Part, Record, Rules, Scan
    from bobstay.tables import InputColumn

SQL_TYPES = {"integer": "BIGINT", "number": "DOUBLE", "yes_no": "BOOLEAN"}
TEXT_KINDS = ("id", "text")
BATCH = 50_000  # rows handed to DuckDB at a time by the exact reader

# Printable ASCII words with single spaces need no cleaning; all else is normalised, trimmed and collapsed.
_IS_CLEAN = "regexp_full_match({0}, '[!-~]+( [!-~]+)*')"
_CLEAN = (
    f"CASE WHEN {_IS_CLEAN} THEN {{0}} "
    "ELSE nullif(trim(regexp_replace(nfc_normalize({0}), '[\\s\\p{{Z}}]+', ' ', 'g')), '') END"
)


def named(name: str) -> str:
    """Return an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def sql_type(column: InputColumn) -> str:
    """Return the type in which a column is stored (a day: its text)."""
    return SQL_TYPES.get(column.kind, "VARCHAR")


def present(header: Header) -> list[tuple[int, InputColumn]]:
    """Return the canonical columns of a file with their places in a row, in the table's order."""
    by_name = {c.name: c for c in header.table.columns}
    found = {name: place for place, name in enumerate(header.columns) if name}
    return [(found[name], column) for name, column in by_name.items() if name in found]


def stage(con: duckdb.DuckDBPyConnection, part: Part, *, rules: Rules) -> tuple[int, list[Record]]:
    """Fill `staged` from `part`; return how many rows were found, and those that could not be taken apart."""
    con.execute("DROP TABLE IF EXISTS staged")
    if part.scan is not None and _is_in_reach(con, part.path):
        found = _scanned(con, part, part.scan, rules)
        if found == part.scan.row_count:
            return found, []
        con.execute("DROP TABLE staged")  # DuckDB passed over a row: the exact reader says which
    return _streamed(con, part, rules)


def _is_in_reach(con: duckdb.DuckDBPyConnection, path: Path) -> bool:
    """Say whether SQL may open just this file: it lies in a folder that is allowed, and its name is no pattern."""
    is_open, folders = one_row(
        con, "SELECT current_setting('enable_external_access'), current_setting('allowed_directories')"
    )
    is_allowed = is_open or any(path.is_relative_to(folder) for folder in folders)
    return is_allowed and can_be_named(path)


def _scanned(con: duckdb.DuckDBPyConnection, part: Part, scan: Scan, rules: Rules) -> int:
    if scan.is_read_again:
        return _looked_through(con, part.header, scan, rules)
    con.execute(f"CREATE TEMP TABLE staged AS {_staged(part.header, rules, scan.relation)}", scan.parameters)
    count, first = one_row(con, "SELECT count(*), min(rowid) FROM staged")
    # rows of a new table keep the order of the file, so a row's place in it is its line
    _make_views(con, part.header, f"rowid + {scan.first_line - (first or 0)}")
    return int(count)


def _looked_through(con: duckdb.DuckDBPyConnection, header: Header, scan: Scan, rules: Rules) -> int:
    """Keep only the rows with an odd cell: the others are read from the file again, whenever they are asked for."""
    clean = _clean_places(con, header, scan.relation)
    con.execute(f"CREATE OR REPLACE TEMP VIEW fresh AS {_staged(header, rules, scan.relation, 'line', clean=clean)}")
    con.execute("CREATE TEMP TABLE staged AS SELECT * FROM fresh WHERE odds IS NOT NULL")
    total, odd = one_row(con, "SELECT (SELECT count(*) FROM fresh), (SELECT count(*) FROM staged)")
    usual = "fresh ANTI JOIN staged USING (line)" if odd else "fresh"
    con.execute(f"CREATE OR REPLACE TEMP VIEW usual AS {_select(header, usual, 'line', is_usual=True)}")
    # by name, so that rows without odd cells get their columns empty
    odd_rows = _select(header, "staged", "line", is_usual=False)
    con.execute(f"CREATE OR REPLACE TEMP VIEW lined AS FROM usual UNION ALL BY NAME {odd_rows}")
    return int(total)


def _clean_places(con: duckdb.DuckDBPyConnection, header: Header, relation: str) -> set[int]:
    """Return the places of the columns of text in which no cell needs cleaning: they are not looked at again."""
    places = [place for place, column in present(header) if column.kind in TEXT_KINDS]
    tests = ", ".join(f"bool_and({_IS_CLEAN.format(f'c{place}')}) IS NOT false" for place in places)
    return set(compress(places, one_row(con, f"SELECT {tests} FROM {relation}"))) if places else set()


def _make_views(con: duckdb.DuckDBPyConnection, header: Header, line: str) -> None:
    for name, rows in (("lined", "staged"), ("usual", "staged WHERE odds IS NULL")):
        select = _select(header, rows, line, is_usual=name == "usual")
        con.execute(f"CREATE OR REPLACE TEMP VIEW {name} AS {select}")


def _select(header: Header, rows: str, line: str, *, is_usual: bool) -> str:
    offered = ", ".join([*_offered(header, is_usual), _offered_extra(header), f"{line} AS line"])
    return f"SELECT {offered} FROM {rows}"


def odd_columns(header: Header) -> list[InputColumn]:
    """Return the columns whose odd cells are kept in `odds`, in its order."""
    return [column for _, column in present(header) if column.kind not in TEXT_KINDS]


def _streamed(con: duckdb.DuckDBPyConnection, part: Part, rules: Rules) -> tuple[int, list[Record]]:
    select = _staged(part.header, rules, "batch", "line")
    rows = part.records(None)
    broken: list[Record] = []
    count = 0
    _insert(con, select, [], len(part.header.names), is_first=True)
    while batch := list(islice(rows, BATCH)):
        count += len(batch)
        broken += [row for row in batch if row.fault]
        _insert(con, select, [row for row in batch if not row.fault], len(part.header.names))
    _make_views(con, part.header, "line")
    return count, broken


def _insert(
    con: duckdb.DuckDBPyConnection, select: str, rows: list[Record], width: int, *, is_first: bool = False
) -> None:
    verb = "CREATE TEMP TABLE staged AS" if is_first else "INSERT INTO staged"
    with handed_over(con, "batch", _arrow(rows, width)):
        con.execute(f"{verb} {select}")


def _arrow(rows: list[Record], width: int) -> pa.Table:
    import pyarrow as pa

    columns = {"line": pa.array([row.line for row in rows], pa.int64())}
    for place in range(width):
        columns[f"c{place}"] = pa.array([row.cells[place] for row in rows], pa.string())
    return pa.table(columns)


def one_row(con: duckdb.DuckDBPyConnection, sql: str, parameters: dict[str, Any] | None = None) -> tuple[Any, ...]:
    """Return the one row that `sql` gives, fetched to its end: an open result would keep the connection busy."""
    (row,) = con.execute(sql, parameters or {}).fetchall()
    return tuple(row)


def _staged(header: Header, rules: Rules, relation: str, *more: str, clean: Collection[int] = ()) -> str:
    """Return the SELECT that types the cells c0, c1, ... of `relation`; its columns are those of `staged`.

    Columns of text at the places `clean` need no cleaning.
    """
    columns = present(header)
    kept = [*(named(column.name) for _, column in columns), *more]
    kept += ["extra"] if None in header.columns else []
    odd = ", ".join(named(f"{column.name}__odd") for column in odd_columns(header))
    kept.append(f"CASE WHEN coalesce({odd or 'NULL'}) IS NOT NULL THEN [{odd}] END AS odds")
    typed = [_typed(f"c{place}", column, rules, is_clean=place in clean) for place, column in columns]
    return f"SELECT {', '.join(kept)} FROM (SELECT {', '.join([*typed, *more])}, {_extra(header)} FROM {relation})"


def _typed(cell: str, column: InputColumn, rules: Rules, *, is_clean: bool) -> str:
    """Return the columns of one cell; only cells that are not in their usual form are cleaned."""
    clean = cell if is_clean else _CLEAN.format(cell)
    name, odd = named(column.name), named(f"{column.name}__odd")
    if column.kind in TEXT_KINDS:
        return f"{clean} AS {name}"
    return f"{_usual(cell, column, rules)} AS {name}, CASE WHEN {name} IS NULL THEN {clean} END AS {odd}"


def _offered(header: Header, is_usual: bool) -> Iterator[str]:
    """Yield the columns by which a view offers what `staged` holds, without the odd cells where none is there."""
    odd_place = {column: place for place, column in enumerate(odd_columns(header), start=1)}
    for _, column in present(header):
        name, odd = named(column.name), f"odds[{odd_place.get(column)}]"
        if column.kind in TEXT_KINDS:
            yield name
        elif column.kind == "date":
            yield from (f"{name} AS {named(f'{column.name}_{end}')}" for end in ("earliest", "latest"))
            text = f"CAST({name} AS VARCHAR)"
            yield f"{text if is_usual else f'coalesce({text}, {odd})'} AS {name}"
        else:
            yield f"CAST({name} AS {sql_type(column)}) AS {name}"
        if column in odd_place and not is_usual:
            yield f"{odd} AS {named(f'{column.name}__odd')}"
    if not is_usual:
        yield "odds"


def _offered_extra(header: Header) -> str:
    return "extra" if None in header.columns else "CAST(NULL AS VARCHAR) AS extra"


def _usual(cell: str, column: InputColumn, rules: Rules) -> str:
    """Return SQL for the cell in its usual form, NULL where it is in another."""
    match column.kind:
        case "choice" | "choices":
            return f"TRY_CAST({cell} AS ENUM({', '.join(map(quoted, column.choices))}))"
        case "yes_no":
            return f"CASE WHEN {cell} IN ('yes', 'true') THEN true WHEN {cell} IN ('no', 'false') THEN false END"
        case "date":
            return _iso_day(cell, column, rules)
        case _:
            return _number(cell, column)


def _iso_day(cell: str, column: InputColumn, rules: Rules) -> str:
    day = f"TRY_CAST({cell} AS DATE)"
    past = f" AND {day} <= DATE '{rules.limit.isoformat()}'" if column.past_only else ""
    return (
        f"CASE WHEN CAST({day} AS VARCHAR) = {cell} AND {cell} >= '0001' AND length({cell}) = 10{past} THEN {day} END"
    )


def _number(cell: str, column: InputColumn) -> str:
    # a cast alone would take 1_000 and inf for numbers, and round 5.7 to a whole one
    number = f"TRY_CAST({cell} AS DOUBLE)"
    tests = [f"regexp_full_match({cell}, '[+-]?[0-9]+([.][0-9]+)?')", f"isfinite({number})"]
    tests += [f"{number} >= {column.low!r}"] if column.low is not None else []
    tests += [f"{number} <= {column.high!r}"] if column.high is not None else []
    if column.kind == "integer":
        tests.append(f"{number} = trunc({number})")
        number = f"CAST({number} AS BIGINT)"
    return f"CASE WHEN {' AND '.join(tests)} THEN {number} END"


def _extra(header: Header) -> str:
    """Return SQL for the JSON of the columns that are not canonical; NULL where all of them are empty."""
    cells = [(name, f"c{place}") for place, name in enumerate(header.names) if header.columns[place] is None]
    if not cells:
        return "CAST(NULL AS VARCHAR) AS extra"
    pairs = ", ".join(f"{quoted(name)}, nullif({cell}, '')" for name, cell in cells)
    any_cell = ", ".join(f"nullif({cell}, '')" for _, cell in cells)
    return f"CASE WHEN coalesce({any_cell}) IS NOT NULL THEN CAST(json_object({pairs}) AS VARCHAR) END AS extra"
