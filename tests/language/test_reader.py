"""The whole reader by its properties: any text gives a valid object; every value has words that bear it;
case, commas, and figures or words make no difference to what money and safety hang on."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from memo_words import RECORDED_AT, critical, leaves, resolve

from jobnotes.jobs import ReadMemo, Transcript, Word, jobs_schema
from jobnotes.language import Reader, from_text


def faults(read: ReadMemo, recorded_at: datetime) -> list[str]:
    """What is wrong with the evidence of a read memo, a line each."""
    whole: dict[str, Any] = read.model_dump(mode="json")
    said = " ".join(read.transcript.text.split())
    words = len(read.transcript.words)
    wrong = []
    for pointer, entry in whole["evidence"].items():
        try:
            resolve(whole, pointer)
        except (KeyError, IndexError, ValueError, TypeError):
            wrong.append(f"{pointer} points to nothing")
        if not entry["text"].strip():
            wrong.append(f"{pointer} has no words")
        if entry["first"] is None or not 0 <= entry["first"] <= entry["last"] < words:
            wrong.append(f"{pointer}: words {entry['first']} to {entry['last']} of {words}")
        for piece in entry["text"].split("…"):
            if " ".join(piece.split()) not in said:
                wrong.append(f"{pointer}: {piece!r} was never said")
        if entry["check"] and not entry["why"]:
            wrong.append(f"{pointer} is marked without a reason")
    for pointer, value in leaves(whole["jobs"], "/jobs"):
        if re.fullmatch(r"/jobs/\d+/date", pointer) and value == recorded_at.date().isoformat():
            continue  # the recording's day needs no words
        bearer = pointer
        while bearer.count("/") > 3 and bearer not in whole["evidence"]:
            bearer = bearer.rsplit("/", 1)[0]
        if bearer not in whole["evidence"]:
            wrong.append(f"{pointer} = {value!r} has no evidence")
    return wrong


def check(reader: Reader, text: str) -> None:
    transcript = from_text(text)
    read = reader.read(transcript, "memo", RECORDED_AT)
    assert ReadMemo.model_validate_json(read.model_dump_json()) == read
    assert read.transcript == transcript
    if not transcript.text:
        assert (read.jobs, read.notes, read.evidence) == ([], [], {})
    assert faults(read, RECORDED_AT) == []


# Words that set off every rule, so that random talk of them reaches into every corner.
TRADE = (
    "the a on it was and so , . ? ! - / half oh one two twelve fifty hundred thousand point eight "
    "bar psi volts V 250 12.6 1,250 "
    "99999999999999999999 10:15 50:50 99:99 hours labour miles each way there and back arrived left "
    "got there at quarter past to "
    "T H W L tango hotel WL31 TH248 HR5161 HR-5161 fitted new seal kit order number part serial "
    "yesterday Tuesday last night "
    "telehandler loader generator first second Quillfen Quarry Oddmarsh Yard checked found should "
    "be book says no sorry make "
    "that filter litres metres of hose S P N F M I fault code £ % ° é ² ß 日本 ' ’ n't ( ) minus "
    "double dash stroke er um "
    "pair couple dozen Wolmark Hestrel HT7 travel not sixty kVA tonner today complete safe isolator off"
).split()
talk = st.lists(st.sampled_from(TRADE), max_size=60).map(" ".join)


@settings(max_examples=150)
@given(text=st.text(max_size=200))
def test_any_text_gives_a_valid_memo(reader: Reader, bare_reader: Reader, text: str) -> None:
    check(reader, text)
    check(bare_reader, text)


@settings(max_examples=300)
@given(text=talk)
def test_any_talk_gives_a_valid_memo_with_evidence(reader: Reader, bare_reader: Reader, text: str) -> None:
    check(reader, text)
    check(bare_reader, text)


ODD = {
    "nothing": "",
    "white space": " \n\t \u2028 ",
    "signs": ".,;:!?-/ " * 200,
    "a huge number": "It made " + "9" * 400 + " bar and " + "9" * 400 + ".5 volts.",
    "a huge number read out": "one " * 1500 + "bar",
    "3,000 words of one letter": "T " * 3000,
    "3,000 words of a memo": "The loader W L three one made two fifty bar , so I fitted a new hose . " * 200,
    "thirty machines": " ".join(
        f"Next, the telehandler T H {n}, the boom would not lift. I fitted a hose." for n in range(100, 130)
    ),
    "a word of 2,000 letters": "fitted " + "a" * 2000,
    "no letters of ours": "日本語 " * 100 + "😀" * 100 + "\u200b" * 100 + "\x00",
    "other figures": "٢٥٠ bar, ２５０ bar, Ⅷ bar, 3/², point ²",
    "line ends": "two\nhundred\r\nbar\u2028\n\n\n" * 50,
    "less than nothing": (
        "The loader has minus two thousand hours on the clock. Minus three hours labour, minus "
        "forty miles there and back, I "
        "fitted minus two filters, and left at minus four."
    ),
    "an hour meter below nothing": "Hour meter minus fifty on the telehandler.",
    "a model of the register, a number of none": (
        "Fleet number Z Q nine nine nine, it's an H T seven telehandler. The boom would not lift."
    ),
    "nought of everything": "Nought hours labour, zero miles, nought filters fitted, nought hours "
    "on the clock.",
    "mixture": "Antifreeze mixed 50:50, and 25:10 on the other.",
}


@pytest.mark.parametrize("name", ODD)
def test_odd_texts(reader: Reader, bare_reader: Reader, name: str) -> None:
    check(reader, ODD[name])
    check(bare_reader, ODD[name])


# -- sayings that must not matter ---

TELEHANDLER = (
    "Right, Saltfellow Marsh Farm, order number {order}. The telehandler, {fleet}, {hours}. The "
    "boom would not extend. On extend it "
    "made {made}, and it should be {spec}. The extend relief valve was stuck. I fitted a new relief "
    "valve, part number {part}, and "
    "{oil}. I got there at {arrived}. I left at {left}. {labour} labour. {miles}, there and back."
)
GENERATOR = (
    "Oddmarsh Main Yard, order number {order}. The generator, fleet number {fleet}, {hours}. It "
    "would not start. The battery had {made}, "
    "and it should be {spec}. I fitted a new battery, part number {part}, and {oil}. I arrived at "
    "{arrived}. I left at {left}. "
    "{labour} labour. {miles}, there and back."
)
SLOTS = {
    "telehandler": (
        TELEHANDLER,
        {
            "order": ("Q R four seven one two", "QR4712"),
            "fleet": ("T H two four eight", "TH248"),
            "hours": ("three thousand five hundred and seventy-one hours", "3,571 hours"),
            "made": ("one hundred and ten bar", "110 bar"),
            "spec": ("two hundred and forty bar", "240 bar"),
            "part": ("H R five one six one", "HR-5161"),
            "oil": ("three litres of hydraulic oil forty-six", "3 litres of hydraulic oil 46"),
            "arrived": ("quarter past one", "1:15"),
            "left": ("twenty-five past four", "25 past 4"),
            "labour": ("Two and a half hours", "2.5 hours"),
            "miles": ("Fifty-six miles", "56 miles"),
        },
    ),
    "generator": (
        GENERATOR,
        {
            "order": ("L W five five oh three", "LW5503"),
            "fleet": ("G N five two oh", "GN520"),
            "hours": ("four thousand and ninety hours", "4090 hours"),
            "made": ("ten point four volts", "10.4V"),
            "spec": ("twelve point six volts", "12.6V"),
            "part": ("E L nine nine oh one", "EL9901"),
            "oil": ("one and a half litres of fifteen W forty engine oil", "1.5 litres of 15W-40 engine oil"),
            "arrived": ("ten past eight", "10 past 8"),
            "left": ("quarter to eleven", "10:45"),
            "labour": ("An hour and a half", "1.5 hours"),
            "miles": ("Thirty-eight miles", "38 miles"),
        },
    ),
}


def said(name: str, written: frozenset[str] = frozenset()) -> str:
    """A memo with its values said in words, those of `written` as a recogniser writes them."""
    text, slots = SLOTS[name]
    return text.format(**{slot: ways[slot in written] for slot, ways in slots.items()})


def values(reader: Reader, text: str) -> list[dict[str, Any]]:
    return critical(reader.read(from_text(text), "memo", RECORDED_AT))


def test_the_memos_are_read_as_meant(reader: Reader) -> None:
    """What the next tests hold alike is right as well."""
    (telehandler,) = values(reader, said("telehandler"))
    assert telehandler == {
        "customer": "Saltfellow Farms",
        "site": "Saltfellow Marsh Farm",
        "order_number": "QR4712",
        "date": "2026-06-03",
        "fleet_number": "TH248",
        "serial_number": "HES07T2248",
        "hours": 3571,
        "parts": telehandler["parts"],
        "readings": [("pressure", 110, "bar", "found", 240)],
        "arrived": "13:15",
        "left": "16:25",
        "labour_min": 150,
        "travel_min": None,
        "distance": (56, "mi"),
    }
    assert ("HR-5161", 1, "each", "fitted") in telehandler["parts"]
    assert [p[1:] for p in telehandler["parts"] if p[2] == "L"] == [(3, "L", "fitted")]


@pytest.mark.parametrize("name", SLOTS)
@pytest.mark.parametrize("slot", SLOTS["telehandler"][1])
def test_figures_or_words_make_no_difference(reader: Reader, name: str, slot: str) -> None:
    assert values(reader, said(name, frozenset({slot}))) == values(reader, said(name))


@pytest.mark.parametrize("name", SLOTS)
def test_all_in_figures(reader: Reader, name: str) -> None:
    assert values(reader, said(name, frozenset(SLOTS[name][1]))) == values(reader, said(name))


@pytest.mark.parametrize("name", SLOTS)
@pytest.mark.parametrize("written", [False, True])
def test_case_makes_no_difference(reader: Reader, name: str, written: bool) -> None:
    text = said(name, frozenset(SLOTS[name][1]) if written else frozenset())
    assert values(reader, text.lower()) == values(reader, text)


@pytest.mark.parametrize("name", SLOTS)
@pytest.mark.parametrize("written", [False, True])
def test_commas_make_no_difference(reader: Reader, name: str, written: bool) -> None:
    text = said(name, frozenset(SLOTS[name][1]) if written else frozenset())
    bare = re.sub(r",(?!\d{3})", "", text)
    assert values(reader, bare) == values(reader, text)


@pytest.mark.parametrize("name", SLOTS)
def test_fillers_make_no_difference(reader: Reader, name: str) -> None:
    text = said(name)
    stumbled = re.sub(r"\b(hundred and|point|number|past|of)\b", r"\1, er,", text)
    assert stumbled != text
    assert values(reader, stumbled) == values(reader, text)


def test_reading_twice_gives_the_same(reader: Reader) -> None:
    for name in SLOTS:
        first, second = (reader.read(from_text(said(name)), "memo", RECORDED_AT) for _ in range(2))
        assert first == second


# -- recorded words ---


def heard(text: str, probability: float, doubtful: str = "", doubt: float = 0.2) -> Transcript:
    """`text` as a recogniser gives it: half a second a word; `doubtful` words with the probability
    `doubt`."""
    words = [
        Word(
            text=w,
            start=n / 2,
            end=n / 2 + 0.4,
            probability=doubt if w.strip(".,") in doubtful.split() else probability,
        )
        for n, w in enumerate(text.split())
    ]
    return Transcript(text=text, words=words, seconds=len(words) / 2)


def test_evidence_has_the_seconds_of_its_words(reader: Reader) -> None:
    read = reader.read(heard(said("telehandler"), 0.95), "memo", RECORDED_AT)
    assert faults(read, RECORDED_AT) == []
    for entry in read.evidence.values():
        assert entry.first is not None and entry.last is not None
        assert entry.start == pytest.approx(entry.first / 2)
        assert entry.end == pytest.approx(entry.last / 2 + 0.4)


def test_a_figure_hardly_heard_is_marked(reader: Reader) -> None:
    clear = reader.read(heard(said("telehandler"), 0.95), "memo", RECORDED_AT)
    unclear = reader.read(heard(said("telehandler"), 0.95, "ten"), "memo", RECORDED_AT)
    assert [r.value for r in unclear.jobs[0].readings] == [110]
    before, after = clear.evidence["/jobs/0/readings/0"], unclear.evidence["/jobs/0/readings/0"]
    assert after.confidence < before.confidence
    assert after.check


def test_the_published_schema_takes_what_is_read(reader: Reader) -> None:
    jsonschema = pytest.importorskip("jsonschema")
    read = reader.read(from_text(said("generator")), "memo", RECORDED_AT).model_dump(mode="json")
    jsonschema.validate({"jobs": read["jobs"], "notes": read["notes"]}, jobs_schema())
