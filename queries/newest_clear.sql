-- One row a life with a clear look that counts: the day of the newest.
SELECT life_id, max(look_on) AS look_on
FROM life_looks
WHERE grade IN ('valid', 'not_stated') AND (shows = 'clear' OR verdict = 'unfounded')
GROUP BY life_id
