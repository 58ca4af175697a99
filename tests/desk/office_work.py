"""A workshop whose sheets are signed, for the office: machines that come back, parts, follow-ups, hours."""

from __future__ import annotations

import datetime
import random
import time
from collections.abc import Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import holidays
from desk_work import PASSWORD, Shop, shop_in

from jobnotes.intake import Heard
from jobnotes.jobs import Amount, Job, Part, ReadMemo, Transcript, Word
from jobnotes.jobs.model import Times
from jobnotes.store import Signed, SignedSheet
from jobnotes.workshop import Settings, Taking

LONDON = ZoneInfo("Europe/London")
OFFICE_TOML = """\
part_of_country = "ENG"

[seller]
name = "Hallbeck Plant Repairs"
address = ["Unit 4, Tannery Yard"]
town = "Brackmere"
postcode = "QX4 2TY"
vat_number = "GB 123 4567 89"
company_number = "01234567"

[bank]
account_name = "Hallbeck Plant Repairs"
account = "12345678"
sort_code = "00-00-00"

[invoice]
first_number = 1001
terms = "Thank you for your custom."

[labour]
normal_from = "07:30"
normal_until = "17:30"
step_min = 15
rounding = "up"

[travel]
by = "mile"

[call_out]
charged = "visit"

[consumables]
of = ["labour"]

[service.intervals]
"wheel loader" = 500
excavator = 500
telehandler = 250
"""
RATES_CSV = """\
rate,customer,from,until,amount,up_to_miles
labour_normal,,,,58.00,
labour_evening,,,,79.00,
labour_saturday,,,,79.00,
labour_sunday,,,,104.00,
labour_bank_holiday,,,,104.00,
labour_normal,Oddmarsh Plant Hire,2026-01-01,,52.00,
travel_mile,,,,0.85,
call_out,,,,35.00,
consumables,,,,3,
consumables_cap,,,,12.00,
"""
CUSTOMERS_CSV = """\
customer,account_number,payment_days,address_1,town,postcode,country,vat_number,vat_category
Quillfen Aggregates,QUI101,60,The Weighbridge,Quillfen,QX9 1QA,GB,,
Oddmarsh Plant Hire,ODD204,45,Marsh Road 12,Oddmarsh,QX3 8OM,GB,GB987654321,
Tarn Syke Farms,TAR310,14,Tarn Syke,Brackmere,QX5 5TS,GB,,
Wharram Lifting,WHA415,30,,,,,,
"""
SITES_CSV = """\
site,customer,postcode_area,miles_from_depot
Quillfen Quarry,Quillfen Aggregates,QX,19
Quillfen Wharf,Quillfen Aggregates,QX,26
Oddmarsh Yard,Oddmarsh Plant Hire,QX,8
Tarn Syke,Tarn Syke Farms,QX,14
Wharram Dock,Wharram Lifting,QX,31
"""
PARTS_CSV = """\
part_number,description,unit,price,van_stock,van_minimum,order_quantity,supplier
HR-3062,Brake accumulator 0.75 litre,each,186.40,2,1,2,Fenwold Hydraulics
HR-1120,Boom ram seal kit,each,64.85,3,2,4,Fenwold Hydraulics
FF-77,Fuel filter,each,18.20,6,3,6,Marrow Filters
OF-12,Oil filter,each,11.75,6,3,6,Marrow Filters
AL-90,Alternator 24 V 90 A,each,212.00,0,,,Corran Electrical
OIL46,Hydraulic oil 46,L,3.15,40,20,60,
HS-12,Half-inch hose,m,9.40,20,10,20,Fenwold Hydraulics
NP-5,Bucket pin,each,,1,,,
"""
FLEET = (
    ("WL31", "wheel loader", "Oakhelm", "OW140", "Quillfen Aggregates", "Quillfen Quarry"),
    ("WL13", "wheel loader", "Oakhelm", "OW180", "Quillfen Aggregates", "Quillfen Wharf"),
    ("EX204", "excavator", "Tronvek", "TK210", "Oddmarsh Plant Hire", "Oddmarsh Yard"),
    ("EX240", "excavator", "Tronvek", "TK240", "Oddmarsh Plant Hire", "Oddmarsh Yard"),
    ("TH7", "telehandler", "Carrowmoor", "CM735", "Tarn Syke Farms", "Tarn Syke"),
)
FAULTS = (
    (
        "boom creeping down",
        "boom ram seals worn",
        "resealed the boom ram",
        "Boom ram seal kit",
        "HR-1120",
        1,
        "each",
    ),
    (
        "not charging",
        "alternator worn out",
        "fitted an alternator",
        "Alternator 24 V 90 A",
        "AL-90",
        1,
        "each",
    ),
    (
        "engine losing power",
        "fuel filter blocked",
        "changed the fuel filter",
        "Fuel filter",
        "FF-77",
        1,
        "each",
    ),
    (
        "hose burst on the dipper",
        "hose chafed through",
        "made up and fitted a hose",
        "Half-inch hose",
        "HS-12",
        2.5,
        "m",
    ),
    (
        "brake light coming on",
        "front accumulator flat",
        "fitted an accumulator",
        "Brake accumulator 0.75 litre",
        "HR-3062",
        1,
        "each",
    ),
    ("500-hour service", None, "did the 500-hour service", "Oil filter", "OF-12", 1, "each"),
)
FOLLOW_UPS = (
    "bucket teeth want changing",
    "check the tyre pressures at the next visit",
    "quote for a new seat",
)


