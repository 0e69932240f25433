"""`saltreach plan` and `saltreach priorities` on the demo, as a person runs them."""

import json
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
import vobject

import saltreach as sr
from saltreach.assessment.files import read_results
from saltreach.vocabulary.words import CAUTION

DATA = Path(__file__).parents[2] / "data" / "demo"
TABLES = (
    "--teams", DATA / "teams.csv", "--windows", DATA / "windows.csv", "--needs", DATA / "needs.csv",
)  # fmt: skip
SEABIRDS = ("Punta Vellorio", "Ensenada Trisca", "Cabo Alzoro", "Isla Corbaya")


@pytest.fixture(scope="module")
def planned(saltreach, demo, tmp_path_factory):
    out = tmp_path_factory.mktemp("plan")
    results, _ = demo
    done = saltreach("plan", results, *TABLES, "--from", "2026-12-01", "--nodes", "5", "--out", out)
    assert done.returncode == 0, done.stderr
    return out, done


def test_the_demo_plan_keeps_the_nesting_closure(planned):
    out, _ = planned
    visits = pd.read_csv(out / "plan.csv", dtype=str)
    there = visits.loc[visits["crag"].isin(SEABIRDS), "date"].str[5:]
    assert len(there) and not ((there >= "02-01") & (there <= "07-31")).any()
    assert not visits.duplicated(["team", "date", "stop"]).any()
    august = visits.loc[visits["team"] == "Western team", "date"].str[5:7]
    assert "08" not in set(august)


def test_the_plan_says_its_gap_its_peer_and_what_it_cannot_meet(planned):
    out, done = planned
    assert CAUTION in done.stdout
    record = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    # by nodes so large a plan is searched in parts only, which give no bound
    assert (record["how"], record["bound_team_hours"]) == ("highs, in parts", None)
    assert "How far it is from the best plan is not known." in done.stdout
    assert record["cost"]["total_team_hours"] < record["greedy"]["total_team_hours"]
    unmet = pd.read_csv(out / "unmet.csv")
    assert len(unmet) == record["overdue_spells"]
    assert unmet[["rule", "why", "fix"]].notna().all().all()
    assert unmet["days_overdue"].sum() == record["cost"]["overdue_days"]
    assert sum(m["trips"] for m in record["trips"]) == record["cost"]["trips"]
    assert len(record["trips"]) == 24


def test_the_files_open(planned):
    out, _ = planned
    assert len(openpyxl.load_workbook(out / "plan.xlsx").sheetnames) == 4
    calendar = vobject.readOne((out / "inspections.ics").read_text(encoding="utf-8"))
    assert len(calendar.vevent_list) == len(pd.read_csv(out / "plan.csv"))
    provenance = json.loads((out / "plan.json").read_text(encoding="utf-8"))["assessment"]
    stamp = calendar.vevent_list[0].dtstamp.value
    assert pd.Timestamp(provenance) == pd.Timestamp(stamp)


def test_planning_again_changes_little_and_says_what(planned, saltreach, demo, tmp_path):
    out, _ = planned
    results, _ = demo
    visits = pd.read_csv(out / "plan.csv", dtype=str)
    past = visits[visits["date"] < "2027-01-01"]
    done_rows = past[["crag", "sector"]].assign(done_on=past["date"]).iloc[1:]
    done_rows.to_csv(tmp_path / "done.csv", index=False)
    again = saltreach(
        "plan", results, *TABLES, "--from", "2027-01-01", "--nodes", "3",
        "--out", tmp_path / "again", "--last-plan", out / "plan.csv",
        "--done", tmp_path / "done.csv", "--json",
    )  # fmt: skip
    assert again.returncode == 0, again.stderr
    record = json.loads(again.stdout)
    changes = pd.read_csv(tmp_path / "again" / "changes.csv")
    assert len(changes) == record["visits_changed"]
    assert record["visits_kept"] > len(changes)


LOST = "LEFT OUT of windows w.csv: row 12 (crag 'Punta Velorio')."
LEAVE_OUT = "--leave-out-refused"


