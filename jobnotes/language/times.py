"""Arrival, leaving, labour, travel and distance of a job."""

from __future__ import annotations

from datetime import datetime

from jobnotes.jobs import Amount, Job
from jobnotes.language.clock import Clock, ClockReader, Duration
from jobnotes.language.context import Context
from jobnotes.language.day import DAYS, fill_date, last_night
from jobnotes.language.decode import Marked
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.road import both_ways
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
    said = times_said(c, segment)
    if not said:
        return
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
        clock, sure = said[label]
        setattr(job.times, label, f"{value // 60:02d}:{value % 60:02d}")
        heard = c.book.heard(clock.first, clock.last)
        c.book.put(
            f"{base}/times/{label}",
            [(clock.first, clock.last)],
            (0.5 + 0.5 * sure) * (0.6 + 0.4 * heard),
            garbled(c, clock),
            "the words beside this time make no sense",
        )


def garbled(c: Context, clock: Clock) -> bool:
    """Whether a heard time has beside it what must be a part of it and was not read: "porter, to midnight",
    "half past 1-20-4"."""
    if not c.book.by_ear:
        return False
    before = [w for w in c.tokens[max(0, clock.first - 2) : clock.first] if w != ","]
    after = c.tokens[clock.last + 1 : clock.last + 3]
    return (
        before[-1:] == ["past"]
        or (before[-1:] == ["to"] and c.tokens[clock.first] in ("midnight", "midday", "noon"))
        or (after[:1] == ["-"] and after[1:] != [] and after[1].isdecimal())
    )


ELSEWHERE = "elsewhere"  # a time at which the engineer was not on site: "left home at six"


def times_said(c: Context, segment: Segment) -> dict[str, tuple[Clock, float]]:
    """arrived and left, each with its time and how sure: by the reader's marks and by the plain words before
    a time ("left at"), which weigh more."""
    options: dict[str, list[tuple[bool, float, Clock]]] = {"arrived": [], "left": []}
    seen: set[int] = set()
    for mark in c.marks(segment, "value", "arrived", "left"):
        clock = clock_in(c, mark) if mark.confidence > 0.3 else None
        if clock is None:
            continue
        label = by_cue(c, clock) or mark.label
        if label == ELSEWHERE:
            continue
        sure = mark.confidence if label == mark.label else max(mark.confidence, 0.6)
        # a plain time ("twenty past two") tells more than a bare number ("ten past, no")
        options[label].append((clock in c.found.clocks, sure, clock))
        seen.add(clock.first)
    for clock in c.found.clocks:
        cue = by_cue(c, clock, 7)
        marked = any(
            m.group == "value" and c.token_span(m)[0] <= clock.first <= c.token_span(m)[1]
            for m in c.found.marks
        )
        if (
            cue in options
            and clock.first not in seen
            and not marked
            and segment.holds(c.piece_of(clock.first))
        ):
            options[str(cue)].append((True, 0.4, clock))
    for label in ("arrived", "left"):
        if not options[label]:
            options[label] += [(False, 0.4, clock) for clock in after_cues(c, segment, label, seen)]
    said = {
        label: (best[2], best[1])
        for label, found in options.items()
        if found and (best := max(found, key=lambda o: (o[0], o[1], o[2].first)))
    }
    for label, (clock, sure) in said.items():  # "at one, no, quarter past one"
        for later in c.found.clocks:
            between = c.tokens[clock.last + 1 : later.first]
            anew = word_set("cues", "readings", "between_anew").issuperset(between)
            if later.first > clock.last and len(between) <= 5 and {"no", "sorry"} & set(between) and anew:
                said[label] = (later, sure)
                break
    if len(said) == 2 and said["arrived"][0].first == said["left"][0].first:
        said.pop(min(said, key=lambda s: said[s][1]))
    away_past(c, said)
    return said


def after_cues(c: Context, segment: Segment, label: str, seen: set[int]) -> list[Clock]:
    """Bare times right after the words of arriving or leaving: "got there at one", "left at fifteen
    hundred"."""
    out: list[Clock] = []
    reader = ClockReader()
    cues = [
        tuple(cue.split())
        for cue in sayings("cues", "times", "arriving" if label == "arrived" else "leaving")
    ]
    for first, last in segment.stretches:
        begin, end = c.found.pieces[first].first, c.found.pieces[last].last
        for place in range(begin, end):
            if not any(tuple(c.tokens[place : place + len(cue)]) == cue for cue in cues):
                continue
            step = place + 1
            while step <= end and step < place + 6 and c.tokens[step] not in ("at", "by"):
                step += 1
            if step >= end or c.tokens[step] not in ("at", "by") or "." in c.tokens[place:step]:
                continue
            clock = reader.bare_at(c.tokens, step + 1)
            if clock is None or clock.first in seen or c.codes_in(clock.first, clock.last):
                continue
            held = any(
                q.first <= clock.last and q.last >= clock.first and q.unit != "h" for q in c.found.quantities
            )
            if not held:
                out.append(clock)
    return out


