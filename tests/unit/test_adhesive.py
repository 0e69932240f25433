"""The user's data sheet: what is read, what is refused, and the expiry date."""

import datetime as dt

import numpy as np
import pytest

from saltreach.errors import OptionError
from saltreach.intake.datasheet import expiry_of, expiry_state, read_cure_table
from saltreach.science.rock import adhesive

GOOD = "rock_temperature_c,gel_min,cure_min\n20,6,60\n-5,60,600\n5,25,240\n"


def _file(tmp_path, text):
    file = tmp_path / "sheet.csv"
    file.write_text(text, encoding="utf-8")
    return file


def test_rows_are_sorted_and_met_exactly(tmp_path):
    table = read_cure_table(_file(tmp_path, GOOD))
    assert table.rock_temperature_c.tolist() == [-5, 5, 20]
    assert adhesive.cure_time_min([-5, 5, 20], table) == pytest.approx([600, 240, 60])
    assert adhesive.gel_time_min([-5, 5, 20], table) == pytest.approx([60, 25, 6])
    assert table.source == "sheet.csv"


def test_between_rows_time_falls_with_warmth_and_nan_passes(tmp_path):
    table = read_cure_table(_file(tmp_path, GOOD))
    times = adhesive.cure_time_min(np.array([*np.linspace(-5, 20, 51), np.nan]), table)
    assert (np.diff(times[:-1]) < 0).all()
    assert np.isnan(times[-1])


def test_a_wet_hole_takes_twice_as_long(tmp_path):
    table = read_cure_table(_file(tmp_path, GOOD))
    dry, wet = adhesive.cure_time_min(8.0, table, wet=[False, True])
    assert wet == pytest.approx(2 * dry)


@pytest.mark.parametrize("temperature_c", [-5.1, 20.1, 35.0])
def test_nothing_is_extrapolated(tmp_path, temperature_c):
    table = read_cure_table(_file(tmp_path, GOOD))
    for time in (adhesive.cure_time_min, adhesive.gel_time_min):
        with pytest.raises(OptionError, match=r"outside the table of sheet\.csv, -5 to 20 degC"):
            time([10.0, temperature_c], table)


HEAD = "rock_temperature_c,gel_min,cure_min\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD + "20,6,60\n5,x,240\n", "sheet.csv, row 3, gel_min = 'x': not a number"),
        (HEAD + "20,6,60\n5,,240\n", "row 3, gel_min = '': missing"),
        (HEAD + "20,6,60\n5,25\n", "row 3, cure_min = '': missing"),
        (HEAD + "20,6,0\n5,25,240\n", "row 2, cure_min = '0': not in 0.1..100000"),
        (HEAD + "20,6,inf\n5,25,240\n", "row 2, cure_min = 'inf': not a number"),
        (HEAD + "293,6,60\n278,25,240\n", "row 2, rock_temperature_c = '293': not in -40..60"),
        (HEAD + "20,60,6\n5,240,25\n", "gel_min, cure_min = '60, 6': it sets after it may be"),
        (HEAD + "20,6,60\n20,7,70\n", "rock_temperature_c = '20': already given in row 2"),
        (HEAD + "20,6,300\n5,25,240\n", "row 2, cure_min, rock_temperature_c = '300, 20': longer"),
        (HEAD + "20,6,60\n", "1 row(s) of cure times; give at least two"),
        ("heat,gel_min\n20,6\n", "no column rock_temperature_c and cure_min"),
    ],
)
def test_a_bad_sheet_is_refused_with_its_place(tmp_path, text, message):
    with pytest.raises(OptionError) as caught:
        read_cure_table(_file(tmp_path, text))
    assert message in str(caught.value)


def test_a_missing_file_is_an_error_of_ours(tmp_path):
    with pytest.raises(OptionError, match=r"none\.csv: no such file"):
        read_cure_table(tmp_path / "none.csv")


@pytest.mark.parametrize(
    ("printed", "day", "state"),
    [
        ("2026-04", dt.date(2026, 4, 30), "in date"),
        ("2026-04", dt.date(2026, 5, 1), "expired"),
        ("2024-02", dt.date(2024, 2, 29), "in date"),
        ("2026-04-10", dt.date(2026, 4, 10), "in date"),
        ("2026-04-10", dt.date(2026, 4, 11), "expired"),
        (" ", dt.date(2026, 1, 1), "unknown"),
    ],
)
def test_expiry(printed, day, state):
    assert expiry_state(printed, day) == state


@pytest.mark.parametrize("printed", ["3/4/2026", "13/2026", "2026-13", "2026-02-30", "soon"])
def test_an_unclear_date_is_refused(printed):
    with pytest.raises(OptionError, match="write 2026-04"):
        expiry_state(printed, dt.date(2026, 1, 1))


def test_a_sheet_with_semicolons_and_decimal_commas_is_read(tmp_path):
    text = "Rock temperature C;gel min;cure min\n20;6,5;60\n5;25;240\n"
    assert read_cure_table(_file(tmp_path, text)).gel_min.tolist() == [25, 6.5]


PRINTED = {
    "10/27": "2027-10", "1/27": "2027-01", "10.27": "2027-10", "10/2027": "2027-10",
    "10.2027": "2027-10", "10 / 2027": "2027-10", "10-2027": "2027-10", "2027-10": "2027-10",
    "2027/10": "2027-10", "202710": "2027-10", "1027": "2027-10", "102027": "2027-10",
    "2027-10-31": "2027-10-31", "20271031": "2027-10-31", "31.10.2027": "2027-10-31",
    "3/4/2027": "", "31.11.2027": "", "13/27": "", "10-27": "", "2027": "", "1999-10": "",
    "soon": "", "": "",
}  # fmt: skip


@pytest.mark.pinned("worked")
@pytest.mark.parametrize(("printed", "read"), PRINTED.items())
def test_an_expiry_is_read_as_printed_or_not_at_all(printed, read):
    assert expiry_of(printed) == read
