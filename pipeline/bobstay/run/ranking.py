"""Ranks a fleet of any size: some boats at a time are weighed, and of all only what places rest on is held at once."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pandas as pd
import pyarrow as pa

from bobstay import store
from bobstay.rank import DRAWN, LIVES_READ, PLACED_BY, Grounds, methods_offered, placed, weighed
from bobstay.sql_text import quoted
from bobstay.tables import PRIORITY
from bobstay.tables.promise import columns_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    import duckdb

    from bobstay.run.job import Job

LIVES_AT_ONCE = 100_000  # weighed in one piece: some 300 MB
_PLACES = {"rank", "tie_group", "rank_lower", "rank_upper", "draw"}
# The rows of the list before they have a place; `number` counts them by boat and fitting.
_UNPLACED = replace(
    PRIORITY,
    name="priority_unplaced",
    columns=(*columns_of("number integer! of the row"), *(c for c in PRIORITY.columns if c.name not in _PLACES)),
    order=("number",),
    exported=False,
)


def rank_in_pieces(job: Job, *, guidance: pd.DataFrame, notices: pd.DataFrame) -> None:
    """Write tables.PRIORITY from lives, chances, looks, boats and detection in the store, as `rank.rank` would."""
    con = job.con
    pick_looks(con)
    grounds = Grounds(
        job.settings,
        job.as_of,
        methods_offered(con.sql("SELECT fitting_type, method, scope FROM methods_used").df(), job.settings),
        job.given("boats"),
        detection=job.table("detection"),
        guidance=guidance,
        notices=notices,
    )
    held: list[pd.DataFrame] = []
    store.write_parts(con, _UNPLACED, _weighed_pieces(job, grounds, held), temporary=True)
    _write_placed(con, placed(pd.concat(held, ignore_index=True), draw=job.settings.rank.draw))
    for name in (*_PICKED, _UNPLACED.name):
        con.execute(f'DROP TABLE temp.main."{name}"')


_PICKED = ("newest_clear", "methods_used", "looks_to_rank")  # in the order of making


def pick_looks(con: duckdb.DuckDBPyConnection) -> None:
    """Make the temporary table `looks_to_rank`, the few looks that a ranking asks for, and the two it rests on."""
    for name in _PICKED:
        con.execute(f"CREATE OR REPLACE TEMP TABLE {name} AS {store.query(name)}")


def _weighed_pieces(job: Job, grounds: Grounds, held: list[pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """Yield the weighed rows of each piece of the fleet; what places rest on is put into `held`."""
    before = 0
    for boats in store.boats_at_once(job.con, LIVES_AT_ONCE):
        looks = job.con.execute(_LOOKS_OF, {"first": boats[0], "last": boats[1]}).df()
        lives = store.read(job.con, "lives", LIVES_READ, boats=boats)
        chances = store.read(job.con, "chances", boats=boats)
        frame = weighed(lives, chances, looks, grounds)
        held.append(frame[list(PLACED_BY)])
        yield frame.assign(number=range(before, before + len(frame)))
        before += len(frame)


_LOOKS_OF = """SELECT l.* FROM looks_to_rank AS l
    SEMI JOIN (SELECT life_id FROM lives WHERE boat_id BETWEEN $first AND $last) AS v ON v.life_id = l.life_id"""


def _write_placed(con: duckdb.DuckDBPyConnection, places: pd.DataFrame) -> None:
    """Put the rows in the order of their places, and say of those drawn that they are."""
    cells = {name: f'{"p" if name in _PLACES else "u"}."{name}"' for name in PRIORITY.column_names}
    cells["reason"] = f"CASE WHEN p.draw THEN concat(u.reason, {quoted(DRAWN)}) ELSE u.reason END"
    listed = ", ".join(f'{cell} AS "{name}"' for name, cell in cells.items())
    order = ", ".join(f'"{name}"' for name in PRIORITY.order)
    with store.handed_over(con, "places", pa.Table.from_pandas(places.rename_axis("number").reset_index())):
        con.execute(
            f'CREATE OR REPLACE TABLE "{PRIORITY.name}" AS SELECT {listed} '
            f'FROM temp.main."{_UNPLACED.name}" AS u JOIN places AS p ON p.number = u.number ORDER BY {order}'
        )
