"""Exports read back by programs that are not ours: GDAL, ezdxf's audit, and RFC 7946 as written."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.filemanagement import readfile

from rig.job.store import Job
from tests.cli.conftest import Run
from tests.kinds import there
from tests.report.jobs import make, z_mm


@pytest.fixture
def written(run: Run) -> Callable[..., Any]:
    def write(stage: str, file_format: str) -> str:
        make(run, stage)
        done = run("export", "--format", file_format, "--out", "out", "--json")
        assert done.code == 0, done.err
        return str(done.json["files"][0])

    return write


def rings_of(geometry: dict[str, Any]) -> list[list[list[float]]]:
    return geometry["coordinates"] if geometry["type"] == "Polygon" else []


def what(features: list[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    return [f for f in features if f["properties"]["what"] == name]


@pytest.mark.parametrize("stage", ["room", "grid", "surveyed", "finished"])
def test_geojson_is_as_rfc_7946_has_it(written: Callable[..., Any], stage: str) -> None:
    with open(written(stage, "geojson"), encoding="utf-8") as file:
        whole = json.load(file)
    assert whole["type"] == "FeatureCollection"
    assert "crs" not in whole  # section 4: no such member any more
    assert "no longitude" in whole["coordinates_note"]
    assert "mm" in whole["coordinates_note"]
    for feature in whole["features"]:
        assert feature["type"] == "Feature"
        assert isinstance(feature["properties"], dict)
        geometry = feature["geometry"]
        kind, coordinates = geometry["type"], geometry["coordinates"]
        assert kind in ("Point", "LineString", "Polygon")
        runs = {"Point": [[coordinates]], "LineString": [coordinates]}.get(kind, coordinates)
        places = [place for run in runs for place in run]
        assert all(len(place) == 2 and all(map(np.isfinite, place)) for place in places)
        if kind == "LineString":
            assert len(places) >= 2
        for n, ring in enumerate(rings_of(geometry)):  # 3.1.6: closed, right-hand rule
            assert len(ring) >= 4
            assert ring[0] == ring[-1]
            assert shapely.LinearRing(ring).is_ccw == (n == 0)
    for member in ("Polygon", "Feature", "geometry"):  # 7.1: no member of theirs on ours
        assert member not in whole


def test_geojson_holds_the_job_and_gdal_reads_it(written: Callable[..., Any]) -> None:
    path = written("finished", "geojson")
    with open(path, encoding="utf-8") as file:
        features = json.load(file)["features"]
    with Job.open("job.sqlite") as job:
        markers, floor, plan = job.markers(), job.shots(["floor"]), job.current_plan()
    shots = {f["properties"]["label"]: f for f in what(features, "shot")
             if f["properties"]["kind"] == "floor"}  # fmt: skip
    assert len(shots) == len(floor)
    for shot in floor:
        told = shots[shot.point]
        assert told["geometry"]["coordinates"] == pytest.approx([shot.x_mm, shot.y_mm], abs=1e-3)
        assert told["properties"]["z_mm"] == pytest.approx(-shot.reading_mm, abs=1e-3)
    for feature, marker in zip(what(features, "marker"), markers, strict=True):
        assert feature["properties"]["top_z_mm"] == pytest.approx(there(plan).a, abs=1e-3)
        assert feature["properties"]["set"] == marker.is_set
    for node in what(features, "surface"):
        if node["properties"]["kind"] == "floor":
            x, y = node["geometry"]["coordinates"]
            assert node["properties"]["z_mm"] == pytest.approx(z_mm(x, y), abs=3.0)
    meta, _, geometry, fields = pyogrio.raw.read(path)
    assert len(geometry) == len(features)
    labels = fields[list(meta["fields"]).index("what")]
    room = shapely.from_wkb(geometry[list(labels).index("room")])
    assert room.area == pytest.approx(3000 * 4000 - 300 * 200)
    assert sum(labels == "contour") == len(what(features, "contour")) > 3


def test_contours_in_both_files_lie_at_their_level(written: Callable[..., Any]) -> None:
    path = written("surveyed", "dxf")
    found = 0
    for line in readfile(path).modelspace().query('LWPOLYLINE[layer=="RIG_CONTOURS_FLOOR"]'):
        assert isinstance(line, LWPolyline)
        for x, y in line.get_points("xy"):
            assert z_mm(x, y) == pytest.approx(line.dxf.elevation, abs=2.0)
            found += 1
    assert found > 50


@pytest.mark.parametrize("stage", ["room", "surveyed", "finished"])
def test_dxf_passes_the_audit_and_says_its_unit(written: Callable[..., Any], stage: str) -> None:
    path = written(stage, "dxf")
    document = readfile(path)
    assert not document.audit().errors
    assert document.header["$INSUNITS"] == 4  # millimetres
    layers = {entity.dxf.layer for entity in document.modelspace()}
    assert layers <= {layer.dxf.name for layer in document.layers}
    assert len(layers) >= 3
    notes = [value for name, value in document.header.custom_vars if name == "Note"]
    assert any("mm" in note for note in notes)
    if stage == "finished":
        assert {"RIG_ROOM", "RIG_SHOTS_FLOOR", "RIG_SHOTS_FINISHED", "RIG_SURFACE_FLOOR",
                "RIG_CONTOURS_FLOOR", "RIG_MARKERS", "RIG_PLANE"} <= layers  # fmt: skip


# GDAL closes the ring of a 3DFACE itself, and says so.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_gdal_reads_the_dxf_with_its_layers_and_heights(written: Callable[..., Any]) -> None:
    path = written("finished", "dxf")
    meta, _, geometry, fields = pyogrio.raw.read(path)
    layer = fields[list(meta["fields"]).index("Layer")]
    shapes = shapely.from_wkb(geometry)
    with Job.open("job.sqlite") as job:
        floor, markers = job.shots(["floor"]), job.markers()
    points = [s for s in shapes[layer == "RIG_SHOTS_FLOOR"] if s.geom_type == "Point"]
    seen = {(round(s.x), round(s.y)): shapely.get_coordinates(s, include_z=True)[0, 2]
            for s in points}  # fmt: skip
    for shot in floor:
        assert seen[round(there(shot.x_mm)), round(there(shot.y_mm))] == pytest.approx(
            -shot.reading_mm
        )
    assert sum(layer == "RIG_MARKERS") == 3 * len(markers)
    surface = shapes[layer == "RIG_SURFACE_FLOOR"]
    area = sum(shapely.Polygon(shapely.get_coordinates(s)).area for s in surface)
    assert 0.9 * (3000 * 4000 - 60_000) < area <= 3000 * 4000 - 60_000 + 1.0


def test_an_export_that_cannot_be_written_or_has_nothing_says_so(run: Run) -> None:
    make(run, "grid")
    refused = run("export", "--format", "csv")
    assert refused.code == 1
    assert "no shots" in refused.err
    with open("taken", "w") as file:
        file.write("a file")
    refused = run("export", "--format", "dxf", "--out", "taken/below")
    assert refused.code == 2
    assert "cannot be written" in refused.err
    assert run("export", "--format", "svg").code == 2


def test_labels_of_any_script_survive_both_formats(run: Run) -> None:
    assert run("new", "--room", "3m,4m", "--units", "mm").code == 0
    rows = ["label,x,y,reading"]
    rows += [f"точка{n},{300 + 800 * (n % 3)},{300 + 900 * (n // 3)},{1200 + n}" for n in range(9)]
    with open("t.csv", "w", encoding="utf-8") as file:
        file.write("\n".join(rows))
    assert run("import", "t.csv", "--unit", "mm").code == 0
    for file_format in ("geojson", "dxf"):
        assert run("export", "--format", file_format).code == 0
    with open("floor.geojson", encoding="utf-8") as file:
        assert "точка4" in file.read()
    texts = [t.dxf.text for t in readfile("floor.dxf").modelspace().query("TEXT")]
    assert any(text.startswith("точка4") for text in texts)
