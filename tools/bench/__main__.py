"""All benches in one table: `.venv/bin/python tools/bench [--json FILE] [--page FILE] [NAME ...]`.

Each bench prints a ratio against a reference measured in the same run; a bench is not a test, so
nothing here fails on a slow day. What a bench needs and is missing is installed first.
"""

import argparse
import importlib
import json
import os
import platform
import subprocess
import sys
import time
from pathlib import Path

# As `rig` has it, for the references too; before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

BENCHES = (
    "startup",
    "parsing",
    "durability",
    "latency",
    "surface",
    "setups",
    "flatness",
    "pour",
    "report",
    "bluetooth",
    "page",
    "rods",
    "growth",
)
REFERENCES = {
    "parsing": ["pynmea2"],
    "surface": ["sklearn", "pykrige"],
    "pour": ["simpy"],
    "bluetooth": ["dbus_fast"],
    "page": ["playwright"],
}
PACKAGES = {"sklearn": "scikit-learn", "dbus_fast": "dbus-fast"}  # to install under another name


def main() -> None:
    options = argparse.ArgumentParser(prog="tools/bench", description=__doc__)
    options.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(BENCHES)}")
    options.add_argument("--json", type=Path, metavar="FILE", help="write the table there too")
    options.add_argument("--page", type=Path, metavar="FILE", help="and there, as Markdown")
    given = options.parse_args()
    unknown = set(given.names) - set(BENCHES)
    if unknown:
        options.error(f"no bench is called {', '.join(sorted(unknown))}")

    rows = []
    started = time.perf_counter()
    for name in given.names or BENCHES:
        for reference in REFERENCES.get(name, []):
            _provide(reference)
        begun = time.perf_counter()
        rows += [{"bench": name, **row} for row in importlib.import_module(name).run()]
        print(f"{name}: {time.perf_counter() - begun:.1f} s", file=sys.stderr)

    machine = f"{platform.machine()}, Python {platform.python_version()}, {_processor()}"
    print(f"Measured on {machine}")
    widths = [max(len(str(row[key])) for row in rows) for key in ("bench", "what", "value")]
    for row in rows:
        cells = (row["bench"], row["what"], row["value"])
        shown = "  ".join(str(cell).ljust(width) for cell, width in zip(cells, widths, strict=True))
        print(f"{shown}  {row['against']}")
    took_s = time.perf_counter() - started
    if given.page:
        given.page.write_text(_page(rows, machine, took_s))
    if given.json:
        given.json.write_text(json.dumps({"machine": machine, "rows": rows}, indent=2) + "\n")


def _page(rows: list[dict[str, object]], machine: str, took_s: float) -> str:
    lines = [
        "# Benches",
        "",
        f"Made by `.venv/bin/python tools/bench --page tools/bench/RESULTS.md` on {machine}, "
        f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the end, in {took_s:.0f} s. "
        "Every reference was measured in the same run on the same machine; times on yours differ, "
        "ratios less so.",
        "",
        "| bench | what | value | against |",
        "| --- | --- | --- | --- |",
    ]
    for row in rows:
        cells = (str(row[key]).replace("|", "\\|") for key in ("bench", "what", "value", "against"))
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def _provide(package: str) -> None:
    try:
        importlib.import_module(package)
    except ImportError:
        name = PACKAGES.get(package, package)
        subprocess.run([sys.executable, "-m", "pip", "install", "--quiet", name], check=True)
        importlib.invalidate_caches()


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
        return next(line.split(":")[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        return platform.processor() or "unknown processor"


main()
