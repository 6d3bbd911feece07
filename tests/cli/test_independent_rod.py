from tests.cli.conftest import Run
from tests.independent_rod import IndependentRod


def test_a_rod_written_apart_gets_the_shots_it_stood_for(run: Run) -> None:
    run("new", "--room", "2m,2m", "--units", "mm")
    points = run("grid", "--spacing", "0.9m", "--edge", "15cm", "--json").json["points"]
    heights = {p["label"]: 1300.0 + 2.5 * n for n, p in enumerate(points)}
    script: list[tuple[float, float | None]] = [(0.2, None)]
    for point in points:
        script += [(0.6, heights[point["label"]]), (0.5, None)]

    with IndependentRod(script) as rod:
        survey = run(
            "survey", "--serial", rod.path, "--profile", "sentence",
            "--dwell", "0.3", "--walk", "0.3", "--json",
        )  # fmt: skip

    assert survey.code == 0, survey.err
    shots = [event for event in survey.events if event["event"] == "shot"]
    assert [shot["label"] for shot in shots] == [point["label"] for point in points]
    for shot in shots:
        assert abs(shot["reading_mm"] - heights[shot["label"]]) < 0.06
        assert 0.0 < shot["stderr_mm"] < 0.3
    assert [e["missed"] for e in survey.events if "missed" in e] == []
    assert survey.events[-1]["event"] == "done"

    exported = run("export", "--format", "csv", "--json").json["files"][0]
    assert len(open(exported).read().splitlines()) == len(points) + 1