class ReaderOfJobs:
    """Stands for hearing and reading: gives the jobs that it was made with."""

    def __init__(self, jobs: list[Job]) -> None:
        self._jobs = jobs

    def words(self, path: Path, name: str) -> Heard:
        """Words that nobody marks."""
        return Heard(
            name, Transcript(text=name, words=[Word(text=name)]), datetime.datetime(2026, 5, 12, 16, 0)
        )

    def understand(self, heard: Heard) -> ReadMemo:
        """The jobs."""
        return ReadMemo(
            memo=heard.name,
            recorded_at=heard.recorded_at.isoformat(),
            transcript=heard.transcript,
            jobs=self._jobs,
        )


def office_shop(folder: Path, *, quick: bool = True) -> Shop:
    """A workshop with people, register, rates and rules, and no sheet yet."""
    shop = shop_in(folder, quick=quick)
    given = folder.parent / f"{folder.name}-register"
    given.mkdir(parents=True)
    for name, text in (("customers", CUSTOMERS_CSV), ("sites", SITES_CSV), ("parts", PARTS_CSV)):
        (given / f"{name}.csv").write_text(text, encoding="utf-8")
    lines = [",".join((*row[:4], "", "", row[4])) for row in FLEET]
    head = "fleet_number,type,make,model,size,serial_number,customer"
    (given / "machines.csv").write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    shop.workshop.registers.load(shop.workshop.registers.compare(given))
    shop.workshop.folder.office_settings.write_text(OFFICE_TOML, encoding="utf-8")
    shop.workshop.folder.rates.write_text(RATES_CSV, encoding="utf-8")
    return shop


def sign_jobs(shop: Shop, jobs: list[Job], whose: str = "tam") -> list[SignedSheet]:
    """The jobs as signed sheets of one memo. Their PDFs are none: the office does not look into them."""
    given = shop.folder.parent / "given"
    given.mkdir(exist_ok=True)
    file = given / f"memo-{time.monotonic_ns()}.txt"
    file.write_text(f"memo {time.monotonic_ns()}", encoding="utf-8")
    who = shop.people[whose]
    taking = Taking(shop.workshop, Settings(), make_intake=lambda _register, _words: ReaderOfJobs(jobs))
    memo = taking.work(taking.take(file, engineer=who).memo)
    assert memo.draft_id is not None, memo.failure
    draft = shop.workshop.drafts.get(memo.draft_id, who)
    return shop.workshop.sheets.sign(
        draft.id,
        draft.version,
        who,
        PASSWORD,
        Signed(who.display_name),
        make_pdf=lambda document: b"%PDF-1.7 " + str(document["sheet"]).encode(),
        zone=LONDON,
    )


