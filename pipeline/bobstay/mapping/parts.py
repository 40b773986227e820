"""Reads one [[part]] of a mapping file and checks it against the table it is for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bobstay.mapping.figures import UNITS, own_unit
from bobstay.mapping.keys import allowed_here, known_keys, one_of, pattern, refused
from bobstay.mapping.record import PartRule, Wide
from bobstay.tables import INPUT_BY_NAME, InputTable

_PART = {
    "table": str,
    "sheet": str,
    "header": int,
    "header_rows": int,
    "shape": str,
    "until": str,
    "skip": list,
    "fill_down": list,
    "each_once": bool,
    "columns": dict,
    "joined": dict,
    "constants": dict,
    "units": dict,
    "wide": dict,
}
_WIDE = {"heading": str, "cell": str, "columns": dict}
SHAPES = ("rows", "wide", "boat")


def part_rule(tree: dict[str, Any], *, source: str, key: str) -> PartRule:
    """Return the rule that one [[part]] says; raises UsageError."""
    known_keys(tree, _PART, source=source, key=key)
    table = INPUT_BY_NAME[one_of(tree.get("table", ""), INPUT_BY_NAME, source=source, key=f"{key}.table")]
    rule = PartRule(
        table=table,
        columns=_columns(tree.get("columns", {}), table, source, f"{key}.columns"),
        sheet=tree.get("sheet"),
        header=_count(tree.get("header"), source, f"{key}.header"),
        header_rows=_count(tree.get("header_rows", 1), source, f"{key}.header_rows") or 1,
        shape=one_of(tree.get("shape", "rows"), SHAPES, source=source, key=f"{key}.shape"),  # type: ignore[arg-type]
        until=pattern(tree["until"], source=source, key=f"{key}.until") if "until" in tree else None,
        skip=tuple(pattern(p, source=source, key=f"{key}.skip") for p in tree.get("skip", [])),
        fill_down=tuple(tree.get("fill_down", [])),
        each_once=tree.get("each_once", False),
        joined={
            c: tuple(v) for c, v in _by_column(tree.get("joined", {}), list, table, source=source, key=f"{key}.joined")
        },
        constants=dict(_by_column(tree.get("constants", {}), str, table, source=source, key=f"{key}.constants")),
        units=dict(_units(tree.get("units", {}), table, source, f"{key}.units")),
        wide=_wide(tree["wide"], table, source, f"{key}.wide") if "wide" in tree else None,
    )
    _check_shape(rule, source, key)
    _check_columns(rule, source, key)
    return rule


def _count(value: int | None, source: str, key: str) -> int | None:
    if value is not None and value < 1:
        raise refused(f"{key} is less than 1", source=source, key=key, value=value, remedy="lines are counted from 1")
    return value


def _columns(tree: dict[str, Any], table: InputTable, source: str, key: str) -> dict[str, tuple[str, ...]]:
    columns: dict[str, tuple[str, ...]] = {}
    for theirs, ours in tree.items():
        names = (ours,) if isinstance(ours, str) else tuple(ours) if isinstance(ours, list) else (None,)
        for name in names:
            if name not in table.column_names:
                what = f"table {table.name} has no column {name}"
                remedy = allowed_here(str(name), table.column_names)
                raise refused(what, source=source, key=f"{key}.{theirs}", value=ours, remedy=remedy)
        columns[theirs] = tuple(map(str, names))
    return columns


def _by_column(
    entries: dict[str, Any], kind: type, table: InputTable, *, source: str, key: str
) -> Iterator[tuple[str, Any]]:
    known_keys(entries, dict.fromkeys(table.column_names, kind), source=source, key=key)
    yield from entries.items()


def _units(tree: dict[str, Any], table: InputTable, source: str, key: str) -> Iterator[tuple[str, str]]:
    for column, unit in _by_column(tree, str, table, source=source, key=key):
        own = own_unit(column)
        if own is None:
            what = f"{column} takes no unit"
            raise refused(what, source=source, key=f"{key}.{column}", value=unit, remedy="take the line out")
        yield column, one_of(unit, UNITS[own], source=source, key=f"{key}.{column}")


def _wide(tree: dict[str, Any], table: InputTable, source: str, key: str) -> Wide:
    known_keys(tree, _WIDE, source=source, key=key)
    heading, cell = tree.get("heading", "fitting_id"), tree.get("cell", "result")
    for name, value in (("heading", heading), ("cell", cell)):
        one_of(value, table.column_names, source=source, key=f"{key}.{name}")
    columns = tree.get("columns", {})
    known_keys(columns, dict.fromkeys(columns, str), source=source, key=f"{key}.columns")
    if not columns:
        remedy = 'write [part.wide.columns] and under it "Chainplate port" = "CP-P"'
        raise refused("it names no fitting's column", source=source, key=f"{key}.columns", value=columns, remedy=remedy)
    return Wide(heading, cell, columns)


def _check_shape(rule: PartRule, source: str, key: str) -> None:
    if (rule.shape == "wide") != (rule.wide is not None):
        remedy = 'shape = "wide" and [part.wide] belong together'
        raise refused("the shape does not fit", source=source, key=f"{key}.shape", value=rule.shape, remedy=remedy)
    if rule.shape != "rows" and rule.table.name != "inspections":
        remedy = 'shapes "wide" and "boat" are for table inspections'
        raise refused("the shape does not fit", source=source, key=f"{key}.shape", value=rule.shape, remedy=remedy)


def sources(rule: PartRule) -> list[str]:
    """Return our columns that the part fills, once for each way in which it does."""
    mapped = [ours for names in rule.columns.values() for ours in names]
    wide = [rule.wide.heading, rule.wide.cell] if rule.wide else []
    boat = ["fitting_id"] if rule.shape == "boat" else []
    return [*mapped, *rule.joined, *rule.constants, *wide, *boat]


def _check_columns(rule: PartRule, source: str, key: str) -> None:
    filled = sources(rule)
    twice = [name for name in dict.fromkeys(filled) if filled.count(name) > 1]
    if twice:
        remedy = "name it once among columns, joined, constants and wide"
        raise refused(f"{twice[0]} is filled twice", source=source, key=key, value=twice, remedy=remedy)
    spared = {"result"} if rule.shape == "boat" else set()
    missing = [name for name in rule.table.required if name not in {*filled, *spared}]
    if missing:
        what = f"nothing says what {', '.join(missing)} of {rule.table.name} is"
        remedy = "name the sender's column under [part.columns], or say it of all rows under [part.constants]"
        raise refused(what, source=source, key=key, value=rule.table.name, remedy=remedy)
