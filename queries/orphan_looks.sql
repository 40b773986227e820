-- One row a look at a place on a day when no part is known to have been there.
-- No look belongs to two lives, so only places with more looks than their lives have hold such a look: these are few.
WITH counted AS (
    SELECT place_id, count(*) AS look_count
    FROM graded_looks
    GROUP BY place_id
),
placed AS (
    SELECT s.place_id, sum(t.look_count) AS look_count
    FROM spells AS s
    JOIN tallies AS t ON t.life_id = s.life_id
    GROUP BY s.place_id
),
short AS (
    SELECT c.place_id
    FROM counted AS c
    LEFT JOIN placed AS p ON p.place_id = c.place_id
    WHERE c.look_count <> coalesce(p.look_count, 0)
)
SELECT l.file_id, l.line, p.boat_id, p.fitting_id, l.middle_on AS look_on
FROM graded_looks AS l
JOIN places AS p ON p.place_id = l.place_id
WHERE l.place_id IN (SELECT place_id FROM short)
  AND NOT EXISTS (
    SELECT 1 FROM spells AS s
    WHERE s.place_id = l.place_id
      AND l.latest_on > s.looks_after AND (l.earliest_on IS NULL OR l.earliest_on <= s.ended_on)
)
