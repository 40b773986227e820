-- One row a life that an event befell: the last event that may have cracked it, after which earlier clear looks tell nothing of today.
WITH known AS (
    SELECT
        e.boat_id,
        e.kind,
        e.fitting_types,
        least(coalesce(e.happened_on_latest, CAST($as_of AS DATE)), CAST($as_of AS DATE)) AS happened_on,
        CASE WHEN e.happened_on_earliest = e.happened_on_latest THEN CAST(e.happened_on_latest AS VARCHAR)
            ELSE e.happened_on END AS written
    FROM events AS e
    WHERE coalesce(e.happened_on_earliest, e.happened_on_latest, CAST($as_of AS DATE)) <= CAST($as_of AS DATE)
),
named AS (
    SELECT boat_id, kind, happened_on, written, unnest(string_split(fitting_types, ';')) AS fitting_type
    FROM known
    WHERE fitting_types IS NOT NULL
    UNION ALL
    SELECT boat_id, kind, happened_on, written, NULL
    FROM known
    WHERE fitting_types IS NULL
),
cleaned AS (
    SELECT
        boat_id, kind, happened_on, written,
        n.fitting_type IS NULL AS is_for_all,
        trim(regexp_replace(lower(coalesce(w.shown_as, n.fitting_type)), '[_\s]+', ' ', 'g')) AS fitting_type
    FROM named AS n
    LEFT JOIN words_merged AS w ON w."column" = 'fitting_type' AND w.word = trim(n.fitting_type)
)
SELECT s.life_id, c.happened_on, concat(c.kind, ' ', c.written) AS event
FROM spells AS s
JOIN cleaned AS c ON c.boat_id = s.boat_id
WHERE c.happened_on > s.installed_on AND c.happened_on <= s.ended_on
  AND (c.is_for_all OR c.fitting_type = trim(regexp_replace(lower(s.fitting_type), '[_\s]+', ' ', 'g')))
QUALIFY row_number() OVER (PARTITION BY s.life_id ORDER BY c.happened_on DESC, c.kind, c.written) = 1
