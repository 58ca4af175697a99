"""The meaning of failure mode identifiers, against the published list."""

from __future__ import annotations

import re

import pytest

from jobnotes.jobs.fmi import fmi_meaning


def test_fmi_words_follow_the_standard() -> None:
    # SAE J1939-73, Appendix A, typed in here apart from the program's own table.
    standard = {
        0: "above normal operational range most severe",
        1: "below normal operational range most severe",
        2: "erratic intermittent incorrect",
        3: "voltage above normal shorted high",
        4: "voltage below normal shorted low",
        5: "current below normal open circuit",
        6: "current above normal grounded circuit",
        7: "mechanical not responding out of adjustment",
        8: "abnormal frequency pulse width period",
        9: "abnormal update rate",
        10: "abnormal rate of change",
        11: "root cause not known",
        12: "bad intelligent device component",
        13: "out of calibration",
        14: "special instructions",
        15: "above normal operating range least severe",
        16: "above normal operating range moderately severe",
        17: "below normal operating range least severe",
        18: "below normal operating range moderately severe",
        19: "received network data in error",
        20: "drifted high",
        21: "drifted low",
        **dict.fromkeys(range(22, 31), "reserved SAE assignment"),
        31: "condition exists",
    }
    for number, key_words in standard.items():
        meaning = fmi_meaning(f"SPN 100 FMI {number}")
        assert meaning is not None
        assert set(key_words.split()) <= set(re.findall(r"\w+", meaning)), number


@pytest.mark.parametrize("code", ["E214", "100/1", "SPN 100", "FMI 32", "FMI 310", "FMI", "SPN 5 FMIX 3"])
def test_no_fmi_no_meaning(code: str) -> None:
    assert fmi_meaning(code) is None


def test_fmi_is_read_however_it_is_written() -> None:
    for code in ("spn 100 fmi 1", "SPN 100, FMI: 1", "SPN100 FMI1", "FMI-01 at SPN 100"):
        assert fmi_meaning(code) == "data valid but below normal operational range, most severe level"
