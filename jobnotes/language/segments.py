"""Where one job ends and the next begins."""

from __future__ import annotations

from dataclasses import dataclass, field

from jobnotes.language.decode import Marked
from jobnotes.language.findings import Findings, Floats, PlacedCode
from jobnotes.language.lexicon import word_set
from jobnotes.register import Lookup

# Which job of the memo a word points to, counted from nought.
ORDINALS = {"first": 0, "second": 1, "third": 2, "fourth": 3}


@dataclass
class Segment:
    """One job's stretches of pieces, (first, last) each, in the order spoken."""

    stretches: list[tuple[int, int]] = field(default_factory=list)
    gained: set[Marked] = field(default_factory=set)  # marks told in another job's stretch
    lost: set[Marked] = field(default_factory=set)

    def has(self, mark: Marked) -> bool:
        """Whether what a mark says is of this job."""
        return mark in self.gained or (mark not in self.lost and self.holds(mark.first))

    def holds(self, piece: int) -> bool:
        """Whether the piece is spoken of this job."""
        return any(a <= piece <= b for a, b in self.stretches)

    def pieces(self) -> list[int]:
        """All its pieces."""
        return [i for a, b in self.stretches for i in range(a, b + 1)]


def segments(found: Findings, lookup: Lookup | None = None) -> list[Segment]:
    """The jobs of the memo. A new one begins where the reader says so; a stretch that names the machine of an
    earlier job, or that points back to it ("on the first one I forgot"), belongs to that."""
    count = len(found.pieces)
    if not count:
        return []
    starts = [(m.first, m.label, m.confidence) for m in found.marks if m.group == "job"]
    starts = [s for s in starts if s[2] >= 0.5]
    starts = sorted(starts + overlooked(found, starts))
    news: list[tuple[int, str]] = []
    for first, label, _ in starts:
        if news and first - news[-1][0] < 6:
            continue
        news.append((first, label))
    if not any(label == "new" for _, label in news):
        return [Segment([(0, count - 1)])]
    while news and news[0][1] == "back":
        news.pop(0)
    if news[0][0] > 25 and stands_alone(found, (0, news[0][0] - 1)):
        news.insert(0, (0, "new"))  # the first job's own beginning was not seen
    bounds = [p for p, _ in news] + [count]
    jobs: list[Segment] = []
    machines: list[str | None] = []
    begin = 0  # what goes before the first job, and a stretch too slight to be one, belongs to the next
    for n, (_, label) in enumerate(news):
        last_one = n == len(news) - 1
        stretch = (begin, bounds[n + 1] - 1)
        begin = bounds[n + 1]
        fleet = fleet_in(found, stretch)
        if jobs and fleet is not None and fleet in machines:
            jobs[machines.index(fleet)].stretches.append(stretch)
        elif label == "back" and len(jobs) > 1:
            jobs[pointed_at(found, stretch, len(jobs))].stretches.append(stretch)
        elif stands_alone(found, stretch) and label == "new":
            jobs.append(Segment([stretch]))
            machines.append(fleet)
        elif jobs and (label == "back" or last_one or not names_place(found, stretch)):
            jobs[-1].stretches.append(stretch)
        elif last_one:
            jobs.append(Segment([stretch]))
            machines.append(fleet)
        else:
            begin = stretch[0]
    return turned_back(found, jobs, lookup)


def turned_back(found: Findings, jobs: list[Segment], lookup: Lookup | None) -> list[Segment]:
    """The jobs with what is told of an earlier one later on given to it: "Where was I. The jaw. ..." goes
    back to the crusher, up to the next machine named so or the end of the stretch."""
    kinds = [machine_kind(found, job, lookup) for job in jobs]
    if len(jobs) < 2 or len({k for k in kinds if k}) < 2:
        return jobs
    back = [Segment() for _ in jobs]
    for number, job in enumerate(jobs):
        for first, last in job.stretches:
            begin, owner = first, number
            for place in range(first + 1, last + 1):
                to = opens_with(found, place, kinds)
                if to is not None and to != owner and min(s[0] for s in jobs[to].stretches) < place:
                    back[owner].stretches.append((begin, place - 1))
                    begin, owner = place, to
            back[owner].stretches.append((begin, last))
    for segment in back:
        segment.stretches.sort()
    return back if all(s.stretches for s in back) else jobs


