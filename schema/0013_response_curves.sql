-- grain: review, analysis, unit, output, curve: the curves that tell a unit's response: of an output, and of
-- what a machine played where it holds 1 kHz. is_usual: whether it stands at the test point of
-- responses; another was taken with controls turned, or through another sort of input.
CREATE VIEW response_curve AS
SELECT curve.*, usual.review_key IS NOT NULL AS is_usual
FROM curve
LEFT JOIN (
    SELECT DISTINCT reading.review_key, analysis_key, unit_key, output
    FROM reading
    JOIN reading_point USING (reading_key, review_key)
    WHERE metric = 'response_spread' AND point_key = 'response'
) AS usual USING (review_key, analysis_key, unit_key, output)
WHERE curve = 'response' OR (curve = 'played_response' AND x[-1] > 1000);
