"""Customer and site of a job: by the machine's row, by name, or as the words say."""

from __future__ import annotations

from dataclasses import replace

from jobnotes.jobs import Job
from jobnotes.language.context import Context
from jobnotes.language.decode import Marked
from jobnotes.language.machine_rows import Found
from jobnotes.language.names import Name, common_words
from jobnotes.language.segments import Segment
from jobnotes.register.lookup import name_words


def owner_of(fleet: Found | None) -> str:
    """The customer of the machine's row, empty where none is known."""
    return fleet.row.customer if fleet is not None and fleet.row is not None else ""


def marked_as(c: Context, segment: Segment, names: list[Name], unmarked: float) -> dict[Name, float]:
    """How sure the clause reader is that each name is what its kind says; `unmarked` where it marked none of
    its words so."""
    return {
        n: max((m.confidence for m in c.marks(segment, "name", n.kind) if touches(c, m, n)), default=unmarked)
        for n in names
    }


def fill_site(
    c: Context,
    segment: Segment,
    job: Job,
    base: str,
    fleet: Found | None,
    sites: list[Name],
    customers: list[Name],
) -> None:
    """Writes job.site, with evidence: by name, of rows that fit alike the machine's owner's, else as said."""
    if not sites:
        if not site_of_customer(c, segment, job, base, customers):
            spoken_site(c, segment, job, base)
        return
    owner = owner_of(fleet)
    marked = marked_as(c, segment, sites, 0.3)
    site = max(sites, key=lambda n: (marked[n] + 0.5 * n.share - (0.3 if n.rivals else 0), -n.first))
    if site.rivals:
        # of rows that fit alike, the one that belongs to the machine's owner
        options = [site.value, *site.rivals]
        named = {n.value for n in customers} | ({owner} if owner else set())
        rows = enumerate(c.lookup.register.sites)
        owned = [(row, s.site) for row, s in rows if s.site in options and s.customer in named]
        if len(owned) == 1:
            row, value = owned[0]
            site = replace(site, value=value, row=row, rivals=())
    job.site = site.value
    c.book.put(
        f"{base}/site",
        [(site.first, site.last)],
        0.95 if site.share > 0.8 else 0.5 + 0.4 * site.share,
        bool(site.rivals),
        "also fits: " + ", ".join(site.rivals[:3]),
    )


def fill_customer(
    c: Context,
    segment: Segment,
    job: Job,
    base: str,
    fleet: Found | None,
    sites: list[Name],
    customers: list[Name],
) -> None:
    """Writes job.customer, with evidence: by the machine's row, else by name, else as said, else by the row
    of job.site, which is to be written before."""
    book = c.book
    owner = owner_of(fleet)
    if fleet is not None and owner:
        job.customer = owner
        named = owner in {n.value for n in customers if n.share > 0.45} | {
            c.lookup.register.sites[n.row].customer for n in sites if n.row is not None and not n.rivals
        }
        # the customer named, or one of its sites, and the machine's number bear each other out
        sure = max(fleet.confidence, 0.95) if named else fleet.confidence
        book.put(f"{base}/customer", fleet.spans, sure, bool(fleet.why), fleet.why)
        others = [n.value for n in customers if n.share > 0.45]
        if others and owner not in others and not any(owner in n.rivals for n in customers):
            book.doubt(
                f"{base}/customer", f"the memo names {others[0]}; by the register the machine is {owner}'s"
            )
        return
    if customers:
        marked = marked_as(c, segment, customers, 0.2)
        best = max(customers, key=lambda n: (marked[n] + n.share, -n.first))
        job.customer = best.value
        book.put(
            f"{base}/customer",
            [(best.first, best.last)],
            0.6 + 0.35 * best.share,
            bool(best.rivals),
            "also fits: " + ", ".join(best.rivals[:3]),
        )
        return
    spoken_customer(c, segment, job, base)
    for site in sites:
        if job.customer is None and site.value == job.site and site.row is not None:
            customer = c.lookup.register.sites[site.row].customer
            if customer:
                job.customer = customer
                book.put(
                    f"{base}/customer",
                    [(site.first, site.last)],
                    0.9 if site.share > 0.9 else 0.8,
                    bool(site.rivals),
                    "taken from the site",
                )


def touches(c: Context, mark: Marked, name: Name) -> bool:
    """Whether a mark lies on the words of a name."""
    first, last = c.token_span(mark)
    return first <= name.last and last >= name.first


def site_of_customer(c: Context, segment: Segment, job: Job, base: str, customers: list[Name]) -> bool:
    """Writes job.site where what was said of the place, with the customer's name, makes up one row's
    name: "at Brennick's, the north yard" is the site "Brennick North Yard". Tells whether it did."""
    owners = {w for n in customers for w in name_words(n.value)}
    for mark in c.marks(segment, "name", "site"):
        first, last = c.token_span(mark)
        said = set(name_words(" ".join(c.tokens[first : last + 1])))
        fits = [
            s.site
            for s in c.lookup.register.sites
            if set(name_words(s.site)) <= said | owners and len(said & set(name_words(s.site))) >= 1
        ]
        if len(fits) == 1 and mark.confidence > 0.4:
            job.site = fits[0]
            c.book.put(f"{base}/site", [(first, last)], 0.75)
            return True
    return False


def spoken_site(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.site where no row fits, as the words say it."""
    marks = [m for m in c.marks(segment, "name", "site") if m.confidence > 0.5]
    marks = [m for m in marks if c.tokens[max(0, c.token_span(m)[0] - 1)] != "for" or len(marks) == 1]
    if not marks:
        return
    mark = max(marks, key=lambda m: m.confidence)
    text = spoken_name(c, mark)
    if text is None:
        return
    job.site = text
    c.book.put(f"{base}/site", [c.token_span(mark)], 0.5, True, "not in the register")


def spoken_customer(c: Context, segment: Segment, job: Job, base: str) -> None:
    """Writes job.customer where no row fits, as the words say it: marked so, or a name after "for"."""
    marks = [m for m in c.marks(segment, "name", "customer") if m.confidence > 0.5]
    marks += [
        m
        for m in c.marks(segment, "name", "site")
        if m.confidence > 0.4 and c.tokens[max(0, c.token_span(m)[0] - 1)] == "for"
    ]
    for mark in marks:
        text = spoken_name(c, mark)
        if text is not None and text != job.site:
            job.customer = text
            c.book.put(f"{base}/customer", [c.token_span(mark)], 0.5, True, "not in the register")
            return


def is_name_word(word: str) -> bool:
    """Whether a word is written as names are: a capital, then small letters."""
    return len(word) > 2 and word.isalpha() and word[0].isupper() and word[1:].islower()


def spoken_name(c: Context, mark: Marked) -> str | None:
    """A name as said, its words with capitals; None where it is no name ("the yard")."""
    first, last = c.token_span(mark)
    while last + 1 < len(c.words) and is_name_word(c.words[last + 1]):
        last += 1
    while first > 1 and is_name_word(c.words[first - 1]) and c.words[first - 2] not in (".", "?", "!"):
        first -= 1
    words = [w for w in c.words[first : last + 1] if w.isalnum()]
    while words and words[0].lower() in ("the", "a", "an", "at", "over", "in", "on", "their", "for", "our"):
        words.pop(0)
    if not words or len(words) > 5 or all(w.lower() in common_words() for w in words):
        return None
    return " ".join(w if w[:1].isupper() else w.capitalize() for w in words)
