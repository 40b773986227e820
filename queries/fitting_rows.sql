-- One row a row of fittings known by the as-of date, numbered within its place in the order of installation.
WITH known AS (
    SELECT
        p.place_id,
        f.* REPLACE (
            coalesce(t.shown_as, f.fitting_type) AS fitting_type,
            coalesce(m.shown_as, f.material) AS material
        ),
        coalesce(
            f.installed_earliest + CAST((f.installed_latest - f.installed_earliest) // 2 AS INTEGER),
            f.installed_earliest,
            least(f.installed_latest, f.removed_latest)
        ) AS installed_middle,
        coalesce(f.removed_earliest, f.removed_latest) AS out_from,
        CASE
            WHEN f.removed IS NOT NULL AND coalesce(f.removed_earliest, f.removed_latest, CAST($as_of AS DATE)) <= CAST($as_of AS DATE)
                THEN least(coalesce(f.removed_latest, CAST($as_of AS DATE)), CAST($as_of AS DATE))
        END AS removed_on,
        coalesce(f.removed_latest, f.removed_earliest) AS out_to,
        f.removed IS NULL AND count(*) FILTER (WHERE f.removed IS NULL) OVER (PARTITION BY p.place_id) = 1 AS is_last_in,
        coalesce(f.removed_latest, f.removed_earliest) IS NOT NULL
            AND (f.installed_earliest IS NULL OR f.installed_earliest IS DISTINCT FROM f.installed_latest) AS is_loose
    FROM fittings AS f
    JOIN places AS p ON p.boat_id = f.boat_id AND p.fitting_id = f.fitting_id
    LEFT JOIN words_merged AS t ON t."column" = 'fitting_type' AND t.word = f.fitting_type
    LEFT JOIN words_merged AS m ON m."column" = 'material' AND m.word = f.material
    WHERE f.installed_earliest IS NULL OR f.installed_earliest <= CAST($as_of AS DATE)
),
followed AS (  -- parts of one place end in the order in which they began: the first part to outlast a row comes after it
    SELECT
        *,
        min(installed_middle) OVER (
            PARTITION BY place_id ORDER BY coalesce(out_to, DATE '9999-12-30')
            RANGE BETWEEN INTERVAL 1 DAY FOLLOWING AND UNBOUNDED FOLLOWING
        ) AS outlasted_on
    FROM known
),
keyed AS (  -- a row without any day is the newest where it alone is still in, else it comes where the file has it
    SELECT
        *,
        coalesce(
            CASE WHEN is_loose THEN greatest(installed_earliest, least(installed_middle, outlasted_on)) END,
            installed_middle,
            out_to,
            CASE WHEN is_last_in THEN DATE '9999-12-31' END,
            max(coalesce(installed_middle, out_to)) OVER (PARTITION BY place_id ORDER BY file_id, line),
            DATE '0001-01-01'
        ) AS order_on,
        CASE WHEN is_loose THEN 0 WHEN installed_middle IS NOT NULL THEN 1 ELSE 2 END AS order_rank
    FROM followed
),
ordered AS (
    SELECT
        *,
        row_number() OVER in_place AS number,
        lag(installed_earliest) OVER in_place AS before_installed_on,
        lag(out_from) OVER in_place AS before_out_from,
        lag(out_to) OVER in_place AS before_out_to,
        lead(installed_middle) OVER in_place AS after_installed_on
    FROM keyed
    WINDOW in_place AS (
        PARTITION BY place_id
        ORDER BY order_on, order_rank, out_to NULLS LAST, file_id, line
    )
),
taken_out AS (  -- the part before may have been taken out by a look instead of by its own row
    SELECT o.place_id, o.number, min(a.middle_on) AS looked_out_on
    FROM ordered AS o
    JOIN actions AS a ON a.place_id = o.place_id AND a.action = 'removed'
    WHERE o.number > 1
      AND o.before_out_from IS NULL
      AND (o.before_installed_on IS NULL OR a.middle_on > o.before_installed_on)
      AND (o.installed_latest IS NULL OR a.middle_on <= o.installed_latest)
      AND (o.removed_on IS NULL OR a.middle_on < o.removed_on)
    GROUP BY o.place_id, o.number
)
SELECT
    row_number() OVER (ORDER BY o.place_id, o.number) AS row_id,
    o.* EXCLUDE (before_out_from, out_from, out_to, order_on, order_rank, outlasted_on, is_last_in, is_loose),
    coalesce(o.before_out_from, t.looked_out_on) AS before_out_from
FROM ordered AS o
LEFT JOIN taken_out AS t ON t.place_id = o.place_id AND t.number = o.number
-- an undated row that follows a part taken out later than the as-of date is not known yet
WHERE o.installed_earliest IS NOT NULL OR o.before_out_from IS NULL OR o.before_out_from <= CAST($as_of AS DATE)
