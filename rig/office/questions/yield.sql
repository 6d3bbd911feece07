SELECT crew, product, count(*) AS jobs,
    exp(avg(ln(used_bags / stated_bags))) AS used_over_stated,
    stddev_samp(ln(used_bags / stated_bags)) AS sd_log,
    sum(used_bags) AS used_bags, sum(stated_bags) AS stated_bags
FROM job WHERE used_bags > 0 AND stated_bags > 0
GROUP BY crew, product ORDER BY crew, product
