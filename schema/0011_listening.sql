-- grain: review, unit: what was heard of a unit and the words that it is found by; only where the
-- review states either.
CREATE TABLE heard (
    review_key VARCHAR NOT NULL,
    unit_key   VARCHAR NOT NULL,
    listening  VARCHAR,
    tags       VARCHAR[] NOT NULL
);
