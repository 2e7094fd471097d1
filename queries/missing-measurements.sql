-- title: Missing measurements
-- question: Which of the usual tests does each unit of each review have, which gave no value, and
--   which were not run? Channel balance counts for both units of a mono pair; separation is
--   expected of units with two outputs, power and source impedance of amplifiers. What is missing
--   comes first.
-- conditions: each unit of each review, at most {most}; larger marks: more readings
-- grain: review_key, unit_key, family; one row per unit of a review and part of the tests
-- needed: unit_key, reviewed, family, state, readings
-- parameter lacking: flag = no; only what has no value or was not run
-- parameter most: integer = 500; greatest number of rows, most missing first
-- column review_key: -; Review
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column reviewed: -; Date
-- column family: -; Test
-- column state: -; State
-- column readings: -; Readings with a value
-- column position: -; Place among the tests
-- chart: coverage
WITH family (position, family, metric, loaded, paired) AS (
    VALUES (1, 'level and gain', 'gain', false, false), (2, 'distortion', 'thd', false, false),
           (3, 'distortion and noise', 'thd_n', false, false),
           (4, 'power at a limit', 'power_at_limit', true, false),
           (5, 'residual noise', 'noise_a', false, false),
           (6, 'response', 'response_spread', false, false),
           (7, 'source impedance', 'source_impedance', true, false),
           (8, 'channel balance', 'channel_balance', false, false),
           (9, 'separation', 'separation', false, true)
),
own AS (
    SELECT review_key, unit_key, against, output, metric, value
    FROM reading
    WHERE unit_key <> ''
),
outputs AS (
    SELECT review_key, unit_key, count(DISTINCT output) AS outputs FROM own GROUP BY ALL
),
counted AS (
    SELECT review_key, unit_key, metric, count(value) AS readings
    FROM (
        SELECT review_key, unit_key, metric, value FROM own
        UNION ALL
        SELECT review_key, appearance.unit_key, metric, value
        FROM own
        JOIN appearance USING (review_key)
        WHERE metric = 'channel_balance' AND appearance.unit_key <> own.unit_key
          AND own.against = appearance.unit_key
    )
    WHERE metric IN (SELECT metric FROM family)
    GROUP BY ALL
),
found AS (
    SELECT
        review_key, unit_key, label, review.reviewed, family, family.position,
        coalesce(readings, 0) AS readings,
        CASE WHEN readings > 0 THEN 'measured'
             WHEN loaded AND NOT coalesce(drives_loudspeakers, false)
                  OR paired AND coalesce(outputs, 2) < 2
                  OR metric = 'channel_balance' AND coalesce(outputs, 2) < 2 AND units = 1
             THEN 'not applicable'
             WHEN readings IS NULL THEN 'absent'
             ELSE 'refused' END AS state
    FROM (SELECT *, count(*) OVER (PARTITION BY review_key) AS units FROM appearance) AS appearance
    JOIN review USING (review_key)
    JOIN (SELECT unit_key, label FROM peer) USING (unit_key)
    LEFT JOIN unit_kind USING (kind)
    CROSS JOIN family
    LEFT JOIN outputs USING (review_key, unit_key)
    LEFT JOIN counted USING (review_key, unit_key, metric)
)
SELECT review_key, unit_key, label, reviewed, family, state, readings, position
FROM found
JOIN (
    SELECT review_key, unit_key, count(*) FILTER (state IN ('absent', 'refused')) AS gaps
    FROM found
    GROUP BY ALL
    ORDER BY gaps DESC, review_key, unit_key
    LIMIT $most
) USING (review_key, unit_key)
WHERE NOT $lacking OR state IN ('absent', 'refused')
ORDER BY state NOT IN ('absent', 'refused'), review_key, unit_key, position
