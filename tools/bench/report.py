"""Report of a 200-shot job: time of the whole command, size of both files, against a bare PDF.

Aim: within 3 s and under 2 MB. The reference is fpdf2 alone writing the same table of shots in a
process of its own: what no report by it can be quicker than.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 5
BARE = """
import sys
from fpdf import FPDF
pdf = FPDF(unit="mm", format="A4")
pdf.set_font("Helvetica", size=8)
pdf.add_page()
with pdf.table() as table:
    for line in open(sys.argv[1]):
        row = table.row()
        for cell in line.strip().split(","):
            row.cell(cell)
pdf.output("bare.pdf")
"""


def run() -> list[dict[str, object]]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _job(folder)
        spent = _children_s()
        whole = statistics.median(_timed(folder, "report", "--out", "out") for _ in range(RUNS))
        spent = (_children_s() - spent) / RUNS
        sizes = {path.suffix: path.stat().st_size for path in (folder / "out").iterdir()}
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", BARE, "shots.csv"], check=True, cwd=folder)
        bare = time.perf_counter() - begun
        exports = {
            kind: _timed(folder, "export", "--format", kind, "--out", "out")
            for kind in ("geojson", "dxf")
        }
    told = ", ".join(f"{kind} {seconds:.1f} s" for kind, seconds in exports.items())
    return [
        {
            "what": "rig report, 210 shots planned, median s",
            "value": round(whole, 2),
            "against": f"fpdf2 alone, the table of shots {bare:.2f} s, ratio {whole / bare:.1f}; "
            f"processor time {spent:.2f} s; aim 3 s or less",
        },
        {
            "what": "its HTML and PDF, kB",
            "value": round(sum(sizes.values()) / 1000),
            "against": f"aim 2000 kB or less; exports of the same job: {told}",
        },
    ]


def _children_s() -> float:
    """Processor time of all processes that have ended: what a busy machine does not stretch."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _job(folder: Path) -> None:
    """A room of 13 m by 13 m with 210 shots, planned with markers and a pour; invented."""
    rows = ["label,x,y,reading,stderr"]
    rows += [
        f"{chr(65 + i)}{j + 1},{150 + 907 * i},{150 + 977 * j},"
        f"{1200 + 6 * ((i * 7 + j * 3) % 11) / 11 + 0.8 * i - 0.5 * j:.2f},0.3"
        for i in range(15)
        for j in range(14)
    ]
    (folder / "shots.csv").write_text("\n".join(rows) + "\n")
    _timed(folder, "new", "--room", "13m,13m", "--units", "mm", "--door", "2m,0m,1m")
    _timed(folder, "import", "shots.csv", "--unit", "mm")
    _timed(folder, "plan")
    _timed(folder, "markers")
    crew = ["--mixers", "3", "--crew", "8", "--mix-time", "2min", "--working-time", "40min"]
    _timed(folder, "pour", "plan", *crew, check=False)


def _timed(folder: Path, *words: str, check: bool = True) -> float:
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "rig.cli", *words],
        check=check,
        cwd=folder,
        stdout=subprocess.DEVNULL,
        env={**os.environ, "RIG_JOB": str(folder / "job.sqlite")},
    )
    return time.perf_counter() - begun
