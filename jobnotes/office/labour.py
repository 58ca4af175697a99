"""How long an engineer worked on a visit, by kinds of labour.

Times are local on a sheet and moments in UTC here, so that a day on which the clocks change has its 23 or 25
hours. Durations are in whole min.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from jobnotes.office.calendar import LabourKind, edges, kind_at, kind_of_labour, utc
from jobnotes.office.diary import Diary
from jobnotes.office.settings import LabourSettings, OfficeSettings
from jobnotes.paper.words import minutes as in_words

if TYPE_CHECKING:
    from jobnotes.office.visits import Visit

Span = tuple[datetime.datetime, datetime.datetime]

ARRIVED, LEFT, SPOKEN = "/job/times/arrived", "/job/times/left", "/job/times/labour_min"
LONG_VISIT_MIN = 16 * 60
"""Longer than this from arriving to leaving is rather a slip than a shift (common practice)."""
MOST_SPAN_MIN = 24 * 60
"""A stated duration longer than this is charged by the kind of the day, without clock times."""
NEAR_DAYS = 2
"""Visits whose dates are further apart can't overlap, each of them being a day long at most."""
DAY = datetime.timedelta(days=1)


@dataclass(frozen=True)
class Attendance:
    """When an engineer was at work on a visit, or how long. `span` is None where no clock time is known,
    `spoken` the duration in min where there is no span. `pointers` name the values it rests on."""

    span: Span | None
    spoken: int | None
    remark: str
    pointers: tuple[str, ...]
    looks: tuple[str, ...] = ()

    @property
    def total(self) -> int:
        """How long, min."""
        return length(self.span) if self.span else self.spoken or 0


@dataclass(frozen=True)
class Labour:
    """What is charged for labour on a visit: min by kind, in the order in which they were first worked.

    `worked` is the sum before rounding. `overlapped` is how much of the visit is charged on other sheets,
    min. `known`: the sheet gives a time or a duration.
    """

    minutes: tuple[tuple[LabourKind, int], ...]
    worked: int = 0
    overlapped: int = 0
    known: bool = True
    remarks: tuple[str, ...] = ()
    looks: tuple[str, ...] = ()
    pointers: tuple[str, ...] = ()

    @property
    def total(self) -> int:
        """What is charged in all, min."""
        return sum(minutes for _, minutes in self.minutes)


def length(span: Span) -> int:
    """How long, in min of real time."""
    return int((span[1] - span[0]).total_seconds()) // 60


@dataclass
class _Clock:
    """A local time on a sheet, and what is odd about it."""

    local: datetime.datetime
    zone: ZoneInfo
    looks: list[str] = field(default_factory=list)

    @property
    def moment(self) -> datetime.datetime:
        return utc(self.local, self.zone)

    @property
    def second(self) -> datetime.datetime | None:
        """The later moment of a time that is there twice."""
        later = utc(self.local.replace(fold=1), self.zone)
        return later if later > self.moment else None

    @property
    def skipped(self) -> bool:
        return self.moment.astimezone(self.zone).replace(tzinfo=None) != self.local

    def look(self) -> str | None:
        """Why a person should look at it: the clocks change there."""
        time = f"{self.local:%H:%M}"
        if self.skipped:
            return f"{time} is no time on that day: the clocks go forward"
        if self.second:
            return f"{time} is there twice on that day: the clocks go back"
        return None


def attendance(visit: Visit, settings: OfficeSettings, zone: ZoneInfo) -> Attendance | None:
    """When or how long the engineer worked; None where the sheet gives no times and no duration.

    Both clock times go before one of them and the duration, and that before the duration alone. A visit that
    ends at an earlier time of day than it began goes past midnight.
    """
    arrived, left = _clock(visit, visit.arrived, zone), _clock(visit, visit.left, zone)
    looks = [look for clock in (arrived, left) if clock and (look := clock.look())]
    spoken = visit.labour_min
    if arrived and left:
        return _from_both(arrived, left, spoken, looks, settings.labour.difference_min)
    if spoken is None:
        return None
    if spoken > LONG_VISIT_MIN:
        looks.append(f"{in_words(spoken)} of work is stated")
    if spoken > MOST_SPAN_MIN:
        arrived = left = None
    duration = datetime.timedelta(minutes=spoken) if arrived or left else datetime.timedelta()
    if arrived:
        span = (arrived.moment, arrived.moment + duration)
        remark = f"Arrived {visit.arrived}; {in_words(spoken)} as stated."
        return Attendance(span, None, remark, (ARRIVED, SPOKEN), tuple(looks))
    if left:
        span = (left.moment - duration, left.moment)
        if span[0].astimezone(zone).date() < visit.date:
            looks.append("by the time of leaving, the work began the day before")
        remark = f"Left {visit.left}; {in_words(spoken)} as stated."
        return Attendance(span, None, remark, (LEFT, SPOKEN), tuple(looks))
    remark = f"{in_words(spoken)} as stated, without clock times."
    return Attendance(None, spoken, remark, (SPOKEN,), tuple(looks))


def _clock(visit: Visit, time: str | None, zone: ZoneInfo) -> _Clock | None:
    if time is None:
        return None
    return _Clock(datetime.datetime.combine(visit.date, datetime.time.fromisoformat(time)), zone)


