"""What the office changes on the lines of a draft by hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from typing import Any, Protocol, cast, get_args

from jobnotes.errors import JobnotesError
from jobnotes.jobs.invoice import CATEGORY_CODES, ChargeUnit, Line, VatCategory, line_net
from jobnotes.office.settings import OfficeSettings

UNITS: tuple[str, ...] = get_args(ChargeUnit)
SETTABLE = ("text", "quantity", "unit", "price", "vat_category")
MOST = Decimal(10_000_000)
"""More than this of anything, or for anything, is a slip."""
MOST_DECIMALS = 4
LONGEST_TEXT = 500
ADDED = "added/"
"""How the keys of lines begin that the office adds."""


class AdjustmentLike(Protocol):
    """What the store keeps of an adjustment, as far as it is reckoned with."""

    @property
    def kind(self) -> str:
        """set, drop, add or confirm."""

    @property
    def key(self) -> str:
        """The key of the line, or of the doubt that is confirmed."""

    @property
    def values(self) -> Mapping[str, str]:
        """Texts by name: those of SETTABLE; for confirm, `look` may hold the text that was confirmed."""

    @property
    def reason(self) -> str:
        """Why."""


class Sentence(str):
    """A sentence to the office about the line, or the place, named by `key`; "" where it is the whole
    draft."""

    key: str

    def __new__(cls, text: str, key: str = "") -> Sentence:
        """The sentence with its key."""
        made = super().__new__(cls, text)
        made.key = key
        return made


@dataclass(frozen=True)
class Entry:
    """A line on its way into a draft. `stop` says why it can't be charged as it stands, its price nought
    meanwhile; a price given by hand lifts it."""

    line: Line
    stop: Sentence | None = None


def check_adjustment(kind: str, key: str, values: Mapping[str, str], reason: str) -> None:
    """Raises JobnotesError, in one sentence, for an adjustment that could not be reckoned with."""
    if kind == "confirm":
        return
    if not reason.strip():
        raise JobnotesError(f"Say why {key} is changed: the reason is kept with the invoice.")
    if kind == "drop":
        return
    unknown = [name for name in values if name not in SETTABLE]
    if unknown:
        raise JobnotesError(f"{key}: there is no {unknown[0]!r} to change; give {', '.join(SETTABLE)}.")
    needed = ("text", "quantity", "price") if kind == "add" else ()
    missing = [name for name in needed if not values.get(name, "").strip()]
    if missing:
        raise JobnotesError(f"{key}: give {', '.join(missing)} too.")
    if not values:
        raise JobnotesError(f"{key}: nothing is changed; give one of {', '.join(SETTABLE)}.")
    _read(key, values)


def check_new(values: Mapping[str, str], reason: str) -> None:
    """Raises JobnotesError where the office can't add such a line. Its quantity may be below nought."""
    key = f"{ADDED}new"
    try:
        check_adjustment("add", key, values, reason)
    except JobnotesError as error:
        raise JobnotesError(str(error).replace(key, "the new line")) from None


def _read(key: str, values: Mapping[str, str]) -> dict[str, Any]:
    read: dict[str, Any] = {}
    if "text" in values:
        text = " ".join(values["text"].split())
        if not text or len(text) > LONGEST_TEXT:
            raise JobnotesError(f"{key}: text must have 1 to {LONGEST_TEXT} signs.")
        read["text"] = text
    if "quantity" in values:
        # Something taken off is a line of the office's own with a quantity below nought.
        least = -MOST if key.startswith(ADDED) else Decimal(0)
        read["quantity"] = _number(key, "quantity", values["quantity"], least)
        if not read["quantity"]:
            raise JobnotesError(f"{key}: quantity must not be 0; leave the line out instead.")
    if "price" in values:
        read["price"] = _number(key, "price", values["price"].strip().removeprefix("£"))
    if "unit" in values:
        if values["unit"] not in UNITS:
            raise JobnotesError(f"{key}: unit must be one of {', '.join(UNITS)}.")
        read["unit"] = values["unit"]
    if "vat_category" in values:
        if values["vat_category"] not in CATEGORY_CODES:
            raise JobnotesError(f"{key}: vat_category must be one of {', '.join(CATEGORY_CODES)}.")
        read["vat_category"] = values["vat_category"]
    return read


