"""The job sheets as PDF files: PDF/A-3b, tagged, with the job's data inside."""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import threading
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from jobnotes.errors import JobnotesError
from jobnotes.files import make_folder, reason, write_atomically
from jobnotes.jobs.model import ReadMemo
from jobnotes.paper import words
from jobnotes.paper.letterhead import Firm, Signatures
from jobnotes.paper.marks import job_evidence
from jobnotes.paper.place import templates_folder
from jobnotes.paper.sheet import chosen_job, sheet_html

SETTING = threading.Lock()  # one sheet is set at a time: the time stamp goes by the environment
LARGEST_SHEET = 50_000_000  # bytes; our own sheets have some 100,000
ATTACHED = re.compile(rb"/Type /EmbeddedFile\b[^\0]{0,400}?>>\s*stream\r?\n")
LONGEST_NAME = 80  # bytes of the memo's name in a file name; file systems commonly end at 255


@dataclass(frozen=True)
class Attached:
    """The JSON file (UTF-8) that goes into a sheet, its name, and what readers of PDF say of it."""

    name: str
    content: bytes
    description: str


def job_data(read: ReadMemo, number: int) -> dict[str, Any]:
    """What is attached to the sheet of job `number` (from 1): memo, recorded_at, job_number, job, evidence.

    The evidence is the job's own, its JSON Pointers turned to this object: "/job/machine/hours".
    """
    return {
        "memo": read.memo,
        "recorded_at": read.recorded_at,
        "job_number": number,
        "job": chosen_job(read, number).model_dump(mode="json"),
        "evidence": {
            "/job" + pointer: evidence.model_dump(mode="json")
            for pointer, evidence in job_evidence(read, number - 1).items()
        },
    }


def sheet_name(memo: str, number: int) -> str:
    """The file's name: the memo's name, what no file system takes turned to "-", then the job's number."""
    safe = re.sub(r"[^\w .+-]+", "-", words.shown(memo)).strip(" .-")
    while len(safe.encode()) > LONGEST_NAME:
        safe = safe[:-1]
    return f"{safe or 'sheet'}-{number}.pdf"


@contextmanager
def _as_if_at(moment: datetime) -> Iterator[None]:
    """Sets pages as if at `moment`, one at a time, so that the same input gives the same bytes.

    The font library stamps each embedded font with the time, taken from SOURCE_DATE_EPOCH where that is set
    (see reproducible-builds.org). A machine without fonts is no cause for a warning: they come with us.
    """
    with SETTING, warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="No fonts configured")
        before = os.environ.get("SOURCE_DATE_EPOCH")
        os.environ["SOURCE_DATE_EPOCH"] = str(max(0, int(moment.timestamp())))
        try:
            yield
        finally:
            if before is None:
                del os.environ["SOURCE_DATE_EPOCH"]
            else:
                os.environ["SOURCE_DATE_EPOCH"] = before


def _each_file_once(_document: Any, pdf: Any) -> None:
    """Names each attached file once among the document's associated files; the library names it twice."""
    pdf.catalog["AF"][:] = dict.fromkeys(pdf.catalog["AF"])


def sheet_pdf(
    read: ReadMemo,
    number: int,
    *,
    firm: Firm | None = None,
    engineer: str | None = None,
    signatures: Signatures | None = None,
) -> bytes:
    """The sheet of job `number` (from 1) as the bytes of a PDF/A-3b (ISO 19005-3), tagged, the data attached.

    The same input gives the same bytes with the same libraries. Raises JobnotesError as `sheet_html` does,
    and where the library that sets the page is not complete on this machine.
    """
    html = sheet_html(read, number, firm=firm, engineer=engineer, signatures=signatures)
    attached = Attached(
        name=Path(sheet_name(read.memo, number)).with_suffix(".json").name,
        content=json.dumps(job_data(read, number), ensure_ascii=False, indent=2).encode(),
        description="The job as read from the memo, and where each value comes from",
    )
    return set_page(html, attached, words.recorded_at(read))


