-- title: Power against price
-- question: Does a higher price buy more power? Output power at 1 % THD into 8 Ω, output with
--   the lower power, against the list price in US dollars of 2024 by the annual averages of the
--   consumer price index CPI-U (Bureau of Labor Statistics). Prices in US dollars only; a mono
--   unit by itself.
-- conditions: 1 kHz, 8 Ω, 1 % THD; list price in US dollars of 2024; bars: k = 2
-- grain: unit_key; one row per unit
-- metric: power_at_limit
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: 1,000 USD; List price in dollars of 2024
-- column y: W; Output power at 1 % THD, 8 Ω
-- column y_low: W; Lower limit (k = 2)
-- column y_high: W; Upper limit (k = 2)
-- column bound: -; Bound
-- column listed: USD; List price
-- column price_year: -; Year of the price
-- column watts_per_kusd: W; Power per 1,000 USD
-- column marked: -; Marked unit
-- chart: trend; scale = log
WITH cpi (year, level) AS (
    VALUES (1940, 14.0), (1941, 14.7), (1942, 16.3), (1943, 17.3), (1944, 17.6), (1945, 18.0),
           (1946, 19.5), (1947, 22.3), (1948, 24.1), (1949, 23.8), (1950, 24.1), (1951, 26.0),
           (1952, 26.5), (1953, 26.7), (1954, 26.9), (1955, 26.8), (1956, 27.2), (1957, 28.1),
           (1958, 28.9), (1959, 29.1), (1960, 29.6), (1961, 29.9), (1962, 30.2), (1963, 30.6),
           (1964, 31.0), (1965, 31.5), (1966, 32.4), (1967, 33.4), (1968, 34.8), (1969, 36.7),
           (1970, 38.8), (1971, 40.5), (1972, 41.8), (1973, 44.4), (1974, 49.3), (1975, 53.8),
           (1976, 56.9), (1977, 60.6), (1978, 65.2), (1979, 72.6), (1980, 82.4), (1981, 90.9),
           (1982, 96.5), (1983, 99.6), (1984, 103.9), (1985, 107.6), (1986, 109.6),
           (1987, 113.6), (1988, 118.3), (1989, 124.0), (1990, 130.7), (1991, 136.2),
           (1992, 140.3), (1993, 144.5), (1994, 148.2), (1995, 152.4), (1996, 156.9),
           (1997, 160.5), (1998, 163.0), (1999, 166.6), (2000, 172.2), (2001, 177.1),
           (2002, 179.9), (2003, 184.0), (2004, 188.9), (2005, 195.3), (2006, 201.6),
           (2007, 207.342), (2008, 215.303), (2009, 214.537), (2010, 218.056), (2011, 224.939),
           (2012, 229.594), (2013, 232.957), (2014, 236.736), (2015, 237.017), (2016, 240.007),
           (2017, 245.12), (2018, 251.107), (2019, 255.657), (2020, 258.811), (2021, 270.97),
           (2022, 292.655), (2023, 304.702), (2024, 313.689)
),
priced AS (
    SELECT unit_key, label, technology, price_amount AS listed, price_year,
           price_amount * (SELECT arg_max(level, year) FROM cpi) / level AS price
    FROM peer
    JOIN cpi ON cpi.year = peer.price_year
    WHERE price_currency = 'USD' AND price_amount > 0
)
SELECT
    unit_key, label, technology, price / 1000 AS x, value AS y, low AS y_low, high AS y_high, bound,
    listed, price_year, 1000 * value / price AS watts_per_kusd, unit_key = $unit AS marked
FROM worse
JOIN priced USING (unit_key)
WHERE point_key = 'limit-1khz-8ohm' AND metric = 'power_at_limit' AND limit_percent = 1
  AND detail NOT LIKE '%"harmonics"%'
ORDER BY x, unit_key
