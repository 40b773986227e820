-- One row a life: one part's service in its place. Looks on days in (looks_after, ended_on] belong to it.
WITH chained AS (
    SELECT
        *,
        lead(installed_on) OVER (PARTITION BY place_id ORDER BY part_number) AS next_on,
        lead(installed_on) OVER (PARTITION BY row_id ORDER BY part_number) AS next_of_row_on
    FROM parts
),
told AS (  -- the first replacement or removal that a look tells of after the part was put in
    SELECT
        c.place_id,
        c.part_number,
        min(h.happened_on) AS told_on,
        min(h.happened_on) FILTER (WHERE h.action = 'replaced') AS replaced_on
    FROM chained AS c
    JOIN handovers AS h ON h.place_id = c.place_id
    WHERE h.happened_on > c.installed_on
       OR (h.happened_on = c.installed_on AND c.part_number = 1 AND h.action = 'removed')
    GROUP BY c.place_id, c.part_number
),
moved_out AS (
    SELECT from_place_id AS place_id, from_part_number AS part_number, min(moved_on) AS moved_on
    FROM moves
    GROUP BY from_place_id, from_part_number
),
removals AS (  -- a row's removal within 31 days of a replacement is that replacement, not the end of the new part
    SELECT
        c.*,
        least(
            CASE
                WHEN (NOT c.is_unlisted OR r.removed_on > c.installed_on + 31)
                    AND (c.next_of_row_on IS NULL OR r.removed_on <= c.next_of_row_on + 31)
                    THEN r.removed_on
            END,
            m.moved_on  -- a part that is listed in another place is no longer here
        ) AS removed_on,
        t.told_on,
        t.replaced_on,
        p.left_on,
        p.boat_id,
        p.fitting_id
    FROM chained AS c
    JOIN places AS p ON p.place_id = c.place_id
    JOIN fitting_rows AS r ON r.row_id = c.row_id
    LEFT JOIN told AS t ON t.place_id = c.place_id AND t.part_number = c.part_number
    LEFT JOIN moved_out AS m ON m.place_id = c.place_id AND m.part_number = c.part_number
),
ended AS (
    SELECT
        *,
        greatest(installed_on, least(removed_on, next_on, told_on, left_on, CAST($as_of AS DATE))) AS ended_on
    FROM removals
),
reasoned AS (
    SELECT
        *,
        CASE
            WHEN next_on <= ended_on OR replaced_on <= ended_on THEN 'replaced'
            WHEN removed_on <= ended_on OR told_on <= ended_on THEN 'removed'
            WHEN left_on <= ended_on THEN 'boat_left'
            ELSE 'in_service'
        END AS end_reason,
        lag(ended_on) OVER (PARTITION BY place_id ORDER BY part_number) AS before_ended_on
    FROM ended
)
SELECT
    s.place_id,
    concat(s.boat_id, '/', s.fitting_id, '/', s.part_number) AS life_id,
    s.boat_id,
    s.fitting_id,
    s.part_number,
    r.fitting_type,
    r.material,
    coalesce(m.age_basis, s.age_basis) AS age_basis,
    s.installed_on,  -- in this place
    coalesce(m.born_on, s.installed_on) AS born_on,  -- ages are counted from here
    CASE WHEN m.place_id IS NULL THEN s.installed_earliest WHEN m.age_basis <> 'at_least' THEN m.installed_earliest END
        AS installed_earliest,
    coalesce(m.installed_latest, s.installed_latest) AS installed_latest,
    m.moved_on,
    CASE WHEN m.from_place_id IS NOT NULL THEN concat(p.boat_id, '/', p.fitting_id, '/', m.from_part_number) END AS moved_from,
    -- a look on the day of replacement belongs to the old part; where no old part was there, to the new one
    CASE WHEN s.before_ended_on >= s.installed_on THEN s.installed_on ELSE s.installed_on - 1 END AS looks_after,
    s.ended_on,
    s.end_reason,
    CASE WHEN s.removed_on IS NOT NULL AND s.end_reason IN ('replaced', 'removed') THEN r.removal_reason END AS removal_reason,
    r.position,
    CASE WHEN NOT s.is_unlisted THEN r.supplier END AS supplier,
    CASE WHEN NOT s.is_unlisted THEN r.batch END AS batch,
    r.through_deck,
    r.access,
    r.consequence,
    r.consequence_reason
FROM reasoned AS s
JOIN fitting_rows AS r ON r.row_id = s.row_id
LEFT JOIN moves AS m ON m.place_id = s.place_id AND m.part_number = s.part_number
LEFT JOIN places AS p ON p.place_id = m.from_place_id
