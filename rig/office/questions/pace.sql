WITH poured AS (
    SELECT uid, crew, unnest(pours) AS one FROM job
)
SELECT crew, count(DISTINCT uid) AS jobs, count(*) AS pours, avg(one.interval_s) AS interval_s,
    exp(avg(ln(one.interval_s / one.planned_interval_s))) AS over_planned,
    stddev_samp(ln(one.interval_s / one.planned_interval_s)) AS sd_log
FROM poured WHERE one.interval_s > 0 AND one.planned_interval_s > 0 GROUP BY crew ORDER BY crew
