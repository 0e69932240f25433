"""The return file of a phone: what it may hold, and every way in which it may be hostile."""

import hashlib
import json
import zipfile

import pytest

from helpers.returned import JPG, phone, row
from saltreach.errors import RegisterError
from saltreach.intake import return_file
from saltreach.intake.return_file import copied, read_return_file

GOOD = row("a1", record_id="r1", condition=2, findings=["loose", "bent"], set_at="09:30")


def archive(path, **files):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in files.items():
            made.writestr(name.replace("__", "/"), data)
    return path


def record(**more):
    return {"format": "saltreach return", "version": 1, "who": "AB", "rows": [GOOD]} | more


def test_rows_and_photos_are_read(tmp_path):
    sheet, photos = read_return_file(phone(tmp_path / "r.zip", GOOD, photos={"a.jpg": JPG}))
    (found,) = sheet.rows
    assert (found["condition"], found["findings"], found["set_at"]) == (2, "bent; loose", 570)
    assert found["trip"] == "T" and not len(sheet.rejected)
    (photo,) = photos
    assert (photo.name, photo.suffix, photo.record_id) == ("a.jpg", ".jpg", "r1")
    with (tmp_path / "out.jpg").open("wb") as stream:
        copied(photo, stream)
    assert (tmp_path / "out.jpg").read_bytes() == JPG


@pytest.mark.parametrize(
    ("rows", "column", "reason"),
    [
        ([5], "", "not a record"),
        ([["a1"]], "", "not a record"),
        ([GOOD | {"condition": {"a": 1}}], "condition", "not a text, a number or a list"),
        ([GOOD | {"findings": ["loose", 3]}], "findings", "not a text, a number or a list"),
        ([GOOD | {"condition": 9}], "condition", "not in 0..4"),
        ([GOOD | {"condition": 1e300}], "condition", "not in 0..4"),
        ([GOOD | {"done": "eaten"}], "done", "not one of the words"),
        ([{"record_id": "r"}], "anchor_id", "missing"),
    ],
)
def test_a_bad_record_is_listed_and_the_others_are_kept(tmp_path, rows, column, reason):
    sheet, _ = read_return_file(phone(tmp_path / "r.zip", GOOD, *rows))
    assert [found["anchor_id"] for found in sheet.rows] == ["a1"]
    first = sheet.rejected.iloc[0]
    assert (first["row"], first["column"], first["file"]) == (2, column, "r.zip")
    assert reason in first["reason"]
    assert sheet.rows_read == 2


@pytest.mark.parametrize(
    ("listed", "reason"),
    [
        ({"file": "../../etc/passwd"}, "not the name of a photo"),
        ({"file": "/photos/a.jpg"}, "not the name of a photo"),
        ({"file": "photos/../a.jpg"}, "not the name of a photo"),
        ({"file": "photos/..\\a.jpg"}, "not the name of a photo"),
        ({"file": 7}, "not the name of a photo"),
        ({"file": "photos/b.jpg", "sha256": "0" * 64}, "not in the archive"),
        ({"file": "photos/a.jpg"}, "no checksum"),
        ({"file": "photos/a.jpg", "sha256": "0" * 64}, "another checksum"),
        ({"file": "photos/t.jpg", "sha256": hashlib.sha256(b"text").hexdigest()}, "no picture"),
    ],
)
def test_a_photo_that_is_not_what_it_says_is_listed_and_its_record_kept(tmp_path, listed, reason):
    text = json.dumps(record(photos=[listed]))
    files = {"return.json": text, "photos__a.jpg": JPG, "photos__t.jpg": b"text"}
    sheet, photos = read_return_file(archive(tmp_path / "r.zip", **files))
    assert len(sheet.rows) == 1 and not photos
    (bad,) = sheet.rejected.itertuples()
    assert bad.column == "photo" and reason in bad.reason and "its record is kept" in bad.fix


def test_nothing_is_written_beside_the_archive(tmp_path):
    files = {"return.json": json.dumps(record()), "..__evil.txt": b"x", "__etc__evil": b"x"}
    read_return_file(archive(tmp_path / "r.zip", **files))
    assert [found.name for found in tmp_path.iterdir()] == ["r.zip"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "cannot be read"),
        ("[]", "not of the format"),
        ("{}", "not of the format"),
        (json.dumps(record(version=2)), "version 2 of the return format, and 1 is known"),
        (json.dumps(record(version=None)), "version None"),
        (json.dumps(record(rows={})), "no list"),
        ('{"format": "saltreach return", "version": 1, "rows": [{"a": NaN}]}', "no number of JSON"),
        ('{"rows": [], "rows": [], "format": "saltreach return"}', "a name stands twice"),
        ("[" * 100_000, "cannot be read"),
        ("\udcff", "cannot be read"),
        ('{"format": ' + "9" * 5000 + "}", "cannot be read"),
    ],
)
def test_what_is_no_return_file_is_refused_in_a_sentence(tmp_path, text, said):
    data = text.encode("utf-8", "surrogateescape")
    with pytest.raises(RegisterError, match=said) as error:
        read_return_file(archive(tmp_path / "r.zip", **{"return.json": data}))
    assert str(error.value).startswith("r.zip: ") and len(str(error.value)) < 500


def test_archives_that_are_none_or_too_large_are_refused(tmp_path, monkeypatch):
    file = tmp_path / "r.zip"
    file.write_bytes(b"PK\x03\x04 cut off")
    with pytest.raises(RegisterError, match="damaged or no zip"):
        read_return_file(file)
    with pytest.raises(RegisterError, match=r"no return\.json in it"):
        read_return_file(archive(file, **{"other.json": "{}"}))
    file.write_bytes(b"")
    with pytest.raises(RegisterError, match="empty"):
        read_return_file(file)
    monkeypatch.setattr(return_file, "MOST_RECORDS_BYTES", 1000)
    with pytest.raises(RegisterError, match="unpacks to more than"):
        read_return_file(archive(file, **{"return.json": json.dumps(record(x="0" * 5000))}))
    monkeypatch.setattr(return_file, "MOST_PHOTO_BYTES", 50)
    sheet, photos = read_return_file(phone(tmp_path / "p.zip", GOOD, photos={"a.jpg": JPG}))
    assert not photos and "unpacks to more than" in sheet.rejected["reason"].iloc[0]
    monkeypatch.setattr(return_file, "MOST_FILES", 1)
    with pytest.raises(RegisterError, match="holds more than a return file does"):
        read_return_file(phone(tmp_path / "p.zip", GOOD, photos={"a.jpg": JPG}))


def test_what_the_archive_says_of_sizes_is_not_believed(tmp_path, monkeypatch):
    monkeypatch.setattr(return_file, "MOST_PHOTO_BYTES", 1_000_000)
    file = phone(tmp_path / "r.zip", GOOD, photos={"a.jpg": JPG + b"0" * 3_000_000})
    data = file.read_bytes()
    size = (len(JPG) + 3_000_000).to_bytes(4, "little")
    file.write_bytes(data.replace(size, (100).to_bytes(4, "little")))
    sheet, photos = read_return_file(file)
    assert not photos and len(sheet.rows) == 1 and len(sheet.rejected) == 1


def test_a_photo_changed_after_it_was_read_is_not_stored(tmp_path):
    file = phone(tmp_path / "r.zip", GOOD, photos={"a.jpg": JPG})
    (photo,) = read_return_file(file)[1]
    phone(file, GOOD, photos={"a.jpg": JPG + b"other"})
    with (tmp_path / "out").open("wb") as stream, pytest.raises(RegisterError, match="was changed"):
        copied(photo, stream)
