-- title: Response by setting of the controls
-- question: What do the tone controls, the loudness switch and the volume control make of a unit's
--   response? A curve for each stated setting, third-octave means, dB re 1 kHz.
-- conditions: 20 Hz to 20 kHz, means over third octaves, dB re 1 kHz; newest review with two
--   settings or more; the load and output with the most settings
-- grain: setting, output, x; one row per setting, output and frequency
-- metric: tone_control_range
-- parameter unit: unit = ''; unit; where empty, the one reviewed last that has such curves
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column setting: -; Setting
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: dB; Response re 1 kHz
-- chart: family; across = frequency
WITH curves AS (
    SELECT curve.review_key, curve.unit_key, curve.output, curve.analysis_key, x, y, reviewed,
           capture.position, capture.load_ohm, capture.input, capture.volume, controls
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN review USING (review_key)
    JOIN capture ON capture.review_key = curve.review_key
        AND capture.analysis_key = curve.analysis_key
    WHERE curve = 'response' AND NOT loop_back
          AND coalesce(controls, capture.volume) IS NOT NULL AND $unit IN ('', curve.unit_key)
),
counted AS (
    SELECT *, count(DISTINCT controls) OVER same AS tones, count(DISTINCT volume) OVER same AS volumes,
           count(DISTINCT (controls, volume)) OVER same AS settings
    FROM curves
    WINDOW same AS (PARTITION BY review_key, unit_key, output, load_ohm, input)
),
chosen AS (
    SELECT review_key, unit_key, output, load_ohm, input
    FROM counted
    WHERE settings >= 2
    ORDER BY reviewed DESC, settings DESC, review_key DESC, unit_key, output, load_ohm, input
    LIMIT 1
),
named AS (
    SELECT counted.*,
           concat_ws(', ', CASE WHEN tones > 1 THEN controls END,
                     CASE WHEN volumes > 1 OR tones < 2 THEN 'volume ' || volume END) AS setting
    FROM counted
    JOIN chosen USING (review_key, unit_key, output)
    WHERE counted.load_ohm IS NOT DISTINCT FROM chosen.load_ohm
          AND counted.input IS NOT DISTINCT FROM chosen.input
    QUALIFY row_number() OVER (PARTITION BY controls, volume ORDER BY position) = 1
),
points AS (
    SELECT unit_key, setting, output, position, unnest(x) AS hertz, unnest(y) AS level FROM named
)
SELECT unit_key, label, setting, output,
       1000 * pow(10, round(10 * log10(hertz / 1000)) / 10) AS x, avg(level) AS y
FROM points
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
WHERE hertz BETWEEN 17.8 AND 22387
GROUP BY unit_key, label, setting, output, position, round(10 * log10(hertz / 1000))
ORDER BY position, output, x
