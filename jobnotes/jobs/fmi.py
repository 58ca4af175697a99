"""What the failure mode identifier of a fault code means (SAE J1939-73, Appendix A)."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

# Only a number that the code itself calls an FMI is one: "E214" or "100/1" may be a maker's own numbering.
FMI_IN_CODE = re.compile(r"\bFMI[\s:.-]*(\d{1,3})\b", re.IGNORECASE)


@cache
def meanings() -> dict[int, str]:
    """The words for each failure mode identifier, 0 to 31, from `fmi.toml`."""
    table = tomllib.loads(files("jobnotes.jobs").joinpath("fmi.toml").read_text(encoding="utf-8"))
    return {int(number): words for number, words in table["meaning"].items()}


def fmi_meaning(fault_code: str) -> str | None:
    """The words for the FMI in a fault code ("SPN 100 FMI 1"), or None where it names none from 0 to 31."""
    found = FMI_IN_CODE.search(fault_code)
    return meanings().get(int(found[1])) if found else None
