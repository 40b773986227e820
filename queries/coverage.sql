-- One row a boat and type of fitting: how many are in service, and how many of the parts now in place were validly looked at.
SELECT
    l.boat_id,
    l.fitting_type,
    count(*) AS fittings,
    count(*) FILTER (WHERE l.valid_look_count > 0) AS looked,
    max(l.last_valid_look) AS last_valid_look,
    max(m.method) AS best_method
FROM (
    SELECT v.*, max(t.best_code) OVER (PARTITION BY v.boat_id, v.fitting_type) AS best_code
    FROM lives AS v
    LEFT JOIN tallies AS t ON t.life_id = v.life_id
    WHERE v.is_in_service
) AS l
LEFT JOIN method_ranks AS m ON m.code = l.best_code
GROUP BY l.boat_id, l.fitting_type
ORDER BY l.boat_id, l.fitting_type
