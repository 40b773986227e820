-- One row a look at one fitting known by the as-of date: what it shows, and what it is worth.
-- Minima of a penetrant test: clean surface, penetrant dwell 5 min, developer dwell 10 min, part at 10 to 50 C.
WITH known AS (
    SELECT
        p.place_id,
        i.file_id,
        i.line,
        i.inspected_on_earliest AS earliest_on,
        least(coalesce(i.inspected_on_latest, CAST($as_of AS DATE)), CAST($as_of AS DATE)) AS latest_on,
        i.method,
        coalesce(i.scope, 'in_place') AS scope,
        i.result,
        i.result IN ('relevant', 'failed', 'non_relevant', 'false') AS is_found,
        i.method IN ('penetrant', 'fluorescent_penetrant') AS has_minima,
        i.disposition,
        i.trigger,
        CASE WHEN i.action IN ('replaced', 'removed') THEN i.action END AS action,
        i.surface_cleaned,
        i.part_temp_c,
        i.penetrant_dwell_min,
        i.developer_dwell_min,
        CASE
            WHEN regexp_matches(i.cells_unread, '(^|;) *(scope|surface_cleaned|part_temp_c|penetrant_dwell_min|developer_dwell_min|indication_form|indication_length_mm|disposition|action|result|method) *(;|$)')
                THEN i.cells_unread
        END AS unread
    FROM inspections AS i
    JOIN places AS p ON p.boat_id = i.boat_id AND p.fitting_id = i.fitting_id
    WHERE coalesce(i.inspected_on_earliest, i.inspected_on_latest, CAST($as_of AS DATE)) <= CAST($as_of AS DATE)
),
reasoned AS (
    SELECT
        *,
        CASE
            WHEN result = 'inconclusive' THEN 'inconclusive'
            WHEN result = 'not_inspected' THEN 'not inspected'
            WHEN is_found THEN NULL
            WHEN unread IS NOT NULL THEN concat('could not be read: ', replace(unread, ';', ', '))
            WHEN earliest_on IS NULL THEN 'earliest day not known'
        END AS silent_because,
        has_minima AND coalesce(
            NOT surface_cleaned OR penetrant_dwell_min < 5 OR developer_dwell_min < 10 OR part_temp_c < 10 OR part_temp_c > 50,
            FALSE
        ) AS is_below,
        has_minima AND (
            surface_cleaned IS NULL OR penetrant_dwell_min IS NULL OR developer_dwell_min IS NULL OR part_temp_c IS NULL
        ) AS is_not_stated
    FROM known
)
SELECT
    place_id,
    file_id,
    line,
    earliest_on,
    latest_on,
    coalesce(earliest_on + CAST((latest_on - earliest_on) // 2 AS INTEGER), latest_on) AS middle_on,
    method,
    scope,
    result,
    CASE
        WHEN is_found THEN 'indication'
        WHEN silent_because IS NOT NULL OR is_below THEN 'nothing'
        ELSE 'clear'
    END AS shows,
    CASE
        WHEN NOT is_found THEN 'none'
        WHEN result IN ('non_relevant', 'false') OR disposition = 'unfounded' THEN 'unfounded'
        WHEN result = 'failed' OR disposition = 'confirmed' THEN 'confirmed'
        ELSE 'open'
    END AS verdict,
    CASE
        WHEN silent_because IS NOT NULL THEN 'no_information'
        WHEN is_below THEN 'below_minima'
        WHEN is_not_stated THEN 'not_stated'
        ELSE 'valid'
    END AS grade,
    CASE
        WHEN silent_because IS NOT NULL THEN silent_because
        WHEN is_below THEN concat_ws(
            '; ',
            CASE WHEN NOT surface_cleaned THEN 'surface not cleaned' END,
            CASE WHEN penetrant_dwell_min < 5 THEN 'penetrant dwell under 5 min' END,
            CASE WHEN developer_dwell_min < 10 THEN 'developer dwell under 10 min' END,
            CASE WHEN part_temp_c < 10 OR part_temp_c > 50 THEN 'part outside 10 to 50 C' END
        )
        WHEN is_not_stated THEN 'not stated: ' || concat_ws(
            ', ',
            CASE WHEN surface_cleaned IS NULL THEN 'surface cleaned' END,
            CASE WHEN penetrant_dwell_min IS NULL THEN 'penetrant dwell' END,
            CASE WHEN developer_dwell_min IS NULL THEN 'developer dwell' END,
            CASE WHEN part_temp_c IS NULL THEN 'part temperature' END
        )
    END AS grade_reason,
    trigger,
    action
FROM reasoned
