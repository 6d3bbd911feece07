SELECT crew, count(DISTINCT uid) AS jobs, count(*) AS markers, avg(residual_mm) AS mean_mm,
    stddev_samp(residual_mm) AS sd_mm, max(abs(residual_mm)) AS worst_mm
FROM markers WHERE residual_mm IS NOT NULL GROUP BY crew ORDER BY crew
