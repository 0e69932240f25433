"""Folders of results: what is ours, what is refused, what a kill at any moment leaves."""

import errno
import json
import os
import re
import signal
import sqlite3
import subprocess
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest

from helpers.folders import shown
from saltreach.errors import OutputError
from saltreach.folders import claim as claims
from saltreach.folders.claim import LOCK, claimed, mend, read_whole, result_set
from saltreach.folders.files import checksum
from saltreach.folders.manifest import MANIFEST, FileSet, Manifest, read_manifest, unchanged
from saltreach.folders.swap import JOURNAL, UNFINISHED, WORK_PREFIX
from saltreach.folders.trouble import cannot_read, cannot_write

FIRST = {"a.txt": "a1", "b.txt": "b1", "plots/one.png": "p1", "gone.txt": "g1"}
SECOND = {"a.txt": "a2", "b.txt": "b2", "plots/two.png": "q2"}


def put(out, name, files, **how):
    """Write a set of small files."""
    with result_set(out, name, **how) as work:
        for file, text in files.items():
            (work / file).parent.mkdir(exist_ok=True)
            (work / file).write_text(text)


def held(folder):
    """Texts of the files a person sees, but for the manifest."""
    return {name: (folder / name).read_text() for name in shown(folder) - {MANIFEST}}


def hidden(folder):
    return {p.name for p in folder.iterdir() if p.name.startswith(".")}


def test_a_set_replaces_its_last_one_and_leaves_the_others(tmp_path):
    out = tmp_path / "new" / "out"
    put(out, "assess", FIRST)
    put(out, "plan", {"plan.csv": "p"})
    put(out, "assess", SECOND)
    assert held(out) == {**SECOND, "plan.csv": "p"}
    assert not (out / "gone.txt").exists()
    assert hidden(out) == {LOCK}
    listed = read_manifest(out)
    assert {name: set(one.files) for name, one in listed.sets.items()} == {
        "assess": set(SECOND), "plan": {"plan.csv"},
    }  # fmt: skip
    assert listed.sets["plan"].command == "saltreach plan"
    # sha256 of b"p", by sha256sum
    assert listed.files["plan.csv"] == (
        "148de9c5a7a44d19e56cd9ae1a554bf67847afb0c58f6e12fa29ac7ddfca9940"
    )
    put(out, "assess", {"a.txt": "a3"})
    assert not (out / "plots").exists()


def test_what_a_set_takes_over_is_no_longer_of_the_other(tmp_path):
    put(tmp_path, "assess", {"map.html": "1", "a.txt": "a"})
    put(tmp_path, "map map.html", {"map.html": "2"})
    assert set(read_manifest(tmp_path).sets["assess"].files) == {"a.txt"}
    put(tmp_path, "assess", {"map.html": "3"})
    assert held(tmp_path) == {"map.html": "3"}
    assert set(read_manifest(tmp_path).sets) == {"assess"}


def test_an_ended_set_goes_with_its_files(tmp_path):
    put(tmp_path, "refused rows", {"rejected.csv": "r"})
    put(tmp_path, "assess", {"a.txt": "a"}, drops=["refused rows"])
    assert held(tmp_path) == {"a.txt": "a"}
    assert set(read_manifest(tmp_path).sets) == {"assess"}


def test_a_set_that_rests_on_a_former_assessment_says_so(tmp_path):
    put(tmp_path, "assess", {"a.txt": "1"}, assessment="monday")
    put(tmp_path, "plan", {"plan.csv": "1", "plan.json": "x", "z": "y"}, assessment="monday")
    assert read_manifest(tmp_path).resting_elsewhere() == {}
    put(tmp_path, "assess", {"a.txt": "2"}, assessment="tuesday")
    said = (
        "plan.csv, plan.json: made from the assessment of monday, not from the one in this "
        "folder; run saltreach plan again"
    )
    assert read_manifest(tmp_path).resting_elsewhere() == {"plan": said}
    assert read_manifest(tmp_path).sets["plan"].note == said
    put(tmp_path, "plan", {"plan.csv": "2"}, assessment="tuesday")
    assert read_manifest(tmp_path).sets["plan"].note == ""


