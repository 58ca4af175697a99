"""Names in the talk: machine types and their everyday words, makes, sites and customers of the register."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from jobnotes.language.lexicon import load
from jobnotes.language.tokens import NUMBER_WORDS
from jobnotes.register import Lookup, NameHit


@dataclass(frozen=True)
class Name:
    """Tokens `first` to `last` name something of `kind`: type, make, site or customer.

    `value` is the name in full. `row` is its place in the register's list (None for a type), `share` how much
    of the name was said, `rivals` other names that fit as well.
    """

    first: int
    last: int
    kind: str
    value: str
    row: int | None = None
    share: float = 1.0
    rivals: tuple[str, ...] = ()
    weak: bool = False


@cache
def type_phrases() -> dict[str, list[tuple[tuple[str, ...], str]]]:
    """First word -> [(all words, machine type)], longest first. Types outside of the list stand for
    themselves."""
    phrases: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    lexicon = load("machines")
    entries = [(say, name) for name, says in lexicon["types"].items() for say in says]
    entries += [(say, say) for say in lexicon["others"]["say"]]
    for say, name in entries:
        words = tuple(say.split())
        phrases.setdefault(words[0], []).append((words, name))
        plural = (*words[:-1], words[-1] + "s")
        phrases[words[0]].append((plural, name))
        if len(words) == 1 and plural[0] != words[0]:
            phrases.setdefault(plural[0], []).append((plural, name))
    for found in phrases.values():
        found.sort(key=lambda p: -len(p[0]))
    return phrases


@cache
def common_words() -> frozenset[str]:
    """Words that name no site or customer on their own."""
    return frozenset(load("machines")["common_names"]["say"])


@cache
def weak_types() -> frozenset[str]:
    """Type words that far more often mean a component."""
    return frozenset(load("machines")["weak"]["say"])


def machine_types(tokens: Sequence[str]) -> list[Name]:
    """Every machine type said, longest phrase first."""
    found: list[Name] = []
    place = 0
    while place < len(tokens):
        hit = None
        for words, name in type_phrases().get(tokens[place], ()):
            if tuple(tokens[place : place + len(words)]) == words:
                said = " ".join(words)
                weak = said in weak_types() or said.rstrip("s") in weak_types()
                hit = Name(place, place + len(words) - 1, "type", name, weak=weak)
                break
        if hit is None:
            place += 1
        else:
            found.append(hit)
            place = hit.last + 1
    return found


def named_beside(words: Sequence[str], place: int, lookup: Lookup) -> bool:
    """Whether a number word stands beside a word of a site's or customer's name ("Shed Four"): alone it
    names nothing."""
    near = [*words[max(0, place - 1) : place], *words[place + 1 : place + 2]]
    known = lookup.sites.rows_of.keys() | lookup.customers.rows_of.keys()
    return any(w in known and w not in NUMBER_WORDS and len(w) > 2 for w in near)


def register_names(tokens: Sequence[str], lookup: Lookup, heard: bool = False) -> list[Name]:
    """Sites, customers and makes of the register that are said, whole or shortened. A site wins over a
    customer. `heard`: by a recogniser, which spells names as they sound."""
    words = [t.replace("'s", "").replace("'", "") for t in tokens]
    words = [
        "" if w in NUMBER_WORDS and not named_beside(words, i, lookup) else w for i, w in enumerate(words)
    ]
    register = lookup.register
    found: list[Name] = []
    taken: set[int] = set()

    def add(hits: Sequence[NameHit], names: Sequence[str], kind: str) -> None:
        for hit in hits:
            places = set(range(hit.first, hit.last + 1))
            if places & taken:
                continue
            taken.update(places)
            rivals = tuple(names[r] for r in hit.rivals)
            found.append(Name(hit.first, hit.last, kind, names[hit.row], hit.row, hit.share, rivals))

    sites = lookup.sites.find(words, common_words(), loose=heard)
    customers = lookup.customers.find(words, common_words(), loose=heard)
    site_names = [s.site for s in register.sites]
    customer_names = [c.customer for c in register.customers]
    # the longer saying of the two wins where both could be meant
    strong_customers = []
    for customer in customers:
        over = [s for s in sites if s.first <= customer.last and customer.first <= s.last]
        after = tokens[customer.last + 1] if customer.last + 1 < len(tokens) else ""
        before = tokens[customer.first - 1] if customer.first else ""
        owned = after in ("'s", "'") or before in ("for", "of", "bill", "by")
        longer = all(customer.last - customer.first > s.last - s.first for s in over)
        owner = owned and over and all(s.share < 0.9 for s in over)
        surer = over and customer.share > 0.9 and all(s.share < 0.7 for s in over)
        if owner or longer or surer:
            strong_customers.append(customer)
    add(strong_customers, customer_names, "customer")
    add(sites, site_names, "site")
    add(customers, customer_names, "customer")
    add(lookup.make_index.find(words, common_words(), 0.9, heard), lookup.makes, "make")
    return sorted(found, key=lambda n: n.first)
