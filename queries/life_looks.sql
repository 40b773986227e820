-- One row a look at one life.
SELECT
    l.life_id,
    (l.look_on - l.installed_on) / 365.25 AS look_years,
    l.look_on,
    l.method,
    l.scope,
    l.shows,
    l.verdict,
    l.grade,
    l.grade_reason,
    l.trigger,
    coalesce(f.file, concat('file ', l.file_id)) AS file,
    l.line
FROM paired_looks AS l
LEFT JOIN files AS f ON f.file_id = l.file_id