def by_cue(c: Context, clock: Clock, reach: int = 9) -> str | None:
    """arrived, left or ELSEWHERE, by the words at most `reach` tokens before a time in its sentence; None
    where none tell."""
    first, end = c.sentence(clock.first)
    taken_back = word_set("cues", "road", "taken_back")
    others = [
        k.last
        for k in c.found.clocks
        if k.last < clock.first and not taken_back & set(c.tokens[k.last + 1 : clock.first])
    ]
    words = " " + " ".join(c.tokens[max([first, clock.first - reach, *others[-1:]]) : clock.first]) + " "
    after = " ".join(c.tokens[clock.last + 1 : min(end, clock.last + 4) + 1]).split(" ,")[0].split(" and ")[0]
    for label, key in (("left", "left_after"), ("arrived", "arrived_after")):
        if after.startswith(sayings("cues", "times", key)):
            return label
    if words.rstrip().endswith(tuple(f" {cue}" for cue in sayings("cues", "times", "left_before"))):
        subject = c.tokens[max(first, clock.first - 5) : clock.first]
        return None if {"cut", "cuts", "went", "goes", "going", "come", "came"} & set(subject) else "left"

    def latest(cues: tuple[str, ...]) -> int:
        return max((words.rfind(f" {cue} ") for cue in cues), default=-1)

    if latest(sayings("cues", "times", "setting_off")) > latest(sayings("cues", "times", "arriving")):
        return ELSEWHERE
    came = latest(sayings("cues", "times", "arriving"))
    went = latest(sayings("cues", "times", "leaving"))
    if came == went:
        return None
    return "arrived" if came > went else "left"


def away_past(c: Context, said: dict[str, tuple[Clock, float]]) -> None:
    """Reads "away quarter past" by the hour of the arrival."""
    leaving = sayings("cues", "times", "leaving")
    if "arrived" in said and "left" not in said:
        clock, sure = said["arrived"]
        _, end = c.sentence(clock.last)
        for place in range(clock.last + 1, end - 1):
            if c.tokens[place] in leaving and c.tokens[place + 2 : place + 3] == ["past"]:
                minutes = {"quarter": 15, "half": 30, "ten": 10, "twenty": 20, "five": 5}.get(
                    c.tokens[place + 1]
                )
                if minutes is not None:
                    hour = clock.hour if minutes > clock.minute else clock.hour + 1
                    hour = hour if clock.fixed else (hour - 1) % 12 + 1
                    said["left"] = (Clock(place + 1, place + 2, hour, minutes, clock.fixed), sure)
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
    d = reader.bare_duration_at(c.tokens[: last + 1], first) if mark.label == "labour" else None
    return [(d.minutes, (d.first, d.last))] if d is not None else []


