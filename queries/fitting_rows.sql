-- One row a row of fittings known by the as-of date, numbered within its place in the order of installation.
WITH known AS (
    SELECT
        p.place_id,
        f.*,
        coalesce(
            f.installed_earliest + CAST((f.installed_latest - f.installed_earliest) // 2 AS INTEGER),
            f.installed_earliest,
            f.installed_latest
        ) AS installed_middle,
        coalesce(f.removed_earliest, f.removed_latest) AS out_from,
        CASE
            WHEN f.removed IS NOT NULL AND coalesce(f.removed_earliest, f.removed_latest, CAST($as_of AS DATE)) <= CAST($as_of AS DATE)
                THEN least(coalesce(f.removed_latest, CAST($as_of AS DATE)), CAST($as_of AS DATE))
        END AS removed_on,
        coalesce(f.removed_latest, f.removed_earliest) AS out_to,
        f.removed IS NULL AND count(*) FILTER (WHERE f.removed IS NULL) OVER (PARTITION BY p.place_id) = 1 AS is_last_in
    FROM fittings AS f
    JOIN places AS p ON p.boat_id = f.boat_id AND p.fitting_id = f.fitting_id
    WHERE f.installed_earliest IS NULL OR f.installed_earliest <= CAST($as_of AS DATE)
),
keyed AS (  -- a row without any day is the newest where it alone is still in, else it comes where the file has it
    SELECT
        *,
        coalesce(
            installed_middle,
            out_to,
            CASE WHEN is_last_in THEN DATE '9999-12-31' END,
            max(coalesce(installed_middle, out_to)) OVER (PARTITION BY place_id ORDER BY file_id, line),
            DATE '0001-01-01'
        ) AS order_on,
        CASE WHEN installed_middle IS NOT NULL THEN 1 WHEN out_to IS NOT NULL THEN 0 ELSE 2 END AS order_rank
    FROM known
),
ordered AS (
    SELECT
        *,
        row_number() OVER in_place AS number,
        lag(installed_middle) OVER in_place AS before_installed_on,
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
    o.* EXCLUDE (before_out_from, out_from, out_to, order_on, order_rank, is_last_in),
    coalesce(o.before_out_from, t.looked_out_on) AS before_out_from
FROM ordered AS o
LEFT JOIN taken_out AS t ON t.place_id = o.place_id AND t.number = o.number
-- an undated row that follows a part taken out later than the as-of date is not known yet
WHERE o.installed_earliest IS NOT NULL OR o.before_out_from IS NULL OR o.before_out_from <= CAST($as_of AS DATE)
