"""What holds for every register, whatever the user wrote."""

import datetime as dt
import html
import re
import tempfile
import unicodedata
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from helpers.register_formats import comparable, write_all_formats
from saltreach.errors import RegisterError
from saltreach.intake import read_register
from saltreach.vocabulary.columns import REGISTER

TODAY = dt.date(2026, 6, 15)
# XML and workbooks cannot hold control characters, surrogates and unassigned code points.
LETTERS = st.characters(exclude_categories=("Cs", "Cc", "Cn", "Co", "Zl", "Zp"))
HOSTILE = st.sampled_from(
    [
        "=HYPERLINK(1)", "+1", "@x", "<script>alert(1)</script>", "${x}", "a;b=c", "a,b", 'q"q',
        "'", "]]>", "&amp;", "NA", "null", "007", "1e5", "{{x}}", "\\", "Peñón ñ 山",
    ]
)  # fmt: skip
TEXT = st.one_of(HOSTILE, st.text(LETTERS, min_size=1, max_size=12)).filter(
    lambda s: s.strip() == s and s.isprintable()
)
ROW = st.fixed_dictionaries(
    {
        "crag": TEXT,
        "sector": TEXT,
        "lon": st.floats(-9, 4, width=32).map(float),
        "lat": st.floats(36, 43, width=32).map(float),
        "route": st.none() | TEXT,
        "kind": st.sampled_from([None, "bonded", "Glue-in", "wizardry", "?"]),
        "material": st.sampled_from([None, "316", "1.4404", "A2", "inox", "mithril", "904L"]),
        "diameter_mm": st.none() | st.sampled_from([8.0, 10.0, 12.5, 3.0]),
        "embedment_mm": st.none() | st.integers(9, 120).map(float),
        "installed_on": st.sampled_from(
            [None, "2014", "2014-06", "25/12/2014", "3/4/2014", "2030", "1850"]
        ),
        "last_inspected_on": st.sampled_from([None, "2014", "2014-12-26", "2010-01"]),
        "condition": st.none() | st.integers(0, 5).map(float),
        "elevation_m": st.none() | st.integers(-500, 900).map(float),
        "rain_washed": st.sampled_from([None, "yes", "sí", "No", "maybe"]),
        "notes": st.none() | TEXT,
        "owner": st.none() | TEXT,
    }
)
REGISTERS = st.lists(ROW, min_size=1, max_size=8).map(
    lambda rows: pd.DataFrame([{"anchor_id": f"{i:03d}"} | row for i, row in enumerate(rows)])
)


def read(frame, **options):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "register.csv"
        frame.to_csv(path, index=False)
        return read_register(path, today=TODAY, **options)


def refused(frame, register):
    """Ids and reasons of the refused rows."""
    ids = frame["anchor_id"].iloc[register.rejected["row"] - 2]
    return sorted(zip(ids, register.rejected["column"], register.rejected["reason"], strict=True))


