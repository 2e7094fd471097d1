-- title: Impedance over frequency
-- question: How does a unit's impedance run with frequency? From impedance tables; the newest of
--   each output, one unit or every unit of a technology.
-- grain: unit_key, output, frequency_hz
-- parameter unit: unit = ''; the unit; where empty, every unit of the technology
-- parameter technology: technology = 'tube'; whose curves where no unit is named
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column ohm: ohm; Impedance
-- chart: impedance
WITH newest AS (
    SELECT curve.*, label, technology
    FROM curve
    JOIN peer USING (unit_key)
    JOIN review ON review.review_key = curve.review_key
    WHERE curve = 'impedance'
      AND CASE WHEN $unit = '' THEN technology = $technology ELSE unit_key = $unit END
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
