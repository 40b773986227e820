-- One row a part: a row of fittings, or one begun by a replacement that no row of fittings tells of.
WITH first_looks AS (  -- the first record of a part whose day of installation is not known to the day
    SELECT r.row_id, min(l.latest_on) AS first_on
    FROM fitting_rows AS r
    JOIN graded_looks AS l ON l.place_id = r.place_id
    WHERE (r.installed_earliest IS DISTINCT FROM r.installed_latest OR r.installed_earliest IS NULL)
      AND (r.number = 1 OR l.latest_on > r.before_out_from)
      AND (r.installed_earliest IS NULL OR l.latest_on >= r.installed_earliest)
    GROUP BY r.row_id
),
bounded AS (
    SELECT
        r.*,
        h.happened_on AS handed_on,
        h.earliest_on AS handed_earliest,
        h.latest_on AS handed_latest,
        greatest(
            r.installed_earliest,
            p.built_earliest,
            CASE WHEN r.number > 1 THEN greatest(r.before_out_from, r.before_installed_on) END
        ) AS floor_on,
        least(
            r.installed_latest, f.first_on, r.removed_on, r.after_installed_on, p.left_on, CAST($as_of AS DATE)
        ) AS highest_on,
        p.records_on
    FROM fitting_rows AS r
    JOIN places AS p ON p.place_id = r.place_id
    LEFT JOIN first_looks AS f ON f.row_id = r.row_id
    LEFT JOIN handovers AS h ON h.row_id = r.row_id
),
based AS (
    SELECT
        *,
        least(floor_on, highest_on) AS lowest_on,
        CASE
            WHEN installed_earliest = installed_latest THEN 'stated'
            WHEN handed_on IS NOT NULL AND handed_earliest = handed_latest THEN 'stated'
            WHEN handed_on IS NOT NULL OR (installed_earliest IS NOT NULL AND installed_latest IS NOT NULL) THEN 'rough'
            WHEN floor_on IS NOT NULL THEN 'bounded'
            ELSE 'at_least'
        END AS age_basis
    FROM bounded
),
row_parts AS (
    SELECT
        row_id,
        place_id,
        FALSE AS is_unlisted,
        age_basis,
        CASE
            WHEN handed_on IS NOT NULL THEN greatest(handed_on, installed_earliest)
            WHEN age_basis = 'stated' THEN installed_earliest
            WHEN age_basis = 'rough' THEN lowest_on + CAST((highest_on - lowest_on) // 2 AS INTEGER)
            WHEN age_basis = 'bounded' THEN lowest_on
            ELSE least(highest_on, records_on)
        END AS installed_on,
        CASE WHEN handed_on IS NOT NULL THEN greatest(handed_earliest, installed_earliest) ELSE lowest_on END AS lowest_on,
        CASE WHEN handed_on IS NOT NULL THEN least(handed_latest, installed_latest) ELSE highest_on END AS highest_on
    FROM based
),
unlisted AS (  -- replaced, and no row of fittings for the new part
    SELECT DISTINCT ON (h.place_id, h.happened_on)
        r.row_id,
        h.place_id,
        TRUE AS is_unlisted,
        CASE WHEN h.earliest_on = h.latest_on THEN 'stated' ELSE 'rough' END AS age_basis,
        h.happened_on AS installed_on,
        h.earliest_on AS lowest_on,
        h.latest_on AS highest_on
    FROM handovers AS h
    JOIN row_parts AS r ON r.place_id = h.place_id AND r.installed_on < h.happened_on
    WHERE h.action = 'replaced' AND h.row_id IS NULL
    ORDER BY h.place_id, h.happened_on, r.installed_on DESC, r.row_id DESC, h.latest_on - h.earliest_on
)
SELECT
    row_id,
    place_id,
    is_unlisted,
    age_basis,
    installed_on,
    CASE age_basis WHEN 'stated' THEN installed_on WHEN 'at_least' THEN NULL ELSE least(lowest_on, installed_on) END AS installed_earliest,
    CASE WHEN age_basis IN ('stated', 'at_least') THEN installed_on ELSE greatest(highest_on, installed_on) END AS installed_latest,
    row_number() OVER (PARTITION BY place_id ORDER BY installed_on, is_unlisted, row_id) AS part_number
FROM (SELECT * FROM row_parts UNION ALL SELECT * FROM unlisted)
