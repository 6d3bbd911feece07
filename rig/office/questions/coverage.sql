-- The interval is Wilson's score interval at 95 % (Wilson, JASA 22 (1927) 209-212).
WITH poured AS (
    SELECT confidence, crew, product, floor,
        CASE month(make_timestamp(CAST(poured_utc_s * 1e6 AS BIGINT)))
            WHEN 12 THEN 'Dec-Feb' WHEN 1 THEN 'Dec-Feb' WHEN 2 THEN 'Dec-Feb'
            WHEN 3 THEN 'Mar-May' WHEN 4 THEN 'Mar-May' WHEN 5 THEN 'Mar-May'
            WHEN 6 THEN 'Jun-Aug' WHEN 7 THEN 'Jun-Aug' WHEN 8 THEN 'Jun-Aug'
            ELSE 'Sep-Nov' END AS season,
        CAST(used_bags <= upper_bags + 1e-9 AS INTEGER) AS held
    FROM job WHERE used_bags > 0 AND upper_bags IS NOT NULL
),
one AS (
    SELECT 1 AS nth, 'all' AS "by", NULL AS value, confidence, held FROM poured
    UNION ALL SELECT 2, 'crew', crew, confidence, held FROM poured
    UNION ALL SELECT 3, 'product', product, confidence, held FROM poured
    UNION ALL SELECT 4, 'floor', floor, confidence, held FROM poured
    UNION ALL SELECT 5, 'season', season, confidence, held FROM poured
),
counted AS (
    SELECT nth, "by", value, confidence, count(*) AS n, sum(held) AS held
    FROM one GROUP BY nth, "by", value, confidence
)
SELECT "by", value, confidence, n AS jobs, held, held / n AS share,
    (held + 1.92073 - 1.95996 * sqrt(held * (n - held) / n + 0.96036)) / (n + 3.84146) AS low,
    (held + 1.92073 + 1.95996 * sqrt(held * (n - held) / n + 0.96036)) / (n + 3.84146) AS high
FROM counted ORDER BY nth, value, confidence
