-- How the reviews that were just loaded ended, and what units differ by between sessions, are asked
-- beside every review of the catalogue: what of it can be is asked of these reviews and units alone.
-- A condition on a view is applied after its groups are made; a macro applies it before.

-- grain: review, capture: how it ended, in one line, of some reviews (NULL: of all).
-- whole: every reading that was asked for has a value or doesn't apply. partly refused: some were
-- refused one. refused: none has a value, or the manifest's entry can't stand. failed: the file
-- itself could not be used.
-- warnings: remarks of its readings that begin with "warning: ", with the outputs in its place.
CREATE MACRO capture_outcome_of(reviews) AS TABLE
WITH readings AS NOT MATERIALIZED (
    FROM reading
    WHERE reviews IS NULL OR list_contains(reviews, review_key)
),
captures AS NOT MATERIALIZED (
    FROM capture
    WHERE reviews IS NULL OR list_contains(reviews, review_key)
),
given AS (
    SELECT
        review_key, analysis_key,
        count(*) AS readings,
        count(value) AS figures,
        count(*) FILTER (reading.status = 'rejected') AS refused
    FROM readings AS reading
    GROUP BY ALL
),
warned AS (
    SELECT
        review_key, analysis_key, output,
        unnest(list_filter(string_split(reason, '; '), lambda part: starts_with(part, 'warning: ')))
            AS part
    FROM readings AS reading
    WHERE contains(reason, 'warning: ')
),
by_warning AS (
    SELECT
        review_key, analysis_key,
        array_to_string(list_sort(list_distinct(list(output))), ', ') || ': ' || part[10:] AS text
    FROM warned
    GROUP BY review_key, analysis_key, part
),
warning AS (
    SELECT review_key, analysis_key, list(text ORDER BY text) AS texts
    FROM by_warning
    GROUP BY ALL
),
on_output AS (
    SELECT review_key, analysis_key, output, count(*) AS readings
    FROM readings AS reading
    GROUP BY ALL
),
by_output AS (
    SELECT
        review_key, analysis_key, output, reason,
        count(*) AS refused,
        list_sort(list_distinct(list(coalesce(title, reading.metric)))) AS titles,
        count(*) = any_value(on_output.readings) AS all_of_it
    FROM readings AS reading
    JOIN on_output USING (review_key, analysis_key, output)
    LEFT JOIN metric USING (metric)
    WHERE reading.status = 'rejected'
    GROUP BY ALL
),
by_reason AS (
    SELECT
        review_key, analysis_key, reason,
        sum(by_output.refused) AS refused,
        list_sort(list(output)) AS outputs,
        first(titles ORDER BY output) AS titles,
        bool_and(all_of_it) AS all_of_it
    FROM by_output
    GROUP BY ALL
),
reason_text AS (
    SELECT
        review_key, analysis_key, by_reason.refused,
        CASE
            WHEN by_reason.refused = given.readings THEN by_reason.reason
            WHEN all_of_it THEN array_to_string(outputs, ', ') || ': ' || by_reason.reason
            ELSE array_to_string(titles[:2], ', ')
                || CASE WHEN len(titles) > 2 THEN ' and ' || (len(titles) - 2) || ' more' ELSE '' END
                || ' (' || array_to_string(outputs, ', ') || '): ' || by_reason.reason
        END AS text
    FROM by_reason
    JOIN given USING (review_key, analysis_key)
),
reasons AS (
    SELECT review_key, analysis_key, list(text ORDER BY refused DESC, text) AS texts
    FROM reason_text
    GROUP BY ALL
)
SELECT
    capture.review_key, capture.position, capture.file, capture.stimulus, capture.loop_back,
    CASE
        WHEN capture.status = 'failed' THEN 'failed'
        WHEN coalesce(given.refused, 0) = 0 THEN 'whole'
        WHEN given.figures = 0 THEN 'refused'
        ELSE 'partly refused'
    END AS outcome,
    coalesce(given.refused, 0) AS refused,
    CASE
        WHEN capture.status = 'failed' THEN capture.reason
        ELSE array_to_string(reasons.texts[:2], '; ')
            || CASE WHEN len(reasons.texts) > 2
                    THEN '; and ' || (len(reasons.texts) - 2) || ' more reasons' ELSE '' END
    END AS reason,
    coalesce(warning.texts, []) AS warnings
FROM captures AS capture
LEFT JOIN given USING (review_key, analysis_key)
LEFT JOIN reasons USING (review_key, analysis_key)
LEFT JOIN warning USING (review_key, analysis_key)
UNION ALL
SELECT review_key, position, name, NULL, false, 'refused', 0, reason, []::VARCHAR[]
FROM refused_entry
WHERE kind = 'capture' AND (reviews IS NULL OR list_contains(reviews, review_key));

CREATE OR REPLACE VIEW capture_outcome AS FROM capture_outcome_of(NULL);

