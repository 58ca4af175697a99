"""Arrival, leaving, labour, travel and distance of a job."""

from __future__ import annotations

from datetime import datetime

from jobnotes.jobs import Amount, Job
from jobnotes.language.clock import Clock, ClockReader
from jobnotes.language.context import Context
from jobnotes.language.day import DAYS, fill_date, last_night
from jobnotes.language.decode import Marked
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.segments import Segment


def fill_times(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.date, times and distance, with evidence under the pointer `base`."""
    day, known_day = fill_date(c, segment, job, base)
    fill_clock(c, segment, job, base, known_day, day)
    last_night(c, segment, job, base, known_day)
    fill_labour(c, segment, job, base)
    fill_travel(c, segment, job, base)
    fill_distance(c, segment, job, base)


def clock_in(c: Context, mark: Marked) -> Clock | None:
    """The time of day within a mark, the last where several were said; None where none was."""
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
    """Writes times.arrived and times.left (HH:MM). The half of the day is chosen so that the visit ends
    before the recording and lasts a likely time."""
    said: dict[str, tuple[Clock, Marked]] = {}
    for label in ("arrived", "left"):
        marks = [m for m in c.marks(segment, "value", label) if m.confidence > 0.35]
        options = [(m, k) for m in marks if (k := clock_in(c, m)) is not None]
        if options:
            # a plain time ("twenty past two") tells more than a bare number ("ten past, no")
            mark, clock = max(options, key=lambda o: (o[1] in c.found.clocks, o[0].confidence, o[0].first))
            said[label] = (clock, mark)
    place_by_cues(c, said)
    if not said:
        return
    if len(said) == 2 and said["arrived"][0].first == said["left"][0].first:
        weaker = min(said, key=lambda s: said[s][1].confidence)
        said.pop(weaker)
    recorded = c.recorded_at.hour * 60 + c.recorded_at.minute
    same_day = not known_day or day.date() == c.recorded_at.date()
    hint = part_of_day(c) if not same_day else None
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


def place_by_cues(c: Context, said: dict[str, tuple[Clock, Marked]]) -> None:
    """Gives a time to arriving or to leaving where plain words before it say which. Reads "away quarter past"
    by the hour of the arrival."""

    def before(clock: Clock) -> str:
        first, _ = c.sentence(clock.first)
        return " " + " ".join(c.tokens[max(first, clock.first - 9) : clock.first]) + " "

    def latest(words: str, cues: tuple[str, ...]) -> int:
        return max((words.rfind(f" {cue} ") for cue in cues), default=-1)

    arriving, leaving = sayings("cues", "times", "arriving"), sayings("cues", "times", "leaving")
    for label, other in (("left", "arrived"), ("arrived", "left")):
        if label not in said or other in said:
            continue
        words = before(said[label][0])
        came, went = latest(words, arriving), latest(words, leaving)
        if (label == "left" and came > went) or (label == "arrived" and went > came):
            said[other] = said.pop(label)
    if "arrived" in said and "left" not in said:
        clock, mark = said["arrived"]
        _, end = c.sentence(clock.last)
        for place in range(clock.last + 1, end - 1):
            if c.tokens[place] in leaving and c.tokens[place + 2 : place + 3] == ["past"]:
                minutes = {"quarter": 15, "half": 30, "ten": 10, "twenty": 20, "five": 5}.get(
                    c.tokens[place + 1]
                )
                if minutes is not None:
                    hour = clock.hour if minutes > clock.minute else clock.hour + 1
                    hour = hour if clock.fixed else (hour - 1) % 12 + 1
                    said["left"] = (Clock(place + 1, place + 2, hour, minutes, clock.fixed), mark)
                    return


def part_of_day(c: Context) -> list[tuple[int, int]]:
    """The likely times of arrival, (first, last) in minutes after midnight, where another day is told: by its
    part ("yesterday afternoon"), else working hours, or any where the memo speaks of the night."""
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
    """How little a pair of times fits a visit that was over when the memo was recorded; 0 fits best. All in
    minutes after midnight; `recorded` is None where the visit was on another day."""
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
    """Writes times.labour_min: the time worked, where said as a duration. Parts of it that are told
    apart are added up."""
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
        adds, no_addition = word_set("cues", "labour", "adds"), word_set("cues", "labour", "no_addition")
        together = bool(between & adds) and not between & no_addition
        total = [s for s in strong if c.near(*s, sayings("cues", "labour", "total"), 4, 4)]
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


def one_way(c: Context, first: int, last: int) -> bool:
    """Whether the figure in tokens `first` to `last` is for one way only."""
    if c.near(first, last, sayings("cues", "road", "each_way"), 0, 7):
        return not c.near(first, last, sayings("cues", "road", "both_ways"), 0, 3)
    return c.near(first, last, sayings("cues", "road", "each_way_before"), 2, 0)


def fill_travel(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes times.travel_min: the time on the road, both ways."""
    best = None
    for mark in c.marks(segment, "value", "travel"):
        for minutes, span in durations_in(c, mark):
            if best is None or mark.confidence > best[2]:
                best = (minutes, span, mark.confidence)
    if best is None or best[2] < 0.4:
        return
    minutes, span, sure = best
    if one_way(c, *span):
        minutes *= 2
    job.times.travel_min = round(minutes)
    heard = c.book.heard(*span)
    c.book.put(f"{base}/times/travel_min", [span], (0.5 + 0.5 * sure) * (0.6 + 0.4 * heard))


def fill_distance(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.distance: miles or kilometres driven, both ways; legs told apart are added up."""
    homeward = word_set("cues", "road", "homeward")
    legs: list[tuple[float, str, tuple[int, int], float]] = []  # value, unit, tokens, how sure
    for mark in c.marks(segment, "value", "dist"):
        first, last = c.token_span(mark)
        there = [q for q in c.found.quantities if q.kind == "distance" and first <= q.first <= last]
        back = [
            n
            for n in c.found.numbers
            if first <= n.first <= last + 5
            and any(c.tokens[i] in homeward for i in range(n.last + 1, min(n.last + 3, len(c.tokens))))
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
                        q.value * (2 if one_way(c, q.first, q.last) else 1),
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
                        n.value * (2 if one_way(c, n.first, n.last) else 1),
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
                twice = one_way(c, q.first, q.last)
                if twice or c.near(q.first, q.last, sayings("cues", "road", "whole_trip"), 3, 6):
                    legs.append((q.value * (2 if twice else 1), q.unit, (q.first, q.last), 0.5))
                    break
    if not legs:
        return
    legs = list({leg[2]: leg for leg in legs}.values())
    chosen = [max(legs, key=lambda leg: leg[3])]
    if len(legs) > 1:
        total = [leg for leg in legs if c.near(*leg[2], sayings("cues", "road", "total"), 4, 4)]
        if total:
            chosen = total[-1:]
        elif (
            len({leg[1] for leg in legs}) == 1
            and legs[1][2][0] - legs[0][2][1] < 12
            and not c.near(legs[0][2][1], legs[1][2][0], sayings("cues", "road", "taken_back"), 0, 0)
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
