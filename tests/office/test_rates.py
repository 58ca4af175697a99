"""rates.csv: which row holds, and what is said of one that can't be read."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import made
import pytest
from made import HOLLIN, TUCKERSETT, TUESDAY

from jobnotes.errors import JobnotesError
from jobnotes.office.rates import RATES, Rates, load_rates

HEADER = "rate,customer,from,until,amount,up_to_miles\n"
DOCS = Path(__file__).parents[2] / "docs" / "office.md"


def loaded(tmp_path: Path, *rows: str, header: str = HEADER) -> Rates:
    file = tmp_path / "rates.csv"
    file.write_text(header + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return load_rates(file)


def day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)


def test_a_row_for_everybody_and_an_agreement(tmp_path: Path) -> None:
    rates = loaded(tmp_path, "labour_normal,,,,58.50,", "labour_normal,HOLLIN  plant hire,,,52,")
    assert rates.problems == []
    assert rates.at("labour_normal", TUCKERSETT, TUESDAY) == Decimal("58.50")
    assert rates.at("labour_normal", HOLLIN, TUESDAY) == 52
    assert rates.at("labour_evening", HOLLIN, TUESDAY) is None


@pytest.mark.parametrize(
    ("on", "amount"),
    [
        ("2025-12-31", 50),
        ("2026-01-01", 55),
        ("2026-03-31", 55),
        ("2026-04-01", 60),
        ("2026-12-31", 60),
        ("2027-01-01", 55),
    ],
)
def test_the_latest_beginning_that_holds_wins(tmp_path: Path, on: str, amount: int) -> None:
    """`from` and `until` are inclusive; a row that has ended gives way to the one before it."""
    rates = loaded(
        tmp_path,
        "call_out,,2026-04-01,2026-12-31,60,",
        "call_out,,,,50,",
        "call_out,,2026-01-01,,55,",
    )
    assert rates.problems == []
    assert rates.at("call_out", HOLLIN, day(on)) == amount


def test_an_agreement_that_has_ended_gives_way(tmp_path: Path) -> None:
    rates = loaded(tmp_path, f"call_out,{HOLLIN},,2026-03-09,40,", "call_out,,2026-03-01,,50,")
    assert rates.at("call_out", HOLLIN, day("2026-03-09")) == 40
    assert rates.at("call_out", HOLLIN, day("2026-03-10")) == 50


def test_two_rows_of_which_nobody_knows_which_holds(tmp_path: Path) -> None:
    rates = loaded(
        tmp_path,
        "call_out,Hollin Plant Hire,2026-01-01,2026-06-30,40,",
        "call_out,,2026-01-01,,50,",
        "call_out,hollin plant hire,2026-01-01,,45,",
    )
    assert rates.problems == [
        "rates.csv, line 4, column rate: call_out stands already in line 2, for the same customer and from "
        "the same day."
    ]


def test_bands_by_miles(tmp_path: Path) -> None:
    rates = loaded(
        tmp_path,
        "travel_band,,,,25,10",
        "travel_band,,,,40,20",
        "travel_band,,2026-01-01,,45,20",
        f"travel_band,{HOLLIN},,,30,15",
    )
    assert rates.problems == []
    asked = [rates.band(Decimal(miles), TUCKERSETT, TUESDAY) for miles in ("0", "10", "10.1", "20", "20.1")]
    assert asked == [(25, 10), (25, 10), (45, 20), (45, 20), None]
    assert rates.band(Decimal(12), HOLLIN, TUESDAY) == (30, 15)
    assert rates.band(Decimal(16), HOLLIN, TUESDAY) == (45, 20)
    with pytest.raises(ValueError, match="band"):
        rates.at("travel_band", HOLLIN, TUESDAY)


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("labour,,,,58.50,", "line 2, column rate: there is no 'labour'; give one of labour_normal"),
        ("call_out,,,,,", "line 2, column amount: it is empty."),
        ("call_out,,,,fifty,", "line 2, column amount: 'fifty' is not a number such as 58.50."),
        ("call_out,,,,1e3,", "line 2, column amount: '1e3' is not a number"),
        ("call_out,,,,1_000,", "line 2, column amount: '1_000' is not a number"),
        ("call_out,,,,nan,", "line 2, column amount: 'nan' is not a number"),
        ("call_out,,,,-5,", "line 2, column amount: '-5' is less than 0."),
        ("call_out,,,,0.12345,", "line 2, column amount: '0.12345' has more than 4 decimals."),
        ("call_out,,,,99999999,", "is more than 1000000."),
        ("consumables,,,,1001,", "line 2, column amount: 1001 % is more than 1000 %."),
        ("call_out,,01/04/2026,,5,", "line 2, column from: '01/04/2026' is not a date such as 2026-04-01."),
        ("call_out,,,20260401,5,", "line 2, column until: '20260401' is not a date"),
        ("call_out,,2026-02-01,2026-01-31,5,", "line 2, column until: 2026-01-31 is before 2026-02-01."),
        ("travel_band,,,,5,", "line 2, column up_to_miles: travel_band needs the miles"),
        ("call_out,,,,5,10", "line 2, column up_to_miles: call_out has none; leave it empty."),
        ("call_out,,,,5", "line 2: 5 cells where the header has 6."),
        ('call_out,"a,,,5,', "line 2: unexpected end of data."),
    ],
)
def test_a_bad_row_is_left_out_and_named(tmp_path: Path, row: str, says: str) -> None:
    rates = loaded(tmp_path, row)
    assert rates.rows == ()
    assert len(rates.problems) == 1
    assert rates.problems[0].startswith("rates.csv, ")
    assert says in rates.problems[0]


def test_the_other_rows_still_count(tmp_path: Path) -> None:
    rates = loaded(tmp_path, "call_out,,,,x,", "", " call_out , , , , £50 ,", "parts_mark_up,,,,15 %,")
    assert len(rates.problems) == 1
    assert rates.at("call_out", HOLLIN, TUESDAY) == 50
    assert rates.at("parts_mark_up", HOLLIN, TUESDAY) == 15


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("rate,customer\n", "rates.csv, line 1: no column 'amount'; nothing of it was read."),
        ("rate;amount\n", "rates.csv, line 1: the cells are not separated by commas"),
        ("rate,rate,amount\n", "rates.csv, line 1: the column 'rate' stands there twice"),
    ],
)
def test_a_header_that_can_not_be_read_by(tmp_path: Path, header: str, says: str) -> None:
    rates = loaded(tmp_path, "call_out,,5", header=header)
    assert rates.rows == ()
    assert says in rates.problems[0]


def test_columns_in_any_order_and_others_beside(tmp_path: Path) -> None:
    rates = loaded(tmp_path, "mine,50,call_out", header="\ufeffremark,amount,rate\n")
    assert rates.problems == []
    assert rates.at("call_out", HOLLIN, TUESDAY) == 50


def test_no_file_is_no_rates_and_a_folder_is_refused(tmp_path: Path) -> None:
    assert load_rates(tmp_path / "rates.csv") == Rates()
    with pytest.raises(JobnotesError, match="is not a file"):
        load_rates(tmp_path)


def test_not_utf_8(tmp_path: Path) -> None:
    (tmp_path / "rates.csv").write_bytes(b"rate,amount\ncall_out,\xa350\n")
    assert "is not UTF-8 text" in load_rates(tmp_path / "rates.csv").problems[0]


def test_what_is_hardly_meant_is_told(tmp_path: Path) -> None:
    rates = loaded(tmp_path, "call_out,,,,50,", "travel_mile,Holin Plant,,,1,", "labour_normal,,,,58.50,")
    told = " ".join(rates.remarks(made.register(), made.settings()))
    assert "line 3, column customer: 'Holin Plant' is not in customers.csv." in told
    assert "travel_mile is not used, since [travel] by is 'time'." in told
    assert "call_out is not used, since [call_out] charged is 'never'." in told
    assert "there is no row for travel_hour." in told
    assert "there is no row for labour_evening." in told
    assert "there is no row for labour_normal." not in told


def test_a_row_that_could_not_be_read_is_not_missing_besides(tmp_path: Path) -> None:
    rates = loaded(tmp_path, "labour_normal,,,,,", "travel_mile,,,,1,")
    assert rates.problems == ["rates.csv, line 2, column amount: it is empty."]
    told = " ".join(rates.remarks(made.register(), made.settings()))
    assert "there is no row" not in told and "travel_mile is not used" in told


def test_every_rate_is_documented() -> None:
    section = DOCS.read_text(encoding="utf-8").partition("\n## Rates\n")[2].partition("\n## ")[0]
    assert [rate for rate in RATES if f"`{rate}`" not in section] == []
