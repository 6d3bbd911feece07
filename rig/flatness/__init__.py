"""Proof of flatness: tolerance rules, straightedge, F-numbers, verdicts under doubt, patches."""