def set_page(html: str, attached: Attached | None, at: datetime) -> bytes:
    """The page as the bytes of a PDF/A-3b, tagged, made as if at `at` (aware), with a file attached if given.

    Raises JobnotesError where the library that sets the page is not complete on this machine.
    """
    try:
        # Without Pango it prints a banner on standard output, where our own output goes.
        with redirect_stdout(io.StringIO()):
            from weasyprint import HTML, Attachment
            from weasyprint.text.fonts import FontConfiguration
            from weasyprint.urls import URLFetcher
    except OSError as missing:
        raise JobnotesError(
            "Pages cannot be set because the Pango library is missing; install the packages libpango-1.0-0,"
            " libpangoft2-1.0-0 and libharfbuzz-subset0."
        ) from missing
    moment = at.astimezone(UTC)
    attachments = []
    if attached is not None:
        attachments.append(
            Attachment(
                string=attached.content.decode(),
                name=attached.name,
                description=attached.description,
                created=moment,
                modified=moment,
                relationship="Source",
            )
        )
    base = f"{templates_folder().as_uri()}/"
    # A page needs nothing but our own fonts and drawings: no text in it can make it fetch more.
    fetcher = URLFetcher(allowed_protocols={"file"}, allow_redirects=False)
    with _as_if_at(moment):
        page = HTML(string=html, base_url=base, url_fetcher=fetcher)
        pdf = page.write_pdf(
            font_config=FontConfiguration(),
            finisher=_each_file_once if attachments else None,
            pdf_variant="pdf/a-3b",
            pdf_tags=True,
            attachments=attachments,
            pdf_identifier=hashlib.sha256(html.encode() + (attached.content if attached else b"")).digest()[
                :16
            ],
        )
    return bytes(pdf)


def write_sheets(
    read: ReadMemo,
    out: Path,
    *,
    firm: Firm | None = None,
    engineer: str | None = None,
    signatures: Signatures | None = None,
) -> list[Path]:
    """Writes one PDF a job into the folder `out`, made where missing: MEMO-1.pdf, MEMO-2.pdf and so on.

    All sheets are set before the first is written. Raises JobnotesError, and leaves no half file, where one
    cannot be set or written.
    """
    sheets = [
        (
            sheet_name(read.memo, number),
            sheet_pdf(read, number, firm=firm, engineer=engineer, signatures=signatures),
        )
        for number in range(1, len(read.jobs) + 1)
    ]
    make_folder(out)
    written = []
    for name, pdf in sheets:
        write_atomically(out / name, pdf)
        written.append(out / name)
    return written


def remove_old_sheets(read: ReadMemo, out: Path) -> list[Path]:
    """Removes the sheets in `out` that an earlier reading of the memo left, and gives their paths, by number.

    Those are MEMO-N.pdf with N above the number of jobs in `read` whose attached data name this memo and job
    N; nothing else is touched, a signed sheet least of all. Raises JobnotesError where one can't be removed.
    """
    stem = sheet_name(read.memo, 1).removesuffix("1.pdf")
    pattern = re.compile(re.escape(stem) + r"([1-9][0-9]{0,5})\.pdf")
    old: dict[int, Path] = {}
    for file in out.iterdir():
        found = pattern.fullmatch(file.name)
        if found and int(found[1]) > len(read.jobs) and not file.is_symlink() and file.is_file():
            data = attached_data(file)
            if (data.get("memo"), data.get("job_number")) == (read.memo, int(found[1])) and (
                "signed_at" not in data
            ):
                old[int(found[1])] = file
    for _, file in sorted(old.items()):
        try:
            file.unlink(missing_ok=True)
        except OSError as trouble:
            raise JobnotesError(
                f"{file} is of an earlier reading and could not be removed: {reason(trouble)}."
            ) from trouble
    return [file for _, file in sorted(old.items())]


def attached_data(sheet: Path) -> dict[str, Any]:
    """The data attached to a sheet that `sheet_pdf` made, as `job_data` gave them; empty for any other file.

    A stream's dictionary stands in the open in every PDF (ISO 32000-1, 7.5.7), so that this needs no reader
    of PDF.
    """
    try:
        with sheet.open("rb") as stream:
            pdf = stream.read(LARGEST_SHEET + 1)
    except OSError:
        return {}
    if len(pdf) > LARGEST_SHEET:
        return {}
    for found in ATTACHED.finditer(pdf):
        try:
            data = json.loads(zlib.decompressobj().decompress(pdf[found.end() :], LARGEST_SHEET))
        except (ValueError, RecursionError, zlib.error):
            continue
        if isinstance(data, dict):
            return data
    return {}
