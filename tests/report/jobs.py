"""A job at each of its stages, made by the commands as a person would."""

import math

STAGES = ("room", "grid", "surveyed", "planned", "set", "pour planned", "poured", "finished")
POUR = ("--mixers", "2", "--crew", "4", "--mix-time", "2min", "--working-time", "30min")


def z_mm(x, y):
    return -1200.0 + 6.0 * math.sin(x / 900.0) + 5.0 * math.cos(y / 1300.0)


def make(run, stage, units="mm", path="job.sqlite"):
    """Take a job of a room with a duct as far as a stage; numbers are invented."""
    upto = STAGES.index(stage)
    job = ("--job", path)
    room = ["--room", "3m,4m", "--door", "1m,0m,0.9m", "--opening", "2m,2.5m,0.3m,0.2m"]
    bags = ["--bag-yield", "12l", "--bag-mass", "22kg", "--bag-water", "5l", "--waste", "5%"]
    words = [*room, "--units", units, "--min-cover", "6mm", "--covering", "oak planks", *bags]
    assert run("new", *words, *job).code == 0
    if upto >= 1:
        points = run("grid", "--spacing", "0.8m", "--edge", "15cm", "--json", *job).json["points"]
    if upto >= 2:
        _import(run, points, "floor", z_mm, job, "BM1,,,1100,0.2,1,benchmark")
        sights = ("--sight", "1283mm,860mm,25m,25m", "--sight", "1612mm,1219mm,55m,5m")
        run("check", "two-peg", *sights, *job)
    if upto >= 3:
        assert run("plan", *job).code == 0
        assert run("markers", "--reach", "1.2m", *job).code == 0
    if upto >= 4:
        _set(run, job)
    if upto >= 5:
        assert run("pour", "plan", *POUR, *job).code == 0
    if upto >= 6:
        batches = len(run("pour", "plan", *POUR, "--json", *job).json["batches"])
        typed = "tick dam\n" + "batch\n" * batches + "stop\n"
        assert run("pour", "run", *job, typed=typed).code == 0
    if upto >= 7:
        flat = "BM1,,,1098,0.2,2,benchmark"
        _import(run, points, "finished", lambda x, y: -1180.0, job, flat, setup="2")
    return path


def _import(run, points, kind, height, job, more, setup="1"):
    off = -2.0 if setup == "2" else 0.0
    rows = [
        f"{p['label']},{p['x_mm']},{p['y_mm']},{off - height(p['x_mm'], p['y_mm']):.2f},0.3,"
        f"{setup},{kind}"
        for p in points
    ]
    with open("table.csv", "w") as file:
        file.write("\n".join(["label,x,y,reading,stderr,setup,kind", *rows, more]) + "\n")
    done = run("import", "table.csv", "--unit", "mm", *job)
    assert done.code == 0, done.err


def _set(run, job):
    seen = run("set", "--typed", "--json", "--skip-check", *job, typed="")
    assert seen.code == 0, seen.err
    markers = run("markers", "--reach", "1.2m", "--json", *job).json["markers"]
    unit = 1.0
    typed = "".join(
        f"{m['target_reading_mm'] * unit + 4:.1f}\n{m['target_reading_mm'] * unit:.1f}\n"
        for m in markers[:-1]
    )
    done = run("set", "--typed", "--skip-check", *job, typed=typed)
    assert done.code == 0, done.err
