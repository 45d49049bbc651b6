"""A QTI package: the items and the manifest that names them, in one archive."""

import secrets
from collections.abc import Iterable
from xml.etree.ElementTree import Element

from tutor.classroom.exports.qti.elements import XSI, Version, element, written, written_item
from tutor.classroom.exports.qti.items import identifier, item
from tutor.classroom.exports.tables import zip_bytes
from tutor.classroom.models import PracticeSet
from tutor.classroom.sets.difficulty import Variants
from tutor.problems.problem import AnyProblem
from tutor.problems.question import Engine

_NAMESPACE: dict[Version, str] = {
    "2.1": "http://www.imsglobal.org/xsd/imscp_v1p1",
    "3.0": "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1",
}
_SCHEMA: dict[Version, str] = {
    "2.1": "http://www.imsglobal.org/xsd/qti/qtiv2p1/qtiv2p1_imscpv1p2_v1p0.xsd",
    "3.0": "https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqtiv3p0_imscpv1p2_v1p0.xsd",
}
_KIND: dict[Version, tuple[str, str, str]] = {
    "2.1": ("QTIv2.1 Package", "1.0.0", "imsqti_item_xmlv2p1"),
    "3.0": ("QTI Package", "3.0.0", "imsqti_item_xmlv3p0"),
}


def variants_of(engine: Engine, practice_set: PracticeSet, count: int, secret: str | None = None) -> list[AnyProblem]:
    """So many variants of each place of a set, equally difficult and screened; without a secret others each time."""
    variants = Variants(engine, practice_set, secret or secrets.token_hex(32))
    drawn = [problem for variant in range(count) for problem in variants.of_learner(f"variant {variant}")]
    by_name = {identifier(problem): problem for problem in drawn}
    return [by_name[name] for name in sorted(by_name)]


def package(practice_set: PracticeSet, problems: Iterable[AnyProblem], version: Version) -> bytes:
    """Write a package with one item a problem; the same problems give the same bytes."""
    files = {f"items/{identifier(problem)}.xml": written_item(item(problem), version) for problem in problems}
    manifest = _manifest(practice_set, list(files), version)
    attributes = {
        "xmlns": _NAMESPACE[version],
        "xmlns:xsi": XSI,
        "xsi:schemaLocation": f"{_NAMESPACE[version]} {_SCHEMA[version]}",
    }
    return zip_bytes({"imsmanifest.xml": written(manifest, attributes), **files})


def _manifest(practice_set: PracticeSet, paths: list[str], version: Version) -> Element:
    schema, schema_version, kind = _KIND[version]
    resources = [
        element(
            "resource",
            element("file", href=path),
            identifier=f"item-{place}",
            type=kind,
            href=path,
        )
        for place, path in enumerate(paths, start=1)
    ]
    return element(
        "manifest",
        element("metadata", element("schema", schema), element("schemaversion", schema_version)),
        element("organizations"),
        element("resources", *resources),
        identifier=f"set-{practice_set.id}",
    )
