"""Vector drawings of a job: one small model of lines, areas and texts, written as SVG or as PDF."""