def test_an_error_leaves_everything_as_it_was(tmp_path):
    put(tmp_path, "assess", FIRST)
    before = held(tmp_path), (tmp_path / MANIFEST).read_bytes()
    with pytest.raises(ZeroDivisionError), result_set(tmp_path, "assess") as work:
        (work / "a.txt").write_text("new")
        raise ZeroDivisionError
    assert (held(tmp_path), (tmp_path / MANIFEST).read_bytes()) == before
    assert hidden(tmp_path) == {LOCK}


def test_a_folder_made_for_nothing_is_removed_again(tmp_path):
    (tmp_path / "there").mkdir()
    with pytest.raises(ZeroDivisionError), claimed(tmp_path / "there" / "x" / "y"):
        raise ZeroDivisionError
    assert list((tmp_path / "there").iterdir()) == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("anchors.xlsx", "holds files that saltreach did not write (anchors.xlsx)"),
        ("notes/mine.txt", "did not write (notes/)"),
        ("plots/mine.png", "did not write (plots/mine.png)"),
        (".secret", "did not write (.secret)"),
        ("a.txt", "somebody changed what saltreach wrote there (a.txt)"),
    ],
)
def test_foreign_and_changed_files_are_refused_and_kept_when_told(tmp_path, name, said):
    put(tmp_path, "assess", FIRST)
    (tmp_path / name).parent.mkdir(exist_ok=True)
    (tmp_path / name).write_text("mine")
    with pytest.raises(OutputError, match=re.escape(said) + r".*--out, or --beside-other-files"):
        put(tmp_path, "assess", SECOND)
    assert (tmp_path / "b.txt").read_text() == "b1"
    put(tmp_path, "assess", SECOND, beside_other_files=True)
    found = held(tmp_path)
    assert "mine" in [
        *found.values(),
        *((tmp_path / name).read_text() for _ in [0] if name[0] == "."),
    ]
    assert {file: found[file] for file in SECOND} == SECOND


def test_a_changed_file_in_the_way_is_kept_under_a_name_that_says_so(tmp_path):
    put(tmp_path, "assess", FIRST)
    (tmp_path / "a.txt").write_text("mine")
    (tmp_path / "gone.txt").write_text("mine too")
    with claimed(tmp_path, beside_other_files=True) as claim:
        put(claim, "assess", SECOND)
    kept = sorted(set(held(tmp_path)) - set(SECOND))
    assert [re.sub(r"\d{8}-\d{6}", "T", name) for name in kept] == [
        "a.yours-T.txt", "gone.yours-T.txt",
    ]  # fmt: skip
    assert [held(tmp_path)[name] for name in kept] == ["mine", "mine too"]
    assert claim.kept == [
        f"{name} was not written by saltreach or was changed since: kept as {new}"
        for name, new in zip(("a.txt", "gone.txt"), kept, strict=True)
    ]


def test_what_is_changed_while_the_run_lasts_is_kept_too(tmp_path):
    put(tmp_path, "assess", FIRST)
    with claimed(tmp_path) as claim:
        (tmp_path / "a.txt").write_text("typed meanwhile")
        put(claim, "assess", SECOND)
    assert "typed meanwhile" in held(tmp_path).values()
    assert len(claim.kept) == 1


def test_a_link_or_a_file_in_place_of_a_folder_of_ours_leads_nowhere_else(tmp_path):
    put(tmp_path / "out", "assess", FIRST)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out" / "plots" / "one.png").unlink()
    (tmp_path / "out" / "plots").rmdir()
    (tmp_path / "out" / "plots").symlink_to(tmp_path / "elsewhere")
    put(tmp_path / "out", "assess", SECOND, beside_other_files=True)
    assert list((tmp_path / "elsewhere").iterdir()) == []
    assert (tmp_path / "out" / "plots" / "two.png").read_text() == "q2"


def test_files_of_the_system_and_other_folders_of_results_do_not_count(tmp_path):
    for name in (".DS_Store", "Thumbs.db", "desktop.ini", "~$plan.xlsx", ".~lock.plan.xlsx#"):
        (tmp_path / name).write_text("")
    put(tmp_path / "plan", "plan", {"plan.csv": "p"})
    put(tmp_path, "assess", FIRST)
    put(tmp_path, "assess", SECOND)
    assert (tmp_path / "plan" / "plan.csv").read_text() == "p"


