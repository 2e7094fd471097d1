-- grain: entered reading: a figure typed from an old record, as it was written, and where
CREATE TABLE entered (
    reading_key VARCHAR NOT NULL,
    review_key  VARCHAR NOT NULL,
    written     VARCHAR NOT NULL,
    origin      VARCHAR NOT NULL
);
