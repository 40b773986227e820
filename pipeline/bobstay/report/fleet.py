"""Everything the pages speak of, read once from the store as plain rows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from bobstay import store
from bobstay.changes import run_before, this_run
from bobstay.tables import OUTPUT_BY_NAME
from bobstay.wording import wording_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    import duckdb
    import numpy.typing as npt

    from bobstay.changes import Run
    from bobstay.settings import Settings
    from bobstay.wording import Wording

Row = dict[str, Any]
_WHOLE = (
    "classes", "detection", "nonparametric", "priority", "guidance", "haul_plan", "plan_summary", "coverage",
    "alerts", "files", "superseded", "words_merged",
)  # fmt: skip
_IF_MADE = (
    "backtest",
    "shortcuts",
    "scheduled_looks",
    "families",
    "fit_checks",
    "use_clock",
    "changes",
    "backtest_verdict",
    "backtest_methods",
    "backtest_thirds",
    "plan_curve",
    "deferred",
    "parts",
)
_SET_ASIDE = """SELECT reason, "table", count(*) AS "rows", min(file) AS file, min(hint) AS hint
    FROM set_aside GROUP BY reason, "table" ORDER BY "rows" DESC, reason, "table" """
_CELLS_UNREAD = """SELECT "table", "column", reason, count(*) AS cells
    FROM cells_unread GROUP BY "table", "column", reason ORDER BY cells DESC, "table", "column", reason"""
# Words that stand in the records and are not known: of rows set aside, and of cells not read.
_UNKNOWN_WORDS = """SELECT "column", value, count(*) AS "rows", min(hint) AS hint
    FROM (SELECT "column", value, reason, hint FROM set_aside
        UNION ALL SELECT "column", value, reason, hint FROM cells_unread)
    WHERE reason LIKE 'unknown word in %' GROUP BY "column", value ORDER BY "rows" DESC, "column", value LIMIT 100"""
_BOATS = """SELECT boat_id, boat_name, design, built, joined, service, water, climate, hours_per_year, home_port
    FROM boats WHERE left_latest IS NULL OR left_latest > $as_of ORDER BY boat_id"""
_LOOKS = """SELECT l.* FROM life_looks l JOIN lives v USING (life_id) WHERE v.is_in_service
    ORDER BY l.life_id, l.look_on DESC, l.file, l.line"""
_LOOK_WORTH = """SELECT shows, grade, grade_reason, count(*) AS looks
    FROM life_looks GROUP BY ALL ORDER BY looks DESC, shows, grade, grade_reason"""
_LIFE_COUNTS = """SELECT coalesce(left_out, '') AS left_out, age_basis, is_in_service, count(*) AS lives
    FROM lives GROUP BY ALL ORDER BY lives DESC, left_out, age_basis, is_in_service"""
_WATCHED = """WITH bands AS (SELECT unnest(range(0, 40, 4)) AS band)
    SELECT fitting_type, material, band, CAST(sum(CAST(
        greatest(0, least(band + 4, age_seen) - greatest(band, entry_years)) AS DECIMAL(18, 4))) AS DOUBLE)
        AS fitting_years
    FROM (SELECT fitting_type, material, entry_years,
        CASE WHEN isinf(upper_years) THEN coalesce(last_clear_years, entry_years) ELSE upper_years END AS age_seen
        FROM lives WHERE entry_years IS NOT NULL AND left_out IS NULL), bands
    GROUP BY ALL ORDER BY fitting_type, material, band"""
_DRAWS = "SELECT * FROM class_draws ORDER BY fitting_type, material, draw"
_WHOLE_BOAT = """SELECT count(*) AS looks FROM inspections WHERE fitting_id IS NULL"""


@dataclass(frozen=True, slots=True)
class Fleet:
    """The store's tables as lists of rows, empty cells as None."""

    as_of: date
    settings: Settings
    tables: Mapping[str, list[Row]]
    boats: list[Row]
    slots: list[Row]
    looks: Mapping[str, list[Row]]  # of lives in service, newest first
    lives: Mapping[str, Row]  # in service, by life_id
    set_aside: list[Row]  # counted by reason and table
    cells_unread: list[Row]
    look_worth: list[Row]
    life_counts: list[Row]
    watched: list[Row]
    whole_boat_looks: int
    draws: Mapping[str, npt.NDArray[np.generic]]  # columns of class_draws
    run: Run | None = None  # what this run is made from
    run_before: Run | None = None  # what it is compared with; None on the first run of a store

    @property
    def wording(self) -> Wording:
        """The words of the pages."""
        return wording_of(self.settings.words)

    def class_name(self, row: Row) -> str:
        """Return the class of fittings of a row in the reader's words."""
        return f"{self.wording.word('type', row['fitting_type'])}, {self.wording.word('material', row['material'])}"


def read_fleet(con: duckdb.DuckDBPyConnection, *, settings: Settings, as_of: date) -> Fleet:
    """Read what the pages need; raises UsageError where an earlier stage has not been run."""
    tables = {name: _table(con, name) for name in _WHOLE}
    tables |= {name: _table(con, name) if store.has(con, name) else [] for name in _IF_MADE}
    tables["unknown_words"] = rows(con, _UNKNOWN_WORDS)
    lives = rows(con, "SELECT * FROM lives WHERE is_in_service ORDER BY life_id")
    looks: dict[str, list[Row]] = {}
    for look in rows(con, _LOOKS):
        looks.setdefault(look["life_id"], []).append(look)
    return Fleet(
        as_of=as_of,
        settings=settings,
        tables=tables,
        boats=rows(con, _BOATS, {"as_of": as_of}),
        slots=rows(con, "SELECT * FROM slots ORDER BY starts_on_earliest, slot_id"),
        looks=looks,
        lives={life["life_id"]: life for life in lives},
        set_aside=rows(con, _SET_ASIDE),
        cells_unread=rows(con, _CELLS_UNREAD),
        look_worth=rows(con, _LOOK_WORTH),
        life_counts=rows(con, _LIFE_COUNTS),
        watched=rows(con, _WATCHED),
        whole_boat_looks=rows(con, _WHOLE_BOAT)[0]["looks"],
        draws={name: np.asarray(column) for name, column in con.execute(_DRAWS).fetchnumpy().items()},
        run=this_run(con, settings, as_of),
        run_before=run_before(con),
    )


def _table(con: duckdb.DuckDBPyConnection, name: str) -> list[Row]:
    store.needed(con, name)
    order = ", ".join(f'"{c}"' for c in OUTPUT_BY_NAME[name].order)
    return rows(con, f'SELECT * FROM "{name}" ORDER BY {order}')


def rows(con: duckdb.DuckDBPyConnection, sql: str, parameters: Mapping[str, Any] | None = None) -> list[Row]:
    """Return all rows of a query, a dictionary each, missing numbers as None."""
    cursor = con.execute(sql, dict(parameters)) if parameters else con.execute(sql)
    names = [c[0] for c in cursor.description or ()]
    return [{n: _cell(v) for n, v in zip(names, row, strict=True)} for row in cursor.fetchall()]


def _cell(value: Any) -> Any:
    return None if isinstance(value, float) and math.isnan(value) else value
