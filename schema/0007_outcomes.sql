-- grain: review, kind, position, name: an entry of the manifest that was left out.
CREATE TABLE refused_entry (
    review_key VARCHAR NOT NULL,
    kind       VARCHAR NOT NULL CHECK (kind IN ('capture', 'entered', 'photograph', 'published')),
    position   INTEGER NOT NULL,        -- in its table of the manifest, from 1
    name       VARCHAR NOT NULL,        -- its file or metric
    reason     VARCHAR NOT NULL
);

-- grain: review, capture: how it ended, in one line.
-- whole: every reading that was asked for has a value or doesn't apply. partly refused: some were
-- refused one. refused: none has a value, or the manifest's entry can't stand. failed: the file
-- itself could not be used.
-- warnings: remarks of its readings that begin with "warning: ", with the outputs in its place.
CREATE VIEW capture_outcome AS
WITH given AS (
    SELECT
        review_key, analysis_key,
        count(*) AS readings,
        count(value) AS figures,
        count(*) FILTER (reading.status = 'rejected') AS refused
    FROM reading
    GROUP BY ALL
),
warned AS (
    SELECT
        review_key, analysis_key, output,
        unnest(list_filter(string_split(reason, '; '), lambda part: starts_with(part, 'warning: ')))
            AS part
    FROM reading
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
    FROM reading
    GROUP BY ALL
),
by_output AS (
    SELECT
        review_key, analysis_key, output, reason,
        count(*) AS refused,
        list_sort(list_distinct(list(coalesce(title, reading.metric)))) AS titles,
        count(*) = any_value(on_output.readings) AS all_of_it
    FROM reading
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
FROM capture
LEFT JOIN given USING (review_key, analysis_key)
LEFT JOIN reasons USING (review_key, analysis_key)
LEFT JOIN warning USING (review_key, analysis_key)
UNION ALL
SELECT review_key, position, name, NULL, false, 'refused', 0, reason, []::VARCHAR[]
FROM refused_entry
WHERE kind = 'capture';

-- grain: review, reason: what was refused, or is warned of, of readings across captures.
-- warns: the captures contradict each other; else there was not enough to work it out from, or a
-- range has no loop-back.
CREATE VIEW across_captures AS
WITH across AS (
    SELECT
        review_key, analysis_key, reading.status = 'rejected' AS refused, output,
        coalesce(title, reading.metric) AS title,
        contains(reason, 'warning: ') AS warns,
        CASE WHEN contains(reason, 'warning: ')
             THEN regexp_extract(reason, 'warning: ([^;]*)', 1) ELSE reason END AS reason
    FROM reading
    LEFT JOIN metric USING (metric)
    ANTI JOIN capture USING (review_key, analysis_key)
    WHERE reading.status = 'rejected' OR contains(reason, 'warning: ')
),
made_from AS (
    SELECT
        review_key, analysis_capture.analysis_key,
        list(file ORDER BY position) AS files
    FROM analysis_capture
    JOIN capture USING (review_key, sha256)
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
    FROM capture
    ANTI JOIN (FROM capture SELECT review_key, input_range AS looped WHERE loop_back) AS loops
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
