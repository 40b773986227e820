"""What the back-test leaves beside the scores of each origin: all seasons together, by method, by third."""

from __future__ import annotations

from bobstay.tables.promise import OutputTable, columns_of

BACKTEST_VERDICT = OutputTable(
    "backtest_verdict",
    "way of ordering, all seasons together",
    columns_of("""
        ranking text! how the fittings were ordered
        origins integer! seasons scored
        looks integer! looks in them
        found integer! findings among them
        expected number findings expected
        top_tenth_share number share of findings in the first tenth of the order of their season
        top_tenth_share_lower number lower end, boats resampled
        top_tenth_share_upper number upper end
        difference number share of the estimate's first tenth less this one
        difference_lower number lower end, boats resampled
        difference_upper number upper end
        looks_per_finding number looks at the first tenth for one finding (inf: none found there)
        brier_skill number 1 - mean squared error over that of the past rate for all; 0 is no better, 1 perfect
        log_skill number the same by mean log score
        calibration_intercept number intercept of findings on logit chance; 0 is perfect
        calibration_intercept_lower number lower end, boats resampled
        calibration_intercept_upper number upper end
        calibration_slope number slope of findings on logit chance; 1 is perfect
        calibration_slope_lower number lower end, boats resampled
        calibration_slope_upper number upper end
        verdict text in words
    """),
    order=("ranking",),
)

BACKTEST_METHODS = OutputTable(
    "backtest_methods",
    "method and scope, all seasons together",
    columns_of("""
        method text! as in inspections
        scope text! removed or in_place
        looks integer! looks in the seasons scored
        found integer! findings among them
        expected number! findings expected by the estimate
        ratio number findings over expected
        ratio_lower number lower end of its interval
        ratio_upper number upper end
    """),
    order=("method", "scope"),
)

BACKTEST_THIRDS = OutputTable(
    "backtest_thirds",
    "origin and third of the season's looks in the estimate's order",
    columns_of("""
        origin date! estimate made on records up to this day
        third text! top, middle or bottom
        looks integer! looks of the season in this third
        found integer! findings among them
        expected number! findings expected
        share number share of looks that found something
        share_lower number lower end of its interval
        share_upper number upper end
    """),
    order=("origin", "third"),
)
