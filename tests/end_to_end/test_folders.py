"""No surprise in a folder of results, through the command: nothing of a user's lost, none mixed."""

import json
import os
import signal
import subprocess
import sys
import textwrap
import time

import geopandas as gpd
import pandas as pd
import pytest

from helpers.folders import shown
from helpers.small_register import write
from saltreach.assessment.files import read_results
from saltreach.errors import OutputError
from saltreach.folders.manifest import MANIFEST, read_manifest
from saltreach.folders.swap import JOURNAL, UNFINISHED
from saltreach.layers.embedded import embedded_file
from saltreach.outputs.tables.results import write_results

DAY = ("--today", "2026-11-25")
TEAMS = embedded_file("demo/teams.csv")


@pytest.fixture(scope="module")
def results(saltreach, tmp_path_factory):
    """A register of three anchors, assessed; not to be changed."""
    folder = tmp_path_factory.mktemp("small")
    done = saltreach("assess", write(folder / "a.csv"), "--out", folder / "out", *DAY, "--plots")
    assert done.returncode == 0, done.stderr
    return folder / "out"


def last_line(done):
    return done.stderr.strip().splitlines()[-1]


@pytest.mark.parametrize("told", [[], ["--beside-other-files"]])
@pytest.mark.parametrize(
    ("command", "name"),
    [
        ("assess {own} --out {out}", "register"),
        ("assess {other} --survey {own} --out {out}", "survey"),
        ("assess {other} --policy {own} --out {out}", "policy"),
        ("assess {other} --prices {own} --out {out}", "prices"),
        ("assess {other} --options {own} --out {out}", "options"),
        ("assess {other} --coast {own} --out {out}", "coast"),
        ("assess {other} --dem {own} --out {out}", "dem"),
        ("assess {other} --geology {own} --rock-column a --out {out}", "geology"),
        ("plan {results} --teams {own} --out {out}", "teams"),
        ("plan {results} --teams {other} --windows {own} --out {out}", "windows"),
        ("plan {own} --teams {other} --out {out}", "register of a plan"),
        ("priorities {results} --budget 1 --prices {own} --out {out}", "prices of priorities"),
        ("landowner {results} --holding {own} --out {out}", "holding"),
        ("landowner {results} --holding {other} --contact {own} --out {out}", "contact"),
    ],
)
def test_a_folder_with_an_input_is_refused_before_anything(
    saltreach, results, tmp_path, command, name, told
):
    """A register was overwritten by its own results."""
    out = tmp_path / "own"
    out.mkdir()
    (out / "sectors.csv").write_text("the user's own")
    (tmp_path / "other").write_text("x")
    if name == "options":
        (out / "sectors.csv").write_text("")
    names = {
        "own": out / "sectors.csv",
        "out": out,
        "other": tmp_path / "other",
        "results": results,
    }
    before = (out / "sectors.csv").read_text()
    done = saltreach(*(part.format(**names) for part in command.split()), *told)
    assert done.returncode == 2
    assert last_line(done) == (
        f"saltreach: {out} holds {out / 'sectors.csv'}, which you gave to be read: give another "
        "--out, a folder for results alone"
    )
    assert [p.name for p in out.iterdir()] == ["sectors.csv"]
    assert (out / "sectors.csv").read_text() == before


def test_an_input_that_the_options_name_counts_too(saltreach, tmp_path):
    out = tmp_path / "own"
    out.mkdir()
    (out / "land.gpkg").write_text("mine")
    (tmp_path / "o.toml").write_text(f'coast_file = "{out / "land.gpkg"}"\n')
    done = saltreach("assess", write(tmp_path / "a.csv"), "--options", tmp_path / "o.toml", "--out",
                     out, "--beside-other-files")  # fmt: skip
    assert done.returncode == 2
    assert "land.gpkg, which you gave to be read" in done.stderr


def test_the_register_is_no_folder(saltreach, tmp_path):
    register = write(tmp_path / "a.csv")
    before = register.read_bytes()
    done = saltreach("assess", register, "--out", register)
    assert done.returncode == 2
    assert last_line(done) == (
        f"saltreach: {register} is the file you gave to be read: give another --out"
    )
    assert register.read_bytes() == before


