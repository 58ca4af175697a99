"""A workshop's settings: the firm at the head of its sheets, its time zone, its speech model."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from jobnotes.errors import JobnotesError
from jobnotes.files import reading, write_atomically
from jobnotes.intake import time_zone
from jobnotes.paper import Firm
from jobnotes.paper.letterhead import refuse_long
from jobnotes.store import Folder

ZONE = "Europe/London"
FIRM_TEXTS = ("name", "telephone", "email")


@dataclass(frozen=True)
class Settings:
    """What a workshop has set. `speech_model` is as `--speech-model` takes it, None for the one of setup.

    `recording_days`: `jobnotes forget` without more deletes recordings so many days after they are settled;
    None lets them stand.
    """

    firm: Firm = field(default_factory=Firm)
    zone_name: str = ZONE
    speech_model: str | None = None
    recording_days: int | None = None

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of clock times, dates and signatures."""
        return time_zone(self.zone_name)


def load_settings(folder: Folder) -> Settings:
    """The settings in the workshop's settings.toml; what it leaves out is as in `Settings`.

    Raises JobnotesError where the file can't be read, is no TOML, or holds anything else.
    """
    file = folder.settings
    if not file.exists():
        return Settings()
    with reading(file):
        text = file.read_bytes()
    try:
        data = tomllib.loads(text.decode())
    except ValueError as error:
        raise JobnotesError(f"{file} is not TOML: {error}.") from error
    firm = data.pop("firm", {})
    zone = data.pop("zone", ZONE)
    model = data.pop("speech_model", None)
    days = data.pop("recording_days", None)
    if data:
        raise JobnotesError(
            f"{file}: there is no {next(iter(data))!r}; give zone, speech_model, recording_days and firm."
        )
    if not isinstance(zone, str) or not (model is None or isinstance(model, str)):
        raise JobnotesError(f"{file}: zone and speech_model must be text in quotation marks.")
    if days is not None and (type(days) is not int or days < 0):
        raise JobnotesError(f"{file}: recording_days must be a whole number of days.")
    time_zone(zone)
    return Settings(_firm(firm, f"{file}, firm"), zone, model, days)


def save_settings(folder: Folder, settings: Settings) -> None:
    """Writes the settings, whole or not at all. Raises JobnotesError for a zone that there is not."""
    time_zone(settings.zone_name)
    firm = settings.firm
    lines = [f"zone = {_text(settings.zone_name)}"]
    if settings.speech_model is not None:
        lines.append(f"speech_model = {_text(settings.speech_model)}")
    if settings.recording_days is not None:
        lines.append(f"recording_days = {settings.recording_days}")
    lines += [
        "",
        "[firm]",
        f"name = {_text(firm.name)}",
        f"address = [{', '.join(map(_text, firm.address))}]",
        f"telephone = {_text(firm.telephone)}",
        f"email = {_text(firm.email)}",
    ]
    _firm({"name": firm.name, "address": list(firm.address)}, "The firm")
    write_atomically(folder.settings, "\n".join(lines) + "\n")


def _firm(data: Any, where: str) -> Firm:
    if not isinstance(data, dict):
        raise JobnotesError(f"{where} must be a table.")
    address = data.get("address", [])
    if not isinstance(address, list) or not all(isinstance(line, str) for line in address):
        raise JobnotesError(f'{where}: address must be a list of lines, such as ["Unit 4", "Brackmere"].')
    for key, value in data.items():
        if key not in (*FIRM_TEXTS, "address"):
            raise JobnotesError(f"{where}: there is no {key!r}; give name, address, telephone and email.")
        if key != "address" and not isinstance(value, str):
            raise JobnotesError(f"{where}: {key} must be text in quotation marks.")
        for line in value if key == "address" else [value]:
            refuse_long(f"{where}: {key}", line)
    return Firm(address=tuple(address), **{key: data[key] for key in FIRM_TEXTS if key in data})


def _text(text: str) -> str:
    """A text as TOML writes it: like JSON, save for the one sign that JSON lets stand."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
