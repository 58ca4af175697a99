#!/usr/bin/env python3
"""How long it takes to find a misheard code in a large register.

    bench/lookup.py [ROWS]

Makes up a register of ROWS codes (20,000), indexes it once, and looks up codes that are one symbol off.
Reach: 5 ms each.
"""

from __future__ import annotations

import random
import sys
import time

from jobnotes.register import Register
from jobnotes.register.rows import PartRow
from jobnotes.speech.knowledge import Knowledge

LETTERS = "ABCDEFGHKLMNPRSTVWX"


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    chance = random.Random(3)
    codes = [
        f"{chance.choice(LETTERS)}{chance.choice(LETTERS)}{chance.randrange(10**5):05d}" for _ in range(rows)
    ]
    started = time.perf_counter()
    knowledge = Knowledge(Register(parts=[PartRow(code) for code in codes]))
    print(f"indexed {len(knowledge.codes.keys)} codes in {time.perf_counter() - started:.2f} s")
    heard = [
        code[:3] + chance.choice("0123456789") + code[4:] for code in chance.sample(codes, min(500, rows))
    ]
    started = time.perf_counter()
    found = sum(bool(knowledge.codes.near(code, 2.0)) for code in heard)
    took = (time.perf_counter() - started) / len(heard)
    print(f"{1000 * took:.2f} ms a look-up, {found} of {len(heard)} near a row")


if __name__ == "__main__":
    main()
