"""Returns in any order, and taken back in any order."""

import tempfile
from pathlib import Path

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers.returned import NOW, REGISTER, TODAY, row, sheet
from saltreach import read_register
from saltreach.records.entering import entered
from saltreach.records.events import Event, frame_of
from saltreach.records.returns import read_returns
from saltreach.records.state import live, state_of
from saltreach.vocabulary.words import TAP_RESPONSES


class Held:
    """A book in memory, for the reader of returns."""

    def __init__(self, folder: Path) -> None:
        register = folder / "register.csv"
        register.write_text(REGISTER)
        found = read_register(register, today=TODAY)
        self.all = list(entered(found, who="HO", on=NOW.date()))

    def events(self):
        return frame_of(self.all)

    def anchors(self):
        return state_of(self.events())

    def write(self, events):
        known = {event.event_id for event in self.all}
        self.all += [event for event in events if event.event_id not in known]


anything = {
    "condition": st.integers(0, 4),
    "findings": st.sampled_from(["loose", "bent; loose", "rust film"]),
    "tap_response": st.sampled_from(TAP_RESPONSES),
    "material": st.sampled_from(["316", "titanium", "unknown"]),
    "done": st.sampled_from(["looked at", "replaced", "removed", "closed", "not reached"]),
    "proof_result": st.sampled_from(["held", "moved"]),
}
rows = st.builds(
    lambda anchor, who, day, record, more: row(
        anchor, who, f"2026-10-0{day}", **({"record_id": f"r{record}"} if record else {}), **more
    ),
    st.sampled_from(["a1", "a2", "b1"]),
    st.sampled_from(["AB", "CD"]),
    st.integers(1, 3),
    st.sampled_from([0, 0, 1, 2]),
    st.fixed_dictionaries({}, optional=anything),
)


def plain(table: pd.DataFrame) -> list:
    return table.astype(object).where(table.notna(), None).to_numpy().tolist()


@settings(max_examples=4)
@given(
    files=st.lists(st.lists(rows, min_size=1, max_size=4), min_size=1, max_size=3), data=st.data()
)
def test_the_order_of_files_does_not_matter_and_all_can_be_taken_back(files, data):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        book = Held(folder)
        paths = [sheet(folder / f"{n}.csv", *given) for n, given in enumerate(files)]
        found = read_returns(paths, book, today=TODAY)
        other = data.draw(st.permutations(paths))
        again = read_returns(other, book, today=TODAY)
        assert [e.event_id for e in again.events] == [e.event_id for e in found.events]
        first = plain(book.anchors())
        book.write(found.events)
        assert not read_returns(paths, book, today=TODAY).events
        ids = data.draw(st.permutations([event.event_id for event in found.events]))
        about = {event.event_id: event.anchor_id for event in found.events}
        for turn in range(5 * len(ids)):  # what ends another may bring a third to life again
            events = book.events()
            alive = set(events.loc[live(events), "event_id"])
            left = [one for one in ids if one in alive]
            if not left:
                break
            who = f"HO {turn}"
            book.write(
                Event(about[one], "taken back", "2026-11-24", who, replaces=one) for one in left[:2]
            )
        assert plain(book.anchors()) == first


@settings(max_examples=4)
@given(files=st.lists(st.lists(rows, min_size=1, max_size=3), min_size=2, max_size=3))
def test_the_worse_of_two_holds_in_any_order_of_reading(files):
    """Read one after the other, each way round: looks and taps end in the same state."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        looks = [
            [
                {k: v for k, v in one.items() if k not in ("done", "material", "record_id")}
                for one in given
            ]
            for given in files
        ]
        ends = []
        for order in (looks, looks[::-1]):
            book = Held(folder)
            for number, given in enumerate(order):
                path = sheet(folder / f"{number}.csv", *given)
                book.write(read_returns([path], book, today=TODAY).events)
            names = ["anchor_id", "condition", "tap_response", "findings"]
            ends.append(plain(book.anchors().sort_values("anchor_id")[names]))
        assert ends[0] == ends[1]
