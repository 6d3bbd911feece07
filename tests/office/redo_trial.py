"""Jobs reckoned anew by one worker and by two, of which one is killed: the rows are the same.

`python -m tests.office.redo_trial JOB...` (needs floor-rig[fleet]).
"""

import os
import signal
import sys
import tempfile
import threading
import time
from pathlib import Path

from distributed import LocalCluster

from rig.office import books, shelf
from rig.office.place import Place
from rig.office.redo import redo
from rig.office.take import take


def rows_of(place: Place) -> list[tuple[object, ...]]:
    with books.plain(place, books.AGAIN) as connection:
        names = ", ".join(name for name in ("uid", "volume_l", "bags_p95", "high_mm", "plane_a_mm"))
        return connection.execute(f"SELECT {names} FROM version ORDER BY uid").fetchall()


def office(folder: Path, jobs: list[Path]) -> Place:
    folder.mkdir()
    place = Place(str(folder))
    for job in jobs:
        shelf.hand_in(place, job)
    take(place)
    return place


def main(jobs: list[Path]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        alone = office(Path(folder, "one"), jobs)
        print(redo(alone))
        several = office(Path(folder, "two"), jobs)
        with LocalCluster(  # type: ignore[no-untyped-call]
            n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as cluster:

            def kill() -> None:
                time.sleep(6.0)
                nanny = next(iter(cluster.workers.values()))
                os.kill(nanny.pid, signal.SIGKILL)
                print("killed a worker")

            threading.Thread(target=kill, daemon=True).start()
            print(redo(several, at=cluster.scheduler_address))
        same = rows_of(alone) == rows_of(several)
        print(f"{len(rows_of(alone))} jobs, {'the same rows' if same else 'OTHER ROWS'}")


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