def test_a_filled_in_plan_is_never_overwritten(saltreach, tmp_path):
    out, register = tmp_path / "out", write(tmp_path / "a.csv")
    assert saltreach("assess", register, "--out", out, *DAY).returncode == 0
    plan = ["plan", out, "--teams", TEAMS, "--seconds", 0, "--out", out]
    assert saltreach(*plan).returncode == 0
    (out / "plan.xlsx").write_bytes((out / "plan.xlsx").read_bytes() + b"done by Ann")
    for again in (plan, ["assess", register, "--out", out, *DAY]):
        done = saltreach(*again)
        assert done.returncode == 2
        assert last_line(done) == (
            f"saltreach: {out}: somebody changed what saltreach wrote there (plan.xlsx): give "
            "another --out, or --beside-other-files to write there all the same; a changed file "
            "that is in the way is kept under another name"
        )
        assert "results ..." not in done.stderr and "coast ..." not in done.stderr
    done = saltreach(*plan, "--beside-other-files")
    assert done.returncode == 0, done.stderr
    (kept,) = out.glob("plan.yours-*.xlsx")
    assert kept.read_bytes().endswith(b"done by Ann")
    assert f"kept as {kept.name}" in done.stderr


def test_files_of_a_former_run_go_and_a_plan_says_what_it_rests_on(saltreach, tmp_path):
    out, bad = tmp_path / "out", write(tmp_path / "bad.csv", lat=[43.44, 199, 43.44])
    assert saltreach("assess", bad, "--out", out, "--plots", *DAY).returncode == 1
    assert {"rejected.csv"} <= shown(out) and (out / "plots").is_dir()
    plan = ["plan", out, "--teams", TEAMS, "--seconds", 0, "--out", out]
    assert saltreach(*plan).returncode == 0
    first = json.loads((out / "provenance.json").read_text())["time"]
    assert read_manifest(out).sets["plan"].assessment == first
    while json.loads((out / "provenance.json").read_text())["time"] == first:
        done = saltreach("assess", write(tmp_path / "a.csv"), "--out", out, *DAY)
        assert done.returncode == 0, done.stderr
    assert "rejected.csv" not in shown(out) and not (out / "plots").exists()
    assert (out / "plan.csv").exists()
    said = (
        f"inspections.ics, plan.csv: made from the assessment of {first}, not from the one in "
        "this folder; run saltreach plan again"
    )
    assert said in done.stdout.splitlines()
    assert read_manifest(out).sets["plan"].note == said
    found = saltreach("assess", tmp_path / "a.csv", "--out", out, *DAY, "--json")
    assert json.loads(found.stdout)["rest_on_a_former_assessment"] == [said]
    # what saltreach wrote there itself may be read from there
    assert saltreach(*plan, "--last-plan", out / "plan.csv").returncode == 0
    assert "changes.csv" in shown(out)
    assert saltreach(*plan).returncode == 0
    assert "changes.csv" not in shown(out)


def test_a_run_that_could_use_no_row_leaves_the_former_results_whole(saltreach, tmp_path):
    out = tmp_path / "out"
    bad = write(tmp_path / "bad.csv", lat=[43.44, 199, 43.44])
    assert saltreach("assess", bad, "--out", out, *DAY).returncode == 1
    before = {name: (out / name).read_bytes() for name in shown(out) - {MANIFEST}}
    done = saltreach("assess", write(tmp_path / "c.csv", lat=199), "--out", out, *DAY)
    assert done.returncode == 2
    assert f"refused rows: {out / 'rejected_last_run.csv'}" in done.stderr
    assert {name: (out / name).read_bytes() for name in before} == before
    assert saltreach("assess", bad, "--out", out, *DAY).returncode == 1
    assert "rejected_last_run.csv" not in shown(out)


def test_a_map_of_ones_own_is_not_drawn_over(saltreach, results, tmp_path):
    target = tmp_path / "m.html"
    picture = tmp_path / "sub" / "p.png"
    both = ["map", results, "--out", target, "--picture", picture]
    assert saltreach(*both).returncode == 0
    assert saltreach(*both).returncode == 0
    target.write_text("mine")
    done = saltreach(*both)
    assert done.returncode == 2
    assert last_line(done) == (
        f"saltreach: {target} is there and saltreach did not write it, or somebody changed it "
        "since: give another --out, or --beside-other-files to keep it under another name"
    )
    assert target.read_text() == "mine"


SLOW = textwrap.dedent(
    """
    import os, sys, time
    from saltreach.cli import app

    real = os.replace

    def slow(*args):
        time.sleep(0.15)
        return real(*args)

    os.replace = slow
    app(sys.argv[1:])
    """
)


