"""The register's files: what loads, what is left out, and what is said of it."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from jobnotes.errors import JobnotesError
from jobnotes.jobs import Amount
from jobnotes.register import Register, load_register
from jobnotes.register.rows import size_of

FILES = {
    "customers.csv": "customer,account_number,payment_days\nHollin Plant Hire,HOL1,30\nTuckersett Farms,,\n",
    "sites.csv": "site,customer,postcode_area,miles_from_depot\nBrindlegate Yard,Hollin Plant Hire,QX,12.5\n",
    "machines.csv": (
        "fleet_number,type,make,model,size,serial_number,customer,last_hours,colour\n"
        "EX31,excavator,Tronvek,TK210,21 t,TRV21X31,Hollin Plant Hire,4216,yellow\n"
    ),
    "parts.csv": (
        "part_number,description,unit,price,van_stock\n"
        'HV-7731,"Relief valve, main",each,118.75,1\nOIL46,Hydraulic oil 46,L,£3.20,60\n'
    ),
}


def folder(tmp_path: Path, **changed: str | bytes | None) -> Path:
    """A register folder; `parts="..."` writes other contents, None leaves the file out."""
    for name, text in FILES.items():
        contents = changed.get(name.removesuffix(".csv"), text)
        if isinstance(contents, bytes):
            (tmp_path / name).write_bytes(contents)
        elif contents is not None:
            (tmp_path / name).write_text(contents, encoding="utf-8")
    return tmp_path


def test_all_four_files(tmp_path: Path) -> None:
    register = load_register(folder(tmp_path))
    assert register.problems == []
    assert [(c.customer, c.account_number, c.payment_days) for c in register.customers] == [
        ("Hollin Plant Hire", "HOL1", 30),
        ("Tuckersett Farms", "", None),
    ]
    assert register.sites[0].miles_from_depot == 12.5
    machine = register.machines[0]
    assert (machine.fleet_number, machine.size, machine.last_hours) == (
        "EX31",
        Amount(value=21, unit="t"),
        4216,
    )
    assert machine.extra == {"colour": "yellow"}
    assert [(p.description, p.unit, p.price) for p in register.parts] == [
        ("Relief valve, main", "each", Decimal("118.75")),
        ("Hydraulic oil 46", "L", Decimal("3.20")),
    ]


def test_no_folder_is_an_empty_register() -> None:
    assert load_register(None) == Register()


def test_a_missing_file_is_an_empty_one(tmp_path: Path) -> None:
    register = load_register(folder(tmp_path, parts=None, sites=None))
    assert (register.parts, register.sites, register.problems) == ([], [], [])
    assert register.machines


def test_an_empty_file_is_an_empty_list(tmp_path: Path) -> None:
    register = load_register(folder(tmp_path, parts="", sites="site,customer\n"))
    assert (register.parts, register.sites, register.problems) == ([], [], [])


WRITTEN = ["\ufeff{}", "{}\n\n\n", "{}"]


@pytest.mark.parametrize("form", WRITTEN)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_as_office_programs_write_it(tmp_path: Path, form: str, line_end: str) -> None:
    text = form.format(FILES["parts" + ".csv"]).replace("\n", line_end).encode()
    register = load_register(folder(tmp_path, parts=text))
    assert [p.part_number for p in register.parts] == ["HV-7731", "OIL46"]
    assert register.problems == []


BAD = [  # (file, the bad row, words of the reason)
    ("parts", "AB1,Hose,each,cheap,", "price"),
    ("parts", "AB1,Hose,each,NaN,", "price"),
    ("parts", "AB1,Hose,each,inf,", "price"),
    ("parts", "AB1,,each,1.00,", "description is empty"),
    ("parts", ",Hose,each,1.00,", "part_number is empty"),
    ("parts", "AB1,Hose, large,each,1.00,0", "6 cells"),
    ("parts", "AB1,Hose", "2 cells"),
    ("parts", "HV-7731,Another,each,1.00,", "stands already in line 2"),
    ("parts", "hv-7731,Another,each,1.00,", "stands already in line 2"),
    ("parts", "AB1,Hose,each,1.00,many", "van_stock"),
    ("machines", "EX9,excavator,Tronvek,TK9,nine,,,,", "size"),
    ("machines", "EX9,excavator,Tronvek,TK9,9t,,,,", "size"),
    ("machines", "EX9,excavator,Tronvek,TK9,9 t,,,old,", "last_hours"),
    ("sites", "Nowhere,,,far", "miles_from_depot"),
    ("sites", "Nowhere,,,inf", "miles_from_depot"),
    ("customers", "Nobody,,soon", "payment_days"),
    ("customers", "Nobody,,nan", "payment_days"),
    ("parts", "AB1,Hose,each,-1.00,", "price is '-1.00', less than 0"),
    ("parts", "AB1,Hose,each,1.00,-2", "van_stock is '-2', less than 0"),
    ("machines", "EX9,excavator,Tronvek,TK9,-9 t,,,,", "size is '-9 t', less than 0"),
    ("sites", "Nowhere,,,-3", "miles_from_depot is '-3', less than 0"),
]


@pytest.mark.parametrize(("file", "row", "reason"), BAD)
def test_a_bad_row_is_named_and_the_rest_loads(tmp_path: Path, file: str, row: str, reason: str) -> None:
    good = load_register(folder(tmp_path))
    text = FILES[f"{file}.csv"]
    line = len(text.splitlines()) + 1
    register = load_register(folder(tmp_path, **{file: f"{text}{row}\n"}))
    (problem,) = register.problems
    assert problem.startswith(f"{file}.csv, line {line}:")
    assert reason in problem
    register.problems.clear()
    assert register == good


def test_a_file_without_its_column(tmp_path: Path) -> None:
    register = load_register(folder(tmp_path, parts="number,name\nA1,Hose\n"))
    assert register.parts == []
    assert "part_number" in register.problems[0]


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    register = load_register(folder(tmp_path, parts=b"part_number,description\n\xff\xfe\x00hose"))
    assert register.parts == []
    assert "parts.csv" in register.problems[0]
    assert "UTF-8" in register.problems[0]
    assert register.machines


@pytest.mark.parametrize("code", ["latin-1", "utf-16", "utf-16-le"])
def test_a_file_in_another_code(tmp_path: Path, code: str) -> None:
    text = "part_number,description\nHV1,Caf\u00e9 hose\n".encode(code)
    register = load_register(folder(tmp_path, parts=text))
    assert register.parts == []
    assert register.problems == [
        "parts.csv: the whole file was not read, because it is not UTF-8 text; save it as UTF-8."
    ]


HEADERS = [
    ("part_number;description\nHV1;Hose\n", "the cells are separated by semicolons"),
    ("part_number\tdescription\nHV1\tHose\n", "the cells are separated by tabs"),
    ("part_number,description,price,price\nHV1,Hose,1,2\n", "the column 'price' stands there twice"),
]


@pytest.mark.parametrize(("text", "reason"), HEADERS)
def test_a_header_that_cannot_be_read_by(tmp_path: Path, text: str, reason: str) -> None:
    register = load_register(folder(tmp_path, parts=text))
    assert register.parts == []
    (problem,) = register.problems
    assert problem.startswith(f"parts.csv, line 1: {reason}")
    assert problem.endswith("; nothing of it was read.")


def test_a_folder_without_any_file(tmp_path: Path) -> None:
    assert load_register(tmp_path).problems == [
        "the folder holds none of customers.csv, sites.csv, machines.csv and parts.csv."
    ]


@pytest.mark.parametrize(
    "contents", [b"part_number,description\nA\x00B,Hose\n", b'part_number,description\n"A1,Hose\n']
)
def test_damaged_files_never_end_the_loading(tmp_path: Path, contents: bytes) -> None:
    register = load_register(folder(tmp_path, parts=contents))
    assert len(register.parts) + len(register.problems) >= 1
    assert register.machines


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(JobnotesError, match="does not exist"):
        load_register(tmp_path / "nowhere")
    file = tmp_path / "register.csv"
    file.write_text("customer\n")
    with pytest.raises(JobnotesError, match="is a file"):
        load_register(file)


SIZES = [("14 t", 14, "t"), (" 0.8 t ", 0.8, "t"), ("60 kVA", 60, "kVA"), ("170 cfm", 170, "cfm")]


@pytest.mark.parametrize(("text", "value", "unit"), SIZES)
def test_sizes(text: str, value: float, unit: str) -> None:
    assert size_of(text) == Amount(value=value, unit=unit)


def test_no_size() -> None:
    assert size_of(" ") is None
    for text in ("large", "14", "t 14", "14t"):
        with pytest.raises(ValueError, match="not a number, a space and a unit"):
            size_of(text)
