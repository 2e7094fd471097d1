-- title: Spectrum of a tone
-- question: Which harmonics and other lines does a unit add to a pure tone? The strongest line of
--   each of 2,000 steps of equal ratio from 10 Hz to 100 kHz, so that no line is lost; newest
--   review; without a unit, the one reviewed last. Of several captures the one whose power is
--   nearest to power_w, or whose voltage is nearest to 2 V where the unit drives no loudspeaker.
-- conditions: 1 kHz; newest review; strongest line of each step
-- grain: unit_key, output, frequency_hz, kind; one row per unit, output, frequency and kind of
--   line
-- metric: thd
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- parameter power_w: number = 5; the capture nearest to this power is shown
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column level: dBV; Level of each line
-- column kind: -; Kind
-- column y_unit: -; Unit of the level
-- column name: -; Name
-- column taken_w: W; Taken at
-- column taken_v: V; Taken at
-- chart: spectrum
WITH marked AS (
    SELECT unit_key, label, kind FROM peer
    WHERE $unit = '' OR unit_key = $unit
    ORDER BY reviewed DESC, unit_key
    LIMIT 1
),
newest AS (
    SELECT curve.*, label,
           if(drives_loudspeakers, curve.power_w, NULL) AS taken_w,
           if(taken_w IS NULL, level.value, NULL) AS taken_v
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN marked USING (unit_key)
    JOIN review USING (review_key)
    JOIN unit_kind USING (kind)
    LEFT JOIN (FROM reading WHERE metric = 'level' AND value > 0) AS level
      ON level.review_key = curve.review_key AND level.analysis_key = curve.analysis_key
         AND level.unit_key = curve.unit_key AND level.output = curve.output
         AND level.power_w IS NOT DISTINCT FROM curve.power_w
    WHERE curve = 'spectrum' AND curve.frequency_hz BETWEEN 990 AND 1010
    QUALIFY row_number() OVER (
        PARTITION BY curve.output
        ORDER BY reviewed DESC,
                 abs(ln(coalesce(nullif(taken_w, 0) / greatest($power_w, 1e-6), taken_v / 2,
                                 1e-6))),
                 curve.review_key DESC, curve.analysis_key
    ) = 1
),
points AS (
    SELECT unit_key, label, output, y_unit, unnest(x) AS hertz, unnest(y) AS level FROM newest
),
steps AS (
    SELECT unit_key, label, output, arg_max(hertz, level) AS frequency_hz, max(level) AS level,
           'tone' AS kind, y_unit
    FROM points
    WHERE hertz BETWEEN 10 AND 100000
    GROUP BY unit_key, label, output, y_unit, floor(500 * log10(hertz / 10))
),
mains AS (
    SELECT steps.unit_key, steps.label, steps.output,
           arg_max(steps.frequency_hz, steps.level) AS frequency_hz, max(steps.level) AS level,
           'mains' AS kind, steps.y_unit, format('{:.0f} Hz', review.mains_hz * order_n) AS name
    FROM reading
    JOIN newest ON newest.review_key = reading.review_key
        AND newest.unit_key = reading.unit_key AND newest.output = reading.output
    JOIN review ON review.review_key = reading.review_key
    JOIN steps ON steps.unit_key = reading.unit_key AND steps.output = reading.output
        AND steps.frequency_hz BETWEEN 0.985 * reading.frequency_hz AND 1.015 * reading.frequency_hz
    WHERE metric = 'mains_line' AND value IS NOT NULL AND bound IS NULL
    GROUP BY ALL
)
SELECT unit_key, label, output, frequency_hz, level, lines.kind, lines.y_unit, name, taken_w,
       taken_v
FROM (SELECT *, NULL AS name FROM steps UNION ALL SELECT * FROM mains) AS lines
JOIN (SELECT unit_key, output, taken_w, taken_v FROM newest) AS taken USING (unit_key, output)
ORDER BY unit_key, output, kind, frequency_hz
