"""What a person or a machine sees on the terminal: results on stdout, progress on stderr, no traceback, no colour
where NO_COLOR is set."""

from __future__ import annotations

import json as json_format
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bobstay.export import plain, whole
from bobstay.settings import Settings, flattened
from bobstay.told import visible

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import pandas as pd

    from bobstay.ingest import FileReport, IngestReport
    from bobstay.propose import Proposal
    from bobstay.told import Told

ROWS_SHOWN = 20


def progress(quiet: bool) -> Callable[[str], None]:
    """Return what stages call to say what they do: a line on stderr, on a terminal only."""
    if quiet or not sys.stderr.isatty():
        return lambda _text: None
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True)
    return lambda text: console.print(Text(visible(f"· {text}"), style="dim"))


def told(answer: Told, *, json: bool) -> None:
    """Print an answer: its parts as headings with lines and tables, or as JSON."""
    if json:
        _json(answer.content)
        return
    _out(answer.text())


def study(table: str, records: Sequence[Mapping[str, object]], *, json: bool) -> None:
    """Print what a simulation study found: the table as Markdown, or its numbers as JSON."""
    if json:
        _json({"study": list(records)})
        return
    _out(table)


def frames(tables: Mapping[str, pd.DataFrame], *, json: bool) -> None:
    """Print tables: all rows as JSON, or the first of them in columns with a note of how many there are."""
    if json:
        _json({name: records(frame) for name, frame in tables.items()})
        return
    for name, frame in tables.items():
        _out(f"{name}: {len(frame)} rows" + (f", the first {ROWS_SHOWN}" if len(frame) > ROWS_SHOWN else ""))
        if len(frame):
            _table(frame.head(ROWS_SHOWN))


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as JSON takes them."""
    import pandas as pd

    return [
        {str(k): None if pd.isna(v) else plain(v.item() if hasattr(v, "item") else v) for k, v in row.items()}
        for row in frame.to_dict("records")
    ]


def proposal(made: Proposal, *, out: Path | None, json: bool) -> None:
    """Write the first mapping to `out`, or print it; say how many questions it leaves open."""
    if out is not None:
        with whole(out) as beside:
            beside.write_text(made.text, encoding="utf-8")
    if json:
        _json({"out": str(out) if out else None, "questions": list(made.questions), "mapping": made.text})
    elif out is None:
        _out(made.text)
    else:
        _out(f"{out}: {len(made.questions)} open questions, each beside its line")
        _out(f"answer them, then: bobstay run FILE... --mapping {out}")


def taken_in(report: IngestReport, *, json: bool, returned: Told | None = None) -> None:
    """Print what a load took in, file by file, and what worksheets that came back did to the ranks."""
    if json:
        lists: dict[str, Any] = {"skipped": list(report.skipped), "confirmed": list(report.confirmed)}
        lists["waiting"] = [{"file": file, "rows": rows} for file, rows in report.waiting]
        again = returned.content if returned else {}
        _json({"files": [asdict(f) for f in report.files], **lists, **again})
        return
    for f in report.files:
        name = f.file if f.part == "-" else f"{f.file} [{f.part}]"
        unread = f"; {f.cells_unread} cells of rows used could not be read" if f.cells_unread else ""
        _out(
            f"{name} ({f.table}, {f.encoding}): {f.rows_read} rows read = {f.rows_used} used + "
            f"{f.rows_set_aside} set aside{unread}{_of_them(f)}"
        )
    for name in report.confirmed:
        _out(f"{name}: rows that waited are used now")
    for name in report.skipped:
        _out(f"{name}: already in the store, nothing added")
    for name, rows in report.waiting:
        _out(f"{name}: the boat of {rows} rows set aside is known by now; give that file again")
    if report.rows_set_aside:
        _out("`bobstay status` says why rows were set aside and how to mend them")
    if returned is not None:
        _out(f"\n{returned.text()}")


def _of_them(file: FileReport) -> str:
    """Say how many of the rows used were not new to the store."""
    said = [
        f"{count} {words}"
        for count, words in (
            (file.rows_known, "known already"),
            (file.rows_superseding, "in the place of earlier rows"),
            (file.rows_renamed, "under another name of the boat"),
        )
        if count
    ]
    return f" ({', '.join(said)})" if said else ""


def written(folder: Path, files: Sequence[Path], *, json: bool) -> None:
    """Print what was written."""
    names = [p.relative_to(folder).as_posix() for p in files]
    if json:
        _json({"out": str(folder), "files": names})
        return
    _out(f"{len(names)} files written under {folder}; open {folder / 'index.html'}")


def settings_in_force(settings: Settings, *, json: bool) -> None:
    """Print every setting in force as TOML with where it comes from, or as JSON."""
    rows = flattened(settings)
    if json:
        _json({key: {"value": plain(value), "from": source} for key, (value, source) in rows.items()})
        return
    section = ""
    for key, (value, source) in sorted(rows.items(), key=lambda item: (item[0].count(".") > 0, _order(item[0]))):
        head, _, last = key.rpartition(".")
        if head != section:
            section = head
            _out(f"\n[{head}]")
        _out(f"{'# ' if value is None else ''}{_bare(last)} = {_toml(value)}  # from: {source}")


def _order(key: str) -> tuple[str, str]:
    head, _, last = key.rpartition(".")
    return head, last


def _bare(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else json_format.dumps(key)


def _toml(value: Any) -> str:
    if value is None:
        return '"the newest date in the data"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    return json_format.dumps(plain(value))


def _table(frame: pd.DataFrame) -> None:
    with_text = frame.to_string(index=False, na_rep="-", max_colwidth=48, float_format=lambda x: f"{x:.4g}")
    _out(with_text)


def _out(text: str) -> None:
    print(visible(text))  # noqa: T201


def _json(content: Any) -> None:
    is_any_letter = (sys.stdout.encoding or "utf-8").lower().replace("-", "") == "utf8"
    text = json_format.dumps(content, ensure_ascii=not is_any_letter, indent=1, allow_nan=False)
    # what JSON leaves as it is may still steer a terminal: controls beyond ASCII, marks that turn a line round
    print("".join(c if c == "\n" or c.isprintable() else json_format.dumps(c)[1:-1] for c in text))  # noqa: T201
