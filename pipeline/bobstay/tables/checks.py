"""Tables of checks beside the estimate: shortcuts, scheduled looks, families, fit, the clock of use."""

from __future__ import annotations

from bobstay.tables.promise import OutputTable, columns_of

SHORTCUTS = OutputTable(
    "shortcuts",
    "class and shortcut",
    columns_of("""
        fitting_type text! what it is; all fittings: every class together
        material text! what it is made of
        step integer! order of the shortcuts, 0 is our estimate
        shortcut text! ours, or the shortcut taken
        life_count integer! lives it would use
        event_count integer! of these, with an indication as it counts them
        b10_years number age by which one in ten shows an indication, as it would claim
        b10_years_lower number lower end of its own interval
        b10_years_upper number upper end
        ratio_to_ours number its age over ours
        note text why there is no number
    """),
    order=("fitting_type", "material", "step"),
)

SCHEDULED_LOOKS = OutputTable(
    "scheduled_looks",
    "fitting type and material",
    columns_of("""
        fitting_type text! what it is
        material text! what it is made of
        look_count integer! looks that count
        scheduled_look_count integer! of these, scheduled or with no reason stated
        event_count integer! lives with an indication
        scheduled_event_count integer! the same on scheduled looks alone
        b10_years number age by which one in ten shows an indication, all looks
        b10_years_lower number lower end
        b10_years_upper number upper end
        scheduled_b10_years number the same on scheduled looks alone
        scheduled_b10_years_lower number lower end
        scheduled_b10_years_upper number upper end
        ratio number scheduled over all
        differs boolean! either age lies outside the interval of the other, or they are more than a tenth apart
        earlier text which gives the earlier age: all looks, scheduled looks, or neither
        note text in words
    """),
    order=("fitting_type", "material"),
)

FAMILIES = OutputTable(
    "families",
    "class and family of curves",
    columns_of("""
        fitting_type text! what it is; all fittings: every class together
        material text! what it is made of
        family text! weibull, lognormal, loglogistic, exponential
        life_count integer! lives that say something
        boat_count integer! boats they are on
        event_count integer! lives with an indication
        log_likelihood number at the estimate
        aic number Akaike's criterion, lower is better
        b10_years number age by which one in ten shows an indication
        b10_years_lower number lower end
        b10_years_upper number upper end
        held_out_score number mean log score a life on boats left out of the estimate
        held_out_gain number sum of log scores over the Weibull's on boats left out
        held_out_gain_lower number lower end of its interval over boats
        held_out_gain_upper number upper end
        is_clearly_better boolean! beats the Weibull by the rule in the note
        note text! the rule, or why there is no number
    """),
    order=("fitting_type", "material", "family"),
)

FIT_CHECKS = OutputTable(
    "fit_checks",
    "class and check",
    columns_of("""
        fitting_type text! what it is
        material text! what it is made of
        check text! curve (against bands of age), bend (two slopes), water (salt against fresh), findings (seen, predicted)
        event_count integer! lives with an indication
        measure text! what the value is
        value number the size of the departure
        value_lower number lower end
        value_upper number upper end
        at_years number age it belongs to
        statistic number of the score test over boats
        degrees integer its degrees of freedom
        p_value number chance of so much if the curve held
        p_adjusted number the same, adjusted for how many were looked at (Holm)
        is_flagged boolean! p_adjusted below 0.05
        note text! in words
    """),
    order=("fitting_type", "material", "check"),
)

USE_CLOCK = OutputTable(
    "use_clock",
    "fitting type and material",
    columns_of("""
        fitting_type text! what it is; all fittings: every class together
        material text! what it is made of
        life_count integer! lives on boats of known hours a year
        boat_count integer! boats they are on
        event_count integer! lives with an indication
        calendar_score number mean log score a life on boats left out, age in years
        hours_score number the same, age in hours under way
        hours_gain number sum of log scores of hours over calendar
        hours_gain_lower number lower end of its interval over boats
        hours_gain_upper number upper end
        better text! calendar, hours, or cannot tell
        note text! in words
    """),
    order=("fitting_type", "material"),
)
