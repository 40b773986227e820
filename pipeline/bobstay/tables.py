"""The promises of every table: what comes in (CONTRACT 1), what stages hand on, what goes out (CONTRACT 5).

A column says its kind once, here; ingest, lives, report and the guide all read it from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

Kind = Literal["id", "text", "date", "choice", "choices", "integer", "number", "yes_no"]
Dtype = Literal["text", "integer", "number", "date", "boolean"]

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
        InputColumn(
            "consequence", "integer", "what its failure costs, 1 (nuisance) to 5 (sinking)", low=1, high=5
        ),
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

INPUTS: tuple[InputTable, ...] = (BOATS, FITTINGS, INSPECTIONS, EVENTS, SLOTS, AVAILABILITY, PRICES)
INPUT_BY_NAME: dict[str, InputTable] = {t.name: t for t in INPUTS}


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


def _columns(spec: str) -> tuple[OutputColumn, ...]:
    """Read lines of `name dtype! about` (a trailing ! on the dtype: never empty)."""
    columns = []
    for line in filter(None, map(str.strip, spec.splitlines())):
        name, dtype, about = line.split(maxsplit=2)
        columns.append(OutputColumn(name, dtype.rstrip("!"), about, nullable=not dtype.endswith("!")))  # type: ignore[arg-type]
    return tuple(columns)


LIVES = OutputTable(
    "lives",
    "life (one part's service)",
    _columns("""
        life_id text! boat_id/fitting_id/number of the part in that place
        boat_id text! the boat
        fitting_id text! the place
        part_number integer! 1 for the first part known in that place
        fitting_type text! what it is
        material text! what it is made of
        entry_years number age at which the life came under observation; empty: it never did (see left_out)
        lower_years number! the last age at which it was validly found clear (0: never)
        upper_years number! the first age at which it showed an indication (inf: never)
        look_count integer! looks at it, of any worth
        valid_look_count integer! looks that count
        clear_count integer! valid looks that found nothing, false calls included
        indication_count integer! valid looks that found an indication not called unfounded
        left_out text why the estimate cannot use it: joined_late_no_clear_look, joined_late_first_look_indication, indication_at_age_zero, age_unknown
        age_basis text! stated (a day), rough (a range), bounded (between build and first record), at_least (no bound)
        installed_on date! the day from which ages are counted
        installed_earliest date earliest day of installation
        installed_latest date! latest day of installation
        ended_on date! removal, replacement, the boat's leaving or the as-of date
        end_reason text! in_service, replaced, removed, boat_left
        removal_reason text as in fittings
        age_years number! age at ended_on
        is_in_service boolean! still in the boat at the as-of date
        open_indication_on date first day of an indication that is neither unfounded nor ended by removal
        last_valid_look date last look that counts
        last_method text its method
        last_clear_years number age at the last valid clear look (empty: none)
        ranking_clear_years number age at the last valid clear look that no later event has voided (empty: none)
        voided_by text the event that voided earlier clear looks: kind and day
        position text where on the boat
        supplier text who supplied it
        batch text supplier's batch
        through_deck boolean does it pass through deck or hull
        access text what must be done to reach it
        consequence integer as stated in fittings
    """),
    order=("boat_id", "fitting_id", "part_number"),
)

LIFE_LOOKS = OutputTable(
    "life_looks",
    "look at one life",
    _columns("""
        life_id text! the life
        look_years number! age at the look (a rough day: earliest for a clear look, latest for a finding)
        look_on date! the day used
        method text! as in inspections
        scope text! removed or in_place (not stated counts as in_place)
        shows text! clear, indication (an unfounded one too), or nothing (gives no information)
        verdict text! confirmed, unfounded or open; none for a clear look
        grade text! valid, not_stated, below_minima, no_information
        grade_reason text why it is below the minima or tells nothing
        trigger text why it was looked at
        file text! the file it came from
        line integer! its line there
    """),
    order=("life_id", "look_on", "file", "line"),
)

CLASSES = OutputTable(
    "classes",
    "fitting type and material",
    _columns("""
        fitting_type text! what it is
        material text! what it is made of
        life_count integer! lives the estimate uses
        boat_count integer! boats they are on
        event_count integer! lives with an indication
        oldest_years number oldest age at which at least 5 lives are at risk
        shape number Weibull shape
        shape_lower number lower end of its interval
        shape_upper number upper end
        scale_years number Weibull scale, years
        scale_years_lower number lower end
        scale_years_upper number upper end
        b10_years number age by which one in ten shows an indication
        b10_years_lower number lower end
        b10_years_upper number upper end
        log_likelihood number log-likelihood at the estimate
        evidence text! enough, thin or none
        model text! how the numbers were made, or why there are none
        left_out_count integer! lives the estimate could not use
    """),
    order=("fitting_type", "material"),
)

DETECTION = OutputTable(
    "detection",
    "method and scope",
    _columns("""
        method text! how it is looked at
        scope text! removed or in_place
        look_count integer! valid looks
        found number chance that a look shows a crack that is there
        found_lower number lower end
        found_upper number upper end
        false_call number chance that a look shows a crack that is not there
        false_call_lower number lower end
        false_call_upper number upper end
        found_prior number the setting it started from
        false_call_prior number the setting it started from
        prior_weight number looks the setting is worth
        indication_count integer! findings
        followed_up_share number share of findings with a disposition confirmed or unfounded
        basis text! assumed perfect, estimated, or held at the setting
    """),
    order=("method", "scope"),
)

NONPARAMETRIC = OutputTable(
    "nonparametric",
    "class and age",
    _columns("""
        fitting_type text! what it is
        material text! what it is made of
        age_from_years number! the estimate is flat from here
        age_to_years number! to here
        survival number! share still without an indication
        survival_lower number lower end of its interval
        survival_upper number upper end
        at_risk integer! lives under observation at age_from_years
    """),
    order=("fitting_type", "material", "age_from_years"),
)

CHANCES = OutputTable(
    "chances",
    "life in service",
    _columns("""
        life_id text! the life
        chance number an indication-worthy crack by the end of the horizon (empty: no estimate)
        chance_lower number lower end
        chance_upper number upper end
        chance_now number the same on the as-of date
        logit_sd number standard deviation of logit chance, boat effect included
        basis text! own (the class's estimate), borrowed (pooled), none
        model text! words for it
    """),
    order=("life_id",),
    exported=False,
)

CLASS_DRAWS = OutputTable(
    "class_draws",
    "class and draw",
    _columns("""
        fitting_type text! what it is
        material text! what it is made of
        draw integer! number of the draw; 0 is the estimate itself
        log_scale number! ln scale, years
        log_shape number! ln shape
        boat_sd number! standard deviation of the boat effect on ln scale (0: none)
    """),
    order=("fitting_type", "material", "draw"),
    exported=False,
)

PRIORITY = OutputTable(
    "priority",
    "fitting in service",
    _columns("""
        boat_id text! the boat
        fitting_id text! the place
        fitting_type text! what it is
        material text! what it is made of
        age_years number! age at the as-of date
        last_valid_look date last look that counts
        last_method text its method
        chance number an indication-worthy crack by the end of the horizon
        chance_lower number lower end
        chance_upper number upper end
        consequence integer! 1 (nuisance) to 5 (sinking)
        expected_loss number chance times the cost units of the consequence class
        list text! evidence or nobody_looked
        rank integer! 1 is first on its list
        tie_group integer! fittings of one group cannot be told apart in order
        action text! test, replace, leave or act_now
        method text the method proposed
        reason text! in words
        boat_name text the name on the transom
        life_id text! the life
        position text where on the boat
        access text what must be done to reach it
        rank_lower integer the highest place the order could give it
        rank_upper integer the lowest place the order could give it
        clear_until date when the last clear look stops counting
    """),
    order=("list", "rank"),
)

GUIDANCE = OutputTable(
    "guidance",
    "fitting type and material",
    _columns("""
        fitting_type text! what it is
        material text! what it is made of
        test_from_years number first test at this age
        test_from_years_lower number lower end
        test_from_years_upper number upper end
        retest_years number test again after this long (rests on assumed growth)
        retest_years_lower number lower end
        retest_years_upper number upper end
        replace_by_years number renew by this age
        replace_by_years_lower number lower end
        replace_by_years_upper number upper end
        binding_rule text! which rule set the ages
        oldest_years number oldest age at which at least 5 lives are at risk
        beyond_evidence boolean! some age above lies beyond oldest_years
        assumption text! what is assumed, in words
        consequence integer! consequence class used
        evidence text! enough, thin or none
    """),
    order=("fitting_type", "material"),
)

HAUL_PLAN = OutputTable(
    "haul_plan",
    "job",
    _columns("""
        boat_id text! the boat
        slot_id text! the slot
        starts_on date! its first day
        access text! what must be done to reach it
        fitting_id text! the place
        action text! test, replace or act_now
        hours number! hours of work
        cost number! money, access shared by its jobs left out
        loss_avoided number! expected loss the job takes away
        boat_name text the name on the transom
        fitting_type text! what it is
        method text the method proposed
    """),
    order=("starts_on", "slot_id", "boat_id", "access", "fitting_id"),
)

PLAN_SUMMARY = OutputTable(
    "plan_summary",
    "plan",
    _columns("""
        cost number! money, accesses included
        hours number! hours of work
        loss_avoided number! expected loss taken away
        loss_left number! expected loss that stays
        bound number! no plan can avoid more than this
        gap number! (bound - loss_avoided) / bound
        boats_planned integer! boats given a slot
        boats_waiting integer! boats with jobs and no slot
        binding text! what limits the plan, in words
    """),
    order=("cost",),
)

COVERAGE = OutputTable(
    "coverage",
    "boat and fitting type",
    _columns("""
        boat_id text! the boat
        fitting_type text! what it is
        fittings integer! fittings in service
        looked integer! of these, with a valid look at the part now in place
        last_valid_look date the newest of them
        best_method text the method most likely to show a crack among them
    """),
    order=("boat_id", "fitting_type"),
)

BACKTEST = OutputTable(
    "backtest",
    "origin and ranking",
    _columns("""
        origin date! estimate made on records up to this day
        ranking text! how the fittings were ordered
        looks integer! looks in the season after
        found integer! findings among them
        expected number findings expected
        top_tenth_share number share of findings in the first tenth of the order
        brier number mean squared error of the chance
        log_score number mean log score
        concordance number chance that a finding stands above a clear look
        calibration_slope number slope of logit chance
        note text why a number is missing
    """),
    order=("origin", "ranking"),
)

ALERTS = OutputTable(
    "alerts",
    "alert",
    _columns("""
        kind text! class_season, batch, sisters, clear_after_indication, open_indication, follow_up, orphan_rows
        subject text! what it is about
        seen number findings seen
        expected number findings expected
        p_value number chance of so many if nothing were wrong
        p_adjusted number the same, adjusted for how many were looked at (Holm)
        note text! in words
    """),
    order=("kind", "subject"),
)

SET_ASIDE = OutputTable(
    "set_aside",
    "input row not used",
    _columns("""
        file text! the file
        line integer! its line there
        table text! the table it was read as
        column text the column at fault
        value text what stood there
        reason text! why the row is not used
        hint text! how to mend it
        row_json text! the row as it came
    """),
    order=("file", "line", "table", "column"),
)

CELLS_UNREAD = OutputTable(
    "cells_unread",
    "cell not used of a row that is used",
    _columns("""
        file text! the file
        line integer! its line there
        table text! the table it was read as
        column text! the column
        value text! what stands there
        reason text! why the cell is not used
        hint text! how to mend it
    """),
    order=("file", "line", "column"),
)

FILES = OutputTable(
    "files",
    "file taken in",
    _columns("""
        file_id integer! number of the file
        file text! its name
        part text! the sheet, or - for a whole file
        table text! the table it was read as
        sha256 text! of its bytes
        encoding text! how the text was read
        rows_read integer! rows found by an independent count
        rows_used integer! rows used
        rows_set_aside integer! rows set aside
        cells_unread integer! cells not used of rows that are used
    """),
    order=("file_id",),
)

OUTPUTS: tuple[OutputTable, ...] = (
    LIVES,
    LIFE_LOOKS,
    CLASSES,
    DETECTION,
    NONPARAMETRIC,
    CHANCES,
    CLASS_DRAWS,
    PRIORITY,
    GUIDANCE,
    HAUL_PLAN,
    PLAN_SUMMARY,
    COVERAGE,
    BACKTEST,
    ALERTS,
    SET_ASIDE,
    CELLS_UNREAD,
    FILES,
)
OUTPUT_BY_NAME: dict[str, OutputTable] = {t.name: t for t in OUTPUTS}


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
