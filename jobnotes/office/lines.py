"""From visits to lines: labour, minimum, call-out, travel, parts, consumables.

Pure reckoning: the same visits give the same lines, in whatever order they come.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from jobnotes.jobs.invoice import ChargeUnit, Line, LineKind, Source, VatCategory, line_net
from jobnotes.jobs.money import NOUGHT, share_of, to_penny
from jobnotes.office.adjusting import MOST, AdjustmentLike, Adjustments, Entry, Sentence
from jobnotes.office.diary import Diary, engineer_key
from jobnotes.office.labour import DAY, NEAR_DAYS, labour_of
from jobnotes.office.parts import PartPrices, part_key, part_name
from jobnotes.office.rates import FILE as RATES_FILE
from jobnotes.office.rates import Rates, name_key
from jobnotes.office.settings import OfficeSettings
from jobnotes.office.travel import POINTERS, Measure, one_way, site_miles, travel_of
from jobnotes.office.vat import category_in, category_of
from jobnotes.office.words import line_text, part_unit
from jobnotes.paper.words import day as day_in_words
from jobnotes.paper.words import number as plain
from jobnotes.register import PartRow, Register

if TYPE_CHECKING:
    from jobnotes.office.visits import UsedPart, Visit

HOUR_MIN = Decimal(60)
ONE = Decimal(1)


@dataclass(frozen=True)
class DraftLines:
    """What visits come to. `stops` keep a draft from being approved; `doubts` must be confirmed first. Each
    is a text with the `key` of the line or place that it is about. `unpriced` are those of the stops that a
    price by hand lifts."""

    lines: tuple[Line, ...]
    stops: tuple[Sentence, ...]
    doubts: tuple[Sentence, ...]
    unpriced: tuple[Sentence, ...]


def draft_lines(
    visits: Sequence[Visit],
    all_visits: Sequence[Visit],
    register: Register,
    rates: Rates,
    settings: OfficeSettings,
    zone: ZoneInfo,
    adjustments: Iterable[AdjustmentLike] = (),
    invoiced: Mapping[int, int] | None = None,
) -> DraftLines:
    """The lines of the visits, by date and sheet; the office's own last.

    `all_visits` are those of the whole workshop: overlaps, shared travel and call-outs by the day look at
    them. `invoiced` are the sheets on an invoice, by number, with that invoice. Adjustments are laid on each
    line before what follows from it (the minimum, consumables).
    """
    # Only what is near in time can matter; a workshop has many thousands of sheets.
    near = {visit.date + DAY * step for visit in visits for step in range(-NEAR_DAYS, NEAR_DAYS + 1)}
    diary = Diary([*(visit for visit in all_visits if visit.date in near), *visits])
    reckoner = _Reckoner(
        diary, register, rates, settings, zone, {visit.sheet for visit in visits}, adjustments, invoiced or {}
    )
    for visit in sorted(visits, key=lambda visit: (visit.date, visit.sheet)):
        reckoner.visit(visit)
    return reckoner.result()


def worked_time(minutes: int) -> tuple[Decimal, ChargeUnit, Decimal]:
    """(quantity, unit, price quantity) of a duration at a price by the hour: hours where two decimals tell
    them exactly, else minutes at the price for 60."""
    if minutes % 3 == 0:
        return (Decimal(minutes) / HOUR_MIN).normalize() + 0, "HUR", ONE
    return Decimal(minutes), "MIN", HOUR_MIN


class _Reckoner:
    """Puts the lines of one draft together; `chosen` are its sheets."""

    def __init__(
        self,
        diary: Diary,
        register: Register,
        rates: Rates,
        settings: OfficeSettings,
        zone: ZoneInfo,
        chosen: set[int],
        adjustments: Iterable[AdjustmentLike],
        invoiced: Mapping[int, int],
    ) -> None:
        self.diary, self.chosen, self.invoiced = diary, chosen, invoiced
        self.rates, self.settings, self.zone = rates, settings, zone
        self.adjustments = Adjustments(adjustments, settings)
        self.prices = PartPrices(register)
        self.miles = site_miles(register)
        self.customers = {name_key(row.customer): row for row in register.customers}
        self.entries: list[Entry] = []
        self.stops: list[Sentence] = []
        self.doubts: list[Sentence] = []

    def result(self) -> DraftLines:
        self.entries += self.adjustments.added(self._vat("other", None, None)[0])
        unpriced = tuple(entry.stop for entry in self.entries if entry.stop)
        lines = [entry.line for entry in self.entries if not entry.stop]
        stops = (*unpriced, *self.stops, *self.adjustments.faults, *self.adjustments.left_over())
        doubts = [doubt for doubt in self.doubts if not self.adjustments.confirmed(doubt.key, doubt)]
        return DraftLines(tuple(lines), stops, tuple(doubts), unpriced)

    def visit(self, visit: Visit) -> None:
        first = len(self.entries)
        if not visit.dated:
            why = f"has no date that can be right; that of its signature, {visit.day_text}, counts"
            self._doubt(visit, "date", why)
        self._labour(visit, first)
        self._call_out(visit)
        self._travel(visit)
        self._parts(visit)
        self._consumables(visit, first)

    # What every line has in common.

    def _doubt(self, visit: Visit, place: str, why: str) -> None:
        self.doubts.append(Sentence(f"Sheet {visit.sheet} {why}.", f"{visit.sheet}/{place}"))

    def _vat(self, kind: LineKind, visit: Visit | None, part: PartRow | None) -> tuple[VatCategory, Decimal]:
        row = self.customers.get(name_key(visit.customer)) if visit else None
        try:
            own = category_in(part)
        except ValueError as error:
            own = None
            self.stops.append(Sentence(f"parts.csv, {part.part_number if part else ''}: {error}."))
        try:
            theirs = category_in(row)
        except ValueError:
            theirs = None  # the draft stops for it once, with the customer's other particulars
        return category_of(kind, theirs, own, self.settings)

    def _rate(self, rate: str, visit: Visit) -> Decimal | None:
        return self.rates.at(rate, visit.customer, visit.date)

    def _add(
        self,
        visit: Visit,
        place: str,
        kind: LineKind,
        text: str,
        quantity: Decimal,
        price: Decimal | None,
        *,
        stop: str = "",
        part: PartRow | None = None,
        unit: ChargeUnit = "C62",
        price_quantity: Decimal = ONE,
        pointers: Sequence[str] = ("/job",),
        **more: Any,
    ) -> None:
        """Adds a line, as the office has adjusted it; `stop` says why where `price` is None."""
        key = f"{visit.sheet}/{place}"
        if quantity > MOST:
            quantity, price, stop = ONE, None, f"{text}: the quantity is too large to be charged"
        category, rate = self._vat(kind, visit, part)
        more.setdefault("sources", tuple(_source(visit, pointer) for pointer in pointers))
        line = Line(
            key=key,
            kind=kind,
            text=text,
            quantity=quantity,
            unit=unit,
            price=price or Decimal(0),
            price_quantity=price_quantity,
            net=line_net(quantity, price or Decimal(0), price_quantity),
            vat_category=category,
            vat_rate=rate,
            day=visit.date,
            **more,
        )
        sentence = Sentence(f"Sheet {visit.sheet}: {stop}.", key) if price is None else None
        if (entry := self.adjustments.laid_on(Entry(line, sentence))) is not None:
            self.entries.append(entry)

    def _no_rate(self, rate: str, visit: Visit) -> str:
        return f"{RATES_FILE} has no {rate} for {visit.customer or 'the customer'} on {_on(visit.date)}"

    # Labour and the minimum.

    def _labour(self, visit: Visit, first: int) -> None:
        labour = labour_of(visit, self.diary, self.settings, self.zone)
        look = "; ".join(labour.looks) or None
        for kind, minutes in labour.minutes:
            quantity, unit, price_quantity = worked_time(minutes)
            rate = f"labour_{kind}"
            self._add(
                visit,
                f"labour/{kind}",
                "labour",
                line_text(rate),
                quantity,
                self._rate(rate, visit),
                stop=self._no_rate(rate, visit),
                unit=unit,
                price_quantity=price_quantity,
                pointers=labour.pointers,
                remarks=labour.remarks,
                look=look,
            )
            look = None  # once for each visit is enough to be seen
        if not labour.known:
            self._doubt(visit, "labour", "gives no times; no labour is charged by the hour")
        elif not labour.minutes:
            why = f": {look}" if look else ""
            self._doubt(visit, "labour", f"charges no labour{why}")
        self._minimum(visit, first, charged_elsewhere=bool(labour.overlapped and not labour.minutes))

    def _minimum(self, visit: Visit, first: int, *, charged_elsewhere: bool) -> None:
        least = self._rate("minimum_charge", visit)
        labour = self.entries[first:]
        if least is None or charged_elsewhere or any(entry.stop for entry in labour):
            return
        missing = to_penny(least) - _sum(labour)
        if missing > 0:
            text = line_text("minimum", amount=to_penny(least))
            self._add(visit, "minimum", "minimum", text, ONE, missing)

    # Call-out and travel.

    def _call_out(self, visit: Visit) -> None:
        charged = self.settings.call_out.charged
        if charged == "never":
            return
        here = self.diary.at_site(visit)
        look = None
        if charged == "day" and here[0].sheet != visit.sheet:
            if here[0].sheet not in self.chosen:
                why = f"charges no call-out: that of the day is on sheet {here[0].sheet}, which is not here"
                self._doubt(visit, "call_out", why)
            return
        if charged == "visit":
            look = self._been_before(visit)
        price = self._rate("call_out", visit)
        stop = self._no_rate("call_out", visit)
        self._add(visit, "call_out", "call_out", line_text("call_out"), ONE, price, stop=stop, look=look)

    def _been_before(self, visit: Visit) -> str | None:
        """A look where the engineer was at the same site that day on an earlier sheet: one way, perhaps."""
        sheets = [
            other.sheet
            for other in self.diary.at_site(visit)
            if other.sheet < visit.sheet and engineer_key(other) == engineer_key(visit)
        ]
        if not sheets:
            return None
        return f"the same engineer was at this site that day on sheet {', '.join(map(str, sheets))} too"

    def _travel(self, visit: Visit) -> None:
        by = self.settings.travel.by
        if by == "none":
            return
        if by == "band":
            self._band(visit)
            return
        measure: Measure = by
        travel = travel_of(visit, self.diary, self.miles, measure)
        if travel is None:
            what = "travel time" if by == "time" else "miles"
            self._doubt(visit, "travel", f"states no {what}; no travel is charged")
            return
        if not travel.amount:
            return
        rate = "travel_hour" if by == "time" else "travel_mile"
        quantity, price_quantity = travel.amount, ONE
        unit: ChargeUnit = "SMI"
        if by == "time":
            quantity, unit, price_quantity = worked_time(int(travel.amount))
        self._add(
            visit,
            "travel",
            "travel",
            line_text(f"travel_{by}"),
            quantity,
            self._rate(rate, visit),
            stop=self._no_rate(rate, visit),
            unit=unit,
            price_quantity=price_quantity,
            sources=tuple(_source(other, POINTERS[measure]) for other in travel.stated_on),
            remarks=travel.remarks,
            look=self._charged_before(travel.shared_over),
        )

    def _charged_before(self, sheets: Sequence[int]) -> str | None:
        """Why a share of a day's travel wants a look: a sheet that it is shared with was invoiced before, and
        perhaps with all of it."""
        for sheet in sheets:
            if sheet in self.invoiced and sheet not in self.chosen:
                return (
                    f"the day's travel is shared with sheet {sheet}, which is on invoice "
                    f"{self.invoiced[sheet]} already; was all of it charged there?"
                )
        return None

    def _band(self, visit: Visit) -> None:
        way = one_way(visit, self.miles)
        if way is None:
            self._doubt(visit, "travel", "has no known way from the depot; no travel is charged")
            return
        miles, remark, pointer = way
        band = self.rates.band(miles, visit.customer, visit.date)
        reach = plain(float(band[1])) if band else plain(float(miles))
        self._add(
            visit,
            "travel",
            "travel",
            line_text("travel_band", miles=reach),
            ONE,
            band[0] if band else None,
            stop=f"{self._no_rate('travel_band', visit)} that reaches {plain(float(miles))} miles",
            pointers=(pointer,),
            remarks=(remark,),
            look=self._been_before(visit),
        )

    # Parts and consumables.

    def _parts(self, visit: Visit) -> None:
        seen: dict[str, int] = {}
        for part in visit.parts:
            if part.status == "fitted":
                name = part_key(part)
                seen[name] = seen.get(name, 0) + 1
                place = f"part/{name}" if seen[name] == 1 else f"part/{name}/{seen[name]}"
                self._part(visit, part, place)

    def _part(self, visit: Visit, part: UsedPart, place: str) -> None:
        row: PartRow | None = None
        price: Decimal | None = None
        stop, remarks = "", []
        try:
            row = self.prices.row(part)
        except ValueError as error:
            stop = f"{part_name(part)} {error}"
        else:
            mark_up = self._rate("parts_mark_up", visit) or Decimal(0)
            listed = row.price or Decimal(0)
            price = to_penny(listed + listed * mark_up / 100)
            if mark_up:
                remarks.append(f"{to_penny(listed)} in parts.csv, and {plain(float(mark_up))} % on it.")
            if not part.part_number:
                remarks.append("Told by its description; the sheet gives no part number.")
            elif name_key(row.description) != name_key(part.description):
                remarks.append(f"On the sheet: {part.description}.")
        self._add(
            visit,
            place,
            "part",
            row.description if row else part.description,
            Decimal(repr(part.quantity)).normalize() + 0,
            price,
            stop=stop,
            part=row,
            unit=part_unit(part.unit) or "C62",
            pointers=(f"/job/parts/{part.place}",),
            part_number=(row.part_number if row else part.part_number) or None,
            remarks=tuple(remarks),
        )

    def _consumables(self, visit: Visit, first: int) -> None:
        percent = self._rate("consumables", visit)
        if not percent:
            return
        of = self.settings.consumables.of
        base = _sum(entry for entry in self.entries[first:] if entry.line.kind in of)
        amount, remarks = share_of(base, percent), [f"{plain(float(percent))} % of {base}."]
        cap = self._rate("consumables_cap", visit)
        if cap is not None and amount > cap:
            amount = to_penny(cap)
            remarks.append(f"Held to {amount}.")
        if amount:
            text = line_text("consumables", percent=plain(float(percent)))
            self._add(visit, "consumables", "consumables", text, ONE, amount, remarks=tuple(remarks))


def _source(visit: Visit, pointer: str) -> Source:
    return Source(sheet=visit.sheet, revision=visit.revision, pointer=pointer)


def _sum(entries: Iterable[Entry]) -> Decimal:
    return sum((entry.line.net for entry in entries), NOUGHT)


def _on(day: datetime.date) -> str:
    return day_in_words(day)