def fill_labour(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes times.labour_min: the time worked, where said as a duration. Parts of it that are told
    apart are added up."""
    found: list[tuple[float, tuple[int, int], float]] = []
    found += [(m, s, 0.5) for m, s in durations_beside(c, segment, "labour")]
    for mark in c.marks(segment, "value", "travel"):
        found += [(m, s, mark.confidence) for m, s in durations_in(c, mark) if m < 24 * 60 and worked(c, s)]
    on_the_road = {span for _, span in durations_beside(c, segment, "travel")}
    for mark in c.marks(segment, "value", "labour"):
        if mark.confidence > 0.4:
            found.extend(
                (minutes, span, mark.confidence)
                for minutes, span in durations_in(c, mark)
                if minutes < 24 * 60 and span not in on_the_road
            )
    found = [(m, s, sure) for m, s, sure in found if not corrected(c, s)] + [
        (d.minutes, (d.first, d.last), sure) for _, s, sure in found if (d := corrected(c, s)) is not None
    ]
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


def corrected(c: Context, span: tuple[int, int]) -> Duration | None:
    """The duration that takes the place of another at once: "one hour, no, an hour and a half"."""
    for d in c.found.durations:
        between = c.tokens[span[1] + 1 : d.first]
        if d.first > span[1] and len(between) <= 6 and word_set("cues", "road", "taken_back") & set(between):
            return d
    return None


def durations_beside(c: Context, segment: Segment, kind: str) -> list[tuple[float, tuple[int, int]]]:
    """(minutes, tokens) of durations with a word of labour or travel right beside them, that no mark of
    another kind holds. `kind`: labour or travel, a section of cues.toml and a label alike."""
    words = sayings("cues", kind, "beside")
    out = []
    for d in c.found.durations:
        piece = c.piece_of(d.first)
        if d.minutes >= 24 * 60 or not segment.holds(piece):
            continue
        marks = [m for m in c.found.marks if m.group == "value" and m.first <= piece <= m.last]
        right_beside = c.tokens[d.last + 1 : d.last + 2] and c.tokens[d.last + 1] in words
        if not right_beside and any(m.label not in ("hours", kind) and m.confidence > 0.5 for m in marks):
            continue
        if c.near(d.first, d.last, words, 2, 3):
            out.append((d.minutes, (d.first, d.last)))
    return out


def worked(c: Context, span: tuple[int, int]) -> bool:
    """Whether a duration that the reader takes for the road is work: "labour" stands beside it, or no
    word of the road anywhere near while the same sentence tells of labour ("two hours the digger, one the
    roller")."""
    after = " ".join(c.tokens[span[1] + 1 : span[1] + 5])
    if any(after.startswith(cue) for cue in sayings("cues", "labour", "beside")):
        return True
    begin, end = c.sentence(span[0])
    near = f" {' '.join(c.tokens[max(begin, span[0] - 8) : min(end, span[1] + 8) + 1])} "
    if any(
        f" {cue} " in near
        for cue in (*sayings("cues", "road", "on_it"), *sayings("cues", "road", "each_way"))
    ):
        return False
    return any(
        m.label == "labour" and m.confidence > 0.6 and begin <= c.token_span(m)[0] <= end
        for m in c.found.marks
        if m.group == "value"
    )


def fill_travel(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes times.travel_min: the time on the road, both ways."""
    best: tuple[float, tuple[int, int], float] | None = None
    for minutes, span in durations_beside(c, segment, "travel"):
        best = (minutes, span, 0.55)
    for mark in c.marks(segment, "value", "travel"):
        for minutes, span in durations_in(c, mark):
            if worked(c, span):
                continue
            if best is None or mark.confidence > best[2]:
                best = (minutes, span, mark.confidence)
    if best is None or best[2] < 0.4:
        return
    minutes, span, sure = best
    minutes, end = both_ways(c, minutes, *span)
    span = (span[0], end)
    job.times.travel_min = round(minutes)
    heard = c.book.heard(*span)
    c.book.put(f"{base}/times/travel_min", [span], (0.5 + 0.5 * sure) * (0.6 + 0.4 * heard))


def fill_distance(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.distance: miles or kilometres driven, both ways; legs told apart are added up."""
    legs: list[tuple[float, str, tuple[int, int], float]] = []  # value, unit, tokens, how sure
    for mark in c.marks(segment, "value", "dist"):
        first, last = c.token_span(mark)
        told = [q for q in c.found.quantities if q.kind == "distance" and q.first <= last and q.last >= first]
        if told:
            q = told[0]
            value, end = both_ways(c, q.value, q.first, q.last)
            legs.append((value, q.unit, (q.first, end), mark.confidence))
            continue
        numbers = [n for n in c.numbers_in(first, last) if not n.plain or n.value > 1]
        if numbers and mark.confidence > 0.5:
            n = numbers[0] if len(numbers) > 1 and not c.retracted(numbers[0].first) else numbers[-1]
            k = c.tokens[n.last + 1 : n.last + 2] == ["k"]
            unit = "km" if k or any(q.unit == "km" for q in c.found.quantities) else "mi"
            value, end = both_ways(c, n.value, n.first, n.last + k)
            legs.append((value, unit, (n.first, end), mark.confidence * 0.9))
    if not legs:
        for q in c.found.quantities:
            piece = c.piece_of(q.first)
            taken = any(
                m.group == "value" and m.first <= piece <= m.last and m.confidence > 0.3
                for m in c.found.marks
            )
            if q.kind == "distance" and segment.holds(piece) and not taken:
                value, end = both_ways(c, q.value, q.first, q.last)
                whole = c.near(q.first, q.last, sayings("cues", "road", "whole_trip"), 3, 6)
                if value != q.value or whole:
                    legs.append((value, q.unit, (q.first, end), 0.5))
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
