-- The few looks that a ranking asks for, in no order: of each life those of the day of its newest clear look that
-- counts; of each type of fitting a part's by each method and scope that counted on it; of the parts in service that no
-- look told of, all. newest_clear and methods_used are tables: of a subquery the engine misjudges the size, and then
-- holds all looks in memory instead.
WITH silent AS (
    SELECT life_id
    FROM lives
    WHERE is_in_service AND look_count > 0 AND clear_count = 0 AND indication_count = 0
),
picked AS (
    SELECT l.*
    FROM life_looks AS l
    SEMI JOIN newest_clear AS n ON n.life_id = l.life_id AND n.look_on = l.look_on
    WHERE l.grade IN ('valid', 'not_stated')
    UNION ALL
    SELECT l.*
    FROM life_looks AS l
    SEMI JOIN methods_used AS m ON m.life_id = l.life_id AND m.method = l.method AND m.scope = l.scope
    WHERE l.grade IN ('valid', 'not_stated')
    UNION ALL
    SELECT l.*
    FROM life_looks AS l
    SEMI JOIN silent AS s ON s.life_id = l.life_id
)
SELECT life_id, look_years, look_on, method, scope, shows, verdict, grade, file, line
FROM picked
