-- The few looks that a ranking asks for, in no order: of each life its newest clear look that counts; of each type of
-- fitting one look by each method and scope that counted on it; of the parts in service that no look told of, all.
WITH counted AS (
    SELECT *
    FROM life_looks
    WHERE grade IN ('valid', 'not_stated')
),
newest AS (
    SELECT arg_max(c, (c.look_years, c.look_on, c.file, c.line)) AS look
    FROM counted AS c
    WHERE c.shows = 'clear' OR c.verdict = 'unfounded'
    GROUP BY c.life_id
),
offered AS (
    SELECT arg_min(c, (c.life_id, c.look_on, c.file, c.line)) AS look
    FROM counted AS c
    JOIN lives AS v ON v.life_id = c.life_id
    GROUP BY v.fitting_type, c.method, c.scope
),
silent AS (
    SELECT l AS look
    FROM life_looks AS l
    SEMI JOIN lives AS v ON v.life_id = l.life_id
        AND v.is_in_service AND v.look_count > 0 AND v.clear_count = 0 AND v.indication_count = 0
)
SELECT
    look.life_id,
    look.look_years,
    look.look_on,
    look.method,
    look.scope,
    look.shows,
    look.verdict,
    look.grade,
    look.file,
    look.line
FROM (FROM newest UNION ALL FROM offered UNION ALL FROM silent)
