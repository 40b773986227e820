"""Finds spellings of fitting types and materials that mean the same, so that they make one class.

The rows keep what was written; `words_merged` says under which spelling each is counted. One spelling alone is never
renamed, and likeness alone merges nothing.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from bobstay.vocabulary import OPEN_LISTS, load, normalised

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb

    Merged = tuple[str, str, str, str, int]

# Each word with the rows that write it; an event or a price may write a type otherwise than the fittings do.
_WRITTEN = {
    "fitting_type": """
        SELECT fitting_type AS word, count(*) AS rows, true AS is_shown FROM fittings GROUP BY ALL
        UNION ALL
        SELECT trim(word), count(*), false FROM (SELECT unnest(string_split(fitting_types, ';')) AS word FROM events)
        GROUP BY ALL
        UNION ALL
        SELECT fitting_type, count(*), false FROM prices GROUP BY ALL""",
    "material": "SELECT material AS word, count(*) AS rows, true AS is_shown FROM fittings GROUP BY ALL",
}


def merge_words(con: duckdb.DuckDBPyConnection) -> None:
    """Fill `words_merged` anew from all rows of the store."""
    con.execute("DELETE FROM words_merged")
    rows = [row for column in OPEN_LISTS for row in _merged(con, column)]
    if rows:
        con.executemany("INSERT INTO words_merged VALUES ($1, $2, $3, $4, $5)", rows)


def _merged(con: duckdb.DuckDBPyConnection, column: str) -> Iterator[Merged]:
    """Yield the spellings of one column that share their meaning with another, each with the one it is shown as."""
    sql = (
        f"SELECT word, sum(rows)::BIGINT, sum(rows) FILTER (WHERE is_shown)::BIGINT FROM ({_WRITTEN[column]}) "
        "WHERE word IS NOT NULL AND word <> '' GROUP BY word ORDER BY word"
    )
    by_meaning: dict[str, list[tuple[str, int, int]]] = defaultdict(list)
    for word, rows, shown in con.execute(sql).fetchall():
        by_meaning[_meaning(column, word)].append((word, rows, shown or 0))
    for meaning, words in sorted(by_meaning.items()):
        if len(words) > 1 and any(shown for _, _, shown in words):
            commonest = max(words, key=lambda w: w[2])[0]  # of equals the first in the order of letters
            yield from ((column, word, commonest, meaning, rows) for word, rows, _ in words)


def _meaning(column: str, word: str) -> str:
    """Return the known word that `word` surely means, else the form in which spellings are compared."""
    return load().canonical(column, word) or normalised(word) or word