def test_a_killed_command_is_mended_by_the_next(closed_network, saltreach, tmp_path):
    """Killed (-9) while it moves its files one by one, made slow on purpose."""
    out = tmp_path / "out"
    first, second = (write(tmp_path / f"{n}.csv", crag=n) for n in ("First", "Second"))
    assert saltreach("assess", first, "--out", out, "--plots", *DAY).returncode == 0
    before = (out / "crags.csv").read_bytes()
    with subprocess.Popen(
        [sys.executable, "-c", SLOW, "assess", str(second), "--out", str(out), *DAY],
        env=closed_network, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    ) as run:  # fmt: skip
        while not (out / JOURNAL).exists():
            assert run.poll() is None
            time.sleep(0.02)
        while (out / "crags.csv").read_bytes() == before:  # the second of its files
            time.sleep(0.02)
        run.send_signal(signal.SIGKILL)
    assert "Run any saltreach command on this folder" in (out / UNFINISHED).read_text()
    done = saltreach("map", out, "--out", tmp_path / "m.html")
    assert done.returncode == 0, done.stderr
    assert not (out / UNFINISHED).exists() and not (out / "plots").exists()
    found = read_results(out)
    for table in (found.flat.anchors, found.flat.sectors, found.flat.crags,
                  pd.read_csv(out / "sectors.csv"), pd.read_csv(out / "crags.csv")):  # fmt: skip
        assert set(table["crag"]) == {"Second"}
    assert found.provenance["register"]["file"] == "Second.csv"
    assert "Second" in (out / "map.html").read_text(encoding="utf-8")
    assert saltreach("assess", first, "--out", out, *DAY).returncode == 0


def test_two_commands_at_once_in_one_folder(closed_network, saltreach, tmp_path):
    out = tmp_path / "out"
    first, second = (write(tmp_path / f"{n}.csv", crag=n) for n in ("First", "Second"))
    with subprocess.Popen(
        [sys.executable, "-c", SLOW, "assess", str(first), "--out", str(out), *DAY],
        env=closed_network, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    ) as run:  # fmt: skip
        while not (out / ".saltreach-lock").exists():
            time.sleep(0.02)
        done = saltreach("assess", second, "--out", out, *DAY)
        assert run.wait() == 0
    assert done.returncode == 2
    assert last_line(done) == (
        f"saltreach: {out}: another saltreach is writing there; wait until it has ended, or give "
        "another --out"
    )
    assert set(read_results(out).flat.anchors["crag"]) == {"First"}


UNFORESEEN = textwrap.dedent(
    """
    import sys
    import saltreach.intake.kinds as kinds
    from saltreach.cli import app

    def fail(*args, **kwargs):
        raise {error}

    kinds.kinds_in = fail
    app(["check", "a.csv"])
    """
)


def broken(error, tmp_path, **environment):
    """The command with something in it that raises an error nobody foresaw."""
    code = UNFORESEEN.format(error=error)
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=tmp_path,
        env={**os.environ, "HOME": str(tmp_path), "XDG_STATE_HOME": str(tmp_path / "state"),
             "PYTHONPATH": os.pathsep.join(sys.path), **environment},
    )  # fmt: skip


def test_an_unforeseen_failure_is_one_line_a_log_and_exit_3(tmp_path):
    done = broken("KeyError('crag')", tmp_path)
    assert done.returncode == 3
    *_, line = done.stderr.strip().splitlines()
    said, _, log = line.partition("; log: ")
    assert said == "saltreach: unexpected failure: KeyError: 'crag'"
    assert str(tmp_path) in log
    with open(log, encoding="utf-8") as stream:  # noqa: PTH123
        text = stream.read()
    assert "Traceback" in text and "in fail" in text
    assert "Traceback" not in done.stderr + done.stdout


def test_where_no_log_can_be_kept_the_temporary_folder_has_it(tmp_path):
    (tmp_path / "file").write_text("")
    done = broken("OSError('odd')", tmp_path, XDG_STATE_HOME=str(tmp_path / "file"),
                  TMPDIR=str(tmp_path))  # fmt: skip
    assert done.returncode == 3
    assert f"unexpected failure: OSError: odd; log: {tmp_path}/failure-" in done.stderr


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        ("KeyboardInterrupt", 130, "saltreach: stopped: files are as they were, or the next run"),
        ("MemoryError", 3, "saltreach: not enough memory; log: "),
        ("PermissionError(13, 'Permission denied', 'x.csv')", 2,
         "saltreach: x.csv cannot be opened (permission denied): check the path"),
        ("ValueError('a\\n' + 1000 * 'b')", 3, "saltreach: unexpected failure: ValueError: a bbb"),
    ],
)  # fmt: skip
def test_other_ends(tmp_path, error, code, said):
    done = broken(error, tmp_path)
    assert done.returncode == code
    *_, line = done.stderr.strip().splitlines()
    assert line.startswith(said)
    assert len(line) < 500
    assert "Traceback" not in done.stderr


