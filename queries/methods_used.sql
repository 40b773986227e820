-- One row a type of fitting, method and scope of a look that counted, with one of the lives it was used on.
SELECT v.fitting_type, c.method, c.scope, min(c.life_id) AS life_id
FROM life_looks AS c
JOIN lives AS v ON v.life_id = c.life_id
WHERE c.grade IN ('valid', 'not_stated')
GROUP BY v.fitting_type, c.method, c.scope
