"""What all papers speak of, read once from the store: boats, their lines, the plan, the words in force."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from bobstay import store
from bobstay.report.fleet import rows
from bobstay.report.names import page_names, shown_names
from bobstay.report.spans import months_on
from bobstay.wording import wording_of

if TYPE_CHECKING:
    import duckdb

    from bobstay.report.fleet import Row
    from bobstay.settings import Settings
    from bobstay.wording import Wording

_BOATS = """SELECT boat_id, boat_name, design, service, home_port FROM boats
    WHERE boat_id IN (SELECT boat_id FROM priority) ORDER BY boat_id"""
_LINES = "SELECT * FROM worksheet_lines WHERE is_current ORDER BY boat_id, place"


@dataclass(frozen=True, slots=True)
class Boat:
    """One boat with the lines of her sheet; `name` is what she is called, `file` her files' name without ending."""

    boat_id: str
    name: str
    file: str
    facts: Row
    lines: tuple[Row, ...]

    @property
    def starts_on(self) -> date | None:
        """The first day she is in the yard by the plan."""
        return min((line["starts_on"] for line in self.lines if line["starts_on"]), default=None)


@dataclass(frozen=True, slots=True)
class Source:
    """The store's rows for papers, in the words in force."""

    boats: tuple[Boat, ...]
    as_of: date
    until: date  # the end of the horizon
    settings: Settings
    wording: Wording
    fleet_mark: str

    def say(self, key: str, /, **values: Any) -> str:
        """Return a sentence of the papers."""
        return self.wording.say(f"papers.{key}", **values)

    @property
    def caution(self) -> str:
        """The caution that stands on every paper."""
        return f"{self.wording.say('common.caution_head')} {self.wording.say('common.caution')}"

    @property
    def invented(self) -> str:
        """The words that say the data are invented; empty where they are not."""
        return f"{self.wording.say('common.invented')}." if self.settings.invented else ""

    def typed(self, group: str, text: str) -> str:
        """Return a fitting type or a material in the reader's words; one of the user's own as it stands."""
        key = text.replace(" ", "_")
        return self.wording.word(group, key) if self.wording.has(f"words.{group}.{key}") else text

    @property
    def in_yard_order(self) -> tuple[Boat, ...]:
        """The boats as the yard meets them: by their first day in it, then those without."""
        return tuple(sorted(self.boats, key=lambda b: (b.starts_on or date.max, b.boat_id)))

    def shared_words(self, title: str) -> dict[str, str]:
        """Return what every paper says: its title, the caution, the language, the paper's size."""
        return {
            "title": title,
            "language": self.wording.language,
            "paper": "a4",
            "caution": self.caution,
            "invented": self.invented,
            "page": self.say("page"),
            "records": self.say("records", day=self.as_of),
            "records_to": self.say("records_to", day=self.as_of, until=self.until),
        }


def read_source(con: duckdb.DuckDBPyConnection, *, settings: Settings, as_of: date, fleet_mark: str) -> Source:
    """Read the boats with their current lines; raises UsageError where no lines were made."""
    store.needed(con, "worksheet_lines")
    lines: dict[str, list[Row]] = {}
    for line in rows(con, _LINES):
        lines.setdefault(line["boat_id"], []).append(line)
    facts = rows(con, _BOATS)
    called = shown_names({row["boat_id"]: row["boat_name"] for row in facts})
    files = page_names(called)
    boats = [Boat(n, called[n], files[n], row, tuple(lines.get(n, []))) for n, row in zip(called, facts, strict=True)]
    until = months_on(as_of, settings.horizon_months)
    return Source(tuple(boats), as_of, until, settings, wording_of(settings.words), fleet_mark)
