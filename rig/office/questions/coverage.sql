-- The interval is Wilson's score interval at 95 % (Wilson, JASA 22 (1927) 209-212).
WITH poured AS (
    SELECT confidence, crew, product, floor,
        CASE extract(MONTH FROM TIMESTAMP '1970-01-01 00:00:00'
            + CAST(floor(poured_utc_s) AS BIGINT) * INTERVAL '1' SECOND)
            WHEN 12 THEN 'Dec-Feb' WHEN 1 THEN 'Dec-Feb' WHEN 2 THEN 'Dec-Feb'
            WHEN 3 THEN 'Mar-May' WHEN 4 THEN 'Mar-May' WHEN 5 THEN 'Mar-May'
            WHEN 6 THEN 'Jun-Aug' WHEN 7 THEN 'Jun-Aug' WHEN 8 THEN 'Jun-Aug'
            ELSE 'Sep-Nov' END AS season,
        CASE WHEN used_bags <= upper_bags + 1e-9 THEN 1 ELSE 0 END AS held
    FROM job WHERE used_bags > 0 AND upper_bags IS NOT NULL
),
one AS (
    SELECT 1 AS nth, 'all' AS "by", CAST(NULL AS VARCHAR) AS value, confidence, held FROM poured
    UNION ALL SELECT 2, 'crew', crew, confidence, held FROM poured
    UNION ALL SELECT 3, 'product', product, confidence, held FROM poured
    UNION ALL SELECT 4, 'floor', floor, confidence, held FROM poured
    UNION ALL SELECT 5, 'season', season, confidence, held FROM poured
),
counted AS (
    SELECT nth, "by", value, confidence, count(*) AS jobs, sum(held) AS held,
        CAST(count(*) AS DOUBLE) AS n, CAST(sum(held) AS DOUBLE) AS h
    FROM one GROUP BY nth, "by", value, confidence
)
SELECT "by", value, confidence, jobs, held, h / n AS share,
    (h + 1.92073 - 1.95996 * sqrt(h * (n - h) / n + 0.96036)) / (n + 3.84146) AS low,
    (h + 1.92073 + 1.95996 * sqrt(h * (n - h) / n + 0.96036)) / (n + 3.84146) AS high
FROM counted ORDER BY nth, value, confidence
