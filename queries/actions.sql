-- One row a replacement or removal that a look tells of, however many looks tell of it.
SELECT DISTINCT place_id, action, earliest_on, latest_on, middle_on
FROM graded_looks
WHERE action IS NOT NULL
