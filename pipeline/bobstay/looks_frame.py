"""The table of looks read with one text in memory for all equal cells: it has as many rows as there are looks.

The engine turns words into small numbers and sorts by numbers, which costs a third of sorting and handing over texts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from bobstay.sql_text import quoted
from bobstay.tables import LIFE_LOOKS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb
    import numpy as np
    import pandas as pd
    import pyarrow as pa
    from numpy.typing import NDArray

    Words = NDArray[np.object_]

_ROWS_AT_ONCE = 200_000
_KEY = "life_id"
_KINDS = {c.name: {"text": "O", "date": "M8[us]", "integer": "i8"}.get(c.dtype, "f8") for c in LIFE_LOOKS.columns}
_TEXTS = tuple(c.name for c in LIFE_LOOKS.columns if c.dtype == "text")


def looks_frame(con: duckdb.DuckDBPyConnection, columns: Sequence[str]) -> pd.DataFrame:
    """Return `columns` of life_looks in the table's promised order, as `.df()` would: None where a text is missing."""
    import pandas as pd

    words = {name: _words(con, name) for name in _TEXTS if name in columns or name in LIFE_LOOKS.order}
    con.register("look_words", _numbered(words[_KEY]))
    try:
        batches = con.sql(_select(columns, words)).to_arrow_reader(_ROWS_AT_ONCE)
        chunks = [[_plain(column) for column in batch.columns] for batch in batches]
    finally:
        con.unregister("look_words")
    return pd.DataFrame({name: _cells(chunks, place, name, words) for place, name in enumerate(columns)}, copy=False)


def _words(con: duckdb.DuckDBPyConnection, name: str) -> Words:
    """Return the texts of a column, sorted as the engine sorts them."""
    import numpy as np

    found = con.execute(
        f'SELECT DISTINCT "{name}" AS word FROM life_looks WHERE "{name}" IS NOT NULL ORDER BY word'
    ).fetchnumpy()["word"]
    return np.asarray(found, dtype=object)


def _numbered(words: Words) -> pa.Table:
    import numpy as np
    import pyarrow as pa

    return pa.table({"word": pa.array(words, pa.string()), "number": np.arange(len(words), dtype=np.int32)})


def _select(columns: Sequence[str], words: dict[str, Words]) -> str:
    """Return the SELECT of numbers for words; the missing have none."""
    cells = {name: f'l."{name}"' for name in LIFE_LOOKS.column_names} | {name: _number(name, words) for name in words}
    listed = ", ".join(f'{cells[name]} AS "{name}"' for name in columns)
    order = ", ".join(cells[name] for name in LIFE_LOOKS.order)
    return f"SELECT {listed} FROM life_looks AS l JOIN look_words AS w ON w.word = l.{_KEY} ORDER BY {order}"


def _number(name: str, words: dict[str, Words]) -> str:
    """Return the SQL of a word's number: by the join for lives, by an enumeration for the few words of the rest."""
    if name == _KEY:
        return "w.number"
    if not len(words[name]):
        return "CAST(NULL AS INTEGER)"
    listed = ", ".join(quoted(word) for word in words[name])
    return f'CAST(enum_code(CAST(l."{name}" AS ENUM ({listed}))) AS INTEGER)'


def _plain(column: pa.Array) -> NDArray[Any]:
    """Return numbers and days as they are, and the numbers of words with -1 for the missing."""
    import pyarrow as pa

    filled = column.fill_null(-1) if pa.types.is_int32(column.type) else column
    cells: NDArray[Any] = filled.to_numpy(zero_copy_only=False)
    return cells.astype("datetime64[us]") if pa.types.is_date(column.type) else cells


def _cells(chunks: list[list[NDArray[Any]]], place: int, name: str, words: dict[str, Words]) -> NDArray[Any]:
    """Return one column whole; its chunks are let go."""
    import numpy as np

    if not chunks:
        return np.array([], dtype=_KINDS[name])
    whole = np.concatenate([chunk[place] for chunk in chunks])
    for chunk in chunks:
        chunk[place] = whole[:0]
    return np.append(words[name], [None])[whole] if name in _TEXTS else whole
