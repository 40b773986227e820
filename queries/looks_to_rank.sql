-- The few looks that a ranking asks for, in no order: of each life those of the day of its newest clear look that
-- counts; of each type of fitting a part's by each method and scope that counted on it; of the parts in service that no
-- look told of, all.
WITH counted AS (
    SELECT life_id, look_years, look_on, method, scope, shows, verdict, grade, file, line
    FROM life_looks
    WHERE grade IN ('valid', 'not_stated')
),
newest AS (
    SELECT life_id, max(look_on) AS look_on
    FROM counted
    WHERE shows = 'clear' OR verdict = 'unfounded'
    GROUP BY life_id
),
offered AS (
    SELECT v.fitting_type, c.method, c.scope, min(c.life_id) AS life_id
    FROM counted AS c
    JOIN lives AS v ON v.life_id = c.life_id
    GROUP BY v.fitting_type, c.method, c.scope
),
silent AS (
    SELECT life_id
    FROM lives
    WHERE is_in_service AND look_count > 0 AND clear_count = 0 AND indication_count = 0
)
FROM counted AS c SEMI JOIN newest AS n ON n.life_id = c.life_id AND n.look_on = c.look_on
UNION ALL
FROM counted AS c SEMI JOIN offered AS o ON o.life_id = c.life_id AND o.method = c.method AND o.scope = c.scope
UNION ALL
SELECT l.life_id, l.look_years, l.look_on, l.method, l.scope, l.shows, l.verdict, l.grade, l.file, l.line
FROM life_looks AS l
SEMI JOIN silent AS s ON s.life_id = l.life_id