def test_a_refusal_names_the_first_five(tmp_path):
    for n in range(40):
        (tmp_path / f"f{n:02d}").write_text("")
    with pytest.raises(OutputError, match=r"\(f00, f01, f02, f03, f04, and more\)"):
        put(tmp_path, "assess", FIRST)
    assert hidden(tmp_path) == set()  # a refused folder is left without a trace


@pytest.mark.parametrize("beside", [False, True])
def test_a_file_that_is_open_in_a_gis_is_never_replaced(tmp_path, beside):
    put(tmp_path, "assess", {"x.gpkg": "1"})
    (tmp_path / "x.gpkg-wal").write_text("unsaved")
    with pytest.raises(OutputError, match=r"x\.gpkg is open in another program"):
        put(tmp_path, "assess", {"x.gpkg": "2"}, beside_other_files=beside)


@pytest.mark.parametrize("beside", [False, True])
def test_a_folder_that_holds_an_input_is_always_refused(tmp_path, beside):
    own, ours = tmp_path / "sub" / "anchors.csv", tmp_path / "plan.csv"
    put(tmp_path, "plan", {"plan.csv": "p"})
    own.parent.mkdir()
    own.write_text("mine")
    (tmp_path.parent / f"{tmp_path.name}-link").symlink_to(tmp_path)
    for out in (tmp_path, tmp_path.parent / f"{tmp_path.name}-link"):
        how = {"inputs": [own], "beside_other_files": beside}
        with pytest.raises(OutputError, match="which you gave to be read"), claimed(out, **how):
            pass
    own.unlink()
    own.parent.rmdir()
    with claimed(tmp_path, inputs=[ours]):
        pass  # saltreach wrote it there, and nobody changed it
    ours.write_text("edited")
    how = {"inputs": [ours], "beside_other_files": beside}
    with pytest.raises(OutputError, match=r"plan\.csv, which you gave"), claimed(tmp_path, **how):
        pass
    with pytest.raises(OutputError, match="is the file you gave to be read"):
        claimed(ours, inputs=[ours]).__enter__()


def test_an_input_through_a_link_is_the_file_it_leads_to(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "anchors.csv").write_text("mine")
    (tmp_path / "link.csv").symlink_to(out / "anchors.csv")
    how = {"inputs": [tmp_path / "link.csv"], "beside_other_files": True}
    with pytest.raises(OutputError, match=r"link\.csv, which you gave"), claimed(out, **how):
        pass


def test_one_file_beside_others_matters_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("mine")
    with claimed(tmp_path, only=["m.html"]) as claim:
        put(claim, "map m.html", {"m.html": "1"})
    with claimed(tmp_path, only=["m.html"]) as claim:
        put(claim, "map m.html", {"m.html": "2"})
    (tmp_path / "m.html").write_text("mine")
    with pytest.raises(OutputError, match=r"m\.html is there and saltreach did not write it"):
        claimed(tmp_path, only=["m.html"]).__enter__()
    assert held(tmp_path) == {"letter.txt": "mine", "m.html": "mine"}


@pytest.mark.parametrize("beside", [False, True])
def test_where_one_file_is_written_only_an_input_of_that_name_is_in_the_way(tmp_path, beside):
    (tmp_path / "sub").mkdir()
    below = tmp_path / "sub" / "x.tif"
    below.write_text("mine")
    (tmp_path / "m.html").write_text("mine too")
    how = {"inputs": [below, tmp_path / "m.html"], "beside_other_files": beside}
    with claimed(tmp_path, only=["other.html"], **how) as claim:
        put(claim, "map other.html", {"other.html": "1"})
    for only, name in (("m.html", "m.html"), ("sub/zarr.json", "x.tif")):
        with (
            pytest.raises(OutputError, match=rf"{name}, which you gave to be read: .* --out$"),
            claimed(tmp_path, only=[only], **how),
        ):
            pass
    assert held(tmp_path) == {"m.html": "mine too", "other.html": "1", "sub/x.tif": "mine"}


def test_a_damaged_list_owns_nothing(tmp_path):
    put(tmp_path, "assess", FIRST)
    (tmp_path / MANIFEST).write_text("{")
    with pytest.raises(OutputError, match="did not write"):
        put(tmp_path, "assess", SECOND)
    put(tmp_path, "assess", SECOND, beside_other_files=True)
    assert {"a1", "b1", "g1"} <= set(held(tmp_path).values())