MIXED = pd.DataFrame(
    {
        "anchor_id": ["000", "001", "002", "003", "004", "005"], "crag": "P", "sector": "N",
        "lon": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6], "lat": 41.2,
        "material": ["316", None, "A2", None, "mithril", "1.4404"],
        "diameter_mm": [12.5, None, 10.0, None, 8.0, 3.0],
        "installed_on": ["2014", None, "25/12/2014", None, "2030", "2014-06"],
    }
)  # fmt: skip
"""Good, bad and blank cells between each other: always among what is tried."""
READS = settings(max_examples=settings().max_examples * 2 // 5)
"""For what reads several registers per example."""


@READS
@example(MIXED, 1)
@given(frame=REGISTERS, seed=st.integers(0, 2**32 - 1))
def test_row_order_does_not_matter(frame, seed):
    order = np.random.default_rng(seed).permutation(len(frame))
    shuffled = frame.iloc[order].reset_index(drop=True)
    first, second = read(frame), read(shuffled)
    assert refused(frame, first) == refused(shuffled, second)
    by_id = [comparable(r)[0].sort_values("anchor_id", ignore_index=True) for r in (first, second)]
    pd.testing.assert_frame_equal(*by_id)


@READS
@example(MIXED)
@given(frame=REGISTERS)
def test_every_row_is_either_good_or_refused(frame):
    register = read(frame)
    good, bad = set(register.anchors["source_row"]), set(register.rejected["row"])
    assert not good & bad
    assert good | bad == set(range(2, len(frame) + 2))
    assert register.rows_read == len(frame)


@READS
@example(MIXED)
@given(frame=REGISTERS)
def test_good_rows_written_and_read_again_are_the_same(frame):
    """Within 20 km: crags far apart are told apart anew once their stray anchors are gone."""
    frame = frame.assign(lon=3 + frame["lon"] / 100, lat=41 + frame["lat"] / 1000)
    first = read(frame).anchors.drop(columns=["source_row", "geometry"])
    again = read(first)
    assert again.rejected.empty
    second = again.anchors.drop(columns=["source_row", "geometry"])
    pd.testing.assert_frame_equal(pd.DataFrame(first), pd.DataFrame(second))


@given(cells=st.lists(TEXT, min_size=5, max_size=5))
def test_hostile_text_passes_unchanged(cells):
    """But for what programs leave in a cell: HTML codes, and the apostrophe before a formula."""
    names = ["anchor_id", "crag", "sector", "notes", "any header"]
    row = dict(zip(names, cells, strict=True)) | {"lon": 0.5, "lat": 41.2}
    anchor = read(pd.DataFrame([row])).anchors.iloc[0]
    shows = [re.sub(r"&(?:[A-Za-z]{2,8}|#[0-9]{1,6}|#x[0-9A-Fa-f]{1,5});",
                    lambda code: html.unescape(code[0]), cell) for cell in cells]  # fmt: skip
    shows = [re.sub(r"^'(?=[0-9.,=+@-])", "", cell) for cell in shows]
    # names in composed letters (NFC), which look the same
    composed = [unicodedata.normalize("NFC", cell) for cell in shows[:3]]
    assert [anchor[name] for name in names] == composed + shows[3:]


# No shrinking: seven files per example make it take minutes. LIBKML may miss the last digit of a
# coordinate, so positions agree to 1e-12 degrees (a tenth of a micrometre).
@settings(max_examples=READS.max_examples * 3 // 4, phases=(Phase.explicit, Phase.generate))
@given(frame=REGISTERS)
def test_seven_formats_give_the_same_result(frame):
    with tempfile.TemporaryDirectory() as folder:
        paths = write_all_formats(frame, Path(folder))
        found = {name: comparable(read_register(path, today=TODAY)) for name, path in paths.items()}
    anchors, rejected = found.pop("csv")
    assert len(found) == 6
    for other_anchors, other_rejected in found.values():
        pd.testing.assert_frame_equal(anchors, other_anchors, rtol=0, atol=1e-12)
        pd.testing.assert_frame_equal(rejected, other_rejected)


def test_seven_formats_of_a_full_register(tmp_path):
    """Every column filled, ids like numbers, years as numbers, one duplicate, one bad row."""
    base = {
        "anchor_id": ["007", "8", "009", "8"], "crag": "Punta Roja", "sector": ["N", "N", "S", "S"],
        "lon": [0.1, -8.123456789, 1 / 3, 2.5], "lat": [41.1, 43.123456789, 41.7, 41.5],
        "route": "1", "position": "lower-off", "kind": "glue-in", "material": "A4",
        "hanger_material": "304", "diameter_mm": 12.0, "embedment_mm": [80.0, 90.5, 5.0, 80.0],
        "installed_on": 2014, "last_inspected_on": "2020-05-17", "condition": 1,
        "height_above_sea_m": 12.5, "elevation_m": 20.25, "face_azimuth_deg": 270,
        "face_slope_deg": 95.5, "rain_washed": [True, False, True, True], "rock_type": "limestone",
        "tap_response": "ringing", "rebound_number": 44.0, "weathering_grade": "W2",
        "strength_grade": "R4",
        "crack_distance_mm": 150, "edge_distance_mm": 250, "visits_per_year": 1200,
        "notes": "first; second, third", "coast_distance_m": 33.3, "so2_ug_m3": 4.5,
        "interval_set_months": 12.0, "grade": "A4-70", "adhesive": "epoxy", "rod_shape": "ribbed",
        "hole_condition": "clean and dry", "sea_cliff": True, "salted_road_m": 60.5,
        "salted_tunnel": False, "sea_salinity_g_kg": 37.5, "volcanic_gas": False,
        "seepage": "water", "salt_crust": False, "vegetation": True,
        "findings": "loose; rust film", "placement_doubts": "cure time short",
        "proof_tested_on": "2020-05", "proof_load_kn": 6.5, "closed_on": "2020-05-17",
        "owner": "club <x> & y", "badge": "0042",
    }  # fmt: skip
    frame = pd.DataFrame(base)
    assert {c.name for c in REGISTER} <= set(frame.columns)
    found = {
        name: read_register(path, today=TODAY, strict=True)
        for name, path in write_all_formats(frame, tmp_path).items()
    }
    anchors, rejected = comparable(found["csv"])
    assert anchors["anchor_id"].tolist() == ["007", "8"]
    assert anchors["lon"].tolist() == [0.1, -8.123456789]
    assert anchors["rain_washed"].tolist() == ["yes", "no"]
    assert anchors["installed_on"].tolist() == ["2014", "2014"]
    assert anchors["badge"].tolist() == ["0042", "0042"]
    assert rejected["row"].tolist() == [3, 3, 4]
    columns = ["embedment_mm", "embedment_mm, diameter_mm", "anchor_id"]
    assert rejected["column"].tolist() == columns
    formats = {r.format for r in found.values()}
    assert formats == {"CSV", "XLSX", "GeoJSON", "GeoPackage", "GeoParquet", "GPX", "KML"}
    for name, register in found.items():
        other_anchors, other_rejected = comparable(register)
        pd.testing.assert_frame_equal(anchors, other_anchors, rtol=0, atol=1e-12, obj=name)
        pd.testing.assert_frame_equal(rejected, other_rejected, obj=name)


@pytest.mark.parametrize("name", ["csv", "xlsx", "geojson", "gpkg", "gpx", "kml"])
def test_damaged_files_are_read_or_refused_never_a_crash(tmp_path, name):
    """Cut short, and with bytes changed at random (fixed seed)."""
    rows = {"anchor_id": ["1", "2"], "crag": "P", "sector": "N", "lon": 0.5, "lat": [41.2, 41.3]}
    path = write_all_formats(pd.DataFrame(rows), tmp_path)[name]
    data = path.read_bytes()
    rng = np.random.default_rng(7)
    damaged = [data[: int(len(data) * share)] for share in np.linspace(0.02, 0.98, 12)]
    for _ in range(12):
        changed = np.frombuffer(data, dtype=np.uint8).copy()
        places = rng.integers(0, len(changed), 8)
        changed[places] = rng.integers(0, 256, 8)
        damaged.append(changed.tobytes())
    outcomes = []
    for content in damaged:
        path.write_bytes(content)
        try:
            outcomes.append(read_register(path, today=TODAY))
        except RegisterError as error:
            assert path.name in str(error)
            outcomes.append(error)
    assert any(isinstance(outcome, RegisterError) for outcome in outcomes)
