-- title: Failed captures and readings without a value
-- question: Which captures failed or gave readings without a value, and why?
-- grain: review_key, position, file; one row per capture of a review
-- parameter review: text = ''; review; all reviews where empty
-- column review_key: -; Review
-- column position: -; Capture
-- column file: -; File
-- column stimulus: -; Stimulus
-- column status: -; Status
-- column refused: -; Readings without a value
-- column reason: -; Reasons
WITH refused AS (
    SELECT review_key, analysis_key, count(*) AS refused,
           string_agg(DISTINCT reason, '; ' ORDER BY reason) AS reasons
    FROM reading
    WHERE status = 'rejected'
    GROUP BY ALL
)
SELECT
    review_key, position, file, stimulus, status, coalesce(refused, 0) AS refused,
    coalesce(reason, reasons) AS reason
FROM capture
LEFT JOIN refused USING (review_key, analysis_key)
WHERE (status = 'failed' OR refused > 0) AND ($review = '' OR review_key = $review)
ORDER BY review_key, position, file
