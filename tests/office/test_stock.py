"""What is on each van, and the files of a stock take."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from visited import at, part, stock_entry, visited

from jobnotes.errors import JobnotesError
from jobnotes.office.stock import Level, levels, read_stock_take
from jobnotes.register import PartRow, Register

REGISTER = Register(
    parts=[
        PartRow(
            "HF-310",
            "Return filter",
            "each",
            Decimal("21.40"),
            4,
            {"van_minimum": "2", "order_quantity": "6"},
        ),
        PartRow("OIL-46", "Hydraulic oil 46", "L", Decimal("3.10"), 40),
        PartRow("BE-7", "Beacon", "each", None, None),
    ]
)


def level(found: list[Level], number: str, van: str = "Tamsin Quill") -> Level:
    (one,) = [each for each in found if each.part_number == number and each.van == van]
    return one


def test_a_van_starts_with_the_registers_stock_and_loses_what_is_fitted() -> None:
    found = levels(
        [visited(1, parts=[part("return filter", "hf310", 1), part("oil", "OIL-46", 7.5, unit="L")])],
        REGISTER,
        [],
    )
    assert level(found, "HF-310").quantity == 3
    assert level(found, "OIL-46").quantity == Decimal("32.5")
    assert level(found, "HF-310").sheets == (1,)


@pytest.mark.parametrize("status", ["not_used", "to_order", "ordered"])
def test_a_part_that_stayed_off_the_machine_stays_on_the_van(status: str) -> None:
    found = levels([visited(1, parts=[part("filter", "HF-310", 2, status)])], REGISTER, [])
    assert level(found, "HF-310").quantity == 4


def test_each_engineer_has_a_van_whatever_the_spaces_and_capitals() -> None:
    visits = [
        visited(1, parts=[part("filter", "HF-310")]),
        visited(2, engineer="tamsin  quill", parts=[part("filter", "HF-310")]),
        visited(3, engineer="Wilf Arden", parts=[part("filter", "HF-310", 3)]),
    ]
    found = levels(visits, REGISTER, [])
    assert level(found, "HF-310", "Wilf Arden").quantity == 1
    assert level(found, "HF-310", "tamsin  quill").quantity == 2
    assert len({each.van for each in found}) == 2


def test_a_count_takes_the_place_of_all_that_was_before_it() -> None:
    visits = [
        visited(1, 0, parts=[part("filter", "HF-310", 3)]),
        visited(2, 9, parts=[part("filter", "HF-310", 1)]),
    ]
    entries = [
        stock_entry("received", "HF-310", "10", 3),
        stock_entry("count", "HF-310", "5", 5),
        stock_entry("received", "HF-310", "2", 7),
        stock_entry("correction", "HF-310", "-1", 8),
    ]
    found = level(levels(visits, REGISTER, entries), "HF-310")
    assert found.quantity == 5 + 2 - 1 - 1
    assert (found.opening, found.received, found.corrected, found.used) == (5, 2, -1, 1)
    assert found.counted_at == at(5)


def test_the_count_of_one_van_leaves_the_others_and_other_parts_alone() -> None:
    visits = [visited(1), visited(2, engineer="Wilf Arden")]
    found = levels(visits, REGISTER, [stock_entry("count", "HF-310", "9", 1)])
    assert level(found, "HF-310", "Wilf Arden").quantity == 4
    assert level(found, "OIL-46").quantity == 40


def test_the_newest_count_counts_whatever_the_order_of_the_entries() -> None:
    entries = [stock_entry("count", "HF-310", "7", 9), stock_entry("count", "HF-310", "3", 2)]
    assert level(levels([visited(1)], REGISTER, entries), "HF-310").quantity == 7
    assert level(levels([visited(1)], REGISTER, entries[::-1]), "HF-310").quantity == 7


def test_an_amendment_changes_how_many_and_not_when() -> None:
    # Signed before the count, amended after it: what was counted was without the parts already.
    amended = visited(1, 0, revision=2, signed_at=at(20), parts=[part("filter", "HF-310", 4)])
    counted = [stock_entry("count", "HF-310", "6", 10)]
    assert level(levels([amended], REGISTER, counted), "HF-310").quantity == 6
    assert level(levels([amended], REGISTER, []), "HF-310").quantity == 0


def test_a_withdrawn_sheet_gives_its_parts_back() -> None:
    visit = visited(1, parts=[part("filter", "HF-310", 4)])
    assert level(levels([visit, visited(2)], REGISTER, []), "HF-310").quantity == 0
    assert level(levels([visited(2)], REGISTER, []), "HF-310").quantity == 4


def test_below_nought_and_below_the_minimum_are_marked() -> None:
    found = level(levels([visited(1, parts=[part("filter", "HF-310", 5)])], REGISTER, []), "HF-310")
    assert found.quantity == -1 and found.below_nought and found.below_minimum
    assert found.marks == ("below nought", "below the minimum of 2")
    two = level(levels([visited(1, parts=[part("filter", "HF-310", 2)])], REGISTER, []), "HF-310")
    assert two.quantity == 2 and not two.below_minimum and two.marks == ()


def test_a_part_that_the_register_lacks_is_listed_and_not_reckoned() -> None:
    found = levels([visited(1, parts=[part("odd bracket", "ZZ-1", 2), part("rag", "", 3)])], REGISTER, [])
    odd = level(found, "ZZ-1")
    assert odd.quantity is None and odd.used == 2 and "not in the register" in odd.marks
    assert not odd.below_nought and not odd.below_minimum
    assert [each.description for each in found][-2:] == ["rag", "odd bracket"]


def test_a_part_that_an_entry_names_is_reckoned() -> None:
    entries = [stock_entry("received", "ZZ-1", "5", 0, hour=8)]
    found = level(levels([visited(1, parts=[part("odd bracket", "ZZ-1", 2)])], REGISTER, entries), "ZZ-1")
    assert found.quantity == 3 and not found.in_register


def test_another_unit_than_the_registers_is_told_and_not_taken_off() -> None:
    found = level(levels([visited(8, parts=[part("oil", "OIL-46", 1, unit="each")])], REGISTER, []), "OIL-46")
    assert found.quantity == 40
    assert "sheet 8 has 1 each where the register counts in L" in found.remarks[0]


def test_tenths_are_taken_off_exactly() -> None:
    visits = [visited(n, parts=[part("oil", "OIL-46", 0.1, unit="L")]) for n in range(1, 4)]
    assert level(levels(visits, REGISTER, []), "OIL-46").quantity == Decimal("39.7")


def test_a_minimum_that_is_no_quantity_is_told() -> None:
    register = Register(parts=[PartRow("A-1", "Clip", van_stock=1, extra={"van_minimum": "1e3"})])
    assert levels([visited(1)], register, [])[0].remarks == (
        "van_minimum of part A-1 is '1e3', not a quantity",
    )


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["use", "count", "received", "correction"]), st.integers(0, 9)), max_size=12
    )
)
def test_the_level_is_what_a_store_keeper_would_reckon_day_by_day(steps: list[tuple[str, int]]) -> None:
    visits, entries, on_the_shelf = [], [], 4
    for day, (what, many) in enumerate(steps):
        if what == "use":
            if many:
                visits.append(visited(day + 1, day, parts=[part("filter", "HF-310", many)]))
            on_the_shelf -= many
        else:
            entries.append(stock_entry(what, "HF-310", str(many), day))
            on_the_shelf = many if what == "count" else on_the_shelf + many
    found = levels([*visits, visited(99)], REGISTER, entries)
    assert level(found, "HF-310").quantity == on_the_shelf


def take(path: Path, text: str | bytes) -> Path:
    file = path / "count.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def test_a_stock_take_is_read(tmp_path: Path) -> None:
    read = read_stock_take(
        take(tmp_path, "\ufeffpart_number,count\r\nhf 310,3\r\n\r\nOIL-46,12.5\r\n"), REGISTER
    )
    assert read.problems == ()
    assert [(each.part_number, each.count, each.line) for each in read.counts] == [
        ("hf 310", 3, 2),
        ("OIL-46", Decimal("12.5"), 4),
    ]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("NO-9,3", "line 3: part 'NO-9' is not in the register"),
        ("HF310,3", "line 3: part 'HF310' stands already in line 2"),
        ("OIL-46,", "line 3: the count of part 'OIL-46' is empty"),
        ("OIL-46,-1", "line 3: the count of part 'OIL-46' is '-1'"),
        ("OIL-46,lots", "line 3: the count of part 'OIL-46' is 'lots'"),
        ("OIL-46,NaN", "'NaN', not a number"),
        ("OIL-46,1e9", "'1e9', not a number"),
        ("OIL-46,1_0", "'1_0', not a number"),
        ("OIL-46,1,5", "line 3: 3 cells where the header has 2"),
        (",4", "line 3: part_number is empty"),
    ],
)
def test_a_bad_line_of_a_stock_take_is_named(tmp_path: Path, line: str, says: str) -> None:
    read = read_stock_take(take(tmp_path, f"part_number,count\nHF-310,3\n{line}\n"), REGISTER)
    assert len(read.problems) == 1 and says in read.problems[0]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("part_number;count\nHF-310;3\n", "there is no column 'part_number;count'"),
        ("part_number\nHF-310\n", "the column 'count' is missing"),
        ("part_number,count,count\nHF-310,1,2\n", "the column 'count' stands there twice"),
        ("", "holds no counts"),
        ("part_number,count\nHF-310,3\n".encode("utf-16"), "is not UTF-8"),
    ],
)
def test_a_file_that_is_no_stock_take_is_refused(tmp_path: Path, content: str | bytes, says: str) -> None:
    read = read_stock_take(take(tmp_path, content), REGISTER)
    assert read.counts == () and says in read.problems[0]


def test_a_stock_take_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(JobnotesError, match="There is no file"):
        read_stock_take(tmp_path / "none.csv", REGISTER)


def test_a_part_that_an_entry_knows_may_be_counted(tmp_path: Path) -> None:
    file = take(tmp_path, "part_number,count\nZZ-1,3\n")
    assert read_stock_take(file, REGISTER, [stock_entry("received", "ZZ-1", "5", 0)]).problems == ()
