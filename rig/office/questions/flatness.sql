WITH last AS (
    SELECT uid, rule, kind, verdict, share_in,
        row_number() OVER (PARTITION BY uid, rule, kind ORDER BY nth DESC) AS back
    FROM proofs
)
SELECT rule, kind, count(*) AS jobs,
    count(*) FILTER (WHERE verdict = 'in') AS within,
    count(*) FILTER (WHERE verdict = 'out') AS outside,
    count(*) FILTER (WHERE verdict = 'unsure') AS unsure, avg(share_in) AS share_in
FROM last WHERE back = 1 GROUP BY rule, kind ORDER BY rule, kind
