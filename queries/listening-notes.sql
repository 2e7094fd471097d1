-- title: Listening notes and tags
-- question: Which reviews carry a tag, or a word in their listening notes?
-- conditions: tagged {tag}; with the words "{text}" in the notes
-- grain: review_key, unit_key; one row per unit in a review that has notes or tags
-- parameter tag: text = ''; a tag, in capitals or not; where empty, any or none
-- parameter text: text = ''; words that the listening notes contain; where empty, any or none
-- column review_key: -; Review
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column reviewed: -; Date
-- column tags: -; Tags
-- column listening: -; Listening notes
SELECT review_key, unit_key, label, reviewed, array_to_string(tags, ', ') AS tags, listening
FROM heard
JOIN review USING (review_key)
JOIN (SELECT unit_key, label FROM peer) USING (unit_key)
WHERE ($tag = '' OR list_contains(list_transform(tags, lambda t: lower(t)), lower(trim($tag))))
  AND ($text = '' OR contains(lower(coalesce(listening, '')), lower($text)))
ORDER BY reviewed DESC, review_key, unit_key
