"""The canonical input tables: one row a boat, a fitting, a look, an event, a slot, a free time, a price."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["id", "text", "date", "choice", "choices", "integer", "number", "yes_no"]

SERVICES = ("charter", "school", "club", "private")
WATERS = ("salt", "brackish", "fresh")
CLIMATES = ("cold", "temperate", "warm")
METHODS = (
    "visual",
    "magnified",
    "penetrant",
    "fluorescent_penetrant",
    "eddy_current",
    "ultrasonic",
    "radiographic",
    "proof_load",
)
SCOPES = ("removed", "in_place")
RESULTS = ("no_indication", "relevant", "non_relevant", "false", "inconclusive", "not_inspected", "failed")
ACCESSES = ("afloat", "aloft", "mast_out", "hauled", "keel_off", "engine_bay")
REMOVAL_REASONS = ("indication", "preventive", "damage", "refit", "sold", "unknown")
TRIGGERS = ("scheduled", "suspicion", "incident", "sale", "notice")
DISPOSITIONS = ("confirmed", "unfounded", "open")
ACTIONS_TAKEN = ("none", "blended", "replaced", "removed")
RULE_KINDS = ("test_from", "retest", "renew_by")
EVENT_KINDS = ("grounding", "collision", "dismasting", "lightning", "refit", "other")


@dataclass(frozen=True, slots=True)
class InputColumn:
    """One canonical input column: its kind, its limits, and what a user should write there."""

    name: str
    kind: Kind
    about: str
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    past_only: bool = False  # a day after the limit (today, or a later as-of date) is a mistake


@dataclass(frozen=True, slots=True)
class InputTable:
    """One canonical input table; `key` names the columns that may not repeat (empty: only whole rows)."""

    name: str
    grain: str
    columns: tuple[InputColumn, ...]
    key: tuple[str, ...] = ()

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the columns a file must have."""
        return tuple(c.name for c in self.columns if c.required)

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of all canonical columns, in order."""
        return tuple(c.name for c in self.columns)


def _id(name: str, about: str, *, required: bool = False) -> InputColumn:
    return InputColumn(name, "id", about, required=required)


def _text(name: str, about: str, *, required: bool = False) -> InputColumn:
    return InputColumn(name, "text", about, required=required)


def _choice(name: str, choices: tuple[str, ...], about: str, *, required: bool = False) -> InputColumn:
    return InputColumn(name, "choice", about, required=required, choices=choices)


def _date(name: str, about: str, *, required: bool = False, past_only: bool = True) -> InputColumn:
    return InputColumn(name, "date", about, required=required, past_only=past_only)


BOATS = InputTable(
    "boats",
    "boat",
    (
        _id("boat_id", "the boat, the same word in every file", required=True),
        _text("boat_name", "the name on the transom"),
        _text("design", "the design or class of boat"),
        _date("built", "when she was built"),
        _date("joined", "when the fleet's records of her begin"),
        _date("left", "when those records end (sold, wrecked)"),
        _text("left_reason", "why they end"),
        _choice("service", SERVICES, "what she is used for"),
        _choice("water", WATERS, "the water she lies in"),
        _choice("climate", CLIMATES, "the climate she lies in"),
        InputColumn("hours_per_year", "number", "hours under way a year", low=0, high=8784),
        _text("home_port", "where she lies"),
    ),
    key=("boat_id",),
)

FITTINGS = InputTable(
    "fittings",
    "installation of one part in one place",
    (
        _id("boat_id", "the boat", required=True),
        _id("fitting_id", "the place on the boat; the same for each successive part there", required=True),
        _text("fitting_type", "what it is: chainplate, mast tang, keel bolt", required=True),
        _text("material", "what it is made of", required=True),
        _date("installed", "when this part was put in"),
        _date("removed", "when this part was taken out"),
        _choice("removal_reason", REMOVAL_REASONS, "why it was taken out"),
        _text("position", "where on the boat"),
        _text("supplier", "who supplied it"),
        _text("batch", "the supplier's batch"),
        InputColumn("through_deck", "yes_no", "does it pass through deck or hull", choices=("yes", "no")),
        _choice("access", ACCESSES, "what must be done to reach it"),
        InputColumn("consequence", "integer", "what its failure costs, 1 (nuisance) to 5 (sinking)", low=1, high=5),
        _text("consequence_reason", "why its class is not that of its type"),
        _id("moved_from_boat_id", "the boat this part was in before; empty where it came from this boat"),
        _id("moved_from_fitting_id", "the place it was in before; empty: a place of the same name"),
    ),
)

INSPECTIONS = InputTable(
    "inspections",
    "look at one fitting",
    (
        _id("inspection_id", "the look"),
        _id("boat_id", "the boat", required=True),
        _id("fitting_id", "the place; empty where the whole boat was looked over"),
        _date("inspected_on", "the day of the look", required=True),
        _choice("method", METHODS, "how it was looked at", required=True),
        _choice("result", RESULTS, "what it showed", required=True),
        _choice("scope", SCOPES, "taken off, or where it sits"),
        InputColumn("surface_cleaned", "yes_no", "cleaned to bright metal", choices=("yes", "no")),
        InputColumn("part_temp_c", "number", "temperature of the part, Celsius", low=-60, high=150),
        InputColumn("penetrant_dwell_min", "number", "penetrant dwell, minutes", low=0, high=1440),
        InputColumn("developer_dwell_min", "number", "developer dwell, minutes", low=0, high=1440),
        _choice("indication_form", ("linear", "rounded"), "form of the indication"),
        InputColumn("indication_length_mm", "number", "length of the indication, mm", low=0, high=10000),
        _choice("trigger", TRIGGERS, "why it was looked at"),
        _choice("disposition", DISPOSITIONS, "what the follow-up said of an indication"),
        _choice("action", ACTIONS_TAKEN, "what was done"),
        _text("inspector", "who looked"),
        _text("note", "anything else"),
    ),
    key=("inspection_id",),
)

EVENTS = InputTable(
    "events",
    "event of one boat",
    (
        _id("boat_id", "the boat", required=True),
        _date("happened_on", "the day", required=True),
        _choice("kind", EVENT_KINDS, "what happened", required=True),
        _text("fitting_types", "types affected, separated by ; (empty: all)"),
        _text("note", "anything else"),
    ),
)

SLOTS = InputTable(
    "slots",
    "yard slot a week",
    (
        _id("slot_id", "the slot", required=True),
        _date("starts_on", "the first day of the week", required=True, past_only=False),
        InputColumn("boats_max", "integer", "boats it holds that week", required=True, low=0, high=100000),
        InputColumn("hours_max", "number", "hours of work it holds that week", low=0, high=1e6),
        InputColumn("access", "choices", "accesses it offers, separated by ; (empty: all)", choices=ACCESSES),
    ),
    key=("slot_id", "starts_on"),
)

AVAILABILITY = InputTable(
    "availability",
    "time in which a boat may be out of service",
    (
        _id("boat_id", "the boat", required=True),
        _date("from", "first day she may be out", required=True, past_only=False),
        _date("to", "last day she may be out", required=True, past_only=False),
    ),
)

PRICES = InputTable(
    "prices",
    "price of one access, or of one action on one type",
    (
        _choice("access", ACCESSES, "the access that is priced"),
        _text("fitting_type", "the type that is priced, with action"),
        _choice("action", ("test", "replace"), "the action that is priced, with fitting_type"),
        InputColumn("cost", "number", "money, one currency throughout", low=0),
        InputColumn("hours", "number", "hours of work", low=0),
    ),
)

ALIASES = InputTable(
    "aliases",
    "other name a boat went by",
    (
        _id("boat_id", "the boat", required=True),
        _id("alias", "what other files call her", required=True),
        _date("from", "since when, where another boat had the name before", past_only=False),
        _date("to", "until when, where another boat has it since", past_only=False),
    ),
)

RULES = InputTable(
    "rules",
    "rule of an insurer, a federation, a maker or a class society",
    (
        _text("issuer", "whose rule it is", required=True),
        _text("fitting_type", "the type it speaks of (empty: all)"),
        _text("material", "the material it speaks of (empty: all)"),
        _choice("kind", RULE_KINDS, "which age it sets", required=True),
        InputColumn("years", "number", "years in service, or between tests", required=True, low=0.1, high=100),
        _text("source", "where it is written"),
    ),
)

NOTICES = InputTable(
    "notices",
    "group of parts that a recall or another notice speaks of",
    (
        _id("notice_id", "the notice; several rows may share it", required=True),
        _date("issued_on", "the day it was issued", required=True),
        _text("fitting_type", "the type it speaks of (empty: all)"),
        _text("material", "the material it speaks of (empty: all)"),
        _text("supplier", "the supplier (empty: all)"),
        _text("batch", "the supplier's batch (empty: all)"),
        _date("installed_from", "first day of installation it speaks of", past_only=False),
        _date("installed_to", "last day of installation it speaks of", past_only=False),
        _choice("action", ("test", "replace"), "what it asks for", required=True),
        _text("source", "whose notice it is, and where it is written"),
    ),
)

INPUTS: tuple[InputTable, ...] = (
    BOATS,
    FITTINGS,
    INSPECTIONS,
    EVENTS,
    SLOTS,
    AVAILABILITY,
    PRICES,
    ALIASES,
    RULES,
    NOTICES,
)
INPUT_BY_NAME: dict[str, InputTable] = {t.name: t for t in INPUTS}
