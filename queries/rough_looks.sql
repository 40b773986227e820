-- One row a look whose day is only roughly known and that belongs to a life: the life its middle lies in,
-- else the first it may lie in. A clear look counts at its earliest day, a finding at its latest, within the life.
WITH rough AS (
    SELECT
        row_number() OVER (ORDER BY l.file_id, l.line, l.place_id) AS look_number,
        l.*,
        coalesce(h.happened_on, l.middle_on) AS placed_on
    FROM graded_looks AS l
    LEFT JOIN handovers AS h
        ON h.place_id = l.place_id AND h.action = l.action AND h.latest_on = l.latest_on
        AND h.earliest_on IS NOT DISTINCT FROM l.earliest_on
    WHERE l.earliest_on IS NULL OR l.earliest_on < l.latest_on
),
placed AS (
    SELECT r.*, s.life_id, s.installed_on, s.born_on, s.ended_on
    FROM rough AS r
    JOIN spells AS s ON s.place_id = r.place_id
        AND r.latest_on > s.looks_after AND (r.earliest_on IS NULL OR r.earliest_on <= s.ended_on)
    QUALIFY row_number() OVER (
        PARTITION BY r.look_number
        ORDER BY CASE WHEN r.placed_on > s.looks_after AND r.placed_on <= s.ended_on THEN 0 ELSE 1 END, s.part_number
    ) = 1
)
SELECT
    life_id,
    born_on,
    CASE
        WHEN shows = 'clear' OR verdict = 'unfounded' THEN greatest(earliest_on, installed_on)
        WHEN shows = 'indication' THEN least(latest_on, ended_on)
        ELSE greatest(installed_on, least(placed_on, ended_on))
    END AS look_on,
    method, scope, result, shows, verdict, grade, grade_reason, trigger, file_id, line
FROM placed
