"""The files that `jobnotes office start` gives to be filled in."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from click.testing import CliRunner
from places import REPOSITORY

from jobnotes.cli import commands
from jobnotes.office.rates import load_rates
from jobnotes.office.settings import SellerKeys, load_office_settings, office_settings
from jobnotes.paper import Firm
from jobnotes.store import Workshop

FIRM = Firm("Hallbeck Plant Repairs")
GIVEN = REPOSITORY / "templates" / "office"


RARE = {"seller.telephone", "seller.email", "vat.lines", "vat.reverse_charge_reason"}
"""Keys that docs/office.md tells of, and few need."""


def test_every_key_of_the_settings_stands_in_the_file() -> None:
    text = (GIVEN / "office.toml").read_text(encoding="utf-8")
    given = tomllib.loads(re.sub(r"^# (\w+ = )", r"\1", text, flags=re.M))
    office_settings(given, FIRM)
    settings = office_settings({}, FIRM)
    for name in ("invoice", "vat", "labour", "travel", "call_out", "consumables", "returns", "bank"):
        keys = set(type(getattr(settings, name)).model_fields)
        assert {f"{name}.{key}" for key in keys} - RARE == {f"{name}.{key}" for key in given[name]}
    assert {f"seller.{key}" for key in SellerKeys.model_fields} - RARE == {
        f"seller.{key}" for key in given["seller"]
    }


def test_started_filled_in_and_checked(tmp_path: Path) -> None:
    folder = tmp_path / "workshop"
    Workshop(folder).close()
    run = CliRunner().invoke(commands, ["office", "start", "--workshop", str(folder)])
    assert run.exit_code == 0, run.output
    with Workshop(folder) as workshop:
        assert load_office_settings(workshop.folder, FIRM).labour.step_min == 15
        # An amount that nobody has filled in is a fault, never nought.
        assert [problem for problem in load_rates(workshop.folder.rates).problems if "line 2" in problem]
        workshop.folder.rates.write_text(
            "rate,customer,from,until,amount,up_to_miles\nlabour_normal,,,,58,\n"
        )
        before = workshop.folder.rates.read_bytes()
    again = CliRunner().invoke(commands, ["office", "start", "--workshop", str(folder)])
    assert "left as it is" in again.output
    assert (folder / "rates.csv").read_bytes() == before


def test_check_tells_no_more_of_a_file_that_is_not_there(tmp_path: Path) -> None:
    folder = tmp_path / "workshop"
    with Workshop(folder) as workshop:
        rates = workshop.folder.rates
    run = CliRunner().invoke(commands, ["office", "check", "--workshop", str(folder)])
    assert run.exit_code == 1 and run.stdout == ""
    assert len(run.stderr.splitlines()) == 2 and run.stderr.count("There is no ") == 2
    rates.write_text("rate,customer,from,until,amount,up_to_miles\nlabour_normal,,,,58,\n")
    run = CliRunner().invoke(commands, ["office", "check", "--workshop", str(folder)])
    assert run.stdout == "rates.csv: 1 rate.\n" and "no row for labour_evening" in run.stderr
