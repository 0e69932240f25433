"""Climate and SO2 of open services: what is made of good answers, and of all kinds of bad ones.

The services are a server of this machine with invented answers in the documented shapes.
"""

import json

import numpy as np
import pandas as pd
import pytest
from werkzeug import Response

from helpers.open_answers import MONTHS, hourly_answer, hours_of, power_answer
from saltreach.intake.services import Services
from saltreach.layers import so2
from saltreach.layers.online import bring_air, bring_climate, open_meteo
from saltreach.layers.online.nasa_power import power, read_power
from saltreach.layers.online.open_meteo import AIR, WEATHER, climate_of, read_hours, so2_of
from saltreach.layers.online.part import Call
from saltreach.layers.online.web import ServiceError, Web
from saltreach.layers.where import where_of

SHORE = where_of([-5.87, -5.872, -5.62], [43.655, 43.655, 43.46])
DAYS = [31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
CALM = {"temperature_2m": 10.0, "relative_humidity_2m": 60.0, "precipitation": 0.0,
        "wind_speed_10m": 4.0}  # fmt: skip


@pytest.fixture
def services(httpserver):
    return Services(
        nasa_power=httpserver.url_for("/power"),
        open_meteo_archive=httpserver.url_for("/archive"),
        open_meteo_air=httpserver.url_for("/air"),
    )


@pytest.fixture(autouse=True)
def one_year(monkeypatch):
    monkeypatch.setattr(open_meteo, "full_years", lambda count: [2023])


@pytest.fixture
def call(services, tmp_path):
    def made(where=SHORE, **other):
        web = Web(None, backoff_s=0, pause_s=0)
        return Call(where, Services(**{**vars(services), **other}), web, tmp_path, tmp_path)

    return made


def power_says(httpserver, **values):
    def answered(request):
        at = float(request.args["longitude"]), float(request.args["latitude"])
        assert request.args["parameters"] == "T2M,RH2M,PRECTOTCORR,WS10M"
        assert (request.args["community"], request.args["format"]) == ("RE", "JSON")
        return Response(json.dumps(power_answer(*at, **values)), mimetype="application/json")

    httpserver.expect_request("/power").respond_with_handler(answered)


def hours_say(httpserver, path="/archive", **values):
    def answered(request):
        a = request.args
        assert a["hourly"] == ",".join(values)
        assert a["timezone"] == "UTC"
        assert path == "/air" or (a["wind_speed_unit"], a["models"]) == ("ms", "era5_seamless")
        at = float(a["longitude"]), float(a["latitude"])
        body = hourly_answer(*at, a["start_date"], a["end_date"], **values)
        return Response(json.dumps(body), mimetype="application/json")

    httpserver.expect_request(path).respond_with_handler(answered)


def written(folder, file="climate.csv"):
    return pd.read_csv(folder / file).set_index("source")


# NASA POWER


def power_row(answer, lon=-5.625, lat=43.5):
    (request,) = power(Services()).asks(lon, lat)
    return read_power(request, answer)


@pytest.mark.pinned("worked", answers=7)
def test_a_climatology_in_our_units():
    """Rain 2 mm/day in February, 3 else: 56.5 and 93 mm; the year 3 x 337 + 56.5 = 1067.5 mm.

    Temperature 6 degC in February, 14 else: (14 x 337 + 6 x 28.25) / 365.25 = 13.3812.
    Humidity 65 in February, 77 else, months alike: (11 x 77 + 65) / 12 = 76.
    """
    answer = power_answer(-5.625, 43.5)
    parameter = answer["properties"]["parameter"]
    for name, value in {"PRECTOTCORR": 2, "T2M": 6, "RH2M": 65}.items():
        parameter[name]["FEB"] = value
    row, unknown = power_row(answer)
    assert unknown == []
    assert row["rain_mm_02"] == pytest.approx(56.5)
    assert row["rain_mm_07"] == pytest.approx(93.0)
    assert row["rain_mm_y"] == pytest.approx(1067.5)
    assert row["temperature_c"] == pytest.approx(13.3812, abs=1e-4)
    assert row["relative_humidity_pct"] == pytest.approx(76)
    assert row["wind_speed_m_s"] == pytest.approx(6)
    assert row["elevation_m"] == 120.5
    assert row["version"].startswith("20-year climatology")


@pytest.mark.parametrize("bad", [None, -999, -999.0, "77", 101.0, -1.0, True, [77.0], {}])
def test_a_month_that_is_no_humidity_makes_humidity_unknown(bad):
    answer = power_answer(-5.625, 43.5)
    answer["properties"]["parameter"]["RH2M"]["MAR"] = bad
    row, unknown = power_row(answer)
    assert not [name for name in row if "humidity" in name]
    assert unknown == ["RH2M has no usable value in MAR, and stays unknown"]
    assert row["temperature_c"] == pytest.approx(14)


@pytest.mark.parametrize(("name", "bad"), [("T2M", 61), ("T2M", -91), ("PRECTOTCORR", -0.1)])
def test_what_cannot_be_is_unknown(name, bad):
    _, unknown = power_row(power_answer(-5.625, 43.5, **{name: bad}))
    assert unknown == [f"{name} has no usable value in {', '.join(MONTHS)}, and stays unknown"]


def test_a_parameter_that_is_missing_renamed_or_in_another_unit_is_unknown():
    answer = power_answer(-5.625, 43.5)
    parameter = answer["properties"]["parameter"]
    del parameter["WS10M"]
    parameter["rh2m"] = parameter.pop("RH2M")
    answer["parameters"]["T2M"]["units"] = "K"
    row, unknown = power_row(answer)
    assert unknown == [
        "T2M is in K, not in C, and stays unknown", "RH2M is missing, and stays unknown",
        "WS10M is missing, and stays unknown",
    ]  # fmt: skip
    assert {"temperature_c", "relative_humidity_pct", "wind_speed_m_s"}.isdisjoint(row)
    assert row["rain_mm_y"] == pytest.approx(3 * 365.25)


def test_the_fill_value_is_the_one_that_the_answer_names():
    answer = power_answer(-5.625, 43.5)
    answer["header"]["fill_value"] = 50.0
    answer["properties"]["parameter"]["RH2M"]["DEC"] = 50.0
    assert power_row(answer)[1] == ["RH2M has no usable value in DEC, and stays unknown"]


@pytest.mark.parametrize("at", [(-6.3, 43.5), (-5.625, 44.2), (5.625, 43.5), (np.nan, 43.5)])
def test_an_answer_for_another_place_is_refused(at):
    with pytest.raises(ServiceError, match="another place"):
        power_row(power_answer(*at))


# Open-Meteo


def request_of(year, air=False):
    made = (open_meteo.air if air else open_meteo.weather)(Services())
    (request,) = made.asks(-5.9, 43.7)
    params = {**request.params, "start_date": f"{year}-01-01", "end_date": f"{year}-12-31"}
    return type(request)(request.service, request.url, params)


def weather_of(year=2023, **values):
    answer = hourly_answer(-5.9, 43.7, f"{year}-01-01", f"{year}-12-31", **(CALM | values))
    return read_hours(request_of(year), answer, WEATHER)


def uneven(year):
    """January: 240 h at 5 degC and 90 %, 120 h at -1 and 90, 48 h at 10 and 80, else calm.
    February: 100 h at 33 %, 72 h at 75 %, 100 h at 32 %. March: 100 h of 0.5 mm. July: 16 m/s."""
    time = np.array(hours_of(f"{year}-01-01", f"{year}-12-31"), "datetime64[h]")
    month = time.astype("datetime64[M]").astype(int) % 12
    t, h, rain, wind = (np.full(len(time), v) for v in CALM.values())
    t[:240], h[:360], t[240:360], h[360:408] = 5, 90, -1, 80
    h[744:844], h[844:916], h[916:1016] = 33, 75, 32
    rain[np.flatnonzero(month == 2)[:100]] = 0.5
    wind[month == 6] = 16
    return dict(zip(CALM, (v.tolist() for v in (t, h, rain, wind)), strict=True))


@pytest.mark.pinned("worked", answers=10)
def test_hours_are_counted_as_by_hand():
    """Wet: 240 h of January; at -1 degC or exactly 80 % no hour is.

    Liquid (33 up to, not at, 75 %): January 336 of 744 h, 14 days; February 100 + 400 of 672 h,
    28.25 x 500 / 672 = 21.0193 days; the other 306 days whole: 341.0193 / 365.25 = 0.93366.
    Humidity: January (360 x 90 + 48 x 80 + 336 x 60) / 744 = 75.8065; February (3300 + 5400 + 3200
    + 24000) / 672 = 53.4226; year (75.8065 + 53.4226 + 600) / 12 = 60.7691.
    Temperature: January (1200 - 120 + 3840) / 744 = 6.6129; year (205 + 334.25 x 10) / 365.25 =
    9.7125. Rain: March 50 mm. Wind: (31 x 16 + 334.25 x 4) / 365.25 = 5.0185.
    """
    row, gaps = climate_of([weather_of(**uneven(2023))])
    assert gaps == []
    assert row["time_of_wetness_h_y"] == pytest.approx(240)
    assert row["liquid_salt_share"] == pytest.approx(0.93366, abs=1e-5)
    assert row["relative_humidity_pct_01"] == pytest.approx(75.8065, abs=1e-4)
    assert row["relative_humidity_pct_02"] == pytest.approx(53.4226, abs=1e-4)
    assert row["relative_humidity_pct"] == pytest.approx(60.7691, abs=1e-4)
    assert row["temperature_c_01"] == pytest.approx(6.6129, abs=1e-4)
    assert row["temperature_c"] == pytest.approx(9.7125, abs=1e-4)
    assert row["rain_mm_03"] == row["rain_mm_y"] == pytest.approx(50)
    assert row["wind_speed_m_s"] == pytest.approx(5.0185, abs=1e-4)
    assert row["elevation_m"] == 85
    assert row["hours_missing_share"] == 0


@pytest.mark.pinned("worked", answers=4)
def test_a_leap_year_has_its_day_and_years_are_pooled():
    """February 2024: all of its 696 h wet in 2024, none in 2023's 672: 28.25 x 24 x 696 / 1368."""
    wet = [60.0] * 744 + [90.0] * 696 + [60.0] * (8784 - 1440)
    leap = weather_of(2024, relative_humidity_2m=wet)
    assert len(leap) == 8784
    row, _ = climate_of([weather_of(2023), leap])
    assert row["time_of_wetness_h_y"] == pytest.approx(678 * 696 / 1368)
    assert climate_of([leap])[0]["time_of_wetness_h_y"] == pytest.approx(678)
    assert climate_of([leap])[0]["liquid_salt_share"] == pytest.approx(337 / 365.25)


@pytest.mark.pinned("judgement", answers=2)
def test_a_tenth_of_a_month_may_be_missing_and_no_more():
    """74 of January's 744 h; the known hours stand for all: all wet, 744 h."""
    for missing, known in ((74, True), (75, False)):
        humid = [None] * missing + [95] * (744 - missing) + [60] * (8760 - 744)
        row, gaps = climate_of([weather_of(relative_humidity_2m=humid)])
        assert ("relative_humidity_pct" in row) == known
        assert ("liquid_salt_share" in row) == known
        assert row.get("time_of_wetness_h_y") == (pytest.approx(744) if known else None)
        assert row["temperature_c"] == pytest.approx(10)
        assert row["hours_missing_share"] == pytest.approx(missing / 8760)
        said = ["relative_humidity_pct has 10% of the hours of 2023-01 missing, and stays unknown"]
        assert gaps == ([] if known else said)


@pytest.mark.parametrize("bad", [None, "9", 61, -91, True])
@pytest.mark.parametrize("name", ["temperature_2m", "relative_humidity_2m"])
def test_a_year_without_one_of_the_two_has_no_hours_of_wetness(name, bad):
    bad = 100.5 if (name, bad) == ("relative_humidity_2m", 61) else bad
    row, gaps = climate_of([weather_of(**{name: bad})])
    assert "time_of_wetness_h_y" not in row
    assert ("liquid_salt_share" in row) == (name == "temperature_2m")
    assert len(gaps) == 1 and row["rain_mm_y"] == 0


def broken(change):
    answer = hourly_answer(-5.9, 43.7, "2023-01-01", "2023-12-31", **CALM)
    change(answer)
    return answer


@pytest.mark.parametrize(("change", "said"), [
    (lambda a: a.update(error=True, reason="Daily limit exceeded."), "an error: Daily limit"),
    (lambda a: a["hourly_units"].update(temperature_2m="°F"), "temperature_2m in °F, not in °C"),
    (lambda a: a["hourly_units"].update(wind_speed_10m="km/h"), "wind_speed_10m in km/h, not in"),
    (lambda a: a["hourly_units"].pop("precipitation"), "precipitation in None, not in mm"),
    (lambda a: a["hourly"].pop("precipitation"), "gave no precipitation"),
    (lambda a: a["hourly"].update(temperature_2m=[1.0]), "1 values of temperature_2m for 8760"),
    (lambda a: a["hourly"]["time"].pop(), "other hours than those of 2023-01-01 to 2023-12-31"),
    (lambda a: a["hourly"]["time"].insert(1, "2023-01-01T00:00"), "other hours"),
    (lambda a: a["hourly"].update(time=hours_of("2022-01-01", "2022-12-31")), "other hours"),
    (lambda a: a.update(latitude=53.7), "another place"),
    (lambda a: a.update(longitude=5.9), "another place"),
])  # fmt: skip
def test_an_answer_that_cannot_be_used_is_refused_in_words(change, said):
    with pytest.raises(ServiceError, match=said):
        read_hours(request_of(2023), broken(change), WEATHER)


def test_a_leap_day_that_is_left_out_is_refused():
    answer = hourly_answer(-5.9, 43.7, "2023-01-01", "2023-12-31", **CALM)
    with pytest.raises(ServiceError, match="other hours"):
        read_hours(request_of(2024), answer, WEATHER)


def air_of(year, values):
    answer = hourly_answer(-5.9, 43.7, f"{year}-01-01", f"{year}-12-31", sulphur_dioxide=values)
    return read_hours(request_of(year, air=True), answer, AIR)


@pytest.mark.pinned("worked", answers=2)
def test_sulphur_dioxide_is_the_mean_of_the_years_without_gaps():
    """2023: 2 in 4380 h and 4 in 4380 h, mean 3; 2024 has no usable January."""
    good = air_of(2023, [2.0, 4.0] * 4380)
    gap = air_of(2024, [None] * 744 + [50.0] * (8784 - 744))
    row, gaps = so2_of([good, gap])
    assert row["so2_ug_m3"] == pytest.approx(3)
    assert row["hours_missing_share"] == pytest.approx(744 / (8760 + 8784))
    assert gaps == ["so2_ug_m3 has 100% of the hours of 2024-01 missing, and stays unknown"]
    assert "so2_ug_m3" not in so2_of([gap])[0]
    assert "so2_ug_m3" not in so2_of([air_of(2023, -0.1)])[0]


def test_both_spellings_of_the_micro_sign_are_one_unit():
    for unit, fits in (("μg/m³", True), ("µg/m³", True), ("mg/m³", False), ("ppb", False)):
        answer = hourly_answer(-5.9, 43.7, "2023-01-01", "2023-12-31", sulphur_dioxide=3.0)
        answer["hourly_units"]["sulphur_dioxide"] = unit
        if fits:
            assert read_hours(request_of(2023, air=True), answer, AIR)["so2_ug_m3"].eq(3).all()
        else:
            with pytest.raises(ServiceError, match="not in µg/m³"):
                read_hours(request_of(2023, air=True), answer, AIR)


# Bringing


def test_both_services_make_one_table(httpserver, call):
    power_says(httpserver)
    hours_say(httpserver, **CALM)
    made = call()
    brought = bring_climate.PART.bring(made)
    table = written(made.folder)
    # -5.87 and -5.62 lie in one cell of 0.625 degree and in two of 0.1
    assert table.loc["climate_nasa_power", ["lon", "lat"]].tolist() == [-5.625, 43.5]
    assert table.loc["climate_open_meteo", "lon"].tolist() == [-5.9, -5.6]
    assert table["relative_humidity_pct"].tolist() == [60, 60, 77]
    assert table["time_of_wetness_h_y"].isna().tolist() == [False, False, True]
    assert brought.notes == ()
    assert [origin.name for origin in brought.origins] == [
        "climate_open_meteo", "climate_nasa_power"
    ]  # fmt: skip
    assert "Open-Meteo.com (CC BY 4.0)" in brought.origins[0].attribution
    assert "NASA Langley Research Center POWER Project" in brought.origins[1].attribution
    assert brought.origins[1].version == "20-year climatology (January 2001 - December 2020)"
    assert len(brought.requests) == made.web.asked == 3
    planned = bring_climate.PART.plan(SHORE, made.services)
    assert sorted(request.shown for request in planned) == sorted(brought.requests)
    assert all(request.about_bytes > 0 for request in planned)


GOOD_HTML = Response("<!DOCTYPE html><p>Maintenance", mimetype="text/html")
FAULTS = [
    (GOOD_HTML, "a web page in place of data"),
    (Response(json.dumps(power_answer(-5.6, 43.5))[:300], mimetype="application/json"), "cut off"),
    (Response("", status=204), "answered with nothing"),
    (Response("{}", mimetype="application/json"), "another form"),
    (Response("[]", mimetype="application/json"), "another form"),
    (Response("null", mimetype="application/json"), "another form"),
    (Response(json.dumps({"error": True, "reason": "No data for this location"}), status=400,
              mimetype="application/json"), "No data for this location"),
    (Response("busy", status=503), "busy|try again later"),
]  # fmt: skip


@pytest.mark.parametrize(("fault", "said"), FAULTS)
def test_where_one_fails_the_other_serves_and_it_is_said(httpserver, call, fault, said):
    httpserver.expect_request("/archive").respond_with_response(fault)
    power_says(httpserver)
    made = call()
    brought = bring_climate.PART.bring(made)
    assert set(written(made.folder).index) == {"climate_nasa_power"}
    assert [origin.name for origin in brought.origins] == ["climate_nasa_power"]
    (note, *more) = brought.notes
    assert pd.Series([note]).str.contains(said).all()
    assert note.startswith("Open-Meteo") and note.endswith("NASA POWER is used.")
    assert len(more) == (2 if fault.status_code == 400 else 0)  # each place is said


@pytest.mark.parametrize("fault", [fault for fault, _ in FAULTS])
def test_where_both_fail_each_is_named_and_nothing_is_written(httpserver, call, fault):
    httpserver.expect_request("/archive").respond_with_response(fault)
    httpserver.expect_request("/power").respond_with_response(fault)
    made = call()
    with pytest.raises(ServiceError, match=r"no climate could be brought: Open-Meteo.*NASA POWER"):
        bring_climate.PART.bring(made)
    assert list(made.folder.iterdir()) == []


def test_what_stays_unknown_is_empty_and_said(httpserver, call):
    power_says(httpserver, RH2M=-999.0)
    hours_say(httpserver, **(CALM | {"temperature_2m": None}))
    made = call()
    notes = bring_climate.PART.bring(made).notes
    table = written(made.folder)
    assert table.loc["climate_nasa_power", table.columns.str.contains("humidity")].isna().all()
    assert table.loc["climate_open_meteo", "time_of_wetness_h_y"].isna().all()
    assert any(
        note.startswith("NASA POWER at 43.5 N 5.625 W: RH2M has no usable") for note in notes
    )
    assert any("temperature_c has 100% of the hours" in note for note in notes)


def test_a_run_keeps_to_the_free_share_and_says_so(httpserver, call, monkeypatch):
    power_says(httpserver)
    hours_say(httpserver, **CALM)
    monkeypatch.setattr(open_meteo, "MOST", 1)
    made = call()
    (note,) = bring_climate.PART.bring(made).notes
    assert note.startswith("1 of 2 places only. Open-Meteo is asked at most 1 times in a run")
    assert written(made.folder).index.tolist() == ["climate_open_meteo", "climate_nasa_power"]
    assert len(bring_climate.PART.plan(SHORE, made.services)) == 2


def test_a_later_run_goes_on_where_one_ended(httpserver, services, tmp_path, monkeypatch):
    """Answers are kept by the session; the second run asks for the second place only."""
    hours_say(httpserver, "/air", sulphur_dioxide=4.0)
    monkeypatch.setattr(open_meteo, "MOST", 1)
    for rows in (1, 2):
        with Web(tmp_path / "kept", backoff_s=0, pause_s=0) as web:
            bring_air.PART.bring(Call(SHORE, services, web, tmp_path, tmp_path))
            assert web.asked == 1
        assert len(written(tmp_path, so2.FILE)) == rows


def test_a_request_for_a_year_waits_as_the_limit_of_a_minute_asks(httpserver, call, monkeypatch):
    """600 calls a minute; a year of hours counts for 366 / 14 calls: 2.61 s."""
    hours_say(httpserver, "/air", sulphur_dioxide=1.0)
    waited = []
    monkeypatch.setattr("saltreach.layers.online.by_node.time.sleep", waited.append)
    made = call()
    made.web.pause_s = 1.0
    bring_air.PART.bring(made)
    assert [w for w in waited if w > 1] == pytest.approx([2.614, 2.614], abs=1e-3)


def test_sulphur_dioxide_is_brought_with_who_it_is_from(httpserver, call):
    hours_say(httpserver, "/air", sulphur_dioxide=4.0)
    made = call()
    brought = bring_air.PART.bring(made)
    table = written(made.folder, so2.FILE)
    assert table["so2_ug_m3"].tolist() == [4, 4]
    (origin,) = brought.origins
    assert "CAMS ENSEMBLE data provider" in origin.attribution
    assert origin.unit == "ug/m3"
    assert len(bring_air.PART.plan(SHORE, made.services)) == len(brought.requests) == 2


def test_services_are_tried_with_one_request_each(httpserver, services):
    power_says(httpserver, RH2M=7.0)
    hours_say(httpserver, **CALM)
    hours_say(httpserver, "/air", sulphur_dioxide=None)
    web = Web(None, backoff_s=0, pause_s=0)
    tried = [*bring_climate.PART.tries(services), *bring_air.PART.tries(services)]
    power_said, hours_said, air_said = (web.json(request, reader) for request, reader in tried)
    assert "RH2M 7 %, NOT AS EXPECTED (60 to 95)" in power_said
    assert "T2M 14 C, expected 9 to 18" in power_said
    assert "PRECTOTCORR 1096 mm/y, expected 500 to 2000" in power_said
    assert hours_said.startswith("relative_humidity_pct 60 %, expected 60 to 95")
    assert "time_of_wetness_h_y 0 h/y, NOT AS EXPECTED" in hours_said
    assert air_said.startswith("so2_ug_m3 unknown, NOT AS EXPECTED")
    assert web.asked == 3
