-- Due after 90 days, or when the drift would have brought the error to its limit if that is sooner
-- (our own figures, no source).
WITH made AS (
    SELECT laser, kind, utc_s, limit_mm_per_m, coalesce(error_mm_per_m, tilt_mm_per_m) AS error,
        row_number() OVER (PARTITION BY laser, kind ORDER BY utc_s DESC, uid, nth DESC) AS back
    FROM checks WHERE laser IS NOT NULL AND kind IN ('two-peg', 'cross', 'drift')
),
fitted AS (
    SELECT laser, kind, count(*) AS checks, max(CASE WHEN back = 1 THEN error END) AS last,
        max(CASE WHEN back = 1 THEN limit_mm_per_m END) AS limit_mm_per_m,
        max(utc_s) AS last_utc_s, regr_slope(error, utc_s) AS slope,
        CASE WHEN regr_count(error, utc_s) > 2 AND regr_sxx(error, utc_s) > 0
            THEN sqrt(greatest(regr_syy(error, utc_s)
                - regr_sxy(error, utc_s) * regr_sxy(error, utc_s) / regr_sxx(error, utc_s), 0.0)
                / (regr_count(error, utc_s) - 2) / regr_sxx(error, utc_s)) END AS slope_stderr
    FROM made GROUP BY laser, kind
),
due AS (
    SELECT *, least(last_utc_s + 90 * 86400.0,
        CASE WHEN abs(slope) > 2 * slope_stderr AND slope * last >= 0 THEN
            last_utc_s + greatest(limit_mm_per_m - abs(last), 0.0) / abs(slope) END) AS due_utc_s
    FROM fitted
)
SELECT laser, kind, checks, last, limit_mm_per_m,
    slope * 2629800.0 AS drift, slope_stderr * 2629800.0 AS drift_stderr,
    last_utc_s, due_utc_s,
    row_number() OVER (PARTITION BY laser ORDER BY due_utc_s, kind) = 1 AS next
FROM due ORDER BY laser, kind