def made_jobs(
    count: int, *, last: datetime.date, seed: int = 1, fleet: Sequence[tuple[str, ...]] = FLEET
) -> list[Job]:
    """So many visits to the fleet, the last ones just before `last`: faults come back, hours go up, parts
    are fitted, ordered and wanted."""
    chance = random.Random(seed)
    hours = {row[0]: chance.randrange(2_000, 7_000) for row in fleet}
    every = max(1.0, count / 400)
    jobs = []
    for place in range(count):
        day = last - datetime.timedelta(days=int((count - place) * 2 / every))
        number_of_fleet, kind, make, model, customer, site = fleet[place % len(fleet)]
        complaint, cause, work, part, number, quantity, unit = chance.choice(FAULTS)
        hours[number_of_fleet] += chance.randrange(4, 22)
        begins = chance.randrange(7 * 60, 15 * 60, 5)
        ends = begins + chance.randrange(40, 260, 5)
        status = chance.choice(["fitted"] * 8 + ["ordered", "to_order"])
        job = Job(
            date=day.isoformat(),
            customer=customer,
            site=site,
            order_number=f"QR{4700 + place % 90}" if customer.startswith("Quill") else None,
            complaint=complaint,
            cause=cause,
            work=[work],
            parts=[Part(description=part, part_number=number, quantity=quantity, unit=unit, status=status)],  # type: ignore[arg-type]
            times=Times(arrived=_clock(begins), left=_clock(ends)),
            distance=Amount(value=float(2 * chance.choice([8, 14, 19, 26])), unit="mi"),
            outcome="complete" if status == "fitted" else "awaiting_parts",
            machine_state="in_service",
            follow_up=[chance.choice(FOLLOW_UPS)] if place % 4 == 0 else [],
        )
        job.machine.type, job.machine.make, job.machine.model = kind, make, model
        job.machine.fleet_number, job.machine.hours = number_of_fleet, float(hours[number_of_fleet])
        jobs.append(job)
    return jobs


def _clock(minutes: int) -> str:
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def weekday(before: int) -> datetime.date:
    """So many working days ago: all of the labour on such a day is normal, whenever the tests run."""
    day = datetime.date.today()
    while before:
        day -= datetime.timedelta(days=1)
        free = day.weekday() > 4 or day in holidays.country_holidays("GB", subdiv="ENG", years=day.year)
        before -= not free
    return day


def office_job(before: int = 5, fleet: str = "WL31", **given: object) -> Job:
    """A visit of two normal hours and 38 miles to the loader of Quillfen Aggregates."""
    made = Job(
        date=weekday(before).isoformat(),
        customer="Quillfen Aggregates",
        site="Quillfen Quarry",
        order_number="QR4712",
        complaint="brake light coming on",
        work=["fitted an accumulator"],
        times=Times(arrived="08:00", left="10:00"),
        distance=Amount(value=38.0, unit="mi"),
        outcome="complete",
    ).model_copy(update=given)
    made.machine.type, made.machine.make, made.machine.model = "wheel loader", "Oakhelm", "OW140"
    made.machine.fleet_number = fleet
    return made


def office_part(
    number: str | None = "HR-3062", what: str = "Brake accumulator 0.75 litre", **given: object
) -> Part:
    """A part fitted from the register's list, unless it is said otherwise."""
    return Part.model_validate(
        {
            "description": what,
            "part_number": number,
            "quantity": 1,
            "unit": "each",
            "status": "fitted",
            **given,
        }
    )
