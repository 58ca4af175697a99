"""The office's rules: office.toml in the workshop's folder. docs/office.md tells what each key means."""

from __future__ import annotations

import datetime
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    model_validator,
)

from jobnotes.errors import JobnotesError
from jobnotes.files import reading
from jobnotes.jobs.invoice import Bank, LineKind, Party, VatCategory
from jobnotes.office import codes
from jobnotes.office.words import default_reason
from jobnotes.paper import Firm

if TYPE_CHECKING:
    from jobnotes.store import Folder

FILE = "office.toml"
UNNAMED = "?"
PartOfCountry = Literal["ENG", "WLS", "SCT", "NIR"]
Rounding = Literal["up", "nearest", "down"]
ChargedKind = Literal["labour", "travel", "call_out", "part", "consumables"]


def _exact(value: Any) -> Any:
    """TOML's whole numbers and decimals as one kind."""
    return Decimal(value) if type(value) is int else value


def _list(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _compact(value: Any) -> Any:
    return codes.compact(value) if isinstance(value, str) else value


def _one_of(allowed: frozenset[str], what: str, value: str) -> str:
    if value and value not in allowed:
        raise ValueError(f"{value!r} is not {what}")
    return value


def _country(value: str) -> str:
    return _one_of(codes.countries(), "a country of ISO 3166-1, such as GB", value)


def _scheme(value: str) -> str:
    return _one_of(codes.electronic_schemes(), "a scheme of the EAS list, such as 9932", value)


def _currency(value: str) -> str:
    return _one_of(codes.currencies(), "a currency of ISO 4217 with two decimals, such as GBP", value)


def _vat_number(value: str) -> str:
    if value and not codes.is_vat_number(value):
        raise ValueError(f"{value!r} is not a VAT number, such as GB and nine figures")
    return value


def _iban(value: str) -> str:
    if value and not codes.is_iban(value):
        raise ValueError(f"{value!r} is not an IBAN: its length or check figures are wrong")
    return value


def _bic(value: str) -> str:
    if value and not codes.is_bic(value):
        raise ValueError(f"{value!r} is not a BIC of 8 or 11 signs")
    return value


Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=200)]
Note = Annotated[str, StringConstraints(strip_whitespace=True, max_length=2000)]
Lines = Annotated[tuple[Line, ...], BeforeValidator(_list)]
Number = Annotated[Decimal, BeforeValidator(_exact)]
Minutes = Annotated[int, Field(ge=0, le=1440)]
Clock = Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
Days = Annotated[tuple[datetime.date, ...], BeforeValidator(_list)]


class Section(BaseModel):
    """A table of office.toml: nothing but the named keys, each of its own kind."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class SellerKeys(Section):
    """[seller]: the firm at the head of invoices."""

    name: Line = ""
    address: Lines = ()
    town: Line = ""
    postcode: Line = ""
    country: Annotated[str, BeforeValidator(_compact), AfterValidator(_country)] = "GB"
    vat_number: Annotated[str, BeforeValidator(_compact), AfterValidator(_vat_number)] = ""
    company_number: Line = ""
    telephone: Line = ""
    email: Line = ""
    electronic_scheme: Annotated[str, BeforeValidator(_compact), AfterValidator(_scheme)] = ""
    electronic_id: Line = ""

    @model_validator(mode="after")
    def both_or_neither(self) -> SellerKeys:
        """An electronic address is a scheme and an identifier."""
        if bool(self.electronic_scheme) != bool(self.electronic_id):
            raise ValueError("electronic_scheme and electronic_id belong together: give both or neither")
        return self

    def party(self, firm: Firm) -> Party:
        """The seller; name, telephone and email are the letterhead's where none is given."""
        given = self.model_dump()
        for key in ("name", "telephone", "email"):
            given[key] = given[key] or getattr(firm, key)
        return Party(**{**given, "name": given["name"] or UNNAMED})


class BankKeys(Section):
    """[bank]: where to pay to."""

    account_name: Line = ""
    iban: Annotated[str, BeforeValidator(_compact), AfterValidator(_iban)] = ""
    bic: Annotated[str, BeforeValidator(_compact), AfterValidator(_bic)] = ""
    account: Annotated[str, BeforeValidator(_compact), StringConstraints(pattern=r"^(\d{6,10})?$")] = ""
    sort_code: Annotated[str, StringConstraints(pattern=r"^(\d\d-?\d\d-?\d\d)?$")] = ""


class InvoiceSettings(Section):
    """[invoice]. `payment_days` in d."""

    prefix: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9/_.-]{0,20}$")] = ""
    first_number: Annotated[int, Field(ge=1, le=10**9)] = 1
    payment_days: Annotated[int, Field(ge=0, le=365)] = 30
    terms: Note = ""
    note: Note = ""


class VatSettings(Section):
    """[vat]. `standard_rate` in %. The reasons are those of EN 16931, BT-120."""

    standard_rate: Annotated[Number, Field(gt=0, le=100, decimal_places=2)] = Decimal(20)
    category: VatCategory = "standard"
    exempt_reason: Note = ""
    reverse_charge_reason: Note | None = None
    lines: dict[ChargedKind, VatCategory] = Field(default_factory=dict)

    @model_validator(mode="after")
    def reasons_given(self) -> VatSettings:
        """Who charges no VAT says why (EN 16931, BR-E-10 and BR-AE-10)."""
        used = {self.category, *self.lines.values()}
        if "exempt" in used and not self.exempt_reason:
            raise ValueError("exempt needs exempt_reason: why no VAT is charged")
        if self.reverse_charge_reason == "":
            raise ValueError("reverse_charge_reason must not be empty")
        return self

    def rate(self, category: VatCategory) -> Decimal:
        """The rate of a category, %: only the standard one has one."""
        return self.standard_rate if category == "standard" else Decimal(0)

    @property
    def reasons(self) -> dict[VatCategory, str]:
        """Why no VAT is charged, by category."""
        reverse = self.reverse_charge_reason
        if reverse is None:
            reverse = default_reason("reverse_charge", f"{self.standard_rate.normalize():f}")
        return {"exempt": self.exempt_reason, "reverse_charge": reverse}


