"""What an output table promises, and the check that a frame keeps it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

Dtype = Literal["text", "integer", "number", "date", "boolean"]


@dataclass(frozen=True, slots=True)
class OutputColumn:
    """One column of an output or handed-on table."""

    name: str
    dtype: Dtype
    about: str
    nullable: bool = True


@dataclass(frozen=True, slots=True)
class OutputTable:
    """One table that stages hand on or that is written under tables/; `order` fixes the order of its rows."""

    name: str
    grain: str
    columns: tuple[OutputColumn, ...]
    order: tuple[str, ...]
    exported: bool = True

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of all columns, in order."""
        return tuple(c.name for c in self.columns)


def columns_of(spec: str) -> tuple[OutputColumn, ...]:
    """Read lines of `name dtype! about` (a trailing ! on the dtype: never empty)."""
    columns = []
    for line in filter(None, map(str.strip, spec.splitlines())):
        name, dtype, about = line.split(maxsplit=2)
        columns.append(OutputColumn(name, dtype.rstrip("!"), about, nullable=not dtype.endswith("!")))  # type: ignore[arg-type]
    return tuple(columns)


def checked(frame: pd.DataFrame, table: OutputTable) -> pd.DataFrame:
    """Return `frame` with just the promised columns, in order, sorted; name every breach at once.

    Raises ValueError (a fault of ours, not the user's) where a column is missing or a promise is broken.
    """
    missing = [c.name for c in table.columns if c.name not in frame.columns]
    if missing:
        raise ValueError(f"{table.name} lacks columns {missing}")
    empty = [c.name for c in table.columns if not c.nullable and frame[c.name].isna().any()]
    if empty:
        raise ValueError(f"{table.name} has empty cells in {empty}")
    ordered = frame.loc[:, list(table.column_names)]
    return ordered.sort_values(list(table.order), kind="stable", ignore_index=True)
