-- One row a place on a boat: an integer key for the big join, and the days of its boat that matter.
WITH spots AS (
    SELECT DISTINCT boat_id, fitting_id FROM fittings
),
first_looks AS (  -- the records of a boat whose joining day is not stated begin at her first look
    SELECT boat_id, min(coalesce(inspected_on_earliest, inspected_on_latest)) AS first_on
    FROM inspections
    WHERE boat_id IN (SELECT boat_id FROM boats WHERE coalesce(joined_earliest, joined_latest) IS NULL)
      AND coalesce(inspected_on_earliest, inspected_on_latest) <= CAST($as_of AS DATE)
    GROUP BY boat_id
)
SELECT
    row_number() OVER (ORDER BY s.boat_id, s.fitting_id) AS place_id,
    s.boat_id,
    s.fitting_id,
    b.built_earliest,
    coalesce(b.joined_earliest, b.joined_latest, l.first_on) AS records_on,
    CASE
        WHEN b."left" IS NOT NULL AND coalesce(b.left_earliest, b.left_latest, CAST($as_of AS DATE)) <= CAST($as_of AS DATE)
            THEN least(coalesce(b.left_latest, CAST($as_of AS DATE)), CAST($as_of AS DATE))
    END AS left_on
FROM spots AS s
LEFT JOIN boats AS b ON b.boat_id = s.boat_id
LEFT JOIN first_looks AS l ON l.boat_id = s.boat_id
