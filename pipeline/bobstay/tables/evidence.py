"""Tables of what is known and estimated: lives, looks, classes, rates, curves, chances."""

from __future__ import annotations

from bobstay.tables.promise import OutputTable, columns_of

LIVES = OutputTable(
    "lives",
    "life (one part's service)",
    columns_of("""
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
        voided_before date day of the last event: looks before it no longer count for ranking (empty: all count)
        position text where on the boat
        supplier text who supplied it
        batch text supplier's batch
        through_deck boolean does it pass through deck or hull
        access text what must be done to reach it
        consequence integer as stated in fittings
        moved_on date when it came from another place (empty: it did not)
        moved_from text the life it goes on from there, where that is known
        consequence_reason text as stated in fittings
    """),
    order=("boat_id", "fitting_id", "part_number"),
)

LIFE_LOOKS = OutputTable(
    "life_looks",
    "look at one life",
    columns_of("""
        life_id text! the life
        look_years number! age at the look (a rough day: earliest for a clear look, latest for a finding)
        look_on date! the day used
        method text! as in inspections
        scope text! removed or in_place (not stated counts as in_place)
        result text! as in inspections
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
    columns_of("""
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
    columns_of("""
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
    columns_of("""
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
    columns_of("""
        life_id text! the life
        chance number an indication-worthy crack by the end of the horizon (empty: no estimate)
        chance_lower number lower end
        chance_upper number upper end
        chance_now number the same on the as-of date
        logit_sd number half the width of the interval on the logit in standard deviations, boat effect included
        chance_if_oldest number the chance had the part been put in on its earliest day (empty: its age is known well)
        chance_if_newest number the same for its latest day
        basis text! own (the class's estimate), borrowed (pooled), none
        model text! words for it
    """),
    order=("life_id",),
    exported=False,
)

CLASS_DRAWS = OutputTable(
    "class_draws",
    "class and draw",
    columns_of("""
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
