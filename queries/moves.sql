-- One row a part that came from another place: the part it goes on from there, and how that one's age is known.
-- born_on is empty where no such part is known; then the age of the moved part is only "at least".
WITH RECURSIVE asked AS (
    SELECT
        p.place_id,
        p.part_number,
        p.installed_on AS moved_on,
        coalesce(r.moved_from_boat_id, r.boat_id) AS from_boat_id,
        coalesce(r.moved_from_fitting_id, r.fitting_id) AS from_fitting_id
    FROM parts AS p
    JOIN fitting_rows AS r ON r.row_id = p.row_id
    WHERE NOT p.is_unlisted AND coalesce(r.moved_from_boat_id, r.moved_from_fitting_id) IS NOT NULL
),
direct AS (  -- the last part put in there before the move; dates fall along a chain, so that it ends
    SELECT a.place_id, a.part_number, a.moved_on, o.place_id AS from_place_id, o.part_number AS from_part_number
    FROM asked AS a
    JOIN places AS l ON l.boat_id = a.from_boat_id AND l.fitting_id = a.from_fitting_id AND l.place_id <> a.place_id
    JOIN parts AS o ON o.place_id = l.place_id AND o.installed_on < a.moved_on
    QUALIFY row_number() OVER (PARTITION BY a.place_id, a.part_number ORDER BY o.part_number DESC) = 1
),
chain AS (
    SELECT place_id, part_number, from_place_id, from_part_number, 1 AS step FROM direct
    UNION ALL
    SELECT c.place_id, c.part_number, d.from_place_id, d.from_part_number, c.step + 1
    FROM chain AS c
    JOIN direct AS d ON d.place_id = c.from_place_id AND d.part_number = c.from_part_number
),
first_places AS (
    SELECT * FROM chain QUALIFY row_number() OVER (PARTITION BY place_id, part_number ORDER BY step DESC) = 1
)
SELECT
    a.place_id,
    a.part_number,
    a.moved_on,
    d.from_place_id,
    d.from_part_number,
    o.installed_on AS born_on,
    o.installed_earliest,
    o.installed_latest,
    CASE WHEN o.installed_on IS NULL OR lost.place_id IS NOT NULL THEN 'at_least' ELSE o.age_basis END AS age_basis
FROM asked AS a
LEFT JOIN direct AS d ON d.place_id = a.place_id AND d.part_number = a.part_number
LEFT JOIN first_places AS f ON f.place_id = a.place_id AND f.part_number = a.part_number
LEFT JOIN parts AS o ON o.place_id = f.from_place_id AND o.part_number = f.from_part_number
LEFT JOIN asked AS lost ON lost.place_id = f.from_place_id AND lost.part_number = f.from_part_number
