-- title: Output impedance over frequency
-- question: How does a unit's output source impedance change with frequency? From sweeps or tones
--   under two loads, or from impedance tables; sixth-octave means; newest of each output;
--   compared with units of its technology and kind.
-- conditions: magnitude, under two loads or from a table; newest of each output
-- grain: unit_key, output, frequency_hz; one row per unit, output and frequency
-- metric: source_impedance
-- parameter unit: unit = ''; unit to draw among its peers
-- parameter technology: technology = ''; technology of the curves where no unit is marked; where
--   empty, the most common one
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column ohm: ohm; Output impedance
-- column ohm_low: ohm; Lower limit (k = 2)
-- column ohm_high: ohm; Upper limit (k = 2)
-- chart: impedance
WITH commonest AS (
    SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1
),
marked AS (SELECT technology, kind_group FROM peer WHERE unit_key = $unit),
chosen AS (
    SELECT unit_key, label, technology
    FROM peer
    WHERE CASE WHEN $unit = '' THEN technology = coalesce(nullif($technology, ''), (FROM commonest))
               ELSE (technology, kind_group) IN (SELECT (technology, kind_group) FROM marked) END
),
newest AS (
    SELECT curve.*, label, technology
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN chosen USING (unit_key)
    JOIN review ON review.review_key = curve.review_key
    WHERE curve IN ('source_impedance', 'impedance')
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output
        ORDER BY review.reviewed DESC, curve.review_key DESC, curve = 'impedance', len(x) DESC,
                 analysis_key
    ) = 1
),
points AS (
    SELECT unit_key, label, technology, output, unnest(x) AS hertz, unnest(y) AS ohm,
           unnest(coalesce(uncertainty, list_transform(x, lambda f: NULL::DOUBLE))) AS u
    FROM newest
)
SELECT
    unit_key, label, technology, output, avg(hertz) AS frequency_hz, avg(ohm) AS ohm,
    avg(ohm) - 2 * avg(u) AS ohm_low, avg(ohm) + 2 * avg(u) AS ohm_high
FROM points
WHERE hertz > 0 AND ohm > 0
GROUP BY unit_key, label, technology, output, round(20 * log10(hertz))
ORDER BY unit_key, output, frequency_hz
