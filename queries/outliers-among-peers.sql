-- title: Outliers among peers
-- question: Which units deviate most from others of their technology and kind, and in which
--   metrics? Deviation from the peers' median in robust standard deviations, of at least five
--   peers.
-- grain: unit_key, metric; one row per unit and metric
-- needed: unit_key, metric, value, middle, deviation, technology
-- parameter most: integer = 40; greatest number of rows
-- parameter beyond: number = 3; smallest deviation to be shown
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column metric: -; Metric
-- column value: {unit}; Value
-- column middle: {unit}; Median of the peers
-- column unit: -; Unit of measure
-- column deviation: -; Robust standard deviations
-- column peers: -; Units
-- column bound: -; Bound
WITH wanted (metric, point_key, limit_percent) AS (
    VALUES ('noise_a', 'idle', NULL), ('thd', 'tone-1khz-5w-8ohm', NULL),
           ('power_at_limit', 'limit-1khz-8ohm', 1.0), ('gain', 'gain-1khz', NULL),
           ('channel_balance', 'channels-1khz', NULL), ('separation', 'channels-1khz', NULL),
           ('damping_factor', 'impedance-1khz', NULL), ('response_spread', 'response', NULL)
),
worst AS (
    -- the worse output, as the view worse has it
    SELECT unit_key, metric, point_key, limit_percent, better, unit,
           arg_min({'value': value, 'bound': bound, 'detail': detail},
                   {'place': CASE better WHEN 'lower' THEN -value WHEN 'higher' THEN value
                                         WHEN 'nearer zero' THEN -abs(value) ELSE 0 END,
                    'output': output, 'key': reading_key}) AS taken
    FROM placed
    SEMI JOIN wanted USING (metric, point_key)
    WHERE metric IN ('noise_a', 'thd', 'power_at_limit', 'gain', 'channel_balance',
                     'separation', 'damping_factor', 'response_spread')
    GROUP BY unit_key, metric, point_key, limit_percent, order_n, own_frequency_hz, better, unit
),
newest AS (
    SELECT unit_key, metric, if(better = 'nearer zero', abs(taken.value), taken.value) AS value,
           worst.unit, taken.bound
    FROM worst
    JOIN wanted USING (metric, point_key)
    WHERE taken.detail NOT LIKE '%"harmonics"%'
      AND worst.limit_percent IS NOT DISTINCT FROM
          coalesce(wanted.limit_percent, worst.limit_percent)
),
found AS (
    SELECT
        unit_key, label, technology, kind_group, metric, value, unit, bound,
        CASE WHEN unit IN ('dB', '') THEN value ELSE log10(nullif(abs(value), 0)) END AS scaled
    FROM newest
    JOIN (SELECT unit_key, label, technology, kind_group FROM peer) USING (unit_key)
),
typical AS (
    SELECT technology, kind_group, metric, count(*) AS peers, median(value) AS middle,
           median(scaled) AS centre, 1.4826 * mad(scaled) AS spread
    FROM found
    GROUP BY ALL
    HAVING count(*) >= 5 AND spread > 0
)
SELECT unit_key, label, technology, metric, value, middle, unit,
       (scaled - centre) / spread AS deviation, peers, bound
FROM found
JOIN typical USING (technology, kind_group, metric)
WHERE abs(deviation) >= $beyond
ORDER BY abs(deviation) DESC, unit_key, metric
LIMIT $most
