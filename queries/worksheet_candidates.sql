-- One row a fitting that a worksheet must list: what is proposed for it, where the haul-out plan puts it, and its place
-- on the sheet of its boat. Grain: boat_id, fitting_id.
WITH
jobs AS (
    SELECT boat_id, fitting_id, min_by(slot_id, (starts_on, slot_id)) AS slot_id, min(starts_on) AS starts_on
    FROM haul_plan
    GROUP BY boat_id, fitting_id
),
listed AS (
    SELECT
        p.*, j.slot_id, j.starts_on,
        CASE WHEN p.action = 'act_now' THEN 'act_now' WHEN j.slot_id IS NOT NULL THEN 'plan' ELSE 'if_opened' END AS section
    FROM priority AS p
    LEFT JOIN jobs AS j USING (boat_id, fitting_id)
    WHERE p.action <> 'leave' OR j.slot_id IS NOT NULL
)
SELECT
    CAST($as_of AS DATE) AS printed_for, boat_id, fitting_id, fitting_type, material, position, section, slot_id,
    starts_on, access, action, method, list, rank, chance, chance_lower, chance_upper, consequence, reason, life_id,
    row_number() OVER (
        PARTITION BY boat_id
        ORDER BY
            list_position(['act_now', 'plan', 'if_opened'], section), starts_on, slot_id,
            list_position(['afloat', 'aloft', 'mast_out', 'hauled', 'keel_off', 'engine_bay'], access) NULLS LAST,
            fitting_type, length(fitting_id), fitting_id
    ) AS place
FROM listed
ORDER BY boat_id, place
