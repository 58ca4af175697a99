"""Times and miles on the road, both ways together, however the speaker tells the two legs.

forty minutes each way, eleven mile each road, half an hour a leg      twice that
eighteen there and nineteen home, fifty out, fifty back                their sum
twenty-one miles there, same home; twenty-two there so double that     twice that
seven mile away, so fourteen                                           the figure that follows
fifty-two mile round trip, both ways, all in                           as said
"""

from __future__ import annotations

from jobnotes.language.clock import ClockReader
from jobnotes.language.context import Context
from jobnotes.language.lexicon import sayings, word_set
from jobnotes.language.numbers import NumberReader

REACH = 12  # tokens after the first leg within which the second is told


def both_ways(c: Context, value: float, first: int, last: int) -> tuple[float, int]:
    """(value for both ways, last token) of a time or distance of `value` said in tokens `first` to `last`."""
    if one_way(c, first, last):
        return 2 * value, last
    outward, homeward = word_set("cues", "road", "outward"), word_set("cues", "road", "homeward")
    _, end = c.sentence(first)
    stop = min(end, last + REACH)
    step = last + 1
    while step <= min(stop, last + 2) and c.tokens[step] not in outward:
        step += 1
    if step > min(stop, last + 2):
        return value, last
    after = [i for i in range(step + 1, stop + 1) if c.tokens[i] not in (",", "and", "so", "'s", "that")]
    said = " ".join(c.tokens[i] for i in after)
    for cue in sayings("cues", "road", "again"):
        rest = said.removeprefix(cue).split()
        if said.startswith(cue) and (not rest or rest[0] in (*homeward, ".", ",", "again", "that")):
            return 2 * value, stop
    second = _figure_at(c, after[0], first, last) if after else None
    if second is None:
        return value, last
    figure, at = second
    if any(c.tokens[i] in homeward for i in range(at + 1, min(at + 4, end + 1))):
        return value + figure, at
    if figure == 2 * value:
        return figure, at
    return value, last


def _figure_at(c: Context, place: int, first: int, last: int) -> tuple[float, int] | None:
    """(figure, last token) of the number that begins at a token, in the unit of the figure in tokens
    `first` to `last`: minutes where that is a duration. None where it is of the other kind."""
    timed = any(d.first <= last and first <= d.last for d in c.found.durations)
    duration = ClockReader().duration_at(c.tokens, place)
    if duration is not None:
        return (duration.minutes, duration.last) if timed else None
    number = NumberReader().read(c.tokens, place)
    if number is None or (
        timed and any(q.kind == "distance" and q.first == place for q in c.found.quantities)
    ):
        return None
    return number.value, number.last


def one_way(c: Context, first: int, last: int) -> bool:
    """Whether the figure in tokens `first` to `last` is for one way only."""
    if c.near(first, last, sayings("cues", "road", "each_way"), 0, 7):
        return not c.near(first, last, sayings("cues", "road", "both_ways"), 0, 3)
    return c.near(first, last, sayings("cues", "road", "each_way_before"), 2, 0)