@pytest.mark.parametrize("name", ["../outside.txt", "/outside.txt", "a\\..\\b", ""])
def test_lists_and_journals_from_elsewhere_reach_no_other_folder(tmp_path, name):
    folder, outside = tmp_path / "in", tmp_path / "outside.txt"
    folder.mkdir()
    outside.write_text("mine")
    sets = {"assess": {"command": "x", "time": "t", "files": {name: "0"}}}
    (folder / MANIFEST).write_text(json.dumps({"sets": sets}))
    assert read_manifest(folder) == Manifest()
    (folder / MANIFEST).unlink()
    (folder / JOURNAL).write_text(
        json.dumps({"work": f"{WORK_PREFIX}x", "stamp": "1", "moves": {}, "gone": {name: "0"}})
    )
    with pytest.raises(OutputError, match="cannot be understood"):
        mend(folder)
    (folder / JOURNAL).write_text(
        json.dumps({"work": f"../{WORK_PREFIX}x", "stamp": "1", "moves": {}, "gone": {}})
    )
    with pytest.raises(OutputError, match="cannot be understood"):
        mend(folder)
    assert outside.read_text() == "mine"


def test_ours_and_unchanged(tmp_path):
    put(tmp_path, "assess", FIRST)
    assert unchanged(tmp_path / "plots" / "one.png")
    (tmp_path / "plots" / "one.png").write_text("x")
    assert not unchanged(tmp_path / "plots" / "one.png")
    assert not unchanged(tmp_path / "other")
    assert not unchanged(tmp_path.parent / "other")


def test_the_list_as_text_leaves_out_what_is_empty():
    text = Manifest().with_set("s", FileSet("c", "t", {"a": "0"})).text()
    assert json.loads(text)["sets"] == {"s": {"command": "c", "time": "t", "files": {"a": "0"}}}


CALLS = ("rename", "replace", "unlink", "rmdir", "fsync", "mkdir", "open", "scandir", "lstat")
"""What is asked of the system while files are written and moved."""