def _from_both(
    arrived: _Clock, left: _Clock, spoken: int | None, looks: list[str], difference: int
) -> Attendance:
    start, end = arrived.moment, left.moment
    told = f"Arrived {arrived.local:%H:%M}, left {left.local:%H:%M}"
    if end <= start and left.second and left.second > start:
        end = left.second
    elif left.local < arrived.local:
        end = _Clock(left.local + DAY, left.zone).moment
        told += " the next day"
    end = max(start, end)
    between = length((start, end))
    pointers: tuple[str, ...] = (ARRIVED, LEFT)
    if between > LONG_VISIT_MIN:
        looks.append(f"from arriving to leaving it is {in_words(between)}")
    if spoken is not None and abs(between - spoken) > difference:
        pointers = (*pointers, SPOKEN)
        looks.append(
            f"from arriving to leaving it is {in_words(between)}, but {in_words(spoken)} of work is stated"
        )
    return Attendance((start, end), None, f"{told}: {in_words(between)}.", pointers, tuple(looks))


def without(span: Span, others: Iterable[Span]) -> list[Span]:
    """What of a span is in none of the others, in order."""
    left = [span]
    for start, end in others:
        cut: list[Span] = []
        for first, last in left:
            if end <= first or last <= start:
                cut.append((first, last))
                continue
            if first < start:
                cut.append((first, start))
            if end < last:
                cut.append((end, last))
        left = cut
    return left


def split(span: Span, settings: OfficeSettings, zone: ZoneInfo) -> list[tuple[LabourKind, int]]:
    """The span in pieces of one kind of labour each, (kind, min), in order."""
    start, end = span
    day, last = start.astimezone(zone).date(), end.astimezone(zone).date()
    cuts = [start]
    while day <= last:
        cuts += [edge for edge in edges(day, settings, zone) if start < edge < end]
        day += DAY
    cuts.append(end)
    return [(kind_at(first, settings, zone), length((first, then))) for first, then in pairwise(cuts)]


def rounded(minutes: int, rules: LabourSettings) -> int:
    """What is charged for so many min worked on a visit: none for none."""
    if minutes == 0:
        return 0
    step = rules.step_min
    if rules.rounding == "up":
        whole = -(-minutes // step) * step
    elif rules.rounding == "down":
        whole = minutes // step * step
    else:  # halves go up
        whole = (2 * minutes + step) // (2 * step) * step
    return max(whole, rules.minimum_min)


def spread(pieces: Sequence[tuple[LabourKind, int]], total: int) -> tuple[tuple[LabourKind, int], ...]:
    """Min by kind, in the order first worked, summing to `total`. What rounding adds or takes goes to the
    kind worked last; where it takes more than that has, to the one before too."""
    by_kind: dict[LabourKind, int] = {}
    latest: dict[LabourKind, int] = {}
    for place, (kind, minutes) in enumerate(pieces):
        by_kind[kind] = by_kind.get(kind, 0) + minutes
        latest[kind] = place
    change = total - sum(by_kind.values())
    for kind in sorted(by_kind, key=lambda kind: -latest[kind]):
        taken = max(change, -by_kind[kind])
        by_kind[kind] += taken
        change -= taken
    return tuple((kind, minutes) for kind, minutes in by_kind.items() if minutes)


def labour_of(visit: Visit, diary: Diary, settings: OfficeSettings, zone: ZoneInfo) -> Labour:
    """What is charged for labour on a visit.

    Time that the same engineer spent on several sheets is charged once, on the one with the lowest number;
    only clock times can show it. What is left is split by kind, rounded, and raised to the minimum.
    """
    own = attendance(visit, settings, zone)
    if own is None:
        return Labour((), known=False)
    remarks, looks = [own.remark], list(own.looks)
    if own.span is None:
        kind = kind_of_labour(visit.date, settings)
        if kind == "normal":
            remarks.append("The time of day is not known; all of it counts as normal hours.")
        pieces = [(kind, own.total)]
    else:
        before: dict[int, Span] = {}
        for other in diary.around(visit, NEAR_DAYS):
            theirs = attendance(other, settings, zone)
            if other.sheet < visit.sheet and theirs and theirs.span:
                before[other.sheet] = theirs.span
        free = without(own.span, before.values())
        sheets = [
            sheet
            for sheet, (start, end) in sorted(before.items())
            if max(start, own.span[0]) < min(end, own.span[1])
        ]
        if sheets:
            common = own.total - sum(map(length, free))
            numbers = " and ".join(map(str, sheets))
            looks.append(f"overlaps with sheet {numbers}, which charges {in_words(common)} of it")
        pieces = [piece for span in free for piece in split(span, settings, zone)]
    worked = sum(minutes for _, minutes in pieces)
    total = rounded(worked, settings.labour)
    if total != worked:
        step = rounded(worked, settings.labour.model_copy(update={"minimum_min": 0}))
        how = "Raised to the minimum of" if total > step else "Rounded to"
        remarks.append(f"{how} {in_words(total)}.")
    return Labour(
        spread(pieces, total),
        worked=worked,
        overlapped=own.total - worked,
        remarks=tuple(remarks),
        looks=tuple(looks),
        pointers=own.pointers,
    )
