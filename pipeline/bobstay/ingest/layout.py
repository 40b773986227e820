"""Where each of our columns comes from in a sender's row: a column, several joined, or a word said for all rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bobstay.ingest.record import Header
from bobstay.mapping import plain_heading

if TYPE_CHECKING:
    from bobstay.mapping import PartRule

    Added = tuple[str, str | None, tuple[int, ...] | str | None]  # name, our column, places joined or a constant

NOT_KEPT = ""  # in place of a column's name: neither one of ours nor an extra column
AS_IT_CAME = "as it came"


@dataclass(frozen=True, slots=True)
class Fitting:
    """One fitting's column of a wide sheet, among the `places` of all of them; the first also tells of bad rows."""

    place: int
    heading: str
    places: tuple[int, ...]

    @property
    def is_first(self) -> bool:
        """Whether it is the first of the fittings' columns."""
        return self.place == self.places[0]


@dataclass(frozen=True, slots=True)
class Layout:
    """A sender's columns by place, and what is added at the right of them to make the header of our part.

    `added` holds, for each column added, the places it is joined from, or a constant.
    """

    rule: PartRule
    names: tuple[str, ...]
    header: Header
    added: tuple[tuple[int, ...] | str | None, ...]
    fill_down: tuple[int, ...]
    wide: Fitting | None
    kinds: Mapping[str, str]


def layouts(rule: PartRule, names: tuple[str, ...], line: int, filled: Mapping[str, str]) -> Iterator[Layout]:
    """Yield the layout of a sheet whose header ends on `line`, of a wide one a layout for each fitting's column.

    {sheet} and {file} in constants are `filled`.
    """
    places = {plain_heading(name): place for place, name in enumerate(names)}
    if rule.wide is None:
        yield _laid_out(rule, names, line, filled, None)
        return
    fittings = {places[plain_heading(theirs)]: ours for theirs, ours in rule.wide.columns.items()}
    for place, heading in fittings.items():
        yield _laid_out(rule, names, line, filled, Fitting(place, heading, tuple(fittings)))


def _laid_out(
    rule: PartRule, names: tuple[str, ...], line: int, filled: Mapping[str, str], wide: Fitting | None
) -> Layout:
    places = {plain_heading(name): place for place, name in enumerate(names)}
    columns: list[str | None] = [NOT_KEPT if wide and place in wide.places else None for place in range(len(names))]
    for theirs, ours in rule.columns.items():
        columns[places[plain_heading(theirs)]] = ours[0]
    if wide and rule.wide:
        columns[wide.place] = rule.wide.cell
    added = [*_said_elsewhere(rule, places, filled), *_of_shape(rule, columns, wide)]
    return Layout(
        rule,
        names,
        Header(
            line, (*names, *(name for name, _, _ in added)), (*columns, *(ours for _, ours, _ in added)), rule.table
        ),
        tuple(how for _, _, how in added),
        tuple(places[plain_heading(name)] for name in rule.fill_down),
        wide,
        {column.name: column.kind for column in rule.table.columns},
    )


def _said_elsewhere(rule: PartRule, places: Mapping[str, int], filled: Mapping[str, str]) -> Iterator[Added]:
    for theirs, ours in rule.columns.items():
        yield from ((f"{theirs} as {name}", name, (places[plain_heading(theirs)],)) for name in ours[1:])
    for name, sources in rule.joined.items():
        yield f"{' + '.join(sources)} as {name}", name, tuple(places[plain_heading(source)] for source in sources)
    for name, word in rule.constants.items():
        said = word
        for key, text in filled.items():
            said = said.replace(f"{{{key}}}", text)
        yield f"{name} by mapping", name, said


def _of_shape(rule: PartRule, columns: list[str | None], wide: Fitting | None) -> Iterator[Added]:
    if wide and rule.wide:
        yield f"{rule.wide.heading} by mapping", rule.wide.heading, wide.heading
    elif rule.shape == "boat":
        if "result" not in {*columns, *rule.joined, *rule.constants}:
            yield "result by mapping", "result", "inconclusive"
        yield AS_IT_CAME, None, None