def killed(monkeypatch, end, work):
    """Whether a fork that does `work` was killed (-9) before its nth call of the system."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
    count = 0

    def counted(real):
        def call(*args, **kwargs):
            nonlocal count
            count += 1
            if count == end:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*args, **kwargs)

        return call

    try:
        for name in CALLS:
            monkeypatch.setattr(os, name, counted(getattr(os, name)))
        work()
    finally:
        os._exit(0)


def whole(folder):
    """Which of the two sets stands in a folder, if one does."""
    found = {name: text for name, text in held(folder).items() if name != UNFINISHED}
    return {"first": found == FIRST, "second": found == SECOND}


def test_a_kill_at_any_moment_loses_and_mixes_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _: None)  # a kill is no loss of power
    seen, end = [], 0
    while True:
        end += 1
        out = tmp_path / str(end)
        put(out, "assess", FIRST)
        if not killed(monkeypatch, end, partial(put, out, "assess", SECOND)):
            break
        found = whole(out)
        mixed = not any(found.values())
        assert not mixed or (out / UNFINISHED).is_file(), end  # a person is told
        read = read_whole(out, partial(whole, out))  # as every command that reads does first
        assert any(read.values()), end
        assert not (out / UNFINISHED).exists()
        if mixed:  # what was decided is carried on, never undone
            assert read["second"], end
        with claimed(out):  # the lock of the dead holds nobody up
            assert hidden(out) == {LOCK}
        seen.append((mixed, read["second"]))
    assert len(seen) >= 50
    assert sum(mixed for mixed, _ in seen) >= 10
    assert (seen[0], seen[-1]) == ((False, False), (False, True))
    news = [second for _, second in seen]
    assert news == sorted(news)  # one moment decides


def test_mending_may_be_killed_as_well(tmp_path, monkeypatch):
    def cut_off(out):
        put(out, "assess", FIRST)
        real, moved = os.replace, []

        def once(*args):
            if len(moved) == 2:
                raise KeyboardInterrupt
            moved.append(args)
            return real(*args)

        with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
            patch.setattr(os, "replace", once)
            put(out, "assess", SECOND)
        assert (out / JOURNAL).exists()

    monkeypatch.setattr(os, "fsync", lambda _: None)
    end = 0
    while True:
        end += 1
        out = tmp_path / str(end)
        cut_off(out)
        alive = not killed(monkeypatch, end, partial(mend, out))
        mend(out)
        assert whole(out)["second"], end
        if alive:
            break
    assert end > 15


def test_what_is_edited_between_a_kill_and_its_mending_is_kept(tmp_path, monkeypatch):
    put(tmp_path, "assess", FIRST)
    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr("saltreach.folders.swap.finish", lambda _: (_ for _ in ()).throw(
            KeyboardInterrupt))  # fmt: skip
        put(tmp_path, "assess", SECOND)
    (tmp_path / "a.txt").write_text("typed meanwhile")
    with claimed(tmp_path, beside_other_files=True) as claim:
        assert len(claim.kept) == 1 and claim.kept[0].startswith("a.txt was not written by")
    found = held(tmp_path)
    assert {name: found.pop(name) for name in SECOND} == SECOND
    assert list(found.values()) == ["typed meanwhile"]


def test_an_unfinished_folder_that_cannot_be_mended_is_not_read(tmp_path, monkeypatch):
    (tmp_path / JOURNAL).write_text("{}")

    def refused(*_args, **_kwargs):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(claims, "finish", refused)
    with pytest.raises(OutputError, match=r"files of two runs are mixed in it; make it writable"):
        read_whole(tmp_path, lambda: "read")


def test_reading_waits_for_a_move_and_sees_one_run(tmp_path):
    put(tmp_path, "assess", FIRST)
    reads = []

    def read():
        reads.append((tmp_path / "a.txt").read_text())
        if len(reads) == 1:
            put(tmp_path, "assess", SECOND)  # another run ends just now
        if len(reads) == 2:
            raise (
                FileNotFoundError("in the midst of another move")
                if put(tmp_path, "assess", FIRST) is None
                else None
            )
        return reads[-1], (tmp_path / "b.txt").read_text()

    assert read_whole(tmp_path, read) == ("a1", "b1")
    assert len(reads) == 3
    with pytest.raises(FileNotFoundError):
        read_whole(tmp_path, lambda: (tmp_path / "nowhere").read_text())

    def busy():
        put(tmp_path, "assess", {"a.txt": str(os.urandom(4))})

    with pytest.raises(OutputError, match="written to while it was read"):
        read_whole(tmp_path, busy)


def test_two_runs_at_once_the_second_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(claims, "WAIT_S", 0.1)
    monkeypatch.setattr(claims, "WAIT_TO_READ_S", 0.1)
    ready, done = os.pipe(), os.pipe()
    child = os.fork()
    if not child:
        try:
            with claimed(tmp_path) as claim:
                os.write(ready[1], b"x")
                os.read(done[0], 1)
                put(claim, "assess", FIRST)
        finally:
            os._exit(0)
    os.read(ready[0], 1)
    with pytest.raises(OutputError, match="another saltreach is writing there; wait"):
        put(tmp_path, "plan", SECOND)
    (tmp_path / UNFINISHED).write_text("saltreach was ended while")
    with pytest.raises(OutputError, match="another saltreach is writing there; wait"):
        mend(tmp_path)
    (tmp_path / UNFINISHED).unlink()
    os.write(done[1], b"x")
    os.waitpid(child, 0)
    assert held(tmp_path) == FIRST
    for end in (*ready, *done):
        os.close(end)


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.ENOSPC, "the disk is full; make room there"),
        (errno.EDQUOT, "your share of the disk is used up; make room there"),
        (errno.EROFS, "that disk is read-only; give another --out"),
        (errno.EACCES, "you may not write there"),
    ],
)
def test_what_the_system_refuses_is_one_sentence_and_nothing_changes(tmp_path, number, said):
    put(tmp_path, "assess", FIRST)
    with pytest.raises(OutputError) as raised, result_set(tmp_path, "assess") as work:
        (work / "a.txt").write_text("new")
        raise OSError(number, os.strerror(number), str(work / "a.txt"))
    assert str(raised.value).startswith(f"{tmp_path} cannot be written: {said}")
    assert held(tmp_path) == FIRST


def test_a_full_disk_that_a_library_tells_in_words():
    said = "p cannot be written: the disk is full; make room there, or give another --out"
    assert str(cannot_write("p", RuntimeError("sqlite: database or disk is full"))) == said
    assert cannot_write("p", RuntimeError("something else")) is None
    assert cannot_write("p", OSError("something else")) is None


def test_a_full_disk(tmp_path):
    """A disk of 64 kB, where this may be mounted."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)]
    if os.geteuid() or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no disk can be mounted here")
    try:
        put(disk / "out", "assess", FIRST)
        with pytest.raises(OutputError, match="the disk is full; make room there"):
            put(disk / "out", "assess", {"a.txt": "x" * 200_000})
        assert held(disk / "out") == FIRST
        assert hidden(disk / "out") == {LOCK}
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_places_where_nothing_can_be_written(tmp_path):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    (tmp_path / "circle").symlink_to(tmp_path / "circle")
    for name, said in {
        "file": "is a file: give another --out",
        "file/below": "a part of the path is a file",
        "dangling": f"is a link to {tmp_path / 'nowhere'}, which does not exist",
        "circle": "circle; give another --out",
        "n" * 300: "the name is too long; give a shorter --out",
    }.items():
        with pytest.raises(OutputError, match=re.escape(said)):
            put(tmp_path / name, "assess", FIRST)
    if Path("/proc/self").exists():
        with pytest.raises(OutputError, match="/proc/x cannot be written: no folder can be made"):
            put("/proc/x", "assess", FIRST)
    assert (tmp_path / "file").read_text() == "mine"
    with pytest.raises(OutputError, match=r"sub is a folder: give another --out"):
        (tmp_path / "sub").mkdir()
        claimed(tmp_path, only=["sub"]).__enter__()


