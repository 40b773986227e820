-- One row a life that was looked at: what its looks add up to.
-- last_code and best_code hold (day, rank of the method) and the rank alone, so that no tie is left to chance.
WITH marked AS (
    SELECT
        l.life_id,
        l.look_on,
        l.shows = 'clear' OR l.verdict = 'unfounded' AS is_clear,
        l.verdict IN ('confirmed', 'open') AS is_indication,
        m.code
    FROM life_looks AS l
    LEFT JOIN method_ranks AS m ON m.method = l.method AND m.scope = l.scope
)
SELECT
    life_id,
    count(*) AS look_count,
    count(*) FILTER (WHERE is_clear) AS clear_count,
    count(*) FILTER (WHERE is_indication) AS indication_count,
    min(look_on) FILTER (WHERE is_clear) AS first_clear_on,
    max(look_on) FILTER (WHERE is_clear) AS last_clear_on,
    min(look_on) FILTER (WHERE is_indication) AS first_indication_on,
    max((look_on - DATE '0001-01-01') * 64 + code) FILTER (WHERE is_clear OR is_indication) AS last_code,
    max(code) FILTER (WHERE is_clear OR is_indication) AS best_code
FROM marked
GROUP BY life_id
