"""Texts that would be something else than text to a page, a spreadsheet, a terminal, a template or a query.

Source: the OWASP pages on CSV injection and on cross-site scripting (kinds of payload, from memory; the texts are
ours), ECMA-48 (control sequences), Unicode annex 9 (marks that turn a line round).
"""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

MARK = "bobstaymark"  # an element, an attribute and a word that stand nowhere else
SCRIPT = "<script>bobstaymark()</script>"
PAYLOADS = (
    SCRIPT,
    '"><bobstaymark onbobstaymark="1">',
    "' onbobstaymark='1",
    "<img src=x onerror=bobstaymark()>",
    "--><bobstaymark>",
    "</td></table></style><bobstaymark>",
    "&lt;bobstaymark&gt;&#60;bobstaymark>",
    "[x](javascript:bobstaymark()) ![y](http://x.invalid/z) **b** # h | a | b |",
    "javascript:bobstaymark()",
    "'; DROP TABLE boats; --",
    '"; DELETE FROM inspections; --" $file $1 ?',
    "=cmd|' /C calc'!A0",
    "+1+cmd|' /C calc'!A0",
    "-1+cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "＝1+1",
    "\x1b[2J\x1b]0;owned\x07 \x9b31m \x1b[1A",
    "\u202egnp.exe\u202c \u2066x\u2069 \u200f\u061c",
    "{{ 'bobstay' ~ 'marked' }} {% raw %} {# c #} ${7*7} #{7*7} %s %(x)s {0} {x}",
    '#import "x"; $ sum $ @ref <label> #eval("bobstaymark")',
    "../../../../bobstaymark",
    "/bobstaymark/x",
    "..\\..\\bobstaymark",
    "..",
    "con",
    "nul.csv",
    "x" * 3000,
    "Ω≈ç√ 日本語 \u0301\u0301\u0301 🚣",
    "NULL",
    "null",
    "nan",
    "1e999",
)


def _rows(table: str, k: int, text: str) -> list[dict[str, str]]:
    """Return rows of `table` in which every text is `text`; the ids differ by payload."""
    boat = {"boat_id": text}
    part = boat | {"fitting_id": text}
    made: dict[str, list[dict[str, str]]] = {
        "boats": [
            boat
            | {"boat_name": text, "design": text, "left_reason": text, "home_port": text, "built": "2001", text: text}
        ],
        "fittings": [
            part
            | {"fitting_type": text, "material": text, "installed": "2005-03-01"}
            | {"position": text, "supplier": text, "batch": text, "access": "hauled", "consequence": "4"}
        ],
        "inspections": [
            part
            | {"inspection_id": f"{text}{n}", "inspected_on": day, "method": method, "result": result}
            | {"inspector": text, "note": text, "action": "none"}
            for n, (day, method, result) in enumerate(
                [("2012-02-01", "visual", "no_indication"), ("2016-02-01", "penetrant", "relevant")]
            )
        ]
        + [part | {"inspected_on": "2017-02-01", "method": text, "result": text, "note": text}],
        "events": [
            boat | {"happened_on": "2014-01-01", "kind": "other", "fitting_types": text.replace(";", ""), "note": text}
        ],
        "slots": [{"slot_id": text, "starts_on": f"2017-{k % 12 + 1:02d}-06", "boats_max": "2", "hours_max": "40"}],
        "availability": [boat | {"from": "2017-01-01", "to": "2018-12-31"}],
        "prices": [{"fitting_type": text, "action": "test", "cost": "100", "hours": "2"}],
        "aliases": [boat | {"alias": f"{text} once"}],
    }
    return made[table]


TABLES = ("boats", "fittings", "inspections", "events", "slots", "availability", "prices", "aliases")


def write_fleet(folder: Path) -> list[Path]:
    """Write a fleet of a boat for each payload, which stands in every text of every table and in file names."""
    paths = []
    for table in TABLES:
        rows = [row for n, text in enumerate(PAYLOADS) for row in _rows(table, n, text)]
        own = [name for name in dict.fromkeys(name for row in rows for name in row) if name not in PAYLOADS]
        # a payload for a column's name as well; of all boats only one has a cell in it
        names = [*own, SCRIPT] if table == "boats" else own
        path = folder / f"{table} =1+1 {'<bobstaymark> ' if table == 'boats' else ''}\x1b[31m\u202e.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names, extrasaction="ignore", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        paths.append(path)
    return paths