class LabourSettings(Section):
    """[labour]. Clock times are local; `step_min`, `minimum_min`, `difference_min` in min."""

    normal_from: Clock = "07:30"
    normal_until: Clock = "17:30"
    step_min: Annotated[int, Field(ge=1, le=480)] = 15
    rounding: Rounding = "up"
    minimum_min: Minutes = 0
    difference_min: Minutes = 10
    more_bank_holidays: Days = ()
    no_bank_holidays: Days = ()

    @model_validator(mode="after")
    def until_after_from(self) -> LabourSettings:
        """Normal hours end after they begin."""
        if self.normal_until <= self.normal_from:
            raise ValueError(
                f"normal_until, {self.normal_until}, is not after normal_from, {self.normal_from}"
            )
        return self

    @property
    def normal_hours(self) -> tuple[datetime.time, datetime.time]:
        """From when until when labour on a weekday is normal."""
        return datetime.time.fromisoformat(self.normal_from), datetime.time.fromisoformat(self.normal_until)


class TravelSettings(Section):
    """[travel]."""

    by: Literal["time", "mile", "band", "none"] = "time"


class CallOutSettings(Section):
    """[call_out]."""

    charged: Literal["visit", "day", "never"] = "never"


class ConsumablesSettings(Section):
    """[consumables]: of which lines of a visit the percentage is."""

    of: Annotated[tuple[LineKind, ...], BeforeValidator(_list)] = ("labour", "part")


class ServiceSettings(Section):
    """[service]: how long a machine of a type runs from service to service, h."""

    intervals: dict[str, Annotated[Number, Field(gt=0, le=100000)]] = Field(default_factory=dict)


class ReturnsSettings(Section):
    """[returns]: within how many d the same fault again counts as a return visit."""

    days: Annotated[int, Field(ge=0, le=3650)] = 90


class Sections(Section):
    """All of office.toml but the seller."""

    currency: Annotated[str, BeforeValidator(_compact), AfterValidator(_currency)] = "GBP"
    part_of_country: PartOfCountry = "ENG"
    bank: BankKeys = Field(default_factory=BankKeys)
    invoice: InvoiceSettings = Field(default_factory=InvoiceSettings)
    vat: VatSettings = Field(default_factory=VatSettings)
    labour: LabourSettings = Field(default_factory=LabourSettings)
    travel: TravelSettings = Field(default_factory=TravelSettings)
    call_out: CallOutSettings = Field(default_factory=CallOutSettings)
    consumables: ConsumablesSettings = Field(default_factory=ConsumablesSettings)
    service: ServiceSettings = Field(default_factory=ServiceSettings)
    returns: ReturnsSettings = Field(default_factory=ReturnsSettings)


class OfficeFile(Sections):
    """office.toml as it is written."""

    seller: SellerKeys = Field(default_factory=SellerKeys)


class OfficeSettings(Sections):
    """The office's rules. `seller` has the letterhead's name where office.toml gives none; "?" where neither
    does, which stops every draft."""

    seller: Party

    @property
    def bank_details(self) -> Bank:
        """Where to pay to, as it stands in documents."""
        return Bank(**self.bank.model_dump())

    def printed_number(self, number: int) -> str:
        """What stands on paper for a number: the prefix before it. The very first document has first_number,
        and each next one the next number, whatever first_number says by then."""
        return f"{self.invoice.prefix}{number}"

    def service_interval(self, machine_type: str) -> Decimal | None:
        """How long a machine of the type runs between services, h; None where none is set."""
        for name, hours in self.service.intervals.items():
            if name.casefold() == machine_type.casefold():
                return hours
        return None


def office_settings(data: dict[str, Any], firm: Firm) -> OfficeSettings:
    """The rules in a table as TOML gives it. Raises pydantic's ValidationError."""
    kept = OfficeFile.model_validate(data)
    sections = {name: getattr(kept, name) for name in Sections.model_fields}
    return OfficeSettings(**sections, seller=kept.seller.party(firm))


def load_office_settings(folder: Folder, firm: Firm) -> OfficeSettings:
    """The rules in the workshop's office.toml; what it leaves out, and all where there is no file, is as in
    docs/office.md.

    Raises JobnotesError, naming file, line and key, where the file can't be read, is no TOML, or holds
    anything else; every fault is told, one after the other.
    """
    from jobnotes.office.toml_places import fault_in_words, places

    file: Path = getattr(folder, "office_settings", folder.path / FILE)
    if not file.exists():
        return office_settings({}, firm)
    with reading(file):
        content = file.read_bytes()
    try:
        text = content.decode("utf-8-sig")
        data = tomllib.loads(text, parse_float=Decimal)
    except UnicodeDecodeError:
        raise JobnotesError(f"{file} is not UTF-8 text; save it as UTF-8.") from None
    except ValueError as error:
        raise JobnotesError(f"{file} is not TOML: {error}.") from error
    try:
        return office_settings(data, firm)
    except ValidationError as error:
        where = places(text)
        faults = sorted(fault_in_words(fault, where, OfficeFile) for fault in error.errors())
        raise JobnotesError(f"{file}, " + "; ".join(text for _, text in faults) + ".") from None
