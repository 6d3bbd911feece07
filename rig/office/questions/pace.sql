SELECT crew, count(DISTINCT uid) AS jobs, count(*) AS pours, avg(interval_s) AS interval_s,
    exp(avg(ln(interval_s / planned_interval_s))) AS over_planned,
    stddev_samp(ln(interval_s / planned_interval_s)) AS sd_log
FROM pours WHERE interval_s > 0 AND planned_interval_s > 0 GROUP BY crew ORDER BY crew
