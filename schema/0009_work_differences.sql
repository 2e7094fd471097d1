-- The quantile of Student's t that belongs to a quantile z of the normal distribution, by the
-- expansion of Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5; z itself where
-- degrees of freedom are NULL (not limited). Within 1 % from two degrees of freedom on, for z up
-- to 2.
CREATE MACRO student_quantile(z, dof) AS z + coalesce(
    (z ** 3 + z) / 4 / dof
    + (5 * z ** 5 + 16 * z ** 3 + 3 * z) / 96 / dof ** 2
    + (3 * z ** 7 + 19 * z ** 5 + 17 * z ** 3 - 15 * z) / 384 / dof ** 3
    + (79 * z ** 9 + 776 * z ** 7 + 1482 * z ** 5 - 1920 * z ** 3 - 945 * z) / 92160 / dof ** 4,
    0);

-- Standard uncertainty of a difference of two values by their parts: what both have from one
-- source cancels.
CREATE MACRO difference_u(own_a, shared_a, source_a, own_b, shared_b, source_b) AS
    sqrt(own_a ** 2 + own_b ** 2
         + if(coalesce(source_a = source_b, false),
              (shared_a - shared_b) ** 2, shared_a ** 2 + shared_b ** 2));

-- Degrees of freedom of a combined u of two parts (Welch and Satterthwaite); NULL: not limited.
CREATE MACRO combined_dof(u, a, dof_a, b, dof_b) AS
    u ** 4 / nullif(coalesce(a ** 4 / dof_a, 0) + coalesce(b ** 4 / dof_b, 0), 0);

-- Whether two conditions don't contradict each other: equal texts, or one isn't stated; loads within
-- 5 %.
CREATE MACRO no_contradiction(a, b) AS coalesce(lower(trim(a)) = lower(trim(b)), true);
CREATE MACRO same_load(a, b) AS coalesce(abs(ln(nullif(a, 0) / nullif(b, 0))) <= 0.05, true);

-- Whether bounds leave no doubt which of two values is the greater.
CREATE MACRO order_known(a, bound_a, b, bound_b) AS
    CASE WHEN a > b THEN bound_a IS DISTINCT FROM 'upper' AND bound_b IS DISTINCT FROM 'lower'
         ELSE bound_a IS DISTINCT FROM 'lower' AND bound_b IS DISTINCT FROM 'upper' END;

-- Size of a difference over its expanded uncertainty (95.45 %): significant above 1.
CREATE MACRO beyond_uncertainty(difference, u, dof) AS
    if(u = 0, if(difference = 0, 0, 'inf'::DOUBLE),
       abs(difference) / (u * student_quantile(2, dof)));

-- grain: unit, test point, output, against, metric, order, limit, detail, own frequency: a figure
-- before work less the same after it, for units of the view before_after. Only where no condition
-- that both reviews state differs (input, tap, volume, outputs driven; load by at most 5 %).
-- before_u and after_u: standard uncertainties with that of another session in them. difference_u:
-- of the difference, where what one calibration gives to both sides cancels. beyond: size of the
-- difference over its expanded uncertainty, significant above 1; NULL where an uncertainty is
-- unknown or a bound leaves the sign open.
CREATE VIEW work_difference AS
WITH sides AS (
    SELECT at_point.*, review_key = before_key AS is_before
    FROM at_point
    JOIN before_after USING (unit_key)
    WHERE review_key IN (before_key, after_key)
),
pairs AS (
    SELECT
        b.unit_key, b.point_key, b.output, b.against, b.metric, b.order_n, b.limit_percent,
        b.detail, b.own_frequency_hz, b.review_key AS before_key, a.review_key AS after_key,
        b.value AS before, sqrt(b.own_u ** 2 + b.shared_u ** 2) AS before_u,
        a.value AS after, sqrt(a.own_u ** 2 + a.shared_u ** 2) AS after_u,
        a.value - b.value AS difference,
        difference_u(a.own_u, a.shared_u, a.shared_with, b.own_u, b.shared_u, b.shared_with)
            AS difference_u,
        combined_dof(difference_u, a.own_u, a.own_dof, b.own_u, b.own_dof) AS dof,
        order_known(a.value, a.bound, b.value, b.bound) AS is_order_known,
        b.unit, b.better, b.session_default OR a.session_default AS session_default
    FROM (FROM sides WHERE is_before) AS b
    JOIN (FROM sides WHERE NOT is_before) AS a
      ON a.unit_key = b.unit_key AND a.point_key = b.point_key AND a.output = b.output
         AND a.metric = b.metric AND a.detail = b.detail
         AND a.against IS NOT DISTINCT FROM b.against
         AND a.order_n IS NOT DISTINCT FROM b.order_n
         AND a.limit_percent IS NOT DISTINCT FROM b.limit_percent
         AND a.own_frequency_hz IS NOT DISTINCT FROM b.own_frequency_hz
    WHERE no_contradiction(a.input, b.input) AND no_contradiction(a.tap, b.tap)
      AND no_contradiction(a.volume, b.volume) AND no_contradiction(a.driven, b.driven)
      AND same_load(a.load_ohm, b.load_ohm)
)
SELECT
    * EXCLUDE (dof, is_order_known),
    CASE WHEN is_order_known THEN beyond_uncertainty(difference, difference_u, dof) END AS beyond,
    CASE WHEN coalesce(beyond, 0) <= 1 THEN 'not significantly different'
         WHEN better = 'neither' THEN 'other'
         WHEN CASE better WHEN 'lower' THEN before - after WHEN 'higher' THEN after - before
                          ELSE abs(before) - abs(after) END > 0 THEN 'better'
         ELSE 'worse' END AS assessment
FROM pairs;
