"""Accounts, passwords, log-ins and the audit."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
import store_work
from conftest import Firm

from jobnotes.errors import JobnotesError
from jobnotes.store import NotAllowedError, TooManyTriesError, Workshop, WrongPasswordError, log_ins, people

RIGHT = store_work.PASSWORD


def test_passwords_are_kept_as_argon2id_of_64_mib(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(people, "_hasher", store_work.REAL)
    with Workshop(tmp_path / "workshop") as workshop:
        workshop.people.add("ada", "Ada Finch", "owner", "a long enough one")
        content = workshop.folder.database.read_bytes() + Path(f"{workshop.folder.database}-wal").read_bytes()
    assert b"$argon2id$v=19$m=65536,t=3,p=4$" in content
    assert b"a long enough one" not in content


@pytest.mark.parametrize(
    ("name", "shown", "role", "password", "says"),
    [
        ("tam", "Other Tam", "engineer", RIGHT, "already"),
        ("TAM", "Other Tam", "engineer", RIGHT, "already"),
        ("", "X", "engineer", RIGHT, "no name"),
        ("a b", "X", "engineer", RIGHT, "no name"),
        ("../x", "X", "engineer", RIGHT, "no name"),
        ("new", "", "engineer", RIGHT, "1 to 100"),
        ("new", "X", "chief", RIGHT, "no role"),
        ("new", "X", "engineer", "123456789", "too short"),
        ("new", "X", "engineer", "aaaaaaaaaaaa", "too easy"),
        ("a.name.that.is.long", "X", "engineer", "A.Name.That.Is.Long", "too easy"),
        ("new", "X", "engineer", "x" * 1001, "too long"),
    ],
)
def test_who_can_not_be_added(firm: Firm, name: str, shown: str, role: str, password: str, says: str) -> None:
    before = len(firm.workshop.people.all())
    with pytest.raises(JobnotesError, match=says):
        firm.workshop.people.add(name, shown, role, password)  # type: ignore[arg-type]
    assert len(firm.workshop.people.all()) == before


def test_log_in_and_out(firm: Firm) -> None:
    person, token = firm.workshop.log_ins.begin("Tam", RIGHT)
    assert person == firm.engineer
    assert firm.workshop.log_ins.person_for(token) == firm.engineer
    assert firm.workshop.log_ins.person_for(token + "x") is None
    assert firm.workshop.log_ins.person_for("") is None
    firm.workshop.log_ins.end(token)
    assert firm.workshop.log_ins.person_for(token) is None
    stored = firm.workshop.folder.database.read_bytes()
    assert token.encode() not in stored


def test_log_ins_end_by_themselves(firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    _, token = firm.workshop.log_ins.begin("tam", RIGHT)
    start = log_ins.now()

    def at(after: timedelta) -> object:
        monkeypatch.setattr(log_ins, "now", lambda: start + after)
        return firm.workshop.log_ins.person_for(token)

    for hours in (1.9, 3.8, 5.7, 7.6, 9.5, 11.4):
        assert at(timedelta(hours=hours)) is not None, "used every two hours it holds"
    assert at(timedelta(hours=12.1)) is None, "a working day is the longest"
    monkeypatch.undo()
    monkeypatch.setattr(people, "_hasher", lambda: store_work.QUICK)
    _, token = firm.workshop.log_ins.begin("tam", RIGHT)
    assert at(timedelta(hours=2.1)) is None, "nobody used it for two hours"


def test_wrong_passwords_are_slowed_down(firm: Firm, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("tam", "nobody.at.all"):
        for _ in range(5):
            with pytest.raises(WrongPasswordError, match="do not belong together"):
                firm.workshop.people.check(name, "wrong password")
        with pytest.raises(TooManyTriesError) as refused:
            firm.workshop.people.check(name, RIGHT)
        assert 1 <= refused.value.seconds <= 300
    firm.workshop.people.check("joss", RIGHT)  # others are not slowed down
    start = people.now()
    monkeypatch.setattr(people, "now", lambda: start + timedelta(minutes=5, seconds=1))
    assert firm.workshop.people.check("tam", RIGHT) == firm.engineer


def test_guessing_at_the_door_keeps_nobody_within_from_signing(firm: Firm) -> None:
    for _ in range(5):
        with pytest.raises(WrongPasswordError):
            firm.workshop.people.check("tam", "wrong password")
    assert firm.workshop.people.check("tam", RIGHT, inside=True) == firm.engineer
    with pytest.raises(TooManyTriesError):
        firm.workshop.people.check("tam", RIGHT)
    for _ in range(5):
        with pytest.raises(WrongPasswordError):
            firm.workshop.people.check("tam", "wrong password", inside=True)
    with pytest.raises(TooManyTriesError):
        firm.workshop.people.check("tam", RIGHT, inside=True)


def test_a_clock_that_is_put_back_shuts_nobody_out_and_lets_nobody_in(
    firm: Firm, monkeypatch: pytest.MonkeyPatch
) -> None:
    start = people.now()
    with pytest.MonkeyPatch.context() as ahead:
        for module in (people, log_ins):
            ahead.setattr(module, "now", lambda: start + timedelta(days=400))
        _, token = firm.workshop.log_ins.begin("joss", RIGHT)
        for _ in range(5):
            with pytest.raises(WrongPasswordError):
                firm.workshop.people.check("tam", "wrong password")
    assert firm.workshop.people.check("tam", RIGHT) == firm.engineer
    assert firm.workshop.log_ins.person_for(token) is None


def test_a_right_password_clears_the_count(firm: Firm) -> None:
    for _ in range(3):
        for _ in range(4):
            with pytest.raises(WrongPasswordError):
                firm.workshop.people.check("tam", "wrong password")
        firm.workshop.people.check("tam", RIGHT)


def test_a_closed_account(firm: Firm) -> None:
    _, token = firm.workshop.log_ins.begin("tam", RIGHT)
    with pytest.raises(NotAllowedError):
        firm.workshop.people.set_active(firm.engineer, False, firm.office)
    firm.workshop.people.set_active(firm.engineer, False, firm.owner)
    assert firm.workshop.log_ins.person_for(token) is None
    with pytest.raises(WrongPasswordError):
        firm.workshop.people.check("tam", RIGHT)
    assert firm.engineer.name not in [each.name for each in firm.workshop.people.all(active_only=True)]
    firm.workshop.people.set_active(firm.engineer, True, firm.owner)
    firm.workshop.people.check("tam", RIGHT)


def test_there_is_always_an_owner(firm: Firm) -> None:
    with pytest.raises(NotAllowedError, match="last owner"):
        firm.workshop.people.set_active(firm.owner, False, firm.owner)
    with pytest.raises(NotAllowedError, match="last owner"):
        firm.workshop.people.set_role(firm.owner, "office", firm.owner)
    firm.workshop.people.set_role(firm.office, "owner", firm.owner)
    assert firm.workshop.people.set_role(firm.owner, "office", firm.owner).role == "office"


def test_changing_a_password(firm: Firm) -> None:
    change, new = firm.workshop.people.change_password, "nine copper olives"
    with pytest.raises(WrongPasswordError):
        change(firm.engineer, new, firm.engineer, old="not the old one")
    with pytest.raises(NotAllowedError):
        change(firm.engineer, new, firm.other)
    with pytest.raises(JobnotesError, match="too short"):
        change(firm.engineer, "short", firm.engineer, old=RIGHT)
    _, token = firm.workshop.log_ins.begin("tam", RIGHT)
    change(firm.engineer, new, firm.engineer, old=RIGHT)
    assert firm.workshop.log_ins.person_for(token) is None
    with pytest.raises(WrongPasswordError):
        firm.workshop.people.check("tam", RIGHT)
    change(firm.engineer, RIGHT, firm.owner)
    firm.workshop.people.check("tam", RIGHT)


def test_only_the_owner_adds(firm: Firm) -> None:
    for person in (firm.engineer, firm.office):
        with pytest.raises(NotAllowedError):
            firm.workshop.people.add("new", "New", "owner", RIGHT, by=person)
    firm.workshop.people.add("new", "New", "owner", RIGHT, by=firm.owner)
    (line,) = firm.workshop.audit.lines(on="new")
    assert (line.who, line.what, line.detail) == ("ilse", "added a person", "owner")


def test_first_run(tmp_path: Path) -> None:
    with Workshop(tmp_path / "workshop") as workshop:
        assert not workshop.people.any()
        assert oct(workshop.folder.path.stat().st_mode & 0o777) == "0o700"
        assert oct(workshop.folder.database.stat().st_mode & 0o777) == "0o600"
