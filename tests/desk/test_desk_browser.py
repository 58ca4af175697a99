"""The desk in a real browser, against the real server and real recordings."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import av
import desk_work
import httpx
import pages
import pytest
from desk_work import Server, Shop, shop_in
from pages import Keys, choose_by_key, done, log_in, page_at, tab_to, violations
from places import SAMPLES
from playwright.sync_api import Browser, Page, expect

from jobnotes.paper.keys import load_certificate
from jobnotes.paper.seal import check_seal
from jobnotes.store import AddItem

HEARD_MS = 120_000


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, speech_weights: Path) -> Iterator[Shop]:
    made = shop_in(tmp_path_factory.mktemp("desk") / "workshop")
    yield made
    made.workshop.close()


def _page(browser: Browser, server: Server, size: str, name: str = "tam") -> Page:
    return page_at(browser, server, size, name)


def _short(seconds: float, target: Path) -> Path:
    """The first seconds of a sample memo, as a recorder's WAV."""
    with av.open(str(SAMPLES / "quarry_loader.m4a")) as source, av.open(str(target), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=16_000, layout="mono")
        resampler = av.AudioResampler(format="s16", layout="mono", rate=16_000)
        for frame in source.decode(audio=0):
            if frame.time > seconds:
                break
            for piece in resampler.resample(frame):
                piece.pts = None
                out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return target


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_from_intake_to_a_signed_pdf_by_keys_alone(
    browser: Browser, server: Server, shop: Shop, tmp_path: Path, size: str
) -> None:
    page = _page(browser, server, size)
    memo = _short(24 if size == "desk" else 17, tmp_path / f"{size}.wav")
    tab_to(page, 'a[href="/intake"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/intake")
    expect(page.get_by_text("Memos are recorded parked")).to_be_visible()
    tab_to(page, "#file")
    choose_by_key(page, memo)
    row = page.locator(".standings li", has_text=memo.name)
    expect(row.get_by_text("Open the draft")).to_be_visible(timeout=HEARD_MS)
    tab_to(page, f'.standings a[href="{row.locator("a").get_attribute("href")}"]')
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/drafts/\d+$"))
    number = int(page.url.rpartition("/")[2])
    expect(page.locator("#words")).to_contain_text("WL31")

    # Whatever is marked is heard and confirmed; the recording plays where the value was said.
    while page.locator(".version").get_attribute("data-marked") != "0":
        left = page.locator(".version").get_attribute("data-marked")
        if page.locator("#hear-now").count():
            page.keyboard.press("h")
            page.wait_for_function("!document.getElementById('sound').paused")
            start = float(page.locator("#hear-now").get_attribute("data-start") or 0)
            at = page.evaluate("document.getElementById('sound').currentTime")
            assert start - 1 <= at <= start + 2
            assert page.locator(".w.said").count()
        page.keyboard.press("Enter")
        expect(page.locator(".version")).not_to_have_attribute("data-marked", left or "")
    # A value is edited too: an impossible one is said to be so, at once.
    tab_to(page, '.v[href*="machine%2Fhours"], .v[href*="machine/hours"]')
    page.keyboard.press("Enter")
    expect(page.locator("#f-value")).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type("999999")
    expect(page.locator("#wrong")).to_contain_text("h")
    page.keyboard.press("Control+a")
    page.keyboard.type("6218.5")
    page.keyboard.press("Enter")
    expect(page.locator("#v-jobs-0-machine-hours")).to_contain_text("6218.5 h")

    # The focus is on the way to the signature.
    expect(page.locator(".slip .main")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign")
    Keys(page).password()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/sheets/\d+"), timeout=60_000)
    expect(page.locator(".stamp")).to_contain_text("Signed")
    address = page.get_by_text("Open the PDF").get_attribute("href")
    pdf = page.context.request.get(server.address + str(address)).body()
    report = check_seal(pdf, load_certificate(shop.workshop.folder.keys))
    assert report.ok, report.trouble
    assert shop.workshop.drafts.get(number, shop.people["tam"]).state == "signed"
    done(page)


def test_key_presses(
    browser: Browser, server: Server, shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    # The oldest draft stands first and has the focus.
    good = shop.draft(0, name="good")
    page = _page(browser, server, "desk")
    keys = Keys(page)
    keys.press("Enter")
    page.wait_for_url(f"**/drafts/{good.id}")
    keys.press("Enter")
    page.wait_for_url("**/sign")
    keys.password()
    keys.press("Enter")
    page.wait_for_url(re.compile("/sheets/"), timeout=60_000)
    assert len(keys.pressed) == 3

    five = shop.draft(5, name="five")
    page.goto(f"{server.address}/drafts")
    marked = Keys(page)
    began = time.monotonic()
    marked.press("Enter")
    page.wait_for_url(f"**/drafts/{five.id}")
    for left in (4, 3):
        marked.press("Enter")
        expect(page.locator(".version")).to_have_attribute("data-marked", str(left))
    # One was misheard: three keys to the field and back, and the figures.
    marked.press("e")
    field = page.locator("#f-value")
    expect(field).to_be_focused()
    for key in "08:15" if field.get_attribute("type") == "time" else "7":
        if key != ":":
            marked.press(key)
    marked.press("Enter")
    for left in (2, 1, 0):
        expect(page.locator(".version")).to_have_attribute("data-marked", str(left))
        marked.press("Enter")
    page.wait_for_url("**/sign")
    marked.password()
    marked.press("Enter")
    page.wait_for_url(re.compile("/sheets/"), timeout=60_000)
    took = time.monotonic() - began
    assert len(marked.pressed) < 25 and took < 60
    with capsys.disabled():
        print(f"\nA draft without marks, from the list to signed: {len(keys.pressed)} keys and the password.")
        print(
            f"A draft with five marks, one of them corrected: {len(marked.pressed)} keys and the password; "
            f"{took:.1f} s as fast as the pages answer; at one key in two seconds "
            f"{2 * len(marked.pressed) + 6} s."
        )
    assert 2 * len(marked.pressed) + 6 < 60
    done(page)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_every_page_passes_axe(browser: Browser, server: Server, shop: Shop, axe: Path, size: str) -> None:
    draft = shop.draft(5, name=f"axe-{size}")
    other = shop.draft(1, "joss", name=f"axe-{size}")
    good = shop.draft(0, name=f"axe-good-{size}")
    sheet = _signed(shop)
    shop.workshop.drafts.comment(draft.id, shop.people["pru"], "Which pump was it?")
    one, two = f"/drafts/{draft.id}", f"/drafts/{other.id}"
    mine = [
        "/drafts",
        "/drafts?state=signed",
        "/drafts?state=withdrawn",
        "/drafts?words=quillfen",
        "/drafts?words=nothingofthekind",
        "/intake",
        one,
        f"{one}?edit=/jobs/0/machine/hours",
        f"{one}?edit=/jobs/0/parts/0/part_number",
        f"{one}?add=/jobs/0/readings",
        f"{one}?split=0",
        f"{one}/history",
        f"/drafts/{good.id}",
        f"/drafts/{good.id}/sign",
        f"/sheets/{sheet}",
        "/machines",
        "/machine?fleet=WL31",
        "/words",
        "/me",
        two,
        "/nowhere",
    ]
    found: dict[str, list[str]] = {}
    page = _page(browser, server, size)

    def look(paths: list[str]) -> None:
        for path in paths:
            page.goto(server.address + path)
            page.wait_for_load_state("load")
            if lines := violations(page, axe):
                found[path] = lines
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= pages.SIZES[size][0], f"{path} is {wide} px wide"

    look(mine)
    page.goto(server.address + one)
    page.locator(".keys summary").click()
    page.locator(".of-jobs summary").click()
    found |= {"opened": lines} if (lines := violations(page, axe)) else {}
    page.goto(f"{server.address}{one}?edit=/jobs/0/machine/fleet_number")
    page.locator("#f-value").fill("WL1")
    page.locator("#f-value").press("ArrowRight")
    page.locator("#f-value").type("3")
    expect(page.locator(".options li").first).to_be_visible()
    found |= {"looking up": lines} if (lines := violations(page, axe)) else {}
    page.context.clear_cookies()
    look(["/log-in"])
    log_in(page, server.address, "ilse")
    look(["/people", "/firm", "/audit", one, "/words", f"/sheets/{sheet}"])
    assert not found, "\n".join(f"{path}: {line}" for path, lines in found.items() for line in lines)
    done(page)


def _signed(shop: Shop) -> int:
    """A signed sheet."""
    sheets = shop.workshop.sheets.lines(limit=1)
    if sheets:
        return sheets[0].number
    from jobnotes.store import Signed
    from jobnotes.workshop import load_settings, sealed_pdf

    draft, tam = shop.draft(0), shop.people["tam"]
    settings = load_settings(shop.workshop.folder)
    make = sealed_pdf(shop.workshop, settings)
    signed = shop.workshop.sheets.sign(
        draft.id, 1, tam, desk_work.PASSWORD, Signed("Tamsin Quill"), make_pdf=make, zone=settings.zone
    )
    return signed[0].number


def test_a_thumb_finds_what_it_needs(browser: Browser, server: Server, shop: Shop) -> None:
    draft = shop.draft(2, name="thumb")
    page = _page(browser, server, "phone")
    page.goto(f"{server.address}/drafts/{draft.id}")
    for button in page.locator(".slip .bar > *:visible").all():
        box = button.bounding_box()
        # In reach: in the lower half, and 44 px both ways.
        assert box and box["height"] >= 44 and box["width"] >= 44 and box["y"] > 844 / 2
    small = page.evaluate(
        """() => [...document.querySelectorAll('main a[href], main button, main summary')]
            .filter(each => each.checkVisibility() && each.getClientRects().length)
            .map(each => [each.textContent.trim(), each.getBoundingClientRect()])
            .filter(([, box]) => box.height < 24 || box.width < 24).map(([text]) => text)"""
    )
    assert small == []
    # One is put off: the other comes first.
    expect(page.locator(".slip h2")).to_contain_text("Fleet number")
    page.locator(".slip .later").tap()
    expect(page.locator(".slip h2")).to_contain_text("Hour meter")
    # Tapped through: two marks, then on to the signature.
    for left in ("1", "0"):
        page.locator(".slip .main").tap()
        expect(page.locator(".version")).to_have_attribute("data-marked", left)
    page.locator(".slip .main").tap()
    page.wait_for_url("**/sign")
    page.locator("summary", has_text="Draw").tap()
    pad = page.locator(".draw canvas")
    box = pad.bounding_box()
    assert box
    page.mouse.move(box["x"] + 20, box["y"] + 60)
    page.mouse.down()
    for step in range(12):
        page.mouse.move(box["x"] + 20 + 20 * step, box["y"] + (30 if step % 2 else 80))
    page.mouse.up()
    page.fill("#password", desk_work.PASSWORD)
    page.locator("#do-sign").tap()
    page.wait_for_url(re.compile("/sheets/"), timeout=60_000)
    expect(page.locator(".signed-by")).to_contain_text("(drawn)")
    done(page)


def test_two_on_one_draft(browser: Browser, server: Server, shop: Shop) -> None:
    draft = shop.draft(0, name="two")
    first, second = _page(browser, server, "desk"), _page(browser, server, "phone")
    for page in (first, second):
        page.goto(f"{server.address}/drafts/{draft.id}?edit=/jobs/0/machine/hours")
    second.goto(f"{server.address}/drafts/{draft.id}?edit=/jobs/0/order_number")
    first.fill("#f-value", "6300")
    first.keyboard.press("Enter")
    expect(first.locator("#v-jobs-0-machine-hours")).to_contain_text("6300 h")
    second.fill("#f-value", "QR4799")
    second.keyboard.press("Enter")
    told = second.locator(".slip [role=alert]")
    expect(told).to_contain_text("Tamsin Quill put Hour meter")
    expect(told).to_contain_text("6300")
    expect(told).to_contain_text("QR4799")
    # What was typed still stands, and the other's change is shown; saved now, both hold.
    expect(second.locator("#f-value")).to_have_value("QR4799")
    expect(second.locator("#v-jobs-0-machine-hours")).to_contain_text("6300 h")
    second.locator("#f-value").focus()
    second.keyboard.press("Enter")
    expect(second.locator("#v-jobs-0-order_number")).to_contain_text("QR4799")
    job = shop.workshop.drafts.get(draft.id, shop.people["tam"]).read.jobs[0]
    assert (job.order_number, job.machine.hours) == ("QR4799", 6300)
    second.keyboard.press("Escape")
    second.locator("button", has_text="Undo").click()
    expect(second.locator("#v-jobs-0-order_number")).to_contain_text("QR4712")
    done(first)
    done(second)


def test_looked_up_moved_split_and_joined(browser: Browser, server: Server, shop: Shop) -> None:
    draft = shop.draft(1, name="jobs")
    page = _page(browser, server, "desk")
    page.goto(f"{server.address}/drafts/{draft.id}?edit=/jobs/0/machine/fleet_number")
    page.locator("#f-value").fill("")
    page.locator("#f-value").type("xc2")
    expect(page.locator(".options li").first).to_contain_text("XC22")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    # The register settles the machine, and the mark on the hours stays for a person to look at.
    expect(page.locator("#v-jobs-0-machine-make")).to_contain_text("Wolmark")
    expect(page.locator("#v-jobs-0-machine-fleet_number")).to_contain_text("XC22")
    expect(page.locator(".version")).to_have_attribute("data-marked", "1")
    page.locator(".add a", has_text="A part").click()
    page.locator("#f-part_number").fill("LX-1303")
    page.locator("#f-description").fill("engine oil filter")
    page.locator(".slip .main").click()
    expect(page.locator(".parts")).to_contain_text("Engine oil filter")
    page.locator(".of-jobs summary").click()
    page.locator("a", has_text="Split").click()
    page.locator(".split label", has_text="Engine oil filter").click()
    page.locator(".split .main").click()
    expect(page.locator("#job-2 .parts")).to_contain_text("Engine oil filter")
    page.locator('#job-2 .parts .v[id$="description"]').click()
    page.locator("button", has_text="To job 1").click()
    expect(page.locator("#job-1 .parts")).to_contain_text("Engine oil filter")
    page.locator(".of-jobs summary").click()
    page.locator("#into-1").locator("xpath=..").locator('button[value="join"]').click()
    expect(page.locator("#job-2")).to_have_count(0)
    job = shop.workshop.drafts.get(draft.id, shop.people["tam"]).read.jobs[0]
    assert [part.description for part in job.parts] == ["brake accumulator 0.75 litre", "engine oil filter"]
    assert job.customer == "Quillfen Aggregates"
    done(page)


def test_a_marked_row_comes_into_view_and_words_keep_their_size(
    browser: Browser, server: Server, shop: Shop
) -> None:
    draft, tam = shop.draft(1, name="row"), shop.people["tam"]
    for number in range(12):
        item = {"description": f"shim {number}", "quantity": 1, "unit": "each", "status": "fitted"}
        add = AddItem(pointer="/jobs/0/parts", value=item)
        draft = shop.workshop.drafts.edit(draft.id, draft.version, tam, add)
    for size in ("desk", "phone"):
        page = _page(browser, server, size)
        page.goto(f"{server.address}/drafts/{draft.id}?edit=/jobs/0/parts/12")
        row = page.locator(".rows li.open")
        expect(row).to_contain_text("Shim 11")
        expect(row).to_be_in_viewport()
        sizes = page.evaluate(
            """() => { const words = document.querySelectorAll('.words .w'); words[0].classList.add('now');
                return [...words].slice(0, 2).map(each => getComputedStyle(each).fontSize) }"""
        )
        assert sizes[0] == sizes[1], "the text must not jump as the words run along"
        # An item that is added is looked at while it is typed, too.
        page.locator(".add a", has_text="A reading").click()
        page.locator("#f-value").fill("99999")
        expect(page.locator("#wrong")).to_contain_text("99,999 bar")
        done(page)


def test_it_works_without_scripts(browser: Browser, server: Server, shop: Shop) -> None:
    draft = shop.draft(1, name="plain")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{server.address}/log-in")
    page.fill("#name", "tam")
    page.fill("#password", desk_work.PASSWORD)
    page.click("button")
    page.goto(f"{server.address}/drafts/{draft.id}")
    page.click('.slip button[value="confirm"]')
    expect(page.locator(".slip")).to_contain_text("Nothing is left to look at")
    page.click("#v-jobs-0-customer")
    page.fill("#f-value", "Thistlecombe Civils")
    page.click('.slip button[value="save"]')
    expect(page.locator("#v-jobs-0-customer")).to_contain_text("Thistlecombe Civils")
    page.click(".slip .main")
    page.fill("#password", desk_work.PASSWORD)
    page.click("#do-sign")
    expect(page.locator(".stamp")).to_contain_text("Signed")
    context.close()


def test_killed_in_the_middle_of_an_edit(browser: Browser, tmp_path: Path) -> None:
    shop = shop_in(tmp_path / "workshop")
    draft, tam = shop.draft(1, name="killed"), shop.people["tam"]
    server = Server(shop.folder)
    try:
        page = _page(browser, server, "desk")
        page.goto(f"{server.address}/drafts/{draft.id}?edit=/jobs/0/cause")
        page.fill("#f-value", "the seal of the rear accumulator was cut")
        for round_ in range(3):
            told = _edit_until_killed(server, draft.id, wait_s=0.6 + 0.13 * round_)
            found = shop.workshop.drafts.get(draft.id, tam)
            # All that was confirmed is there, and at most the one that was under way besides.
            assert told <= found.version <= told + 1
            assert found.read.jobs[0].machine.hours == found.version or told == 1
            if round_ == 0:
                # A person in the middle of an edit is told, and keeps what they typed.
                page.keyboard.press("Enter")
                expect(page.locator(".slip [role=alert]")).to_contain_text("does not answer")
                expect(page.locator("#f-value")).to_have_value("the seal of the rear accumulator was cut")
            server.start()
        page.locator("#f-value").focus()
        page.keyboard.press("Enter")
        # The others' edits are told; then it is saved.
        expect(page.locator(".slip [role=alert]")).to_contain_text("meanwhile")
        page.locator("#f-value").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#v-jobs-0-cause")).to_contain_text("The seal of the rear accumulator was cut")
        done(page)
    finally:
        server.stop()
        shop.workshop.close()


def _edit_until_killed(server: Server, number: int, wait_s: float) -> int:
    """Edits a draft as fast as it goes, kills the server meanwhile, and gives the last version confirmed."""
    with httpx.Client(base_url=server.address, timeout=10) as client:
        editor = desk_work.Browser(client)
        editor.log_in("tam")
        version = int(editor.get(f"/api/drafts/{number}").json()["version"])
        killer = threading.Timer(wait_s, server.kill)
        killer.start()
        with suppress(httpx.HTTPError):
            while True:
                change = {"kind": "set", "pointer": "/jobs/0/machine/hours", "value": version + 1}
                answer = editor.ask(f"/api/drafts/{number}/edits", {"version": version, "operation": change})
                assert answer.status_code == 200, answer.text
                version = int(answer.json()["version"])
        killer.join()
    return version


def test_beyond_this_machine_only_with_a_certificate(jobnotes, tmp_path: Path) -> None:
    refused = jobnotes("desk", "--workshop", tmp_path / "w", "--host", "0.0.0.0")
    assert refused.returncode == 2 and "--tls-cert" in refused.stderr
    assert not (tmp_path / "w").exists()
    assert jobnotes("desk", "--tls-cert", tmp_path / "c.pem").returncode == 2


def test_served_under_tls(tmp_path: Path) -> None:
    from datetime import UTC, datetime, timedelta

    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "desk.example")])
    made = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = made.serial_number(1).not_valid_before(now).not_valid_after(now + timedelta(days=1))
    certificate, private = tmp_path / "desk.pem", tmp_path / "desk-key.pem"
    certificate.write_bytes(made.sign(key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM))
    plain = serialization.NoEncryption()
    private.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    )
    server = Server(tmp_path / "workshop", "--tls-cert", str(certificate), "--tls-key", str(private))
    try:
        assert server.address.startswith("https://")
        answer = httpx.get(f"{server.address}/set-up", verify=False)
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-") and "Secure" in cookie and "HttpOnly" in cookie
    finally:
        server.stop()


def test_ends_in_order(tmp_path: Path) -> None:
    server = Server(tmp_path / "workshop")
    try:
        assert "/set-up?code=" in server.said
        assert httpx.get(server.address, follow_redirects=True).status_code == 200
        assert server.end() in (0, 130, -2)
    finally:
        server.stop()
    assert "Traceback" not in server.log()
