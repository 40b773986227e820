"""Which word lists there are, the canonical words each allows, and which list a column reads from."""

from __future__ import annotations

from bobstay.tables import INPUT_BY_NAME, InputColumn


def _choices(table: str, column: str) -> tuple[str, ...]:
    return next(c.choices for c in INPUT_BY_NAME[table].columns if c.name == column)


# Lists whose canonical words the tables fix; the action of a price is not the action of a look.
CHOICES: dict[str, tuple[str, ...]] = {
    "method": _choices("inspections", "method"),
    "result": _choices("inspections", "result"),
    "scope": _choices("inspections", "scope"),
    "indication_form": _choices("inspections", "indication_form"),
    "trigger": _choices("inspections", "trigger"),
    "disposition": _choices("inspections", "disposition"),
    "action": _choices("inspections", "action"),
    "removal_reason": _choices("fittings", "removal_reason"),
    "access": _choices("fittings", "access"),
    "yes_no": ("yes", "no"),
    "service": _choices("boats", "service"),
    "water": _choices("boats", "water"),
    "climate": _choices("boats", "climate"),
    "kind": _choices("events", "kind"),
    "price_action": _choices("prices", "action"),
    "rule_kind": _choices("rules", "kind"),
}
# Columns whose words are not those of other columns of the same name.
_OWN = {("prices", "action"): "price_action", ("notices", "action"): "price_action", ("rules", "kind"): "rule_kind"}
# Lists to which a fleet may add canonical words of its own.
OPEN_LISTS: tuple[str, ...] = ("fitting_type", "material")
WORD_LISTS: tuple[str, ...] = (*OPEN_LISTS, *CHOICES)


def word_list(table: str, column: InputColumn) -> str | None:
    """Return the name of the word list that `column` of the input table `table` reads from, or None."""
    if column.kind == "yes_no":
        return "yes_no"
    if (table, column.name) in _OWN:
        return _OWN[table, column.name]
    name = "fitting_type" if column.name == "fitting_types" else column.name
    return name if name in WORD_LISTS else None
