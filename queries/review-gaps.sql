-- title: What each review still lacks
-- question: Which parts of the usual battery has each unit of each review, which were refused
--   an honest number, and which were never taken?
-- grain: review_key, unit_key, family
-- parameter lacking: flag = no; only what is refused or absent
-- column review_key: -; Review
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column family: -; Part of the battery
-- column state: -; State
-- column readings: -; Readings with a value
-- chart: gaps
WITH family (family, metric, loaded) AS (
    VALUES ('level and gain', 'gain', false), ('distortion', 'thd', false),
           ('distortion and noise', 'thd_n', false), ('residual noise', 'noise_a', false),
           ('response', 'response_spread', false), ('source impedance', 'source_impedance', true),
           ('power at a limit', 'power_at_limit', true),
           ('channel balance', 'channel_balance', false), ('separation', 'separation', false)
),
counted AS (
    SELECT review_key, unit_key, metric, count(value) AS readings
    FROM reading
    WHERE metric IN (SELECT metric FROM family)
    GROUP BY ALL
),
found AS (
    SELECT
        review_key, unit_key, label, family, coalesce(readings, 0) AS readings,
        CASE WHEN readings IS NULL THEN 'absent' WHEN readings = 0 THEN 'refused'
             ELSE 'measured' END AS state
    FROM appearance
    JOIN (SELECT unit_key, label FROM peer) USING (unit_key)
    JOIN family
      ON NOT loaded OR kind IN ('integrated amplifier', 'power amplifier', 'receiver')
    LEFT JOIN counted USING (review_key, unit_key, metric)
)
SELECT review_key, unit_key, label, family, state, readings
FROM found
WHERE NOT $lacking OR state <> 'measured'
ORDER BY review_key, unit_key, family
