"""The customers and sites of an engineer's last sheets: names that are likely in the next memo."""

from __future__ import annotations

from itertools import islice

from jobnotes.store import Workshop

LAST_DRAFTS = 12
MOST_NAMES = 12
"""About 50 tokens: the prompt has room for about 125, and the rest of the register's names want some too."""


def recent_names(workshop: Workshop, engineer_id: int | None) -> list[str]:
    """Customers and sites of the engineer's last signed and open drafts, the newest first, each once; none
    for a memo that is nobody's.

    Of an open draft only names that the register has: others may be misheard, and a misheard name that is
    expected is heard again.
    """
    if engineer_id is None:
        return []
    who = workshop.people.get(engineer_id)
    register = workshop.registers.current()
    known = {row.customer.casefold() for row in register.customers}
    known |= {row.site.casefold() for row in register.sites}
    theirs = (
        line
        for line in reversed(workshop.drafts.lines(who, state=None))
        if line.engineer_id == engineer_id and line.state != "withdrawn"
    )
    names: dict[str, None] = {}
    for line in islice(theirs, LAST_DRAFTS):
        for job in workshop.drafts.get(line.id, who).read.jobs:
            for name in (job.customer, job.site):
                if name and (line.state == "signed" or name.casefold() in known):
                    names[name] = None
    return list(islice(names, MOST_NAMES))
