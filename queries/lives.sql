-- One row a life: the ages between which an indication would first have shown, and when it came under observation.
WITH found AS (
    SELECT
        s.*,
        t.* EXCLUDE (life_id),
        p.records_on,
        -- a part that was moved is watched in its new place from its first look there, as one older than the records is
        s.moved_on IS NOT NULL OR p.records_on IS NULL OR s.installed_on < p.records_on AS is_late,
        -- taken out for an indication that no look tells of: it had shown by that day
        CASE WHEN t.first_indication_on IS NULL AND s.removal_reason = 'indication' THEN s.ended_on
            ELSE t.first_indication_on END AS finding_on
    FROM spells AS s
    JOIN places AS p ON p.place_id = s.place_id
    LEFT JOIN tallies AS t ON t.life_id = s.life_id
),
overtaken AS (  -- the rare life whose last clear look does not come before its first indication
    SELECT f.life_id, max(l.look_on) AS clear_on
    FROM found AS f
    JOIN life_looks AS l ON l.life_id = f.life_id
    WHERE f.last_clear_on >= f.finding_on
      AND l.look_on < f.finding_on
      AND (l.shows = 'clear' OR l.verdict = 'unfounded')
    GROUP BY f.life_id
),
dated AS (
    SELECT
        f.*,
        CASE WHEN f.last_clear_on >= f.finding_on THEN o.clear_on ELSE f.last_clear_on END AS lower_on,
        CASE WHEN f.first_clear_on >= f.finding_on THEN NULL ELSE f.first_clear_on END AS entered_on,
        v.happened_on > f.last_clear_on AS is_voided,
        v.event,
        v.happened_on AS voided_before
    FROM found AS f
    LEFT JOIN overtaken AS o ON o.life_id = f.life_id
    LEFT JOIN voidings AS v ON v.life_id = f.life_id
)
SELECT
    d.life_id,
    d.boat_id,
    d.fitting_id,
    d.part_number,
    d.fitting_type,
    d.material,
    CASE
        WHEN d.age_basis = 'at_least' THEN NULL
        WHEN NOT d.is_late THEN 0.0
        ELSE (d.entered_on - d.born_on) / 365.25
    END AS entry_years,
    coalesce((d.lower_on - d.born_on) / 365.25, 0.0) AS lower_years,
    coalesce((d.finding_on - d.born_on) / 365.25, CAST('infinity' AS DOUBLE)) AS upper_years,
    coalesce(d.look_count, 0) AS look_count,
    coalesce(d.clear_count + d.indication_count, 0) AS valid_look_count,
    coalesce(d.clear_count, 0) AS clear_count,
    coalesce(d.indication_count, 0) AS indication_count,
    CASE
        WHEN d.age_basis = 'at_least' THEN 'age_unknown'
        WHEN d.is_late AND d.entered_on IS NULL AND d.first_indication_on IS NOT NULL THEN 'joined_late_first_look_indication'
        WHEN d.is_late AND d.entered_on IS NULL THEN 'joined_late_no_clear_look'
        WHEN d.finding_on <= d.born_on THEN 'indication_at_age_zero'
    END AS left_out,
    d.age_basis,
    d.born_on AS installed_on,
    d.installed_earliest,
    d.installed_latest,
    d.ended_on,
    d.end_reason,
    d.removal_reason,
    (d.ended_on - d.born_on) / 365.25 AS age_years,
    d.end_reason = 'in_service' AS is_in_service,
    CASE WHEN d.end_reason = 'in_service' THEN d.first_indication_on END AS open_indication_on,
    DATE '0001-01-01' + CAST(d.last_code // 64 AS INTEGER) AS last_valid_look,
    m.method AS last_method,
    (d.last_clear_on - d.born_on) / 365.25 AS last_clear_years,
    CASE WHEN d.is_voided THEN NULL ELSE (d.last_clear_on - d.born_on) / 365.25 END AS ranking_clear_years,
    CASE WHEN d.is_voided THEN d.event END AS voided_by,
    d.voided_before,
    d.position,
    d.supplier,
    d.batch,
    d.through_deck,
    d.access,
    d.consequence,
    d.moved_on,
    d.moved_from,
    d.consequence_reason
FROM dated AS d
LEFT JOIN method_ranks AS m ON m.code = d.last_code % 64
ORDER BY d.boat_id, d.fitting_id, d.part_number
