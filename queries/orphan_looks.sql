-- One row a look at a place on a day when no part is known to have been there.
SELECT l.file_id, l.line, p.boat_id, p.fitting_id, l.middle_on AS look_on
FROM graded_looks AS l
JOIN places AS p ON p.place_id = l.place_id
WHERE NOT EXISTS (
    SELECT 1 FROM spells AS s
    WHERE s.place_id = l.place_id
      AND l.latest_on > s.looks_after AND (l.earliest_on IS NULL OR l.earliest_on <= s.ended_on)
)
