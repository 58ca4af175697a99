"""The memo as the clause reader sees it: numbers, codes and names put into one form, whoever said them
however.

"T H two one four", "TH214" and "Tango Hotel 214" are all one FLEET; "two fifty bar" and "250 bar" are a NUM
and "bar". So the learned part meets no name, figure or code of one firm, and spoken and recognised words look
alike to it.
"""

from __future__ import annotations

from spacy.tokens import Doc

from jobnotes.language.findings import Piece, findings
from jobnotes.language.tokens import lower, without_fillers

# Placeholders; each takes one of the encoder's unused entries.
MARKS = (
    "FLEET", "SERIAL", "PART", "MODEL", "ORDER", "FAULT", "OIL", "CODE", "SITE", "CUSTOMER", "MAKE", "CLOCK",
    "DURATION", "NUM",
)  # fmt: skip

UNIT_WORDS = {
    "bar": "bar", "psi": "psi", "kPa": "kilopascals", "MPa": "megapascals", "V": "volts", "mV": "millivolts",
    "A": "amps", "mA": "milliamps", "ohm": "ohms", "kohm": "kilohms", "Mohm": "megohms", "degC": "degrees",
    "mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches", "thou": "thousandths",
    "L/min": "litres per minute", "rpm": "revs", "N*m": "newton metres", "lbf*ft": "foot pounds",
    "Hz": "hertz", "kg": "kilos", "t": "tonnes", "L": "litres", "%": "percent", "kVA": "kva",
    "kW": "kilowatts", "hp": "horsepower", "cfm": "cfm", "ft": "feet", "h": "hours", "min": "minutes",
    "s": "seconds", "d": "days", "wk": "weeks", "mo": "months", "mi": "miles", "km": "kilometres",
    "GBP": "pounds",
}  # fmt: skip

SMALL = "nought one two three four five six seven eight nine ten eleven twelve".split()


def canonical(doc: Doc) -> list[Piece]:
    """The memo's words in order, with marks; fillers and line ends left out."""
    tokens = lower(doc)
    found = findings(doc)
    at: dict[int, list[Piece]] = {}
    taken: set[int] = set()

    def put(first: int, last: int, pieces: list[Piece]) -> None:
        places = set(range(first, last + 1))
        if places & taken:
            return
        taken.update(places)
        at[first] = pieces

    for c in found.codes:
        mark = {"fleet": "FLEET", "serial": "SERIAL", "part": "PART", "model": "MODEL", "order": "ORDER"}.get(
            c.kind
        )
        mark = mark or {"fault": "FAULT", "oil": "OIL"}.get(c.kind, "CODE")
        put(c.first, c.last, [Piece(mark, c.first, c.last, True)])
    for n in found.names:
        if n.kind != "type":
            put(n.first, n.last, [Piece(n.kind.upper(), n.first, n.last, True)])
    for clock in found.clocks:
        put(clock.first, clock.last, [Piece("CLOCK", clock.first, clock.last, True)])
    for d in found.durations:
        put(d.first, d.last, [Piece("DURATION", d.first, d.last, True)])
    for q in found.quantities:
        unit_first = min(q.number.last + 1, q.last)
        pieces = [Piece("NUM", q.first, min(q.number.last, q.last), True)]
        pieces += [Piece(w, unit_first, q.last) for w in UNIT_WORDS.get(q.unit, q.unit).split()]
        put(q.first, q.last, pieces)
    for number in found.numbers:
        if number.value == int(number.value) and 0 <= number.value <= 12 and not number.digits_read_out:
            put(number.first, number.last, [Piece(SMALL[int(number.value)], number.first, number.last)])
        else:
            put(number.first, number.last, [Piece("NUM", number.first, number.last, True)])
    out: list[Piece] = []
    kept = set(without_fillers(tokens))
    for place, token in enumerate(tokens):
        if place in at:
            out.extend(at[place])
        elif place not in taken and token.strip() and place in kept:
            out.append(Piece(token, place, place))
    return out
