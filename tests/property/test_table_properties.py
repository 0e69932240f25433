"""Any text in any cell of any table: a good row, a listed one, or one error of ours."""

import csv
import io

import hypothesis.strategies as st
import pytest
from hypothesis import given

from saltreach.errors import SaltreachError
from saltreach.intake.sheets import read_table
from saltreach.intake.tables import TABLES

CELLS = st.one_of(
    st.sampled_from(
        ["", " ", "n/a", "?", "1", "-5", "1,5", "1,500", "2.0", "1e309", "yes", "C", "North", "316",
         "2027-04-30", "2027-02-30", "02-29", "09:30", "24:00", "1SA sun", "2027-08-01..2027-07-01",
         "closed", "rebolt", "granite", "bonded", "rope access; x", "0", "nan", "=1+1", "'x"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=8),
)  # fmt: skip


@pytest.mark.parametrize("table", TABLES, ids=lambda t: t.name)
@given(data=st.data())
def test_every_row_is_read_or_listed(tmp_path_factory, table, data):
    names = list(table.columns)
    rows = data.draw(
        st.lists(st.lists(CELLS, min_size=len(names), max_size=len(names)), max_size=6)
    )
    text = io.StringIO(newline="")
    csv.writer(text).writerows([names, *rows])
    path = tmp_path_factory.mktemp("table") / "t.csv"
    path.write_bytes(text.getvalue().encode("utf-8"))
    try:
        sheet = read_table(path, table)
    except SaltreachError as error:
        assert str(error)
        return
    assert len(sheet.rows) + sheet.rejected["row"].nunique() == sheet.rows_read <= len(rows)
    for row in sheet.rows:
        assert list(row) == [*names, "row"]
        for name, column in table.columns.items():
            assert row[name] is not None or not column.required
            if row[name] is not None and column.low is not None:
                assert column.low <= row[name] <= column.high
            if column.choices and row[name]:
                assert row[name] in column.choices
    assert (sheet.rejected["reason"] != "").all() and (sheet.rejected["fix"] != "").all()
