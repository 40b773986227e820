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
        loss_avoided_lower number the same were the chance at its lower end
        loss_avoided_upper number the same were the chance at its upper end
        scope text of the test proposed: removed or in_place
        expected_cost number expected cost of the action, cost units (empty: nothing to weigh)
        runner_up text the next cheapest way: test, replace or leave
        runner_up_method text its method and scope, where it is a test
        margin number by how much that is dearer, cost units (below 0: a rule overrules the costs)
        consequence_reason text why its class is not that of its type
        clear_scope text what the last clear look that counts could see: removed (the whole part) or in_place
        due_on date the earliest day set by our guidance or a rule from outside
        due_action text what is due then: test or replace
        due_by text whose word that is: our guidance, or the issuer
        due_years number the age or time it rests on
        draw boolean! drawn by lot this season from the low places, to be tested so that the list can be proved wrong
    """),
    order=("list", "rank"),
)

CLEAR_LOOKS = OutputTable(
    "clear_looks",
    "part in service and scope: the newest look that found nothing",
    columns_of("""
        boat_id text! the boat
        fitting_id text! the place
        fitting_type text! what it is
        material text! what it is made of
        looked_on date! the day of the look
        method text! its method
        scope text! removed or in_place
        sees text! what it could see, in words
        grade text! valid or not_stated
        counts_until date! it stops counting on this day
        ended_by text! what ends it: its age, the chance, an event, an indication
        counts boolean! it still counts on the as-of date
        life_id text! the life
        file text! the file it came from
        line integer! its line there
    """),
    order=("boat_id", "fitting_id", "scope"),
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
        test_from_rule_years number earliest first test by a rule from outside
        test_from_rule_by text whose rule that is
        retest_rule_years number shortest time between tests by a rule from outside
        retest_rule_by text whose rule that is
        replace_by_rule_years number earliest renewal by a rule from outside
        replace_by_rule_by text whose rule that is
        earliest text! whose age is the earliest: test, retest, renew
        looked_count integer! lives looked at in a way that counts
        found_count integer! of these, with an indication
        share_upper number largest share with an indication that these looks still allow (95 %; empty: no look)
        tests_needed_90 integer more lives with a clear look until 9 in 10 are shown to have none (95 %; 29 in all; empty: some were found)
        tests_needed_95 integer the same for 19 in 20 (59 in all)
        tests_needed_99 integer the same for 99 in 100 (299 in all)
        cheapest_retest_years number time between tests that costs least by the delay-time model (empty: none does)
        failure_chance number chance that a part tested so breaks before its crack is found, at the assumed growth
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
        bound number! no plan that costs as much or less can avoid more than this
        gap number! (bound - loss_avoided) / bound
        boats_planned integer! boats given a slot
        boats_waiting integer! boats with jobs and no slot
        binding text! what limits the plan, in words
        net_avoided number loss avoided less what jobs and accesses cost, cost units: what the plan makes most of
        net_bound number no plan within the limits can have a higher net_avoided than this
        net_gap number (net_bound - net_avoided) / net_bound
        loss_avoided_lower number loss avoided were every chance at its lower end at once: an outer bound
        loss_avoided_upper number loss avoided were every chance at its upper end at once: an outer bound
    """),
    order=("cost",),
)

PLAN_CURVE = OutputTable(
    "plan_curve",
    "limit and amount of it",
    columns_of("""
        limit text! budget, hours or places: what there is more or less of, all else as it is
        amount number! how much of it the plan may use
        is_in_force boolean! this is the plan's own limit, or what it uses where there is none
        loss_avoided number! expected loss taken away then
        net_avoided number! the same less what jobs and accesses cost
        cost number! money, accesses included
        hours number! hours of work
        jobs integer! jobs done
        boats integer! boats given a slot
    """),
    order=("limit", "amount"),
)

DEFERRED = OutputTable(
    "deferred",
    "boat and day until which her risk stays",
    columns_of("""
        boat_id text! the boat
        until date! the day of her visit, or the end of the horizon where the jobs are not planned
        kind text! before_visit or not_planned
        jobs integer! jobs proposed that wait so long
        open_indications integer! of these, parts that must stay out of use
        loss_deferred number! expected loss until then, cost units; before a visit spread evenly over the horizon (assumed)
        jobs_not_estimated integer! of these, jobs whose loss cannot be estimated
        reason text! what they wait for
        boat_name text the name on the transom
    """),
    order=("kind", "boat_id"),
)

PARTS = OutputTable(
    "parts",
    "part to order and day it is first needed",
    columns_of("""
        fitting_type text! what it is
        material text! what it is made of
        needed_by date! first day of the week in which the first of them is fitted
        order_by date! needed_by less the lead time
        count integer! how many
        lead_weeks number! weeks a new part takes to come (a setting)
        boats text! the boats they are for
    """),
    order=("order_by", "fitting_type", "material", "needed_by"),
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
        calibration_slope number slope of findings on logit chance; 1 is perfect
        note text why a number is missing
        calibration_intercept number intercept of the same; 0 is perfect
        looks_per_finding number looks at the first tenth for one finding (inf: none found there)
    """),
    order=("origin", "ranking"),
)

ALERTS = OutputTable(
    "alerts",
    "alert",
    columns_of("""
        kind text! class_season, batch, boat, yard, notice, sisters, clear_after_indication, open_indication, follow_up, orphan_rows, near_duplicate_id, moved_with_indication
        subject text! what it is about
        seen number findings seen
        expected number findings expected
        p_value number chance of so many if nothing were wrong
        p_adjusted number the same, adjusted for how many were looked at (Holm)
        note text! in words
    """),
    order=("kind", "subject"),
)

NOTICE_STATUS = OutputTable(
    "notice_status",
    "notice and part it speaks of",
    columns_of("""
        notice_id text! the notice
        issued_on date! the day it was issued
        boat_id text! the boat
        fitting_id text! the place
        fitting_type text! what it is
        material text! what it is made of
        supplier text who supplied it
        batch text the supplier's batch
        installed_on date! the day from which its age is counted
        action text! what the notice asks for: test or replace
        match text! sure, or possible where the records do not say enough
        status text! open or done
        done_on date when it was done
        done_by text the row that says so
        source text whose notice it is
        life_id text! the life
    """),
    order=("notice_id", "boat_id", "fitting_id", "life_id"),
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
