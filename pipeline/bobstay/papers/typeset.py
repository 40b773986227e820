"""Sets papers as PDF: our template, content as data, our own fonts, a fixed day; equal content gives equal bytes."""

from __future__ import annotations

import json
from contextlib import contextmanager
from datetime import UTC, date, datetime
from importlib.resources import as_file, files
from typing import TYPE_CHECKING, Any

from bobstay.export import whole
from bobstay.told import visible

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from pathlib import Path

_NO_LETTER = "could not be displayed with font"


@contextmanager
def setter(template: str, *, as_of: date, is_tagged: bool = True) -> Iterator[Callable[[Mapping[str, Any]], bytes]]:
    """Yield a function that sets reports/papers/TEMPLATE.typ from content (as JSON takes it) and returns the PDF.

    Text of the content is set as it stands, whatever it says; the PDF carries `as_of` as its day and, unless
    it is for the printer alone, tags of its parts (PDF/UA-1, ISO 14289-1).
    """
    import typst

    stamp = int(datetime(as_of.year, as_of.month, as_of.day, tzinfo=UTC).timestamp())
    with as_file(files("bobstay.templates")) as home:
        source = home / "papers" / f"{template}.typ"
        compiler = typst.Compiler(
            str(source), root=str(source.parent), font_paths=[str(home / "fonts")], ignore_system_fonts=True
        )

        how: dict[str, Any] = {"pdf_standards": ["ua-1"]} if is_tagged else {"pdf_tags": False}

        def made(content: Mapping[str, Any]) -> bytes:
            given = {"content": json.dumps(_seen(content), ensure_ascii=False)}
            try:
                pdf = compiler.compile(sys_inputs=given, timestamp=stamp, **how)
            except typst.TypstError as fault:
                if _NO_LETTER not in str(fault):
                    raise
                # the standard refuses letters that our fonts lack; without it they are boxes, and still text
                pdf = compiler.compile(sys_inputs=given, timestamp=stamp)
            if not isinstance(pdf, bytes):
                raise TypeError("the typesetter gave no single PDF")
            return pdf

        yield made


def _seen(part: Any) -> Any:
    """Return content with the unseen characters of its texts written out: no font has letters for them."""
    if isinstance(part, str):
        return visible(part)
    if isinstance(part, dict):
        return {key: _seen(value) for key, value in part.items()}
    return [_seen(value) for value in part] if isinstance(part, list | tuple) else part


def written(path: Path, content: bytes) -> Path:
    """Write a file, its folder made first; return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with whole(path) as beside:
        beside.write_bytes(content)
    return path
