-- One row a look at one life.
WITH paired AS (
    SELECT
        s.life_id, s.born_on, l.earliest_on AS look_on,
        l.method, l.scope, l.result, l.shows, l.verdict, l.grade, l.grade_reason, l.trigger, l.file_id, l.line
    FROM graded_looks AS l
    JOIN spells AS s ON s.place_id = l.place_id AND l.earliest_on > s.looks_after AND l.earliest_on <= s.ended_on
    WHERE l.earliest_on = l.latest_on
    UNION ALL
    SELECT
        life_id, born_on, look_on,
        method, scope, result, shows, verdict, grade, grade_reason, trigger, file_id, line
    FROM rough_looks
)
SELECT
    p.life_id,
    (p.look_on - p.born_on) / 365.25 AS look_years,
    p.look_on,
    p.method,
    p.scope,
    p.result,
    p.shows,
    p.verdict,
    p.grade,
    p.grade_reason,
    p.trigger,
    coalesce(f.file, concat('file ', p.file_id)) AS file,
    p.line
FROM paired AS p
LEFT JOIN files AS f ON f.file_id = p.file_id
