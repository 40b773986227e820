"""Table of what moved since the last run of the same store."""

from __future__ import annotations

from bobstay.tables.promise import OutputTable, columns_of

CHANGES = OutputTable(
    "changes",
    "fitting that stands otherwise than in the run before",
    columns_of("""
        boat_id text! the boat
        fitting_id text! the place
        fitting_type text! what it is
        material text! what it is made of
        list_before text its list before (empty: not in service then)
        rank_before integer its place there
        list_after text its list now (empty: no longer in service)
        rank_after integer its place there
        chance_before number chance of an indication-worthy crack by the end of the horizon, before
        chance_after number the same now
        expected_loss_before number that chance times the cost units, before
        expected_loss_after number the same now
        action_before text what was proposed before
        action_after text what is proposed now
        why text! new, gone, other_part, looks, event (its own); else settings, time, records, version, joined by ;
    """),
    order=("boat_id", "fitting_id"),
)
