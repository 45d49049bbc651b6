"""QTI elements, built once under their 2.1 names and written as 2.1 or 3.0.

QTI 3.0 has the same elements and attributes as 2.1 for what is used here; it writes 'assessmentItem' as
'qti-assessment-item' and 'baseType' as 'base-type' (QTI 3.0 Best Practices and Implementation Guide, migration from
2.x), leaves the XHTML elements alone, and puts the content of a modal feedback into a 'qti-content-body'.
"""

import re
from typing import Literal
from xml.etree import ElementTree as ET

Version = Literal["2.1", "3.0"]

ITEM_NAMESPACE: dict[Version, str] = {
    "2.1": "http://www.imsglobal.org/xsd/imsqti_v2p1",
    "3.0": "http://www.imsglobal.org/xsd/imsqtiasi_v3p0",
}
ITEM_SCHEMA: dict[Version, str] = {
    "2.1": "http://www.imsglobal.org/xsd/qti/qtiv2p1/imsqti_v2p1.xsd",
    "3.0": "https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqti_asiv3p0_v1p0.xsd",
}
XSI = "http://www.w3.org/2001/XMLSchema-instance"

_XHTML = {"div", "p", "ul", "li", "strong"}
_HUMP = re.compile(r"(?<=[a-z])(?=[A-Z])")
# What XML 1.0 cannot hold (https://www.w3.org/TR/xml/#charsets).
_NOT_XML = re.compile(r"[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def element(tag: str, *content: ET.Element | str, **attributes: str) -> ET.Element:
    """Make an element of texts and other elements, in this order."""
    new = ET.Element(tag, {name: _legal(value) for name, value in attributes.items()})
    last: ET.Element | None = None
    for part in content:
        if isinstance(part, ET.Element):
            new.append(part)
            last = part
        elif last is None:
            new.text = (new.text or "") + _legal(part)
        else:
            last.tail = (last.tail or "") + _legal(part)
    return new


def written_item(item: ET.Element, version: Version) -> bytes:
    """Write an item as a file of its own."""
    root = item if version == "2.1" else _as_3_0(item)
    namespace = ITEM_NAMESPACE[version]
    attributes = {"xmlns": namespace, "xmlns:xsi": XSI, "xsi:schemaLocation": f"{namespace} {ITEM_SCHEMA[version]}"}
    return written(root, attributes)


def written(root: ET.Element, attributes: dict[str, str]) -> bytes:
    """Write an element as a document; `attributes` (its namespaces) come first."""
    document = ET.Element(root.tag, {**attributes, **root.attrib})
    document.text = root.text
    document.extend(root)
    data: bytes = ET.tostring(document, encoding="utf-8", xml_declaration=True)
    return data + b"\n"


def _legal(text: str) -> str:
    return _NOT_XML.sub("\ufffd", text)


def _as_3_0(old: ET.Element) -> ET.Element:
    new = ET.Element(_name_in_3_0(old.tag), {_kebab(name): value for name, value in old.attrib.items()})
    new.text, new.tail = old.text, old.tail
    children = [_as_3_0(child) for child in old]
    if old.tag == "modalFeedback":
        body = ET.SubElement(new, "qti-content-body")
        body.extend(children)
    else:
        new.extend(children)
    return new


def _name_in_3_0(tag: str) -> str:
    return tag if tag in _XHTML else f"qti-{_kebab(tag)}"


def _kebab(name: str) -> str:
    return _HUMP.sub("-", name).lower()
