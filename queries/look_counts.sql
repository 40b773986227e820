-- How many looks each method and scope has made, by what they showed and what became of it.
SELECT
    method,
    scope,
    shows,
    verdict,
    count(*) AS "count"
FROM life_looks
GROUP BY method, scope, shows, verdict
ORDER BY method, scope, shows, verdict