def test_a_refused_closure_stops_the_plan_or_is_named_first(saltreach, demo, tmp_path):
    results, _ = demo
    windows = (DATA / "windows.csv").read_text(encoding="utf-8")
    (tmp_path / "w.csv").write_text(windows + "Punta Velorio,,closed,02-01,07-31,x\n")
    out = tmp_path / "out"
    given = (
        "plan", results, "--teams", DATA / "teams.csv", "--windows", tmp_path / "w.csv",
        "--from", "2026-11-01", "--seconds", "0", "--out", out,
    )  # fmt: skip
    done = saltreach(*given)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "saltreach: results ...\n"
        "saltreach: windows w.csv, row 12, crag = 'Punta Velorio': not among the crags and sectors "
        "assessed; spell it as the register does; nearest: Punta Vellorio (mend it in the file, or "
        "leave it out aloud with --leave-out-refused)\n"
    )
    assert not out.exists()
    done = saltreach(*given, LEAVE_OUT)
    assert done.returncode == 1, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0] == LOST and lines.count(LOST) == 1
    assert (
        "note: the plan begins on 2026-11-01, before the day of the assessment (2026-11-25): it "
        "knows no visit and no risk of that time" in lines
    )
    rejected = pd.read_csv(out / "plan_rejected.csv")
    assert rejected["fix"].tolist() == ["spell it as the register does; nearest: Punta Vellorio"]
    record = json.loads(saltreach(*given, LEAVE_OUT, "--json").stdout)
    assert (record["left_out"], record["rows_refused"]) == ([LOST], 1)
    drawn = saltreach("map", results, "--plan", out / "plan.csv", "--out", tmp_path / "m.html")
    assert drawn.returncode == 0, drawn.stderr
    assert 'id="left-out"' in (tmp_path / "m.html").read_text(encoding="utf-8")


def test_a_lost_column_stops_the_plan_and_others_are_noted(saltreach, demo, tmp_path):
    rows = "crag,accss,from,until,comment\nPunta Vellorio,open only,02-01,07-31,x\n"
    (tmp_path / "w.csv").write_text(rows)
    given = (
        "plan", demo[0], "--teams", DATA / "teams.csv", "--windows", tmp_path / "w.csv",
        "--seconds", "0", "--out", tmp_path / "out",
    )  # fmt: skip
    done = saltreach(*given)
    assert done.returncode == 2
    assert "column 'accss' is not used; did you mean access? Rename or remove it" in done.stderr
    (tmp_path / "w.csv").write_text(rows.replace("accss", "Access").replace("crag", "Cliff"))
    done = saltreach(*given)
    assert done.returncode == 0, done.stderr
    notes = [
        "columns not used: 'comment'", "columns read under another name: 'Cliff' as crag",
    ]  # fmt: skip
    assert [f"note: windows w.csv: {n}" in done.stdout.splitlines() for n in notes] == [True, True]
    record = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    assert record["tables"]["windows"]["notes"] == notes


def test_a_refused_price_stops_priorities_or_is_named_first(saltreach, demo, tmp_path):
    (tmp_path / "p.csv").write_text("item,metal,price\nbonded,316,8\nbonded,titanium,dear\n")
    given = ("priorities", demo[0], "--budget", "100", "--prices", tmp_path / "p.csv",
             "--out", tmp_path / "out")  # fmt: skip
    done = saltreach(*given)
    assert done.returncode == 2 and "prices p.csv, row 3, price = 'dear': not a" in done.stderr
    assert not (tmp_path / "out").exists()
    done = saltreach(*given, LEAVE_OUT)
    assert done.returncode == 1, done.stderr
    assert done.stdout.startswith("LEFT OUT of prices p.csv: row 3 (price 'dear').\n")


