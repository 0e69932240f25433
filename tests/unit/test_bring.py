"""What bringing takes, said before anything is asked; parts that fail; services that are tried."""

import pytest

from saltreach.errors import LayerError
from saltreach.intake.services import Services
from saltreach.layers.layer import Origin
from saltreach.layers.online import bring as module
from saltreach.layers.online.bring import Plan, bring, chosen, plans, refuse_too_much, tried
from saltreach.layers.online.by_node import Had, together
from saltreach.layers.online.catalogue import PARTS
from saltreach.layers.online.part import NOT_EXPECTED, Brought, Call, Part
from saltreach.layers.online.web import Request, ServiceError, Web
from saltreach.layers.pack import parts_of, verified
from saltreach.layers.where import where_of

WHERE = where_of([5.0, 5.5], [43.0, 43.0])


def part(name, make, *tries):
    return Part(name, f"example of {name}", lambda where, services: [], make, lambda _: list(tries))


def written(call):
    (call.folder / "a.txt").write_text("a")
    return Brought((Origin("a", "example"),), (), ("a note",))


def failing(call):
    (call.folder / "half.txt").write_text("half")
    raise ServiceError("Example service cannot be reached")


def test_parts_are_named_once_and_all_by_default():
    names = [one.name for one in PARTS]
    assert names == ["coast", "rock", "heights", "climate", "air", "context"]
    assert chosen([]) == chosen(["all"]) == chosen(["rock", "all"]) == list(PARTS)
    assert [one.name for one in chosen(["air", "coast", "air"])] == ["coast", "air"]
    with pytest.raises(LayerError, match="'gold' is no part of a pack; parts: air, .*, all"):
        chosen(["gold"])


@pytest.mark.parametrize(
    ("count", "size"), [(module.MOST_REQUESTS + 1, 1), (1, module.MOST_BYTES + 1)]
)
def test_more_than_is_asked_for_at_a_time_is_refused_with_all_such_parts(count, size):
    def one(name, requests):
        return Part(name, "x", lambda where, services: requests, written)

    request = Request("S", "https://a.example", about_bytes=size)
    found = plans([one("rock", [request] * count), one("air", [request][: count - 1 or 0]),
                   one("heights", [request] * count)], WHERE, Services())  # fmt: skip
    assert [plan.too_much for plan in found] == [True, False, True]
    with pytest.raises(LayerError, match=r"rock: .*; heights: .*; name the parts that fit \(air\)"):
        refuse_too_much(found)
    refuse_too_much(found[1:2])


def test_a_part_that_fails_leaves_nothing_and_the_others_are_brought(tmp_path):
    found = [Plan(part("bad", failing), ()), Plan(part("good", written), ())]
    with Web(None) as web:
        bad, good = bring(found, WHERE, Services(), web, tmp_path / "pack", tmp_path)
    assert (bad.part, bad.failed) == ("bad", "Example service cannot be reached")
    assert (good.part, good.failed, good.notes) == ("good", "", ("a note",))
    parts = parts_of(tmp_path / "pack")
    assert list(parts) == ["good"] and set(
        verified(tmp_path / "pack", parts["good"].files).values()
    ) == {"good"}
    assert not list((tmp_path / "pack").rglob("half.txt"))


def test_a_service_is_tried_and_what_is_odd_is_no_success(httpserver):
    httpserver.expect_request("/x").respond_with_json({"a": 1})
    request = Request("Example", httpserver.url_for("/x"))
    tries = part("p", written, (request, lambda found: f"a is {found['a']}"),
                 (request, lambda found: f"{NOT_EXPECTED}: a is {found['a']}"),
                 (request, lambda found: found["b"]))  # fmt: skip
    with Web(None, backoff_s=0, pause_s=0) as web:
        rows = tried(Services(), web, [tries])
    assert [row["good"] for row in rows] == [True, False, False]
    assert rows[0]["said"] == "a is 1" and "another form" in rows[2]["said"]


def test_a_source_without_a_usable_value_brought_nothing_and_a_mirror_is_named(tmp_path):
    cell = {"source": "open", "lon": 1.0, "lat": 2.0, "cell_lon_deg": 0.1, "cell_lat_deg": 0.1}
    given = Had("open", [{**cell, "so2_ug_m3": None}], ["https://m.example/a?x=1"])
    call = Call(WHERE, Services(), None, tmp_path, tmp_path)

    def origin(had):
        return Origin(had.name, "SO2", url="https://documented.example")

    with pytest.raises(ServiceError, match="no SO2 could be brought: open gave no value that can"):
        together(call, "SO2", "air.csv", ("so2_ug_m3",), [(given, origin)], "what is assumed")
    assert not (tmp_path / "air.csv").exists()
    given.rows[0]["so2_ug_m3"] = 4.0
    brought = together(call, "SO2", "air.csv", ("so2_ug_m3",), [(given, origin)], "what is assumed")
    assert brought.origins[0].url == "https://m.example/a" and brought.notes == ()
