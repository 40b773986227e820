"""Says of an unknown id which known one was probably meant, or that the row it belongs to was set aside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bobstay.tables import BOATS, FITTINGS

if TYPE_CHECKING:
    import duckdb

    from bobstay.tables import InputTable

UNKNOWN_BOAT, UNKNOWN_FITTING = 101, 102
_ASKED = 200  # wrong ids that are compared with all known ones; the rest keep the plain hint
_WORD = 5  # letters from which an id counts as a word, in which a slip or two may be suggested

# Ids are alike when they differ only in case, punctuation, leading zeros, or letters that look like digits.
_MACRO = """
    CREATE OR REPLACE TEMP MACRO alike(id) AS
    regexp_replace(translate(regexp_replace(upper(id), '[^\\p{L}\\p{N}]', '', 'g'), 'OIL', '011'),
                   '([^0-9]|^)0+([0-9])', '\\1\\2', 'g')
"""

_FIRST_LOST = (
    "SELECT DISTINCT ON (boat_id, fitting_id) boat_id, fitting_id, file, line FROM lost "
    "ORDER BY boat_id, fitting_id, file, line"
)


def begin(con: duckdb.DuckDBPyConnection) -> None:
    """Make the table in which boats and fittings that were set aside in this call are remembered."""
    con.execute("CREATE OR REPLACE TEMP TABLE lost (boat_id VARCHAR, fitting_id VARCHAR, file VARCHAR, line BIGINT)")
    con.execute(_MACRO)


def remember(con: duckdb.DuckDBPyConnection, table: InputTable, *, file: str) -> None:
    """Remember the ids of the rows of `resolved` that have a fault."""
    if table not in (BOATS, FITTINGS):
        return
    fitting = "NULL" if table is BOATS else "coalesce(fitting_id, '')"
    con.execute(
        f"INSERT INTO lost SELECT boat_id, {fitting}, $file, line FROM resolved "
        "WHERE line IN (SELECT line FROM faults) ORDER BY line",
        {"file": file},
    )


def point_at_boats(con: duckdb.DuckDBPyConnection) -> None:
    """Improve the hints of faults that say a boat is unknown."""
    if not _any(con, UNKNOWN_BOAT):
        return
    _say_lost(con, UNKNOWN_BOAT, "lost.fitting_id IS NULL AND lost.boat_id = r.boat_id", "boats")
    _suggest(con, UNKNOWN_BOAT, "boat_id", "SELECT DISTINCT boat_id AS id FROM boats", "true")


def point_at_fittings(con: duckdb.DuckDBPyConnection) -> None:
    """Improve the hints of faults that say a fitting is unknown."""
    if not _any(con, UNKNOWN_FITTING):
        return
    _say_lost(con, UNKNOWN_FITTING, "lost.boat_id = r.boat_id AND lost.fitting_id = r.fitting_id", "fittings")
    known = "SELECT DISTINCT boat_id, fitting_id AS id FROM fittings"
    _suggest(con, UNKNOWN_FITTING, "fitting_id", known, "k.boat_id = w.boat_id")


def _any(con: duckdb.DuckDBPyConnection, rank: int) -> bool:
    return bool(con.execute("SELECT 1 FROM faults WHERE rank = $rank LIMIT 1", {"rank": rank}).fetchall())


def _say_lost(con: duckdb.DuckDBPyConnection, rank: int, belongs: str, table: str) -> None:
    con.execute(
        f"""
        UPDATE faults SET hint = 'its row in {table} was set aside: mend ' || lost.file || ':' || lost.line
        FROM ({_FIRST_LOST}) AS lost, resolved AS r WHERE faults.rank = {rank} AND r.line = faults.line AND {belongs}
        """
    )


def _suggest(con: duckdb.DuckDBPyConnection, rank: int, column: str, known: str, belongs: str) -> None:
    """Name the known id that a wrong one was probably meant to be; of several, the nearest and then the first."""
    con.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE meant AS
        WITH wrong AS (
            SELECT DISTINCT r.boat_id, r.{column} AS id FROM faults AS f JOIN resolved AS r USING (line)
            WHERE f.rank = {rank} AND f.hint NOT LIKE 'its row in %' ORDER BY ALL LIMIT {_ASKED}
        ),
        known AS ({known}),
        pairs AS (
            SELECT w.boat_id, w.id, k.id AS guess, damerau_levenshtein(alike(w.id), alike(k.id)) AS steps,
                   regexp_replace(alike(w.id), '[^0-9]', '', 'g') = regexp_replace(alike(k.id), '[^0-9]', '', 'g')
                       AND length(w.id) >= {_WORD} AS is_word
            FROM wrong AS w JOIN known AS k ON {belongs}
        )
        SELECT boat_id, id, arg_min(guess, (steps, guess)) AS guess FROM pairs
        WHERE steps = 0 OR (steps <= 2 AND is_word) GROUP BY boat_id, id
        """
    )
    con.execute(
        f"""
        UPDATE faults SET hint = 'did you mean ' || meant.guess || '? ' || hint
        FROM meant, resolved AS r
        WHERE faults.rank = {rank} AND r.line = faults.line
          AND meant.id = r.{column} AND meant.boat_id = r.boat_id
        """
    )
