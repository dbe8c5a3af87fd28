"""Rows added to a ledger: what stands there stays, and what is written is read."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError, StoreError
from fieldmap.read.ledger import Known, read_ledger
from fieldmap.write.ledger import append_to_ledger

ROW = {"date": "2026-06-05", "machine": "m", "did": "mown", "field_id": "A", "area_ha": "2.50"}
HEAD = "date,machine,did,field_id,area_ha,note,who\n"


def test_by_hand_a_new_ledger_has_its_head(tmp_path: Path) -> None:
    path = tmp_path / "ledger.csv"
    append_to_ledger(path, [ROW, {**ROW, "who": "Ada"}])
    assert path.read_text("utf-8") == (
        f"{HEAD}2026-06-05,m,mown,A,2.50,,\n2026-06-05,m,mown,A,2.50,,Ada\n"
    )
    assert [one.name for one in tmp_path.iterdir()] == ["ledger.csv"]


@pytest.mark.parametrize("end", ["", "\n", "\n\n"])
def test_by_hand_what_stands_there_is_not_touched(tmp_path: Path, end: str) -> None:
    """By hand: other separators, order, columns and quotes; the new row in the same manner."""
    path = tmp_path / "ledger.csv"
    text = f'Machine;did;plot;Day;"area ha";field;note\r\n"m";mown;7;2026-06-01;"1,5";A;"x"{end}'
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    append_to_ledger(path, [ROW])
    held = path.read_bytes().decode("utf-8-sig")
    assert held.startswith(text)
    assert held[len(text) :].strip() == "m;mown;;2026-06-05;2,50;A;"
    table, _ = read_ledger(path, known=Known())
    assert table["area_ha"].tolist() == [1.5, 2.5]


def test_by_hand_utf16_stays_utf16(tmp_path: Path) -> None:
    path = tmp_path / "ledger.csv"
    path.write_bytes("date\tmachine\tdid\tfield\tnote\r\n".encode("utf-16"))
    append_to_ledger(path, [{**ROW, "area_ha": "", "note": "früh"}])
    assert path.read_bytes().decode("utf-16").endswith("\r\n2026-06-05\tm\tmown\tA\tfrüh\r\n")


def test_by_hand_a_column_that_lacks_is_added(tmp_path: Path) -> None:
    path = tmp_path / "ledger.csv"
    path.write_text('date,machine,did,field\n2026-06-01,m,mown,"A, B"\n', "utf-8")
    append_to_ledger(path, [ROW])
    assert path.read_text("utf-8") == (
        'date,machine,did,field,area_ha\n2026-06-01,m,mown,"A, B",\n2026-06-05,m,mown,A,2.50\n'
    )


def test_by_hand_a_formula_is_kept_from_running(tmp_path: Path) -> None:
    """By hand: only the row that needs it is marked."""
    path = tmp_path / "ledger.csv"
    append_to_ledger(path, [ROW])
    append_to_ledger(path, [{**ROW, "note": "=1+1", "who": "-Ada"}])
    assert path.read_text("utf-8").splitlines()[1:] == [
        "2026-06-05,m,mown,A,2.50,,,",
        "2026-06-05,m,mown,A,2.50,'=1+1,'-Ada,'",
    ]
    table, _ = read_ledger(path, known=Known())
    assert table["note"].tolist() == ["", "=1+1"]
    assert table["who"].tolist() == ["", "-Ada"]


def test_by_hand_what_cannot_be_read_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "ledger.csv"
    path.write_bytes(b'date,machine,did\n"never closed')
    with pytest.raises(InputError):
        append_to_ledger(path, [ROW])
    assert path.read_bytes() == b'date,machine,did\n"never closed'
    with pytest.raises(StoreError):
        append_to_ledger(tmp_path / "nowhere" / "ledger.csv", [ROW])


def test_by_hand_a_full_disk_leaves_it_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ledger.csv"
    append_to_ledger(path, [ROW])
    before = path.read_bytes()

    def full(place: Path) -> None:
        raise OSError(28, "No space left on device", str(place))

    monkeypatch.setattr("fieldmap.write.outputs.flush", full)
    with pytest.raises(StoreError, match="No space left"):
        append_to_ledger(path, [ROW])
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["ledger.csv"]


def test_by_hand_a_link_stays_a_link(tmp_path: Path) -> None:
    real = tmp_path / "shared.csv"
    link = tmp_path / "ledger.csv"
    real.write_text(HEAD, "utf-8")
    link.symlink_to(real)
    append_to_ledger(link, [ROW])
    assert link.is_symlink()
    assert len(real.read_text("utf-8").splitlines()) == 2


def _many(path: Path, who: str) -> None:
    for number in range(10):
        append_to_ledger(path, [{**ROW, "who": who, "note": str(number)}])


def test_by_hand_two_writers_lose_no_row(tmp_path: Path) -> None:
    """By hand: 3 processes with 10 rows each make 30 rows, each writer's in their order."""
    path = tmp_path / "ledger.csv"
    forks = multiprocessing.get_context("spawn")
    writers = [forks.Process(target=_many, args=(path, who)) for who in ("Ada", "Bo", "Ines")]
    for one in writers:
        one.start()
    for one in writers:
        one.join()
    assert [one.exitcode for one in writers] == [0, 0, 0]
    table, _ = read_ledger(path, known=Known())
    assert len(table) == 30
    for _, held in table.groupby("who"):
        assert held["note"].tolist() == [str(number) for number in range(10)]


WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12).map(str.strip)
HEADS = st.sampled_from(
    ["", HEAD, "date;machine;did\n", "did\tdate\tmachine\tfield\tx\n", "guard,did,day,machine,by\n"]
)


@given(HEADS, st.lists(st.tuples(WORDS, WORDS, WORDS), min_size=1, max_size=3))
def test_property_what_is_written_is_read(
    tmp_path_factory: pytest.TempPathFactory, head: str, told: list[tuple[str, str, str]]
) -> None:
    """Property: whatever the words and whatever stood there."""
    path = tmp_path_factory.mktemp("ledger") / "ledger.csv"
    if head:
        path.write_text(head, "utf-8")
    for field, note, who in told:
        append_to_ledger(path, [{**ROW, "field_id": field, "note": note, "who": who}])
    table, _ = read_ledger(path, known=Known())
    kept = table[["field_id", "note", "who"]].itertuples(index=False, name=None)
    assert list(kept) == told
    assert (table["area_ha"] == 2.5).all()
