"""The documents say what the program does: each command's help, the JSON Schema, no link into nothing."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import pytest
from places import REPOSITORY

from jobnotes import __version__

sys.path.insert(0, str(REPOSITORY / "docs"))
import write

PAGES = sorted([*REPOSITORY.glob("*.md"), *REPOSITORY.glob("*/*.md"), *REPOSITORY.glob("*/*/README.md")])
STALE = "is stale; run `make docs`"


def test_help_of_every_command_stands_in_the_docs() -> None:
    page = (REPOSITORY / "docs" / "commands.md").read_text(encoding="utf-8")
    helps = dict(write.helps())
    assert {"jobnotes", "jobnotes setup", "jobnotes hear", "jobnotes read", "jobnotes sheet"} <= set(helps)
    for name, text in helps.items():
        assert f"<!-- help: {name} -->" in page, f"docs/commands.md says nothing of `{name}`"
        assert text in page, f"The help of `{name}` in docs/commands.md {STALE}"
    assert page == write.commands_document(page), f"docs/commands.md {STALE}"


def test_help_is_what_the_program_prints(jobnotes) -> None:
    printed = jobnotes("read", "--help", env={"COLUMNS": str(write.WIDTH + 2)}).stdout
    assert dict(write.helps())["jobnotes read"].split() == printed.split()


def test_schema_in_the_docs() -> None:
    published = (REPOSITORY / "docs" / "jobs.schema.json").read_text(encoding="utf-8")
    assert published == write.schema_document(), f"docs/jobs.schema.json {STALE}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(REPOSITORY)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name} leads to {target}, which is not there"


def test_readme_names_every_command_and_make_target() -> None:
    readme = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    for name in dict(write.helps()):
        if name.startswith("jobnotes office "):
            continue  # two dozen, which docs/commands.md tells; the page names the group
        assert f"`{name} " in readme or f"`{name}`" in readme or name == "jobnotes"
    assert "make demo" in readme
    makefile = (REPOSITORY / "Makefile").read_text(encoding="utf-8")
    for page in ("README.md", "DEVELOPERS.md", "docs/commands.md"):
        for target in re.findall(r"`make (\w+)", (REPOSITORY / page).read_text(encoding="utf-8")):
            assert re.search(rf"^{target}:", makefile, re.MULTILINE), f"{page} names make {target}"


def test_files_that_the_developers_page_names_are_there() -> None:
    page = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(
        r"`((?:jobnotes|models|templates|sample_audio|bench|tests|docs|tools)/[\w/.*-]*)`", page
    )
    assert len(named) > 10
    for name in named:
        assert list(REPOSITORY.glob(name.rstrip("/"))), f"DEVELOPERS.md names {name}, which is not there"


def test_one_version_everywhere() -> None:
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == __version__
    changes = (REPOSITORY / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.search(rf"^## {re.escape(__version__)}\b", changes, re.MULTILINE)


def test_every_dependency_is_pinned() -> None:
    def key(name: str) -> str:
        return re.sub(r"[-_.]+", "-", re.split(r"[\s<>=!~;\[]", name)[0]).lower()

    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = (REPOSITORY / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = {key(line) for line in lines if re.fullmatch(r"[\w.-]+==[\w.+!]+", line)}
    assert not [line for line in lines if "/" in line or " @ " in line], "constraints.txt names a place"
    for wanted in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
        assert key(wanted) in pinned, f"constraints.txt does not pin {wanted}"


def test_whole_licence_and_notice() -> None:
    licence = (REPOSITORY / "LICENSE").read_text(encoding="utf-8")
    assert "Apache License" in licence and "END OF TERMS AND CONDITIONS" in licence
    notice = (REPOSITORY / "NOTICE").read_text(encoding="utf-8")
    for whose in ("Whisper", "all-MiniLM-L6-v2", "IBM Plex", "Kokoro", "Silero"):
        assert whose in notice
