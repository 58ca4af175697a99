"""Who was where on a day: all visits by engineer and day, and by customer, site and day."""

from __future__ import annotations

import datetime
from collections.abc import Hashable, Iterable
from typing import TYPE_CHECKING

from jobnotes.office.rates import name_key

if TYPE_CHECKING:
    from jobnotes.office.visits import Visit


def engineer_key(visit: Visit) -> Hashable:
    """What tells one engineer from another: the account, else the name."""
    return visit.engineer_id if visit.engineer_id is not None else name_key(visit.engineer)


class Diary:
    """All visits that hold, each once, in the order of their sheets."""

    def __init__(self, visits: Iterable[Visit]) -> None:
        self.by_sheet = {visit.sheet: visit for visit in sorted(visits, key=lambda visit: visit.sheet)}
        self._days: dict[tuple[Hashable, datetime.date], list[Visit]] = {}
        self._sites: dict[tuple[str, str, datetime.date], list[Visit]] = {}
        for visit in self.by_sheet.values():
            self._days.setdefault((engineer_key(visit), visit.date), []).append(visit)
            self._sites.setdefault(_site(visit), []).append(visit)

    def day_of(self, visit: Visit) -> list[Visit]:
        """All visits of the same engineer on the same day, this one too, for whatever customer."""
        return self._days.get((engineer_key(visit), visit.date), [visit])

    def around(self, visit: Visit, days: int) -> list[Visit]:
        """All visits of the same engineer within so many days of this one, which is left out."""
        dates = [visit.date + datetime.timedelta(days=step) for step in range(-days, days + 1)]
        found = [other for date in dates for other in self._days.get((engineer_key(visit), date), ())]
        return [other for other in found if other.sheet != visit.sheet]

    def at_site(self, visit: Visit) -> list[Visit]:
        """All visits to the same customer and site on the same day, by whatever engineer, this one too."""
        return self._sites.get(_site(visit), [visit])


def _site(visit: Visit) -> tuple[str, str, datetime.date]:
    return name_key(visit.customer), name_key(visit.site), visit.date