def test_exit_codes_are_in_the_help(saltreach):
    said = " ".join(saltreach("--help").stdout.split())
    assert "0 good, 1 rows refused (results still written), 2 unusable input or place" in said
    assert "3 unexpected failure (a log file is named), 130 interrupted" in said


def test_output_that_nobody_reads_is_no_failure(closed_network):
    reads, writes = os.pipe()
    os.close(reads)
    done = subprocess.run(
        [sys.executable, "-m", "saltreach", "layers", "list"], stdout=writes, text=True,
        stderr=subprocess.PIPE, env=closed_network, check=False,
    )  # fmt: skip
    os.close(writes)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full here")  # noqa: PTH110
def test_output_to_a_full_disk(closed_network):
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = subprocess.run(
            [sys.executable, "-m", "saltreach", "layers", "list"], stdout=full, text=True,
            stderr=subprocess.PIPE, env=closed_network, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == (
        "saltreach: what is printed cannot be written (no space left on device): send it "
        "elsewhere\n"
    )


def test_a_disk_that_is_full_at_any_moment_leaves_the_former_results(results, tmp_path):
    """Libraries that write tables hide the system's error; a disk of some kB, where one may be
    mounted."""
    found, full = read_results(results), False
    need_kb = sum(path.stat().st_size for path in results.glob("*.*")) // 1024
    disk = tmp_path / "disk"
    disk.mkdir()
    for spare_kb in range(0, need_kb + 200, 100):
        mount = ["mount", "-t", "tmpfs", "-o", f"size={need_kb + 150 + spare_kb}k", "x", str(disk)]
        if os.geteuid() or subprocess.run(mount, capture_output=True, check=False).returncode:
            pytest.skip("no disk can be mounted here")
        try:
            write_results(found, disk / "out", title="first")
            before = {name: (disk / "out" / name).read_bytes() for name in shown(disk / "out")}
            try:
                write_results(found, disk / "out", title="second")
            except OutputError as error:
                assert str(error) == (
                    f"{disk / 'out'} cannot be written: the disk is full; make room there, or "
                    "give another --out"
                )
                after = {name: (disk / "out" / name).read_bytes() for name in shown(disk / "out")}
                assert after == before
                full = True
            else:
                assert full
                assert "second" in (disk / "out" / "map.html").read_text(encoding="utf-8")
            assert len(read_results(disk / "out").flat.sectors) == 2
        finally:
            subprocess.run(["umount", str(disk)], check=True)


def test_a_folder_of_results_that_is_read_only_is_read(saltreach, results, tmp_path):
    """In a read-only mount, where one may be made: the user that runs the tests may be root."""
    place = tmp_path / "read-only"
    place.mkdir()
    bound = ["mount", "--bind", str(results), str(place)]
    if os.geteuid() or subprocess.run(bound, capture_output=True, check=False).returncode:
        pytest.skip("nothing can be mounted here")
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", str(place)], check=True)
        done = saltreach("map", place)
        assert done.returncode == 2
        assert last_line(done).startswith(
            f"saltreach: {place} cannot be written: that disk is read-only; give another --out"
        )
        done = saltreach("map", place, "--out", tmp_path / "m.html")
        assert done.returncode == 0, done.stderr
        done = saltreach("plan", place, "--teams", TEAMS, "--seconds", 0, "--out", place)
        assert done.returncode == 2
        assert "that disk is read-only" in done.stderr and "results ..." not in done.stderr
    finally:
        subprocess.run(["umount", str(place)], check=True)


def test_a_list_on_the_screen_is_short_and_names_the_file_with_all(saltreach, tmp_path):
    """`priorities` printed 1,890 names in one line."""
    frame = pd.DataFrame({
        "anchor_id": [f"a{n}" for n in range(30)], "crag": "Alder Point",
        "sector": [f"S{n:02d}" for n in range(30)], "lon": -4.95, "lat": 43.44,
        "material": "304", "condition": 4, "installed_on": "1990",
    })  # fmt: skip
    frame.to_csv(tmp_path / "a.csv", index=False)
    (tmp_path / "prices.toml").write_text(
        'currency = "EUR"\n[[stock]]\nkind = "bonded"\nmetal = "304"\ndiameter_mm = 12\n'
        "length_mm = 80\nprice = 5\n"
    )
    out = tmp_path / "out"
    done = saltreach("assess", tmp_path / "a.csv", "--out", out, *DAY)
    assert done.returncode == 0, done.stderr
    failed = next(li for li in done.stdout.splitlines() if li.startswith("TAKE OUT OF USE"))
    assert failed.endswith(f"a4 (Alder Point / S04) and 25 more ({out / 'saltreach.gpkg'}).")
    done = saltreach("priorities", out, "--budget", 100, "--prices", tmp_path / "prices.toml",
                     "--out", out)  # fmt: skip
    assert done.returncode == 0, done.stderr
    (line,) = (li for li in done.stdout.splitlines() if "nothing in the stock list" in li)
    assert line.endswith(f" and 25 more ({out / 'priorities.json'})")
    assert max(map(len, done.stdout.splitlines())) < 600
    (note,) = (n for n in json.loads((out / "priorities.json").read_text())["notes"]
               if n.startswith("nothing in the stock list"))  # fmt: skip
    assert all(f"S{n:02d}" in note for n in range(30))


def test_no_path_stands_in_what_is_written(saltreach, tmp_path):
    """Options held the paths of files on the user's disk, and the map showed them."""
    secret = tmp_path / "home-of-ann"
    secret.mkdir()
    gpd.GeoDataFrame(geometry=gpd.points_from_xy([-4.95], [43.4]).buffer(0.5), crs=4326).to_file(
        secret / "land.gpkg"
    )
    (secret / "rules.toml").write_text("longest_interval_months = 36\n")
    out, register = tmp_path / "out", write(secret / "a.csv")
    done = saltreach("assess", register, "--coast", secret / "land.gpkg", "--policy",
                     secret / "rules.toml", "--out", out, *DAY)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert saltreach("plan", out, "--teams", TEAMS, "--seconds", 0, "--out", out).returncode == 0
    options = json.loads((out / "provenance.json").read_text())["options"]
    assert options["coast_file"] == "land.gpkg"
    assert len(options["coast_file_sha256"]) == 64
    for path in out.rglob("*"):
        if path.is_file():
            assert b"home-of-ann" not in path.read_bytes(), path.name
            assert str(tmp_path).encode() not in path.read_bytes(), path.name
    # and the map is drawn again without that file: the shore around is kept
    (secret / "land.gpkg").unlink()
    before = (out / "map.html").read_bytes()
    done = saltreach("map", out, "--title", "a")
    assert done.returncode == 0, done.stderr
    assert (out / "map.html").read_bytes() == before


def test_anchors_moved_inside_their_cell_change_no_byte_of_the_landowners_files(
    saltreach, tmp_path
):
    """README's promise; the PDF carried the second of the assessment."""
    register = pd.read_csv(embedded_file("demo/anchors.csv"), dtype=str)
    crag = register["crag"].value_counts().index[0]
    register = register[register["crag"] == crag].head(40)
    (tmp_path / "us.toml").write_text(f'name = "the land"\ncrags = ["{crag}"]\n'
                                      '[contact]\nperson = "Ann"\nphone = "112"\n')  # fmt: skip
    files, times, places = [], [], []
    for shift in (0.0, 2e-6):  # 0.2 m
        lat = register["lat"].astype(float) + shift
        at = tmp_path / f"{shift}"
        at.mkdir()
        register.assign(lat=lat.map("{:.7f}".format)).to_csv(at / "a.csv", index=False)
        assess = ("assess", at / "a.csv", "--out", at / "out", *DAY, "--title", "x")
        while True:  # at another second
            done = saltreach(*assess)
            assert done.returncode in (0, 1), done.stderr
            time_of = json.loads((at / "out" / "provenance.json").read_text())["time"]
            if time_of not in times:
                break
        times.append(time_of)
        places.append(gpd.read_parquet(at / "out" / "anchors.parquet")["lat"].tolist())
        done = saltreach("landowner", at / "out", "--holding", tmp_path / "us.toml", "--out",
                         at / "owner")  # fmt: skip
        assert done.returncode == 0, done.stderr
        files.append([(at / "owner" / f"landowner.{end}").read_bytes() for end in ("html", "pdf")])
    assert places[0] != places[1]
    assert files[0] == files[1]
