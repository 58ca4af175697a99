#!/usr/bin/env python3
"""Measure the desk under load: browsers that read, browsers that edit, on this machine alone.

    python bench/desk.py [--readers 50] [--editors 10] [--seconds 30] [--think 1.0]

A server of its own serves a workshop of its own with the drafts of `tests/desk`. Each reader opens lists,
drafts, sheets, machines and scripts' answers in turn; each editor changes a draft of their own and one that
all editors share; with a pause of `--think` s on the mean between two requests, as people have. It prints the
response times (p50, p95, the longest) for reading and editing, how busy the machine was, and the edits that
were acknowledged and are not there afterwards. Ends with 1 where p95 is over 300 ms or an edit is lost.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import httpx

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "desk")]

from desk_work import PASSWORD, Server, Shop, shop_in, token_in  # noqa: E402

from jobnotes.store import Signed  # noqa: E402
from jobnotes.workshop import load_settings, sealed_pdf  # noqa: E402

MOST_MS = 300.0


async def _log_in(address: str, name: str) -> tuple[httpx.AsyncClient, str]:
    client = httpx.AsyncClient(base_url=address, timeout=60, limits=httpx.Limits(max_connections=2))
    door = await client.get("/log-in")
    fields = {"name": name, "password": PASSWORD, "token": token_in(door.text)}
    answer = await client.post("/log-in", data=fields)
    assert answer.status_code == 303, answer.status_code
    return client, token_in((await client.get("/me")).text)


async def _read(
    client: httpx.AsyncClient, drafts: list[int], until: float, think: float, times: list[float]
) -> None:
    paths = ["/drafts", "/drafts?state=signed", "/sheets/1", "/machine?fleet=WL31", "/drafts?words=quillfen"]
    paths += [f"/drafts/{number}" for number in drafts]
    paths += ["/api/register/machine?text=wl3", f"/api/drafts/{drafts[0]}"]
    await asyncio.sleep(random.uniform(0, think))
    while time.monotonic() < until:
        began = time.perf_counter()
        answer = await client.get(random.choice(paths))
        times.append(time.perf_counter() - began)
        assert answer.status_code == 200, f"{answer.url}: {answer.status_code}"
        await asyncio.sleep(random.expovariate(1 / think))
    await client.aclose()


async def _edit(
    client: httpx.AsyncClient,
    token: str,
    drafts: tuple[int, int],
    place: int,
    until: float,
    think: float,
    times: list[float],
    done: dict[str, Any],
) -> None:
    own, shared = drafts
    count = 0
    await asyncio.sleep(random.uniform(0, think))
    while time.monotonic() < until:
        count += 1
        number = shared if count % 3 == 0 else own
        text = f"editor {place}, line {count}"
        while True:
            version = (await client.get(f"/api/drafts/{number}")).json()["version"]
            change = {"kind": "add", "pointer": "/jobs/0/work", "value": text}
            began = time.perf_counter()
            answer = await client.post(
                f"/api/drafts/{number}/edits",
                json={"version": version, "operation": change},
                headers={"x-token": token},
            )
            times.append(time.perf_counter() - began)
            if answer.status_code == 200:
                done["edits"].append((number, text))
                break
            # Another editor was first: one is told what has changed, and edits anew.
            assert answer.status_code == 409, answer.text
            done["conflicts"] += 1
        await asyncio.sleep(random.expovariate(1 / think))
    await client.aclose()


def _figures(name: str, times: list[float]) -> float:
    ordered = sorted(1000 * each for each in times)
    p95 = ordered[int(0.95 * (len(ordered) - 1))]
    print(
        f"{name:8} {len(ordered):6} requests   p50 {ordered[len(ordered) // 2]:6.0f} ms   p95 {p95:6.0f} ms"
        f"   longest {ordered[-1]:6.0f} ms"
    )
    return p95


async def _load(address: str, shop: Shop, given: argparse.Namespace) -> int:
    drafts = [shop.draft(5, name=f"own-{place}").id for place in range(given.editors)]
    shared = shop.draft(5, name="shared").id
    reads: list[float] = []
    edits: list[float] = []
    done: dict[str, Any] = {"edits": [], "conflicts": 0}
    # One after the other: a name is let in only so many times at once.
    entered = [await _log_in(address, name) for name in ["pru"] * given.readers + ["tam"] * given.editors]
    until = time.monotonic() + given.seconds
    load = [_read(client, drafts[:3], until, given.think, reads) for client, _ in entered[: given.readers]]
    load += [
        _edit(client, token, (drafts[place], shared), place, until, given.think, edits, done)
        for place, (client, token) in enumerate(entered[given.readers :])
    ]
    await asyncio.gather(*load)
    busy = os.getloadavg()[0]
    print(
        f"{given.readers} readers and {given.editors} editors for {given.seconds:g} s, {given.think:g} s "
        f"between requests; {os.cpu_count()} cores, load {busy:.1f}"
    )
    worst = max(_figures("reading", reads), _figures("editing", edits))
    tam = shop.people["tam"]
    held = {
        number: set(shop.workshop.drafts.get(number, tam).read.jobs[0].work) for number in [*drafts, shared]
    }
    lost = [(number, text) for number, text in done["edits"] if text not in held[number]]
    told = done["conflicts"]
    print(f"{len(done['edits'])} edits acknowledged, {told} told of another's first, {len(lost)} lost")
    return int(bool(lost) or worst > MOST_MS)


def _signed(shop: Shop) -> None:
    settings = load_settings(shop.workshop.folder)
    make = sealed_pdf(shop.workshop, settings)
    draft = shop.draft(0)
    shop.workshop.sheets.sign(
        draft.id, 1, shop.people["tam"], PASSWORD, Signed("Tamsin Quill"), make_pdf=make, zone=settings.zone
    )


def main() -> int:
    """Measures, prints, and gives the exit status."""
    parser = argparse.ArgumentParser(description="Measure the desk under load.")
    parser.add_argument("--readers", type=int, default=50)
    parser.add_argument("--editors", type=int, default=10)
    parser.add_argument("--seconds", type=float, default=30)
    parser.add_argument(
        "--think", type=float, default=1.0, help="s between two requests of one browser, on the mean"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="jobnotes-bench-") as folder:
        shop = shop_in(Path(folder) / "workshop")
        _signed(shop)
        server = Server(shop.folder)
        try:
            return asyncio.run(_load(server.address, shop, given))
        finally:
            server.stop()
            shop.workshop.close()


if __name__ == "__main__":
    sys.exit(main())