-- grain: review, reason: what was refused, or is warned of, of readings across captures of some
-- reviews (NULL: of all).
-- warns: the captures contradict each other; else there was not enough to work it out from, or a
-- range has no loop-back.
CREATE MACRO across_captures_of(reviews) AS TABLE
WITH readings AS NOT MATERIALIZED (
    FROM reading
    WHERE reviews IS NULL OR list_contains(reviews, review_key)
),
captures AS NOT MATERIALIZED (
    FROM capture
    WHERE reviews IS NULL OR list_contains(reviews, review_key)
),
links AS NOT MATERIALIZED (
    FROM analysis_capture
    WHERE reviews IS NULL OR list_contains(reviews, review_key)
),
across AS (
    SELECT
        review_key, analysis_key, reading.status = 'rejected' AS refused, output,
        coalesce(title, reading.metric) AS title,
        contains(reason, 'warning: ') AS warns,
        CASE WHEN contains(reason, 'warning: ')
             THEN regexp_extract(reason, 'warning: ([^;]*)', 1) ELSE reason END AS reason
    FROM readings AS reading
    LEFT JOIN metric USING (metric)
    ANTI JOIN captures USING (review_key, analysis_key)
    WHERE reading.status = 'rejected' OR contains(reason, 'warning: ')
),
made_from AS (
    SELECT
        review_key, analysis_capture.analysis_key,
        list(file ORDER BY position) AS files
    FROM links AS analysis_capture
    JOIN captures AS capture USING (review_key, sha256)
    WHERE NOT loop_back
    GROUP BY ALL
),
by_reason AS (
    SELECT
        review_key, refused, warns, reason,
        list_sort(list_distinct(list(title))) AS titles,
        list_sort(list_distinct(list(output))) AS outputs,
        list_sort(list_distinct(flatten(list(coalesce(files, []::VARCHAR[]))))) AS files
    FROM across
    LEFT JOIN made_from USING (review_key, analysis_key)
    GROUP BY ALL
),
without_loop_back AS (
    SELECT review_key, list_sort(list_distinct(list(input_range))) AS ranges
    FROM captures AS capture
    ANTI JOIN (FROM captures SELECT review_key, input_range AS looped WHERE loop_back) AS loops
        ON loops.review_key = capture.review_key AND looped IS NOT DISTINCT FROM input_range
    WHERE NOT loop_back AND NOT ends_with(stimulus, ' table')
    GROUP BY ALL
)
SELECT
    review_key, refused, warns, files,
    array_to_string(titles, ', ') || ' (' || array_to_string(outputs, ', ') || ')' AS what,
    reason
FROM by_reason
UNION ALL
SELECT
    review_key, false, false, []::VARCHAR[],
    'bench',
    'no loop-back'
        || CASE WHEN len(ranges) > 0 THEN ' at range ' || array_to_string(ranges, ', ') ELSE '' END
        || ': the bench''s own noise and distortion are not taken off there '
        || '(`backbench plan --loop-back` lists the captures to take)'
FROM without_loop_back;

CREATE OR REPLACE VIEW across_captures AS FROM across_captures_of(NULL);

-- grain: metric, unit, period of one state without work in between that has several sessions, of
-- some units (NULL: of all): the variance between them, and what the records explain of it (the
-- mean squared uncertainty of the record), means over the quantities measured more than once; of
-- the values, and of their logarithms. sessions: the most that one quantity was measured in.
CREATE MACRO worked_out_between_sessions(units) AS TABLE
WITH repeated AS (
    SELECT review_key, unit_key, period
    FROM unit_period
    WHERE measured AND (units IS NULL OR list_contains(units, unit_key))
    QUALIFY count(*) OVER (PARTITION BY unit_key, period) > 1
),
-- Each cell is one quantity of one unit, measured in several sessions of one state.
cells AS (
    SELECT
        unit_key, period, reading.metric,
        count(*) AS sessions,
        var_samp(value) AS variance,
        avg(estimation ** 2) AS record,
        var_samp(ln(abs(value))) AS log_variance,
        avg((estimation / abs(value)) ** 2) AS log_record
    FROM reading
    JOIN repeated USING (review_key, unit_key)
    JOIN (
        SELECT DISTINCT ON (reading_key, review_key) *
        FROM reading_point
        WHERE review_key IN (SELECT review_key FROM repeated)
    ) USING (reading_key, review_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE status = 'measured' AND bound IS NULL AND value <> 0 AND estimation IS NOT NULL
    GROUP BY unit_key, period, reading.metric, unit, point_key, output, against, order_n,
             limit_percent, detail, input, tap, volume, driven,
             CASE WHEN order_n IS NULL THEN round(reading.frequency_hz) END
    HAVING count(DISTINCT review_key) > 1
)
SELECT metric, unit_key, period, max(sessions) AS sessions, avg(variance) AS variance,
       avg(record) AS record, avg(log_variance) AS log_variance, avg(log_record) AS log_record
FROM cells
GROUP BY metric, unit_key, period;

-- grain: metric, unit, period: the rows of worked_out_between_sessions, kept because working them
-- out goes through all readings.
CREATE TABLE between_sessions AS
FROM worked_out_between_sessions(NULL) ORDER BY metric, unit_key, period;
