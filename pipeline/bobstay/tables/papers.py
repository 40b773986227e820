"""Tables of what goes out on paper and comes back: the lines of worksheets, and how answers moved the ranks."""

from __future__ import annotations

from bobstay.tables.promise import OutputTable, columns_of

WORKSHEET_LINES = OutputTable(
    "worksheet_lines",
    "line of a worksheet ever written",
    columns_of("""
        code text! the line, as it is written on the sheet
        printed_for date! the as-of date of the run that wrote it
        boat_id text! the boat
        place integer! its place on her sheet
        fitting_id text! the place on the boat
        fitting_type text! what it is
        material text! what it is made of
        position text where on the boat
        section text! act_now, plan (in a yard slot) or if_opened (only if the boat is open anyway)
        slot_id text the slot
        starts_on date its first day
        access text what must be done to reach it
        action text! test, replace or act_now
        method text the method proposed
        list text! evidence or nobody_looked
        rank integer! its place on that list then
        chance number an indication-worthy crack by the end of the horizon, as it was then
        chance_lower number lower end
        chance_upper number upper end
        consequence integer! 1 (nuisance) to 5 (sinking)
        reason text! in words
        life_id text! the part in place then
        is_current boolean! it stands on the sheets written last
        scope text of the test proposed: removed or in_place
        is_drawn boolean! drawn by lot, so that the list can be proved wrong
        notices text open notices that speak of it
        due_on date the earliest day set by our guidance or a rule from outside
        due_by text whose word that is
    """),
    order=("printed_for", "boat_id", "place", "code"),
)

RANK_CHANGES = OutputTable(
    "rank_changes",
    "fitting in service, before and after the worksheets that came in last",
    columns_of("""
        boat_id text! the boat
        fitting_id text! the place
        fitting_type text! what it is
        list_before text its list before (empty: not in service then)
        rank_before integer its place there
        list_after text its list after (empty: no longer in service)
        rank_after integer its place there
        chance_before number chance of an indication-worthy crack before
        chance_after number the same after
        action_before text what was proposed before
        action_after text what is proposed after
        is_answered boolean! a line of the sheets speaks of it
        why text! in words
    """),
    order=("boat_id", "fitting_id"),
)
