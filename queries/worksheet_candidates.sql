-- One row a fitting that a worksheet must list: what is proposed for it, where the haul-out plan puts it, the notices
-- that are open on it, and its place on the sheet of its boat. Of a fitting drawn by lot the method is the one most
-- proposed for its type. Grain: boat_id, fitting_id.
WITH
jobs AS (
    SELECT boat_id, fitting_id, min_by(slot_id, (starts_on, slot_id)) AS slot_id, min(starts_on) AS starts_on
    FROM haul_plan
    GROUP BY boat_id, fitting_id
),
open_notices AS (
    SELECT boat_id, fitting_id, life_id, string_agg(DISTINCT notice_id, ', ' ORDER BY notice_id) AS notices
    FROM notice_status
    WHERE status = 'open'
    GROUP BY boat_id, fitting_id, life_id
),
proposed AS (
    SELECT fitting_type, method, scope, count(*) AS times
    FROM priority
    WHERE action = 'test'
    GROUP BY fitting_type, method, scope
),
usual AS (
    SELECT DISTINCT ON (fitting_type) fitting_type, method, scope
    FROM proposed
    ORDER BY fitting_type, times DESC, method, scope
),
listed AS (
    SELECT
        p.* REPLACE (
            CASE WHEN p.action = 'leave' THEN 'test' ELSE p.action END AS action,
            CASE WHEN p.action = 'leave' THEN coalesce(u.method, 'penetrant') ELSE p.method END AS method,
            CASE WHEN p.action = 'leave' THEN coalesce(u.scope, 'in_place') ELSE p.scope END AS scope
        ),
        j.slot_id, j.starts_on, n.notices,
        CASE
            WHEN p.action = 'act_now' THEN 'act_now'
            WHEN j.slot_id IS NOT NULL THEN 'plan'
            ELSE 'if_opened'
        END AS section
    FROM priority AS p
    LEFT JOIN jobs AS j USING (boat_id, fitting_id)
    LEFT JOIN open_notices AS n USING (boat_id, fitting_id, life_id)
    LEFT JOIN usual AS u USING (fitting_type)
    WHERE p.action <> 'leave' OR j.slot_id IS NOT NULL OR n.notices IS NOT NULL OR p.draw
)
SELECT
    CAST($as_of AS DATE) AS printed_for, boat_id, fitting_id, fitting_type, material, position, section, slot_id,
    starts_on, access, action, method, list, rank, chance, chance_lower, chance_upper, consequence, reason, life_id,
    scope, draw AS is_drawn, notices, due_on, due_by,
    row_number() OVER (
        PARTITION BY boat_id
        ORDER BY
            list_position(['act_now', 'plan', 'if_opened'], section), starts_on, slot_id,
            list_position(['afloat', 'aloft', 'mast_out', 'hauled', 'keel_off', 'engine_bay'], access) NULLS LAST,
            fitting_type, length(fitting_id), fitting_id
    ) AS place
FROM listed
ORDER BY boat_id, place
