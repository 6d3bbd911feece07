SELECT crew, product, count(*) AS jobs,
    count(*) FILTER (WHERE used_bags > buy_bags + 1e-9) AS short,
    avg(CASE WHEN used_bags > buy_bags + 1e-9 THEN 1.0 ELSE 0.0 END) AS share,
    avg(greatest(buy_bags - used_bags, 0.0)) AS left_bags
FROM job WHERE used_bags > 0 AND buy_bags IS NOT NULL
GROUP BY crew, product ORDER BY crew, product
