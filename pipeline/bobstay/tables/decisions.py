"""Tables of what to do, and of what was taken in: priority, guidance, plan, alerts, rows set aside."""

from __future__ import annotations

from bobstay.tables.promise import OutputTable, columns_of

PRIORITY = OutputTable(
    "priority",
    "fitting in service",
    columns_of("""
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
        loss_avoided number expected failure loss the action takes away, cost units
    """),
    order=("list", "rank"),
)

GUIDANCE = OutputTable(
    "guidance",
    "fitting type and material",
    columns_of("""
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
    columns_of("""
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
    columns_of("""
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
    columns_of("""
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
    columns_of("""
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
    columns_of("""
        kind text! class_season, batch, sisters, clear_after_indication, open_indication, follow_up, orphan_rows, near_duplicate_id, moved_with_indication
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
    columns_of("""
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
    columns_of("""
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

SUPERSEDED = OutputTable(
    "superseded",
    "row that a newer one took the place of",
    columns_of("""
        table text! the table
        boat_id text the boat
        file text! the file of the row that was replaced
        line integer! its line there
        by_file text! the file of the row that took its place
        by_line integer! its line there
        change text! weakens_indication, moves_history (a part, a service or an event begins or ends elsewhere), other
        what text! every cell that differs, before -> after
        confirmed_by text who answers for a change that weakens an indication
        reason text and why
        row_json text! the row as it was
    """),
    order=("table", "file", "line", "by_file", "by_line"),
)

WORDS_MERGED = OutputTable(
    "words_merged",
    "spelling of a word that stands in the records in more than one",
    columns_of("""
        column text! fitting_type or material
        word text! the word as written
        shown_as text! the commonest of its spellings, under which all of them are one class
        canonical text! the known word they all mean, or how they are all spelled but for case and marks
        rows integer! rows that write it so
    """),
    order=("column", "shown_as", "word"),
)

FILES = OutputTable(
    "files",
    "file taken in",
    columns_of("""
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
        rows_known integer! of the rows used, those an earlier file had brought already
        rows_superseding integer! of the rows used, those that took the place of an earlier row
        rows_renamed integer! rows whose boat was called by another of her names
        mapping text SHA-256 of the mapping it was read by
    """),
    order=("file_id",),
)
