-- The newest day of the records, never after $today: a rough day that reaches beyond today counts from its earliest day.
WITH days AS (
    SELECT inspected_on_earliest AS earliest_on, inspected_on_latest AS latest_on FROM inspections
    UNION ALL
    SELECT installed_earliest, installed_latest FROM fittings
    UNION ALL
    SELECT removed_earliest, removed_latest FROM fittings
    UNION ALL
    SELECT happened_on_earliest, happened_on_latest FROM events
)
SELECT max(CASE WHEN latest_on <= CAST($today AS DATE) THEN latest_on ELSE earliest_on END) AS newest_on
FROM days
WHERE coalesce(earliest_on, latest_on) <= CAST($today AS DATE)
