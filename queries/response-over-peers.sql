-- title: Response over the peers' envelope
-- question: How flat is a unit from 20 Hz to 20 kHz, and what is usual among units of its
--   technology and kind? Means over third-octave bands, dB re 1 kHz; the envelope holds the
--   middle four fifths of the peers' outputs.
-- grain: unit_key, output, frequency_hz
-- parameter unit: unit = ''; the unit to draw; where empty, every unit of the technology
-- parameter technology: technology = 'tube'; whose curves to draw where no unit is marked
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column level_db: dB; Response re 1 kHz
-- column low_db: dB; Tenth of the peers below
-- column high_db: dB; Tenth of the peers above
-- column peers: -; Outputs in the envelope
-- chart: response
WITH marked AS (SELECT technology, kind_group FROM peer WHERE unit_key = $unit),
chosen AS (
    SELECT unit_key, label, technology
    FROM peer
    WHERE CASE WHEN $unit = '' THEN technology = $technology
               ELSE (technology, kind_group) IN (SELECT (technology, kind_group) FROM marked) END
),
newest AS (
    SELECT curve.*
    FROM curve
    JOIN chosen USING (unit_key)
    JOIN review USING (review_key)
    WHERE curve = 'response'
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output ORDER BY reviewed DESC, review_key DESC, analysis_key
    ) = 1
),
points AS (
    SELECT unit_key, output, unnest(x) AS hertz, unnest(y) AS level FROM newest
),
banded AS (
    SELECT unit_key, output, round(10 * log10(hertz / 1000)) AS band, avg(level) AS level_db
    FROM points
    WHERE hertz BETWEEN 17.8 AND 22387
    GROUP BY ALL
),
envelope AS (
    SELECT band, quantile_cont(level_db, 0.1) AS low_db, quantile_cont(level_db, 0.9) AS high_db,
           count(*) AS peers
    FROM banded
    GROUP BY band
)
SELECT
    unit_key, label, technology, output, 1000 * pow(10, band / 10) AS frequency_hz, level_db,
    low_db, high_db, peers
FROM banded
JOIN envelope USING (band)
JOIN chosen USING (unit_key)
WHERE $unit = '' OR unit_key = $unit
ORDER BY unit_key, output, frequency_hz
