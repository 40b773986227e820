"""Writes an invented fleet of any size as canonical CSV files, the same bytes for the same number of looks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from bobstay.sql_text import quoted

if TYPE_CHECKING:
    from pathlib import Path

    import duckdb

FITTINGS_A_BOAT = 40
LOOKS_A_FITTING = 25
BAD_ONE_IN = 1000  # looks that must be set aside: an unknown fitting, an unknown word, an id that stands twice


@dataclass(frozen=True, slots=True)
class Fleet:
    """The three files of an invented fleet, and how many of its looks must be set aside."""

    boats: Path
    fittings: Path
    looks: Path
    bad_count: int


def generate(con: duckdb.DuckDBPyConnection, folder: Path, *, rows: int, kind: str = "csv") -> Fleet:
    """Write boats, fittings and `rows` looks, every column of the table among them, in the order of their days.

    `kind`: csv or parquet.
    """
    fittings = max(rows // LOOKS_A_FITTING, FITTINGS_A_BOAT)
    sizes = {"rows": rows, "fittings": fittings, "each": FITTINGS_A_BOAT, "bad": BAD_ONE_IN}
    files = [folder / f"bench_{name}.{kind}" for name in ("boats", "fittings", "looks")]
    for file, select in zip(files, (_BOATS, _FITTINGS, _LOOKS), strict=True):
        text = select
        for name, size in sizes.items():
            text = text.replace(f"${name}", str(int(size)))
        con.execute(f"COPY ({text}) TO {quoted(str(file))} (FORMAT {'csv, HEADER' if kind == 'csv' else kind})")
    boats, parts, looks = files
    return Fleet(boats, parts, looks, bad_count=rows // BAD_ONE_IN)


_BOATS = """
    SELECT printf('B%06d', i) AS boat_id, printf('Bench %d', i) AS boat_name, '1995-04-01' AS built,
           '2000-01-01' AS joined, 'charter' AS service, 'salt' AS water
    FROM range($fittings // $each + 1) AS r(i) ORDER BY i
"""
_FITTINGS = """
    SELECT printf('B%06d', i // $each) AS boat_id, printf('F%02d', i % $each) AS fitting_id,
           ['chainplate', 'mast tang', 'keel bolt', 'forestay fitting'][i % 4 + 1] AS fitting_type,
           ['316 stainless', '304 stainless', 'bronze'][i % 3 + 1] AS material, '2000-01-01' AS installed
    FROM range($fittings) AS r(i) ORDER BY i
"""
# Rows come in the order of `i` as range gives them: sorting sixty million takes 12 GB. One look in $bad is bad in one
# of three ways; the numbers of a row are drawn by a congruence of its place. A part cracks by a Weibull of shape 2.2
# and scale 40 years, drawn by its own number; six looks of nine then find it, and one in 49 calls false.
_LOOKS = """
    SELECT CASE WHEN way = 2 THEN printf('L%09d', i - 1) ELSE printf('L%09d', i) END AS inspection_id,
           printf('B%06d', part // $each) AS boat_id,
           CASE WHEN way = 0 THEN 'F99' ELSE printf('F%02d', part % $each) END AS fitting_id,
           DATE '2001-01-01' + CAST(i * 9000 // $rows AS INTEGER) AS inspected_on,
           CASE WHEN way = 1 THEN 'tapped' ELSE
               ['visual', 'penetrant', 'magnified', 'fluorescent_penetrant', 'ultrasonic'][u % 5 + 1] END AS method,
           CASE WHEN shows THEN if(is_cracked OR u // 59 % 3 > 0, 'relevant', 'non_relevant')
                WHEN u // 61 % 9 = 0 THEN 'inconclusive' ELSE 'no_indication' END AS result,
           ['in_place', 'removed'][u // 11 % 2 + 1] AS scope, ['yes', 'no'][u // 13 % 2 + 1] AS surface_cleaned,
           CASE WHEN u // 17 % 3 > 0 THEN 5 + u // 19 % 30 END AS part_temp_c,
           CASE WHEN u % 5 IN (1, 3) THEN 5 + u // 23 % 20 END AS penetrant_dwell_min,
           CASE WHEN u % 5 IN (1, 3) THEN 10 + u // 29 % 20 END AS developer_dwell_min,
           CASE WHEN shows THEN ['linear', 'rounded'][u // 31 % 2 + 1] END AS indication_form,
           CASE WHEN shows THEN printf('%.1f', (1 + u // 37 % 90) / 10) END AS indication_length_mm,
           ['scheduled', 'suspicion', 'sale'][u // 41 % 3 + 1] AS "trigger",
           CASE WHEN shows THEN if(u // 43 % 2 = 0, 'open', if(is_cracked, 'confirmed', 'unfounded')) END
               AS disposition,
           CASE WHEN shows THEN 'blended' ELSE 'none' END AS action,
           printf('hand %d', u // 47 % 20) AS inspector,
           CASE WHEN u // 53 % 10 = 0 THEN 'rust streak, seen from below' END AS note
    FROM (SELECT *, if(is_cracked, u // 7 % 9 < 6, u // 7 % 49 = 6) AS shows
          FROM (SELECT *, 1 + i * 25.0 / $rows > 40 * pow(-ln(1 - (part * 40503 % 65521) / 65521.0), 0.45)
                       AS is_cracked
                FROM (SELECT i, i * 7919 % $fittings AS part, (i * 2654435761) % 4294967296 AS u,
                             CASE WHEN i % $bad = $bad - 1 THEN i // $bad % 3 END AS way
                      FROM range($rows) AS r(i))))
"""
