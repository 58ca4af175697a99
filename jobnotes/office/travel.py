"""Travel of a visit, and the sharing of a day's travel by its legs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from jobnotes.office.diary import Diary
from jobnotes.office.rates import name_key
from jobnotes.paper.words import minutes as in_words
from jobnotes.register import Register

if TYPE_CHECKING:
    from jobnotes.office.visits import Visit

Measure = Literal["time", "mile"]
POINTERS: Mapping[Measure, str] = {"time": "/job/times/travel_min", "mile": "/job/distance"}
TENTH = Decimal("0.1")


@dataclass(frozen=True)
class Travel:
    """What a visit travelled, both ways: min, or mi in tenths. `stated_on` are the sheets that it is from,
    `shared_over` the numbers of those that a day's round is shared over, none where it is the visit's own."""

    amount: Decimal
    remarks: tuple[str, ...]
    stated_on: tuple[Visit, ...]
    shared_over: tuple[int, ...] = ()


def stated(visit: Visit, by: Measure) -> Decimal | None:
    """The travel that a sheet states: min, or mi in tenths; both ways."""
    if by == "time":
        return None if visit.travel_min is None else Decimal(visit.travel_min)
    return None if visit.miles is None else tenths(visit.miles)


def tenths(miles: float) -> Decimal:
    """Miles in whole tenths, halves up."""
    # A slip on a sheet may be of any size; what is too much to be charged is told later, in words.
    return Decimal(repr(miles)).quantize(TENTH, ROUND_HALF_UP, Context(prec=400))


def shares(total: int, weights: Sequence[Fraction]) -> list[int]:
    """A whole number shared by weights, none of them less than nought, so that the shares sum to it.

    By the largest remainder; of equal ones the first goes first. Equally where all weights are nought.
    """
    if not any(weights):
        weights = [Fraction(1)] * len(weights)
    exact = [total * weight / sum(weights) for weight in weights]
    whole = [int(share) for share in exact]
    first = sorted(range(len(weights)), key=lambda place: (whole[place] - exact[place], place))
    for place in first[: total - sum(whole)]:
        whole[place] += 1
    return whole


def site_miles(register: Register) -> dict[str, float]:
    """Miles from the depot, one way, by the key of a site's name; those that are known."""
    return {
        name_key(site.site): site.miles_from_depot
        for site in register.sites
        if site.miles_from_depot is not None
    }


def travel_of(visit: Visit, diary: Diary, miles: Mapping[str, float], by: Measure) -> Travel | None:
    """What a visit travelled; None where no sheet of the engineer's day states any.

    Where some sheets of that day state it and others do not, those tell the day's round, which is shared
    over all of its visits: by the miles of their sites from the depot, equally where one is not known.
    """
    day = diary.day_of(visit)
    told = [(other, amount) for other in day if (amount := stated(other, by)) is not None]
    if not told:
        return None
    own = stated(visit, by)
    if own is not None and len(told) == len(day):
        return Travel(own, (), (visit,))
    unit = TENTH if by == "mile" else Decimal(1)
    total = sum((amount for _, amount in told), Decimal(0))
    known = [miles.get(name_key(other.site)) if other.site else None for other in day]
    weights = [Fraction(repr(way)) for way in known if way is not None]
    if len(weights) < len(day):
        weights = [Fraction(1)] * len(day)
        how = "equally, since the way to one of the sites is not known"
    else:
        how = "by the miles from the depot"
    numbers = tuple(other.sheet for other in day)
    share = shares(int(total / unit), weights)[numbers.index(visit.sheet)] * unit
    sheets = ", ".join(map(str, numbers))
    of = in_words(int(total)) if by == "time" else f"{total} miles"
    remark = f"A share of the day's {of} over sheets {sheets}, {how}."
    return Travel(share, (remark,), tuple(other for other, _ in told), numbers)


def one_way(visit: Visit, miles: Mapping[str, float]) -> tuple[Decimal, str, str] | None:
    """(mi one way, where they are from, its pointer): the site's, else half of what the sheet states; None
    where neither is known."""
    known = miles.get(name_key(visit.site)) if visit.site else None
    if known is not None:
        return Decimal(repr(known)), f"{known:g} miles from the depot to {visit.site}.", "/job/site"
    if visit.miles is None:
        return None
    half = Decimal(repr(visit.miles)) / 2
    return half, f"Half of the {tenths(visit.miles)} miles stated, both ways.", POINTERS["mile"]
