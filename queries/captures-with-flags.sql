-- title: Captures with flags
-- question: Which captures failed, or gave readings that were refused a number, and why?
-- grain: review_key, position, file
-- parameter review: text = ''; one review; all where empty
-- column review_key: -; Review
-- column position: -; Capture
-- column file: -; File
-- column stimulus: -; Stimulus
-- column outcome: -; Outcome
-- column refused: -; Readings refused
-- column reason: -; Reason
SELECT review_key, position, file, stimulus, outcome, refused, reason
FROM capture_outcome
WHERE outcome <> 'whole' AND ($review = '' OR review_key = $review)
ORDER BY review_key, position, file