def test_a_folder_that_one_may_not_write_to(tmp_path):
    """In a fork of another user, where the tests run as root: root may write everywhere."""
    out = tmp_path / "out"
    put(out, "assess", FIRST)
    out.chmod(0o555)
    for path in (tmp_path, *tmp_path.parents[:2]):
        path.chmod(0o755)
    told = os.pipe()
    child = os.fork()
    if not child:
        try:
            if not os.geteuid():
                os.setuid(65534)
            put(out, "assess", SECOND)
        except OutputError as error:
            os.write(told[1], str(error).encode())
        finally:
            os._exit(0)
    os.close(told[1])
    os.waitpid(child, 0)
    said = os.read(told[0], 1000).decode()
    os.close(told[0])
    out.chmod(0o755)
    assert (
        said == f"{out} cannot be written: you may not write there; ask for the right, or give "
        "another --out"
    )
    assert held(out) == FIRST


def test_a_file_handed_in_that_cannot_be_opened():
    assert cannot_read(IsADirectoryError(errno.EISDIR, "Is a directory", "x")) == (
        "x is a folder: give a file"
    )
    assert cannot_read(PermissionError(errno.EACCES, "Permission denied", "x")) == (
        "x cannot be opened (permission denied): check the path and who may read it"
    )
    assert cannot_read(OSError("no name")) is None


def test_a_link_in_place_of_a_file_of_ours_is_somebodys(tmp_path):
    out = tmp_path / "out"
    put(out, "assess", FIRST)
    (out / "a.txt").rename(tmp_path / "moved.txt")
    (out / "a.txt").symlink_to(tmp_path / "moved.txt")
    with pytest.raises(OutputError, match=r"somebody changed .*\(a\.txt\)"):
        put(out, "assess", SECOND)
    put(out, "assess", SECOND, beside_other_files=True)
    assert (tmp_path / "moved.txt").read_text() == "a1"
    assert sum(path.is_symlink() for path in out.iterdir()) == 1


def test_a_geopackage_that_was_only_looked_at_is_not_changed(tmp_path):
    """Programs open it in another mode of its journal and count that as a change."""
    path = tmp_path / "a.gpkg"
    with closing(sqlite3.connect(path)) as base:
        base.execute("CREATE TABLE t (a)")
        base.execute("INSERT INTO t VALUES (1)")
        base.commit()
    before, raw = checksum(path), path.read_bytes()
    for mode in ("WAL", "DELETE"):
        with closing(sqlite3.connect(path)) as base:
            assert base.execute(f"PRAGMA journal_mode = {mode}").fetchone() == (mode.lower(),)
    assert path.read_bytes() != raw and checksum(path) == before
    with closing(sqlite3.connect(path)) as base:
        base.execute("UPDATE t SET a = 2")
        base.commit()
    assert checksum(path) != before
