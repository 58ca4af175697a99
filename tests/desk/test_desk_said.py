"""What the pages say to a person, and how: in words, whole, and where it is looked for."""

from __future__ import annotations

import re

import pytest
from desk_work import PASSWORD, Shop

from jobnotes.desk import fields
from jobnotes.desk.render import _value
from jobnotes.desk.views import in_words, sheet_view
from jobnotes.jobs import Evidence


@pytest.mark.parametrize("text", ["5pm", "25:99", "24:00", "12:60", "123456", "12:3"])
def test_what_is_no_time_of_day_is_said_so(text: str) -> None:
    with pytest.raises(fields.TypedError, match=r"Left: .* is no time of day; write 16:25"):
        fields.value_of(fields.Kind("time"), "value", "Left", text)


def test_impossible_values_are_said_in_words_while_they_are_typed(shop: Shop, visit) -> None:
    draft, mine = shop.draft(0), visit("tam")

    def wrong(**given: object) -> list[str]:
        answer = mine.ask(f"/api/drafts/{draft.id}/check", given)
        assert answer.status_code == 200, answer.text
        return list(answer.json()["wrong"])

    assert wrong(pointer="/jobs/0/machine/hours", typed="-5") == ["Hour meter: it has to be 0 or more."]
    assert wrong(pointer="/jobs/0/machine/hours", typed="many") == ["Hour meter: 'many' is no number."]
    assert wrong(pointer="/jobs/0/machine/hours", typed="6300") == []
    part = {"description": "filter", "quantity": "0", "unit": "each", "status": "fitted"}
    assert wrong(pointer="/jobs/0/parts", item=part) == ["Part, quantity: it has to be more than 0."]
    # An item that is added is tried as a whole; what is not typed yet is no fault.
    reading = {"at": "axle", "quantity": "pressure", "value": "", "unit": "bar", "stage": "found"}
    assert wrong(pointer="/jobs/0/readings", item=reading) == []
    assert "no number" in wrong(pointer="/jobs/0/readings", item=reading | {"value": "lots"})[0]
    assert "99,999 bar" in wrong(pointer="/jobs/0/readings", item=reading | {"value": "99999"})[0]
    assert wrong(pointer="/jobs/0/readings", item=reading | {"value": "50"}) == []
    assert mine.ask(f"/api/drafts/{draft.id}/check", {"pointer": "/jobs/0", "item": {}}).status_code == 404
    assert shop.workshop.drafts.get(draft.id, shop.people["tam"]).version == 1


def test_no_pointer_is_shown_to_a_person(shop: Shop, visit) -> None:
    draft = shop.draft(0)
    answer = visit("tam").post(
        f"/drafts/{draft.id}/change",
        **{"action": "save", "pointer": "/jobs/0/machine/hours", "f.value": "-5", "version": "1"},
    )
    (said,) = re.findall(r'role="alert">.*?</svg>(.*?)</p>', answer.text, re.DOTALL)
    assert said.strip() == "Hour meter: it has to be 0 or more."
    assert in_words("/jobs/1/work is a list.") == "Work done, job 2 is a list."


def test_units_keep_their_letters(shop: Shop, visit) -> None:
    draft = shop.draft(0)
    page = visit("tam").get(f"/drafts/{draft.id}?edit=/jobs/0/readings/0/unit").text
    shown = dict(re.findall(r'<option value="([^"]+)"[^>]*>([^<]+)</option>', page))
    # mA is a thousandth of an A; "MA" would be a million of them.
    assert {unit: shown[unit] for unit in ("mA", "mV", "m", "MPa", "kPa")} == {
        "mA": "mA",
        "mV": "mV",
        "m": "m",
        "MPa": "MPa",
        "kPa": "kPa",
    }


def test_a_marked_row_is_shown_whole_and_opened_on_the_sheet(shop: Shop, visit) -> None:
    draft = shop.draft(0)
    read = draft.read
    read.evidence["/jobs/0/parts/0"] = Evidence(text="HR3062", check=True)
    (mark,) = sheet_view(read.jobs, read.notes, read.evidence).marks
    assert mark.value == "Brake accumulator 0.75 litre, HR-3062, 1 each, fitted"
    read.evidence["/jobs/0/checks/0"] = Evidence(text="valve", check=True)
    assert sheet_view(read.jobs, read.notes, read.evidence).marks[0].value == "Charging valve: OK"
    mine = visit("tam")
    page = mine.get(f"/drafts/{draft.id}?edit=/jobs/0/parts/0").text
    assert re.search(r'<li class="fitted open" id="rowv-jobs-0-parts-0">', page)
    # What is being added stands nowhere yet, so nothing is open on the sheet.
    assert ' open"' not in mine.get(f"/drafts/{draft.id}?add=/jobs/0/parts").text


def test_corrections_are_told_as_the_sheet_tells_them() -> None:
    assert _value(150, "/jobs/0/times/labour_min") == "2 h 30 min"
    assert _value({"value": 38.0, "unit": "mi"}, "/jobs/0/distance") == "38 miles"
    assert _value(None, "/jobs/0/times/labour_min") == "nothing"


def test_why_it_was_sent_back_stands_at_the_head(shop: Shop, visit) -> None:
    draft = shop.draft(1)
    visit("pru").post(f"/drafts/{draft.id}/comment", action="comment", text="A word beside it.")
    assert "Sent back by" not in visit("tam").get(f"/drafts/{draft.id}").text
    visit("pru").post(f"/drafts/{draft.id}/comment", action="send_back", text="Which pump was it?")
    head = visit("tam").get(f"/drafts/{draft.id}").text.partition('id="look"')[0]
    assert "Sent back by Prudence Able: Which pump was it?" in head
    assert "A word beside it." not in head


def test_the_customer_signs_before_the_button_and_drawings_are_not_hidden(shop: Shop, visit) -> None:
    draft, mine = shop.draft(0), visit("tam")
    page = mine.get(f"/drafts/{draft.id}/sign").text
    assert page.index('id="customer"') < page.index('id="do-sign"')
    assert '<details class="draw js">' in page
    answer = mine.post(
        f"/drafts/{draft.id}/sign",
        version="1",
        password=PASSWORD + "x",
        signature="Tamsin Quill",
        drawn="[[[10,10],[200,90]]]",
    )
    assert answer.status_code == 403
    assert '<details class="draw js" open>' in answer.text and "[[[10,10],[200,90]]]" in answer.text
