-- title: Units due for another review
-- question: Which units were last measured more than a number of years before the newest review
--   of the catalogue, or by an outdated method version?
-- grain: unit_key; one row per unit
-- parameter years: number = 10; years after which a review is outdated
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column reviewed: -; Last reviewed
-- column years_ago: years; Age of the review
-- column stale: -; Readings by an outdated method
-- column reasons: -; Reason
WITH newest AS (SELECT max(reviewed) AS day FROM review),
stale AS (
    SELECT unit_key, count(*) AS stale
    FROM reading
    JOIN metric USING (metric)
    JOIN unit USING (review_key, unit_key)
    WHERE reading.method_version <> metric.method_version AND value IS NOT NULL
    GROUP BY unit_key
),
aged AS (
    SELECT
        unit_key, label, technology, reviewed, (newest.day - reviewed) / 365.25 AS years_ago,
        coalesce(stale, 0) AS stale
    FROM peer
    CROSS JOIN newest
    LEFT JOIN stale USING (unit_key)
)
SELECT
    *,
    concat_ws('; ', CASE WHEN years_ago > $years THEN 'long ago' END,
              CASE WHEN stale > 0 THEN 'older method' END) AS reasons
FROM aged
WHERE years_ago > $years OR stale > 0
ORDER BY reviewed, unit_key
