WITH told AS (
    SELECT uid, unnest(proofs) AS one, generate_subscripts(proofs, 1) AS nth FROM job
),
last AS (
    SELECT uid, one.rule AS rule, one.kind AS kind, arg_max(one.verdict, nth) AS verdict,
        arg_max(one.share_in, nth) AS share_in
    FROM told GROUP BY uid, one.rule, one.kind
)
SELECT rule, kind, count(*) AS jobs,
    count(*) FILTER (verdict = 'in') AS within,
    count(*) FILTER (verdict = 'out') AS outside,
    count(*) FILTER (verdict = 'unsure') AS unsure, avg(share_in) AS share_in
FROM last GROUP BY rule, kind ORDER BY rule, kind