def _number(key: str, name: str, text: str, least: Decimal = Decimal(0)) -> Decimal:
    try:
        number = Decimal(text.strip())
    except InvalidOperation:
        raise JobnotesError(f"{key}: {name} is {text!r}, not a number such as 58.50.") from None
    # A price is never below nought (EN 16931, BR-27).
    if not number.is_finite() or not least <= number <= MOST:
        raise JobnotesError(f"{key}: {name} is {text!r}, not a number from {least} to {MOST}.")
    exponent = number.as_tuple().exponent
    if isinstance(exponent, int) and -exponent > MOST_DECIMALS:
        raise JobnotesError(f"{key}: {name} is {text!r}, with more than {MOST_DECIMALS} decimals.")
    return number


class Adjustments:
    """The adjustments of a draft, laid on its lines one by one; it keeps what found no line."""

    def __init__(self, adjustments: Iterable[AdjustmentLike], settings: OfficeSettings) -> None:
        self._settings = settings
        self._of: dict[str, list[AdjustmentLike]] = {}
        self._added: list[AdjustmentLike] = []
        self._met: set[str] = set()
        self.faults: list[Sentence] = []
        for adjustment in adjustments:
            try:
                check_adjustment(adjustment.kind, adjustment.key, adjustment.values, adjustment.reason)
            except JobnotesError as error:
                self.faults.append(Sentence(str(error), adjustment.key))
                continue
            if adjustment.kind == "add":
                self._added.append(adjustment)
            else:
                self._of.setdefault(adjustment.key, []).append(adjustment)

    def confirmed(self, key: str, look: str) -> bool:
        """Whether a person has looked: at this very text, where the confirmation names one."""
        return any(
            adjustment.kind == "confirm" and adjustment.values.get("look", look) == look
            for adjustment in self._of.get(key, ())
        )

    def laid_on(self, entry: Entry) -> Entry | None:
        """The entry as the office has it, None where it is left out."""
        key = entry.line.key
        self._met.add(key)
        for adjustment in self._of.get(key, ()):
            if adjustment.kind == "drop":
                return None
            if adjustment.kind == "set":
                entry = self._set(entry, adjustment)
        look = entry.line.look
        if look and self.confirmed(key, look):
            entry = replace(entry, line=entry.line.model_copy(update={"look": None}))
        return entry

    def _set(self, entry: Entry, adjustment: AdjustmentLike) -> Entry:
        read = _read(adjustment.key, adjustment.values)
        line = entry.line
        if read.get("unit", line.unit) != line.unit:
            read["price_quantity"] = Decimal(1)
        if "vat_category" in read:
            read["vat_rate"] = self._settings.vat.rate(read["vat_category"])
        changed = line.model_copy(update={**read, "changed": adjustment.reason.strip()})
        net = line_net(changed.quantity, changed.price, changed.price_quantity)
        stop = None if "price" in read else entry.stop
        return Entry(changed.model_copy(update={"net": net}), stop)

    def added(self, category: VatCategory) -> list[Entry]:
        """The lines that the office adds, in the order of adding; `category` where none is given."""
        entries = []
        for adjustment in self._added:
            read = _read(adjustment.key, adjustment.values)
            own = cast("VatCategory", read.get("vat_category", category))
            line = Line(
                key=adjustment.key,
                kind="other",
                text=read["text"],
                quantity=read["quantity"],
                unit=read.get("unit", "C62"),
                price=read["price"],
                net=line_net(read["quantity"], read["price"]),
                vat_category=own,
                vat_rate=self._settings.vat.rate(own),
                changed=adjustment.reason.strip(),
            )
            if (entry := self.laid_on(Entry(line))) is not None:
                entries.append(entry)
        return entries

    def left_over(self) -> list[Sentence]:
        """A sentence for each change to a line that is not there: the sheet may have been amended since.
        Confirmations and lines left out do no harm there."""
        return [
            Sentence(f"The change of {key} is to a line that is not there any more: take it back.", key)
            for key, adjustments in self._of.items()
            if key not in self._met and any(adjustment.kind == "set" for adjustment in adjustments)
        ]
