-- title: Hum of a unit by harmonic of the mains
-- question: Which multiples of the mains frequency make up a unit's hum, and how does each
--   compare with the median of its peers? Bounds of peers count by their value; the newest
--   review; without a unit, the one reviewed last.
-- grain: unit_key, output, order_n; one row per unit, output and multiple of the mains frequency
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column order_n: -; Multiple of the mains frequency
-- column frequency_hz: Hz; Frequency
-- column value: µV; Level
-- column bound: -; Bound
-- column peers_median: µV; Median of the peers
-- column peers_low: µV; Lower quartile of the peers
-- column peers_high: µV; Upper quartile of the peers
-- column peers: -; Peers
-- chart: ladder
WITH marked AS (
    SELECT unit_key, technology, kind_group FROM peer
    WHERE $unit = '' OR unit_key = $unit
    ORDER BY reviewed DESC, unit_key
    LIMIT 1
),
lines AS (
    SELECT unit_key, output, order_n, frequency_hz, value * 1e6 AS value, bound
    FROM placed
    WHERE point_key = 'idle' AND metric = 'mains_line'
),
others AS (
    SELECT order_n, median(value) AS peers_median, quantile_cont(value, 0.25) AS peers_low,
           quantile_cont(value, 0.75) AS peers_high, count(DISTINCT unit_key) AS peers
    FROM lines
    JOIN peer USING (unit_key)
    JOIN marked ON marked.technology = peer.technology AND marked.kind_group = peer.kind_group
        AND marked.unit_key <> peer.unit_key
    GROUP BY order_n
)
SELECT unit_key, label, output, order_n, frequency_hz, value, bound, peers_median,
       peers_low, peers_high, coalesce(peers, 0) AS peers
FROM lines
JOIN peer USING (unit_key)
LEFT JOIN others USING (order_n)
WHERE unit_key = (SELECT unit_key FROM marked)
ORDER BY unit_key, output, order_n
