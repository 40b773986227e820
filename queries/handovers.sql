-- One row a replacement or removal told by a look: its day, and the row of fittings that is the new part, if any.
-- A row is the new part where its installation may lie within 31 days of the look; nearest to nearest, one to one.
WITH ranges AS (
    SELECT
        row_id,
        place_id,
        number,
        before_installed_on,
        removed_latest,
        installed_middle,
        CASE WHEN installed_middle IS NULL THEN before_out_from ELSE installed_earliest END AS range_from,
        CASE WHEN installed_middle IS NULL THEN before_out_to ELSE installed_latest END AS range_to
    FROM fitting_rows
),
pairs AS (
    SELECT
        r.row_id,
        r.number,
        r.installed_middle,
        a.*,
        greatest(0, r.range_from - a.latest_on, coalesce(a.earliest_on, a.latest_on) - r.range_to) AS days_apart
    FROM actions AS a
    JOIN ranges AS r ON r.place_id = a.place_id
    WHERE a.action = 'replaced'
      AND greatest(0, r.range_from - a.latest_on, coalesce(a.earliest_on, a.latest_on) - r.range_to) <= 31
      AND (r.removed_latest IS NULL OR a.middle_on < r.removed_latest)
      -- an old part must have been there: the first part of a place is new only where it came with the look or later
      AND CASE WHEN r.number = 1 THEN coalesce(r.range_to >= coalesce(a.earliest_on, a.latest_on), FALSE)
            ELSE coalesce(a.latest_on > r.before_installed_on, TRUE) END
),
nearest_look AS (
    SELECT * FROM pairs
    QUALIFY row_number() OVER (PARTITION BY row_id ORDER BY days_apart, middle_on, latest_on) = 1
),
nearest_row AS (
    SELECT * FROM nearest_look
    QUALIFY row_number() OVER (PARTITION BY place_id, earliest_on, latest_on ORDER BY days_apart, number) = 1
)
SELECT
    a.place_id,
    a.action,
    a.earliest_on,
    a.latest_on,
    -- a rough look takes the day from the row, as far as its own range allows
    coalesce(greatest(a.earliest_on, least(a.latest_on, n.installed_middle)), a.middle_on) AS happened_on,
    n.row_id
FROM actions AS a
LEFT JOIN nearest_row AS n
    ON n.place_id = a.place_id AND n.action = a.action
    AND n.earliest_on IS NOT DISTINCT FROM a.earliest_on AND n.latest_on = a.latest_on