def machine_kind(found: Findings, job: Segment, lookup: Lookup | None) -> str | None:
    """The machine type of a job: by its fleet number's row, else as its first words name it; None where
    they name none."""
    first, last = job.stretches[0]
    code = fleet_code(found, (first, last))
    if lookup is not None and code is not None and code.kind == "fleet" and code.row is not None:
        return lookup.machine(code.row).type or None
    for name in found.names:
        if name.kind == "type" and found.pieces[first].first <= name.first <= found.pieces[last].last:
            marked = any(
                m.group == "name"
                and m.label == "machine"
                and found.pieces[m.first].first <= name.last
                and name.first <= found.pieces[m.last].last
                for m in found.marks
            )
            if marked:
                return name.value
    return None


def opens_with(found: Findings, place: int, kinds: list[str | None]) -> int | None:
    """The job whose machine alone opens the sentence that begins at a piece ("The jaw.", "Genny, I never
    finished", "Back on the roller, ..."); None where none does, or several fit."""
    if found.pieces[place - 1].text not in (".", "?", "!", ";"):
        return None
    token = found.pieces[place].first
    for name in found.names:
        lead = name.first - token
        if name.kind != "type" or not 0 <= lead <= 5:
            continue
        ahead = [p.text for p in found.pieces if token <= p.first < name.first]
        after = next((p.text for p in found.pieces if p.first > name.last), "")
        pointing = {"back", "forgot"} & set(ahead)
        fits = [n for n, kind in enumerate(kinds) if kind == name.value]
        plain = word_set("cues", "jobs", "leading").issuperset(ahead)
        if len(fits) == 1 and plain and (after in (".", ",", ":", "again") or pointing):
            return fits[0]
    return None


def overlooked(found: Findings, starts: list[tuple[int, str, float]]) -> list[tuple[int, str, float]]:
    """Starts that the clause reader half saw, as (piece, label, confidence): another machine's fleet number
    with some sign of a beginning just before it, a sentence that turns to a machine and its complaint."""
    if found.job_new is None:
        return []
    out: list[tuple[int, str, float]] = []
    fleets = [m for m in found.marks if m.group == "name" and m.label == "fleet" and m.confidence > 0.7]
    named: set[str] = set()
    for mark in fleets:
        code = fleet_code(found, (mark.first, mark.first))
        if code is None or code.kind != "fleet":
            continue
        key = code.code.key
        if named and key not in named:
            first = max(0, mark.first - 12)
            window = found.job_new[first : mark.first + 1]
            known = any(first <= s <= mark.first for s, label, _ in starts if label == "new")
            if not known and float(window.sum()) > 0.25:
                out.append((first + int(window.argmax()), "new", 0.5))
            elif not known:
                begin = opens_a_job(found, mark)
                if begin is None and code.row is not None:
                    begin = turns_to(found, mark)
                if begin is not None:
                    out.append((begin, "new", 0.5))
        named.add(key)
    for place in range(8, len(found.pieces)):
        begins = found.pieces[place - 1].text in (".", "?", "!") and float(found.job_new[place]) > 0.3
        if not begins or any(abs(s - place) < 25 for s, _, _ in [*starts, *out]):
            continue
        marks = [m for m in found.marks if m.confidence > 0.5 and place <= m.first <= place + 45]
        machine = any(
            m.group == "name" and m.label in ("machine", "fleet") and m.first <= place + 30 for m in marks
        )
        if machine and any(m.group == "complaint" for m in marks):
            out.append((place, "new", 0.5))
    return out + other_machines(found, found.job_new, [*starts, *out])


def other_machines(
    found: Findings, begins: Floats, starts: list[tuple[int, str, float]]
) -> list[tuple[int, str, float]]:
    """Starts at a sentence that turns to another machine ("Second, its sister, three one oh D.", "Then the
    roller."), where a complaint follows that is not the first."""
    out: list[tuple[int, str, float]] = []
    complaints = [m for m in found.marks if m.group == "complaint" and m.confidence > 0.5]
    named = [
        m
        for m in found.marks
        if m.group == "name" and m.label in ("fleet", "machine", "serial") and m.confidence > 0.5
    ]
    for place in range(12, len(found.pieces)):
        if found.pieces[place - 1].text not in (".", "?", "!"):
            continue
        if any(-6 <= s - place <= 25 for s, _, _ in [*starts, *out]):
            continue
        opening = " ".join(p.text for p in found.pieces[place : place + 3]).split()
        turned = not word_set("cues", "jobs", "openers").isdisjoint(opening)
        machine = next((m for m in named if place <= m.first <= place + (10 if turned else 3)), None)
        if machine is None or not any(m.first < place for m in named):
            continue
        told = any(place <= m.first <= place + 35 for m in complaints)
        before = any(m.first < place - 15 for m in complaints)
        sign = float(begins[max(0, place - 1) : place + 6].sum())
        if told and before and (sign > 0.04 if turned else sign > 0.12):
            out.append((place, "new", 0.5))
    return out


