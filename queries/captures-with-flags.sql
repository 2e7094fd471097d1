-- title: Failed captures and readings without a value
-- question: Which captures failed or gave readings without a value, and why?
-- grain: review_key, position, file; one row per capture of a review
-- needed: review_key, file, reason, outcome, stimulus
-- parameter review: text = ''; review; all reviews where empty
-- column review_key: -; Review
-- column position: -; Capture
-- column file: -; File
-- column stimulus: -; Stimulus
-- column outcome: -; Outcome
-- column refused: -; Readings without a value
-- column reason: -; Reason
SELECT review_key, position, file, stimulus, outcome, refused, reason
FROM capture_outcome
WHERE outcome <> 'whole' AND ($review = '' OR review_key = $review)
ORDER BY review_key, position, file
