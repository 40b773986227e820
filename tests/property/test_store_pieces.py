"""However the records arrive, the lives are the same: in pieces or at once, grown or whole.

Source: the lives that one whole file gives, which other tests check against an oracle.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bobstay.ingest import ingest
from bobstay.lives import build_lives
from bobstay.settings import Settings
from bobstay.store import opened
from ingest_files import BOATS, LIMIT, write

if TYPE_CHECKING:
    from pathlib import Path

FITTINGS = """boat_id,fitting_id,fitting_type,material,installed,removed
B1,CP1,chainplate,316 stainless,2005-03-01,2014-02-01
B1,CP1,chainplate,titanium,2014-02-01,
B1,CP2,chainplate,316 stainless,2009~,
B2,KB1,keel bolt,bronze,,
"""
HEAD = "inspection_id,boat_id,fitting_id,inspected_on,method,result,disposition,action\n"
PLACES = st.sampled_from(["B1,CP1", "B1,CP2", "B2,KB1", "B1,", "B9,X"])
DAYS = st.sampled_from(["2010-05-01", "2012-05-01", "2012-05", "2013", "2015-05-01", "2016-01-02"])
ROWS = st.builds(
    lambda *cells: ",".join(cells),
    st.sampled_from(["", "", "", "1", "2", "3"]),
    PLACES,
    DAYS,
    st.sampled_from(["visual", "penetrant"]),
    st.sampled_from(["no_indication", "relevant", "inconclusive", "failed"]),
    st.sampled_from(["", "", "unfounded", "confirmed"]),
    st.sampled_from(["", "", "", "replaced"]),
)
MANY = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def _file(rows: list[str]) -> str:
    return HEAD + "".join(f"{row}\n" for row in rows)


def _lives(folder: Path, calls: list[dict[str, str]]) -> tuple[list[Any], list[Any]]:
    """Return lives and looks, without the files they came from, after each call has taken its files in."""
    with opened(folder / "s.duckdb", folders=[folder], create=True) as con:
        for files in calls:
            report = ingest(con, write(folder, **files), limit=LIMIT)
            assert all(f.rows_read == f.rows_used + f.rows_set_aside for f in report.files)
        build_lives(con, as_of=date(2020, 1, 1), settings=Settings())
        lives = con.sql("SELECT * FROM lives ORDER BY life_id").fetchall()
        return lives, con.sql("SELECT * EXCLUDE (file, line) FROM life_looks ORDER BY ALL").fetchall()


START = {
    "boats_csv": BOATS,
    "fittings_csv": FITTINGS,
    "first_csv": _file(["0,B1,CP1,2011-01-01,visual,no_indication,,"]),
}


@MANY
@given(pieces=st.lists(st.lists(ROWS, min_size=1, max_size=4), min_size=1, max_size=3))
def test_in_pieces_or_at_once(tmp_path_factory, pieces):
    files = {f"p{n}_csv": _file(rows) for n, rows in enumerate(pieces)}
    at_once = _lives(tmp_path_factory.mktemp("once"), [START | files])
    assert _lives(tmp_path_factory.mktemp("pieces"), [START, *({n: text} for n, text in files.items())]) == at_once


@MANY
@given(rows=st.lists(ROWS, min_size=2, max_size=8), data=st.data())
def test_a_grown_file_gives_what_the_whole_file_alone_gives(tmp_path_factory, rows, data):
    cut = data.draw(st.integers(1, len(rows) - 1))
    grown = [START, {"looks_csv": _file(rows[:cut])}, {"looks_csv": _file(rows)}]
    assert _lives(tmp_path_factory.mktemp("grown"), grown) == _lives(
        tmp_path_factory.mktemp("whole"), [START, {"looks_csv": _file(rows)}]
    )


@MANY
@given(rows=st.lists(ROWS, min_size=1, max_size=6), newer=st.lists(ROWS, min_size=1, max_size=6))
def test_no_later_file_makes_an_indication_go_away(tmp_path_factory, rows, newer):
    """Without a name, each place keeps at least as many findings that stand, whatever comes later."""
    folder = tmp_path_factory.mktemp("later")
    with opened(folder / "s.duckdb", folders=[folder], create=True) as con:
        ingest(con, write(folder, **START, a_csv=_file(rows)), limit=LIMIT)
        before = con.sql(_FOUND).fetchall()
        ingest(con, write(folder, b_csv=_file(newer)), limit=LIMIT)
        after = con.sql(_FOUND).fetchall()
    for found in set(before):
        assert after.count(found) >= before.count(found)


_FOUND = """SELECT boat_id, fitting_id FROM inspections
    WHERE result IN ('relevant', 'failed') AND disposition IS DISTINCT FROM 'unfounded' ORDER BY ALL"""