def turns_to(found: Findings, mark: Marked) -> int | None:
    """The first piece of the sentence that turns to a machine, where the fleet number of one more opens
    the sentence after it: "Then the welder. F S four four stroke one." None where it is no such place."""
    begin = mark.first
    while begin > 0 and found.pieces[begin - 1].text not in (".", "?", "!"):
        begin -= 1
    if begin != mark.first or begin < 3:
        return None
    before = begin - 1
    while before > 0 and found.pieces[before - 1].text not in (".", "?", "!"):
        before -= 1
    opening = {p.text for p in found.pieces[before : before + 3]}
    turned = word_set("cues", "jobs", "openers") & opening
    return before if turned and begin - before <= 9 else None


def opens_a_job(found: Findings, mark: Marked) -> int | None:
    """The first piece of the sentence that names a machine by its fleet number and at once what is wrong with
    it, as a new job opens; None where this is no such sentence."""
    begin = mark.first
    while begin > 0 and found.pieces[begin - 1].text not in (".", "?", "!"):
        begin -= 1
    told = any(
        m.group == "complaint" and mark.last < m.first <= mark.last + 10 and m.confidence > 0.6
        for m in found.marks
    )
    return begin if told and mark.first - begin <= 6 else None


def fleet_code(found: Findings, stretch: tuple[int, int]) -> PlacedCode | None:
    """The first fleet number in the stretch that is not denied."""
    for mark in found.marks:
        if mark.group == "name" and mark.label == "fleet" and stretch[0] <= mark.first <= stretch[1]:
            piece = found.pieces[mark.first]
            for code in found.codes:
                if piece.first <= code.last and code.first <= found.pieces[mark.last].last:
                    return code
    return None


def fleet_in(found: Findings, stretch: tuple[int, int]) -> str | None:
    """The key of the fleet number named in the stretch."""
    code = fleet_code(found, stretch)
    return code.code.key if code else None


def names_machine(found: Findings, stretch: tuple[int, int]) -> bool:
    """Whether a machine is named in the stretch."""
    return any(
        m.group == "name"
        and m.label in ("machine", "fleet", "serial")
        and stretch[0] <= m.first <= stretch[1]
        and m.confidence > 0.4
        for m in found.marks
    )


def names_place(found: Findings, stretch: tuple[int, int]) -> bool:
    """Whether a site, customer or machine is named in the stretch: what follows is told of it."""
    return any(
        m.group == "name"
        and m.label != "fault"
        and stretch[0] <= m.first <= stretch[1]
        and m.confidence > 0.35
        for m in found.marks
    )


def stands_alone(found: Findings, stretch: tuple[int, int]) -> bool:
    """Whether the stretch says enough to be a job: a machine with something told of it, or a complaint and
    what was done, or several things told at some length."""
    marks = [m for m in found.marks if stretch[0] <= m.first <= stretch[1] and m.confidence > 0.4]
    groups = {m.group for m in marks}
    told = groups & {"complaint", "check", "work", "part"}
    if names_machine(found, stretch) and told:
        return True
    if "complaint" in groups and groups & {"check", "work"}:
        return True
    return stretch[1] - stretch[0] >= 25 and len(groups & {"check", "work", "part", "todo", "safe"}) >= 3


def pointed_at(found: Findings, stretch: tuple[int, int], jobs: int) -> int:
    """Which earlier job a stretch points back to: by "first", "second", else the one before the last."""
    for i in range(stretch[0], min(stretch[1], stretch[0] + 14) + 1):
        word = found.pieces[i].text
        if word in ORDINALS and ORDINALS[word] < jobs:
            return ORDINALS[word]
        if word == "last" and i + 1 <= stretch[1] and found.pieces[i + 1].text == "one":
            return jobs - 1
    return jobs - 2
