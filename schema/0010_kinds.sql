-- grain: kind of unit: the group whose units are peers of each other, and whether figures that
-- refer to a loudspeaker's load hold. From declarations and settings.
CREATE TABLE unit_kind (
    kind                VARCHAR NOT NULL,
    kind_group          VARCHAR NOT NULL,
    drives_loudspeakers BOOLEAN NOT NULL
);

-- grain: unit, as its newest review has it; with what peers are chosen by. Units that share maker
-- and model are distinguished by what their keys don't share, cut at a word's beginning:
-- "Quarrel M30, left" for the key m30-left beside m30-right.
CREATE OR REPLACE VIEW peer AS
WITH alike AS (
    SELECT
        *,
        count(*) OVER same AS samples,
        min(unit_key) OVER same AS first_key,
        max(unit_key) OVER same AS last_key
    FROM unit
    WINDOW same AS (PARTITION BY maker, model)
),
labelled AS (
    SELECT
        *,
        CASE WHEN samples > 1 THEN len(list_filter(
            range(1, least(len(first_key), len(last_key)) + 1),
            lambda n: first_key[:n] = last_key[:n]
        )) END AS shared
    FROM alike
)
SELECT
    labelled.* EXCLUDE (samples, first_key, last_key, shared),
    maker || ' ' || model
        || CASE WHEN samples > 1
                THEN ', ' || unit_key[len(regexp_extract(unit_key[:shared], '^.*[-_ ./]')) + 1:]
                ELSE '' END AS label,
    coalesce(unit_kind.kind_group, labelled.kind) AS kind_group,
    (made_first + made_last) / 2 AS made_year,
    made_first // 10 * 10 AS decade,
    CASE WHEN rated_power_w < 10 THEN 'under 10 W'
         WHEN rated_power_w < 30 THEN '10 W to under 30 W'
         WHEN rated_power_w < 100 THEN '30 W to under 100 W'
         WHEN rated_power_w >= 100 THEN '100 W and more' END AS power_class
FROM labelled
LEFT JOIN unit_kind ON unit_kind.kind = labelled.kind;
