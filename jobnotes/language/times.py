"""Arrival, leaving, labour, travel, distance and the day of a job."""

from __future__ import annotations

from datetime import datetime, timedelta

from jobnotes.jobs import Amount, Job
from jobnotes.language.clock import Clock, ClockReader
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.segments import Segment

EACH_WAY = (
    "each way",
    "either way",
    "each direction",
    "one way",
    "a way",
    "there and the same back",
    "and the same back",
    "same back",
    "apiece",
    "out and the same",
    "each end",
)
DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def fill_times(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.date, times and distance, with evidence."""
    day, known_day = fill_date(c, segment, job, base)
    fill_clock(c, segment, job, base, known_day, day)
    last_night(c, segment, job, base, known_day)
    fill_labour(c, segment, job, base)
    fill_travel(c, segment, job, base)
    fill_distance(c, segment, job, base)


# -- the day ---------------------------------------------------------------------------------------------------------


def fill_date(c: Context, segment: Segment, job: Job, base: str) -> tuple[datetime, bool]:
    """The recording's day unless another was said."""
    day = c.recorded_at
    booked = booked_day(c)
    if booked is not None:
        job.date = booked[0].date().isoformat()
        c.book.put(f"{base}/date", [booked[1]], 0.9)
        return c.recorded_at, False  # the clock runs by the recording all the same
    for mark in c.marks(segment, "value", "date"):
        if mark.confidence < 0.5:
            continue
        first, last = c.token_span(mark)
        said = day_said(c.tokens[first : last + 1], c.recorded_at)
        if said is None:
            said = day_said(c.tokens[max(0, first - 1) : last + 2], c.recorded_at)
        if said is not None:
            job.date = said.date().isoformat()
            c.book.put(f"{base}/date", [(first, last)], 0.5 + 0.45 * mark.confidence)
            c.day = said
            return said, True
    said = opening_day(c, segment)
    if said is not None:
        job.date = said[0].date().isoformat()
        c.book.put(f"{base}/date", [said[1]], 0.6, True, "the day is taken from how the memo opens")
        c.day = said[0]
        return said[0], True
    if c.day is not None:  # told in an earlier job: the day of all that follows
        job.date = c.day.date().isoformat()
        return c.day, True
    job.date = day.date().isoformat()
    return day, False


def last_night(c: Context, segment: Segment, job: Job, base: str, known_day: bool) -> None:
    """ "Last night" is the day before where the work was over before midnight; after midnight the recording's day stands."""
    end = job.times.left or job.times.arrived
    if known_day or end is None or f"{c.recorded_at:%H:%M}" >= end:
        return
    for first, last in segment.stretches:
        begin, stop = c.found.pieces[first].first, c.found.pieces[last].last
        for place in range(begin, stop):
            if c.tokens[place : place + 2] == ["last", "night"]:
                job.date = (c.recorded_at - timedelta(days=1)).date().isoformat()
                c.book.put(f"{base}/date", [(place, place + 1)], 0.6, True, "last night, before midnight")
                return


def booked_day(c: Context) -> tuple[datetime, tuple[int, int]] | None:
    """The day the memo says to put the work down to: "put both down as Thursday's", "put Tuesday's date on it"."""
    for place, word in enumerate(c.tokens):
        if word not in DAYS and word not in ("yesterday", "today"):
            continue
        before = " ".join(c.tokens[max(0, place - 6) : place])
        after = c.tokens[place + 1 : place + 3]
        if any(
            cue in f" {before} "
            for cue in (
                " down as ",
                " down to ",
                " down for ",
                " book it to ",
                " date it ",
                " booked to ",
                " put it on ",
            )
        ) or (after == ["'s", "date"] or after == ["'s", "shift"]):
            said = day_said([word], c.recorded_at)
            if said is not None:
                return said, (place, place)
    return None


def opening_day(c: Context, segment: Segment) -> tuple[datetime, tuple[int, int]] | None:
    """The day of the work where the first words tell it ("this was yesterday afternoon"), and not when something was reported."""
    begin = min(c.found.pieces[segment.stretches[0][0]].first, len(c.tokens) - 1)
    for place in range(begin, min(begin + 28, len(c.tokens))):
        word = c.tokens[place]
        if word != "yesterday":
            continue
        mark = next(
            (
                m
                for m in c.found.marks
                if m.group == "complaint" and c.token_span(m)[0] <= place <= c.token_span(m)[1]
            ),
            None,
        )
        near = set(c.tokens[max(0, place - 5) : place + 4])
        if mark is None and not near & {"rang", "reported", "phoned", "called", "ordered", "told", "said"}:
            return c.recorded_at - timedelta(days=1), (place, place)
    return None


def day_said(tokens: list[str], recorded: datetime) -> datetime | None:
    """yesterday, Tuesday, the day before yesterday, last night, the twelfth of March: the latest such day not after the recording."""
    text = " ".join(tokens)
    if "day before yesterday" in text:
        return recorded - timedelta(days=2)
    if "yesterday" in text:
        return recorded - timedelta(days=1)
    for n, name in enumerate(DAYS):
        if name in tokens:
            back = (recorded.weekday() - n) % 7
            if back == 0 and "last" in tokens:
                back = 7
            return recorded - timedelta(days=back)
    if "today" in tokens or "this" in tokens:
        return recorded
    if any(w.isdigit() or w.endswith(("th", "st", "nd", "rd", "first", "second", "third")) for w in tokens):
        import dateparser

        from jobnotes.language.numbers import ORDINALS, TENS

        words = []
        i = 0
        while i < len(tokens):
            w = tokens[i]
            if (
                w in TENS
                and tokens[i + 1 : i + 2] == ["-"]
                and tokens[i + 2 : i + 3]
                and tokens[i + 2] in ORDINALS
            ):
                words.append(str(TENS[w] + ORDINALS[tokens[i + 2]]))
                i += 3
                continue
            if w in ORDINALS:
                w = str(ORDINALS[w])
            if w not in ("the", "of", "on"):
                words.append(w)
            i += 1
        parsed = dateparser.parse(
            " ".join(words),
            languages=["en"],
            settings={
                "RELATIVE_BASE": recorded.replace(tzinfo=None),
                "PREFER_DATES_FROM": "past",
                "DATE_ORDER": "DMY",
                "REQUIRE_PARTS": ["day"],
            },
        )
        if parsed is not None and abs((parsed - recorded.replace(tzinfo=None)).days) <= 60:
            return parsed
    return None


# -- clock -----------------------------------------------------------------------------------------------------------


def clock_in(c: Context, mark: Marked) -> Clock | None:
    """The time of day within a mark; the last where a value was taken back."""
    first, last = c.token_span(mark)
    clear = [k for k in c.found.clocks if k.first <= last and k.last >= first]
    if clear:
        return clear[-1]
    reader = ClockReader()
    for place in range(first, last + 1):
        clock = reader.clock_at(c.tokens, place) or reader.bare_at(c.tokens, place)
        if clock is not None and clock.first <= last:
            return clock
    return None


def fill_clock(c: Context, segment: Segment, job: Job, base: str, known_day: bool, day: datetime) -> None:
    """Arrived and left, the half of the day chosen so that the visit ends before the recording and lasts a likely time."""
    said: dict[str, tuple[Clock, Marked]] = {}
    for label in ("arrived", "left"):
        marks = [m for m in c.marks(segment, "value", label) if m.confidence > 0.35]
        options = [(m, k) for m in marks if (k := clock_in(c, m)) is not None]
        if options:
            # a plain time ("twenty past two") tells more than a bare number ("ten past, no")
            mark, clock = max(options, key=lambda o: (o[1] in c.found.clocks, o[0].confidence, o[0].first))
            said[label] = (clock, mark)
    place_by_cues(c, segment, said)
    if not said:
        return
    if len(said) == 2 and said["arrived"][0].first == said["left"][0].first:
        weaker = min(said, key=lambda s: said[s][1].confidence)
        said.pop(weaker)
    recorded = c.recorded_at.hour * 60 + c.recorded_at.minute
    same_day = not known_day or day.date() == c.recorded_at.date()
    hint = part_of_day(c, segment) if not same_day else None
    best: tuple[float, int | None, int | None] | None = None
    for arrived in said["arrived"][0].options() if "arrived" in said else [None]:
        for left in said["left"][0].options() if "left" in said else [None]:
            cost = unlikeliness(arrived, left, recorded if same_day else None)
            begun = arrived if arrived is not None else left
            inside = begun is not None and any(a <= begun <= b for a, b in hint or ())
            if hint is not None and begun is not None and not inside:
                cost += 500
            if best is None or cost < best[0]:
                best = (cost, arrived, left)
    assert best is not None
    for label, value in (("arrived", best[1]), ("left", best[2])):
        if value is None:
            continue
        clock, mark = said[label]
        setattr(job.times, label, f"{value // 60:02d}:{value % 60:02d}")
        heard = c.book.heard(clock.first, clock.last)
        c.book.put(
            f"{base}/times/{label}",
            [(clock.first, clock.last)],
            (0.5 + 0.5 * mark.confidence) * (0.6 + 0.4 * heard),
        )


ARRIVING = (
    "got there",
    "got here",
    "arrived",
    "on site",
    "landed",
    "got to it",
    "there for",
    "started",
    "here for",
    "there by",
    "there at",
)
LEAVING = (
    "away",
    "left",
    "finished",
    "done at",
    "off site",
    "cleared",
    "till",
    "until",
    "gone by",
    "wrapped up",
    "packed up",
)


def place_by_cues(c: Context, segment: Segment, said: dict[str, tuple[Clock, Marked]]) -> None:
    """Puts a time that plain words before it give to arriving or leaving where they say; and reads "away quarter past" by the hour of
    the arrival."""

    def before(clock: Clock) -> str:
        first, _ = c.sentence(clock.first)
        return " " + " ".join(c.tokens[max(first, clock.first - 9) : clock.first]) + " "

    def latest(words: str, cues: tuple[str, ...]) -> int:
        return max((words.rfind(f" {cue} ") for cue in cues), default=-1)

    for label, other in (("left", "arrived"), ("arrived", "left")):
        if label not in said or other in said:
            continue
        words = before(said[label][0])
        came, went = latest(words, ARRIVING), latest(words, LEAVING)
        if (label == "left" and came > went) or (label == "arrived" and went > came):
            said[other] = said.pop(label)
    if "arrived" in said and "left" not in said:
        clock, mark = said["arrived"]
        _, end = c.sentence(clock.last)
        for place in range(clock.last + 1, end - 1):
            if c.tokens[place] in LEAVING and c.tokens[place + 2 : place + 3] == ["past"]:
                minutes = {"quarter": 15, "half": 30, "ten": 10, "twenty": 20, "five": 5}.get(
                    c.tokens[place + 1]
                )
                if minutes is not None:
                    hour = clock.hour if minutes > clock.minute else clock.hour + 1
                    hour = hour if clock.fixed else (hour - 1) % 12 + 1
                    said["left"] = (Clock(place + 1, place + 2, hour, minutes, clock.fixed), mark)
                    return


def part_of_day(c: Context, segment: Segment) -> list[tuple[int, int]]:
    """The likely minutes of arrival, first to last, where another day is told: with its part ("yesterday afternoon"), or by day."""
    for place, word in enumerate(c.tokens[:-1]):
        if word in ("yesterday", *DAYS):
            after = c.tokens[place + 1]
            if after in ("afternoon", "evening"):
                return [(11 * 60, 21 * 60)]
            if after == "morning":
                return [(4 * 60, 12 * 60)]
            if after == "night":
                return [(17 * 60, 24 * 60), (0, 5 * 60)]
    if {"night", "midnight", "nights", "overnight"} & set(c.tokens):
        return [(0, 24 * 60)]
    return [(6 * 60, 17 * 60 + 30)]


def unlikeliness(arrived: int | None, left: int | None, recorded: int | None) -> float:
    """How little a pair of times (minutes after midnight) fits a visit that was over when the memo was recorded."""
    cost = 0.0
    end = left if left is not None else arrived
    assert end is not None
    if recorded is not None:
        gap = (recorded - end) % 1440
        cost += gap
        if end > recorded + 5:
            cost += 60  # before midnight, told after it
    else:
        cost += 0 if 360 <= end <= 1140 else 300
    if arrived is not None and left is not None:
        length = (left - arrived) % 1440
        cost += 2 * length if length else 1440
        if left < arrived:
            cost += 120
    elif arrived is not None and recorded is None:
        cost += 0 if 300 <= arrived <= 1020 else 300
    return cost


# -- durations -------------------------------------------------------------------------------------------------------


def durations_in(c: Context, mark: Marked) -> list[tuple[float, tuple[int, int]]]:
    """(minutes, tokens) of the durations within a mark."""
    first, last = c.token_span(mark)
    found = [(d.minutes, (d.first, d.last)) for d in c.found.durations if d.first <= last and d.last >= first]
    if found:
        return found
    reader = ClockReader()
    for place in range(first, last + 1):
        d = reader.duration_at(c.tokens, place)
        if d is not None:
            return [(d.minutes, (d.first, d.last))]
    return []


def fill_labour(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Time worked, where said as a duration. Two parts of it that are told apart are added up."""
    found: list[tuple[float, tuple[int, int], float]] = []
    for mark in c.marks(segment, "value", "labour"):
        if mark.confidence > 0.4:
            found.extend(
                (minutes, span, mark.confidence)
                for minutes, span in durations_in(c, mark)
                if minutes < 24 * 60
            )
    unique = {span: (minutes, sure) for minutes, span, sure in found}
    if not unique:
        return
    spans = sorted(unique)
    strong = [s for s in spans if unique[s][1] > 0.75]
    if len(strong) > 1:
        between = set(c.tokens[strong[0][1] : strong[-1][0]])
        together = between & {"and", "plus", "then"} and not between & {
            "total",
            "altogether",
            "so",
            "makes",
            "sorry",
            "no",
        }
        total = [
            s
            for s in strong
            if c.near(s[0], s[1], ("in all", "all told", "altogether", "total", "all in", "all up"), 4, 4)
        ]
        if total:
            strong = total[-1:]
        elif not together:
            strong = [max(strong, key=lambda s: (unique[s][1], s[0]))]
    else:
        strong = [max(spans, key=lambda s: unique[s][1])]
    minutes = sum(unique[s][0] for s in strong)
    sure = min(unique[s][1] for s in strong)
    job.times.labour_min = round(minutes)
    heard = min(c.book.heard(*s) for s in strong)
    doubt = len(unique) > 1
    c.book.put(
        f"{base}/times/labour_min",
        strong,
        (0.5 + 0.5 * sure) * (0.6 + 0.4 * heard),
        doubt,
        "more than one duration was said",
    )


def both_ways(c: Context, first: int, last: int) -> bool:
    """Whether the figure is for one way only."""
    if c.near(first, last, EACH_WAY, 0, 7):
        return not c.near(first, last, ("both ways", "there and back", "round trip", "all in"), 0, 3)
    return c.near(first, last, ("each way", "either way"), 2, 0)


def fill_travel(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Time on the road, both ways."""
    best = None
    for mark in c.marks(segment, "value", "travel"):
        for minutes, span in durations_in(c, mark):
            if best is None or mark.confidence > best[2]:
                best = (minutes, span, mark.confidence)
    if best is None or best[2] < 0.4:
        return
    minutes, span, sure = best
    if both_ways(c, *span):
        minutes *= 2
    job.times.travel_min = round(minutes)
    heard = c.book.heard(*span)
    c.book.put(f"{base}/times/travel_min", [span], (0.5 + 0.5 * sure) * (0.6 + 0.4 * heard))


HOMEWARD = {"back", "home", "down", "return", "returning"}


def fill_distance(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Miles or kilometres driven, both ways; legs told apart are added up."""
    legs: list[tuple[float, str, tuple[int, int], float]] = []
    for mark in c.marks(segment, "value", "dist"):
        first, last = c.token_span(mark)
        there = [q for q in c.found.quantities if q.kind == "distance" and first <= q.first <= last]
        back = [
            n
            for n in c.found.numbers
            if first <= n.first <= last + 5
            and any(c.tokens[i] in HOMEWARD for i in range(n.last + 1, min(n.last + 3, len(c.tokens))))
        ]
        if there and back and back[0].first > there[0].last:
            legs.append(
                (
                    there[0].value + back[0].value,
                    there[0].unit,
                    (there[0].first, back[0].last),
                    mark.confidence,
                )
            )
            continue
        for q in c.found.quantities:
            if q.kind == "distance" and q.first <= last and q.last >= first:
                legs.append(
                    (
                        q.value * (2 if both_ways(c, q.first, q.last) else 1),
                        q.unit,
                        (q.first, q.last),
                        mark.confidence,
                    )
                )
                break
        else:
            numbers = [n for n in c.numbers_in(first, last) if not n.plain or n.value > 1]
            if numbers and mark.confidence > 0.5:
                n = numbers[-1]
                unit = "km" if any(q.unit == "km" for q in c.found.quantities) else "mi"
                legs.append(
                    (
                        n.value * (2 if both_ways(c, n.first, n.last) else 1),
                        unit,
                        (n.first, n.last),
                        mark.confidence * 0.9,
                    )
                )
    if not legs:
        for q in c.found.quantities:
            piece = c.piece_of(q.first)
            taken = any(
                m.group == "value" and m.first <= piece <= m.last and m.confidence > 0.3
                for m in c.found.marks
            )
            if q.kind == "distance" and segment.holds(piece) and not taken:
                twice = both_ways(c, q.first, q.last)
                if twice or c.near(
                    q.first, q.last, ("round trip", "there and back", "both ways", "all in", "return"), 3, 6
                ):
                    legs.append((q.value * (2 if twice else 1), q.unit, (q.first, q.last), 0.5))
                    break
    if not legs:
        return
    legs = list({leg[2]: leg for leg in legs}.values())
    chosen = [max(legs, key=lambda leg: leg[3])]
    if len(legs) > 1:
        total = [
            leg
            for leg in legs
            if c.near(*leg[2], ("total", "in all", "all in", "all told", "altogether", "makes"), 4, 4)
        ]
        if total:
            chosen = total[-1:]
        elif (
            len({leg[1] for leg in legs}) == 1
            and legs[1][2][0] - legs[0][2][1] < 12
            and not c.near(legs[0][2][1], legs[1][2][0], ("no", "sorry", "mean", "make that", "rather"), 0, 0)
        ):
            chosen = legs[:2]
    value = sum(leg[0] for leg in chosen)
    sure = min(leg[3] for leg in chosen)
    job.distance = Amount(value=value, unit=chosen[0][1])
    spans = [leg[2] for leg in chosen]
    heard = min(c.book.heard(*s) for s in spans)
    c.book.put(
        f"{base}/distance",
        spans,
        (0.5 + 0.5 * sure) * (0.6 + 0.4 * heard),
        len(legs) > 1,
        "more than one distance was said",
    )