def test_priorities_choose_buy_and_feed_the_plan(saltreach, demo, tmp_path):
    results, _ = demo
    done = saltreach(
        "priorities", results, "--budget", "1500", "--prices", DATA / "prices.toml",
        "--out", tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "EXAMPLE PRICES" in done.stdout and CAUTION in done.stdout
    table = pd.read_csv(tmp_path / "priorities.csv")
    chosen = table[table["chosen"] == "yes"]
    assert 0 < chosen["cost"].sum() <= 1500
    buy = pd.read_csv(tmp_path / "shopping.csv")
    assert buy["count"].sum() == chosen["anchors_to_replace"].sum()
    assert (tmp_path / "budget_curve.png").read_bytes()[:4] == b"\x89PNG"
    line = pd.read_csv(tmp_path / "budget_curve.csv")
    assert line.loc[line["budget"] == 1500, "anchors"].tolist() == [buy["count"].sum()]
    plan = saltreach(
        "plan", results, *TABLES, "--rebolt", tmp_path / "priorities.csv", "--seconds", "0",
        "--from", "2026-12-01", "--out", tmp_path,
    )  # fmt: skip
    assert plan.returncode == 0, plan.stderr
    visits = pd.read_csv(tmp_path / "plan.csv")
    work = visits[visits["kind"] == "rebolt"]
    assert set(work["crag"] + work["sector"]) <= set(chosen["crag"] + chosen["sector"])
    assert len(work) and "Western team" not in set(work["team"])
    result = read_results(results)
    made = sr.priorities(result, 1500, DATA / "prices.toml")
    assert made.figures == json.loads((tmp_path / "priorities.json").read_text(encoding="utf-8"))
    assert made.sectors["metal"].cat.ordered and str(made.sectors["priority_rank"].dtype) == "Int64"
    assert made.sectors.loc[made.sectors["chosen"] == "yes", "cost"].sum() == chosen["cost"].sum()
    assert repr(made).startswith(f"<Priorities: {len(chosen)} sectors, {buy['count'].sum()} anch")
    same = sr.plan(
        result, DATA / "teams.csv", windows=DATA / "windows.csv", needs=DATA / "needs.csv",
        rebolt=made, start="2026-12-01", seconds=0,
    )  # fmt: skip
    written = visits.drop(columns="caution")
    pd.testing.assert_frame_equal(same.flat.visits, written, check_dtype=False)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("plan", "{results}", "--teams", "absent.csv"), "no such file"),
        (("plan", "{results}", "--teams", "{teams}", "--years", "9"), "years"),
        (("plan", "{results}", "--teams", "{teams}", "--seconds", "-1"), "seconds"),
        (("plan", "absent", "--teams", "{teams}"), "absent"),
        (("plan", "{results}", "--teams", "{results}"), "this is a folder; give a file of the"),
        (("plan", "{results}/anchors.parquet", "--teams", "{teams}"), "give their folder"),
        (("priorities", "{results}", "--budget", "1", "--prices", "{results}"), "give a .toml"),
        (("assess", "{results}"), "is a folder of results, and a register is expected"),
        (("priorities", "{results}", "--budget", "-1", "--prices", "{prices}"), "budget"),
        (("priorities", "{results}", "--budget", "1", "--prices", "{teams}"), "prices"),
    ],
)
def test_errors_are_one_sentence_and_exit_code_2(saltreach, demo, tmp_path, arguments, says):
    names = {"results": demo[0], "teams": DATA / "teams.csv", "prices": DATA / "prices.toml"}
    done = saltreach(*(a.format(**names) for a in arguments), "--out", tmp_path)
    assert done.returncode == 2
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("saltreach:") and says in done.stderr
    assert "Traceback" not in done.stderr


def test_the_plan_is_drawn_on_the_map(saltreach, demo, planned, tmp_path):
    (results, _), (plan, _) = demo, planned
    target = tmp_path / "trips.html"
    done = saltreach("map", results, "--plan", plan / "plan.csv", "--out", target)
    assert done.returncode == 0, done.stderr
    page = target.read_text(encoding="utf-8")
    assert '"trips":[{"month":"' in page
    missing = saltreach("map", results, "--plan", tmp_path / "none.csv", "--out", target)
    assert missing.returncode == 2
    assert "none.csv" in missing.stderr
