-- title: Impedance over frequency
-- question: How does a unit's impedance run with frequency? From impedance tables; the newest of
--   each output; a unit over others of its technology and kind.
-- conditions: newest table of each output
-- grain: unit_key, output, frequency_hz
-- parameter unit: unit = ''; the unit to draw over its peers
-- parameter technology: technology = ''; whose curves to draw where no unit is marked; where empty
--   the commonest
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column ohm: ohm; Impedance
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
    JOIN chosen USING (unit_key)
    JOIN review ON review.review_key = curve.review_key
    WHERE curve = 'impedance'
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output
        ORDER BY review.reviewed DESC, curve.review_key DESC, analysis_key
    ) = 1
),
points AS (
    SELECT unit_key, label, technology, output, unnest(x) AS frequency_hz, unnest(y) AS ohm
    FROM newest
)
SELECT unit_key, label, technology, output, frequency_hz, ohm
FROM points
ORDER BY unit_key, output, frequency_hz
