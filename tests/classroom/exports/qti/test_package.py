"""The packages' structure: what the information model and its XML binding demand of every element that is used.

1EdTech QTI 2.1 final (2012) and 3.0 final (2022), information models and XML bindings; IMS Content Packaging 1.2 for
the manifest.  The published schema itself comes with no package registry, so its rules for these elements stand here.
"""

import io
import re
import zipfile

import pytest
from lxml import etree
from qti_convert import convert_qti3_to_qti21, upgrade_qti2_to_qti3

from tutor.classroom.exports.qti.elements import element, written_item
from tutor.classroom.exports.qti.items import identifier, item
from tutor.classroom.exports.qti.package import package, variants_of
from tutor.classroom.models import PracticeSet
from tutor.problems.problem_factory import make_problem

SET = PracticeSet(
    id="mixed-set",
    title="A mixed set",
    items=[
        {"exercise": "most-modules-in-series"},
        {"exercise": "most-modules-in-series", "ask": "cold_voltage"},
        {"exercise": "conductor-for-current"},
        {"exercise": "does-the-string-survive"},
        {"exercise": "source-at-a-moment"},
        {"exercise": "switching-on"},
    ],
)
# The elements used, in 2.1 names: the attributes that are required, and which children may come, in this order.
RULES = {
    "assessmentItem": (
        {"identifier", "title", "adaptive", "timeDependent"},
        "(responseDeclaration)*(outcomeDeclaration)*(itemBody)?(responseProcessing)?(modalFeedback)*",
    ),
    "responseDeclaration": ({"identifier", "cardinality", "baseType"}, "(correctResponse)?"),
    "outcomeDeclaration": ({"identifier", "cardinality", "baseType"}, "(defaultValue)?"),
    "correctResponse": (set(), "(value)+"),
    "defaultValue": (set(), "(value)+"),
    "value": (set(), ""),
    "itemBody": (set(), "(p|div|choiceInteraction|orderInteraction)+"),
    "p": (set(), "(textEntryInteraction)*"),
    "div": (set(), "(p)*"),
    "textEntryInteraction": ({"responseIdentifier"}, ""),
    "choiceInteraction": ({"responseIdentifier", "shuffle", "maxChoices"}, "(prompt)?(simpleChoice)+"),
    "orderInteraction": ({"responseIdentifier", "shuffle"}, "(prompt)?(simpleChoice)+"),
    "prompt": (set(), ""),
    "simpleChoice": ({"identifier"}, ""),
    "responseProcessing": (set(), "(responseCondition)+"),
    "responseCondition": (set(), "(responseIf)(responseElseIf)*(responseElse)?"),
    "responseIf": (set(), "(EXPRESSION)(setOutcomeValue)*"),
    "responseElseIf": (set(), "(EXPRESSION)(setOutcomeValue)*"),
    "responseElse": (set(), "(setOutcomeValue)*"),
    "setOutcomeValue": ({"identifier"}, "(EXPRESSION)"),
    "and": (set(), "(EXPRESSION)+"),
    "or": (set(), "(EXPRESSION)+"),
    "match": (set(), "(EXPRESSION){2}"),
    "member": (set(), "(EXPRESSION){2}"),
    "lt": (set(), "(EXPRESSION){2}"),
    "gt": (set(), "(EXPRESSION){2}"),
    "equal": ({"toleranceMode", "tolerance"}, "(EXPRESSION){2}"),
    "index": ({"n"}, "(EXPRESSION)"),
    "containerSize": (set(), "(EXPRESSION)"),
    "variable": ({"identifier"}, ""),
    "correct": ({"identifier"}, ""),
    "baseValue": ({"baseType"}, ""),
    "modalFeedback": ({"outcomeIdentifier", "identifier", "showHide"}, "(p)+"),
    "contentBody": (set(), "(p)+"),
}
EXPRESSIONS = (
    "and", "or", "match", "member", "lt", "gt", "equal", "index", "containerSize", "variable", "correct", "baseValue",
)  # fmt: skip
IDENTIFIER = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]*")  # the identifier type: an XML NCName


@pytest.fixture(scope="module")
def problems(engine):
    return variants_of(engine, SET, 3, secret="5e" * 32)


def unpacked(data):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def check(read):
    """Check one item's elements, references and identifiers."""
    for one in read.root.iter(etree.Element):
        tag = read.tag(one)
        required, children = RULES[tag]
        if tag == "modalFeedback" and read.version == "3.0":
            children = "(contentBody)"
        names = {read.get(one, name) is not None for name in required}
        assert names <= {True}, (tag, dict(one.attrib))
        told = "".join(f"{read.tag(child)};" for child in one)
        groups = children.replace("EXPRESSION", "|".join(EXPRESSIONS))
        rule = re.sub(r"[A-Za-z]+", lambda name: f"{name[0]};", groups)
        assert re.fullmatch(rule, told), (tag, told, rule)
    declared = [
        read.get(one, "identifier") for one in [*read.all("responseDeclaration"), *read.all("outcomeDeclaration")]
    ]
    assert len(set(declared)) == len(declared)
    for tag in ("variable", "correct", "setOutcomeValue"):
        assert {read.get(one, "identifier") for one in read.all(tag)} <= set(declared)
    for tag in ("textEntryInteraction", "choiceInteraction", "orderInteraction"):
        assert {read.get(one, "responseIdentifier") for one in read.all(tag)} <= set(read.declared)
    told = {read.get(one, "identifier") for one in read.all("modalFeedback")}
    shown = {one[0].text for one in read.all("setOutcomeValue") if read.get(one, "identifier") == "FEEDBACK"}
    assert shown == told
    assert {read.get(one, "outcomeIdentifier") for one in read.all("modalFeedback")} == {"FEEDBACK"}
    for one in read.root.iter(etree.Element):
        if (name := read.get(one, "identifier")) is not None:
            assert IDENTIFIER.fullmatch(name), name


@pytest.mark.one_in(4)
@pytest.mark.parametrize("version", ["2.1", "3.0"])
def test_every_question_makes_an_item_that_keeps_the_rules(question, reader, drawn, version):
    problem = drawn(question, 1)
    read = reader(written_item(item(problem), version))
    check(read)
    words = " ".join(" ".join(read.root.itertext()).split())
    cautions = problem.question.library.cautions(problem.question.exercise.safety, problem.question.rulebook.id)
    for told in [*problem.story, problem.task, *cautions.values()]:
        assert " ".join(told.split()) in words


@pytest.mark.parametrize("version", ["2.1", "3.0"])
@pytest.mark.parametrize("ask", ["order", "next_action"])
def test_orders_keep_the_rules_too(engine, reader, version, ask):
    for id_ in engine.library.orders:
        check(reader(written_item(item(make_problem(engine, id_, ask, 2)), version)))


@pytest.mark.parametrize(
    ("version", "schema", "kind"), [("2.1", "1.0.0", "imsqti_item_xmlv2p1"), ("3.0", "3.0.0", "imsqti_item_xmlv3p0")]
)
def test_the_manifest_names_every_item_once(problems, reader, version, schema, kind):
    files = unpacked(package(SET, problems, version))
    manifest = etree.fromstring(files.pop("imsmanifest.xml"))
    names = {"m": etree.QName(manifest).namespace}
    assert manifest.get("identifier")
    assert [etree.QName(child).localname for child in manifest] == ["metadata", "organizations", "resources"]
    assert manifest.findtext("m:metadata/m:schemaversion", namespaces=names) == schema
    resources = manifest.findall("m:resources/m:resource", namespaces=names)
    assert {resource.get("type") for resource in resources} == {kind}
    assert [resource.get("href") for resource in resources] == list(files)
    assert all(resource.find("m:file", namespaces=names).get("href") == resource.get("href") for resource in resources)
    assert len({resource.get("identifier") for resource in resources}) == len(resources)
    for data in files.values():
        read = reader(data)
        assert read.version == version
        check(read)
    names = [reader(data).get(reader(data).root, "identifier") for data in files.values()]
    assert len(set(names)) == len(names) == len(problems)


def test_the_same_variants_give_the_same_bytes(engine, problems):
    again = variants_of(engine, SET, 3, secret="5e" * 32)
    assert package(SET, problems, "2.1") == package(SET, again, "2.1")
    others = variants_of(engine, SET, 3)
    assert {identifier(one) for one in others} != {identifier(one) for one in problems}


def test_variants_are_as_many_as_asked_for(problems):
    assert len(problems) == 3 * len(SET.places)
    assert {problem.question.exercise.id for problem in problems} == {one.exercise for one in SET.items}


def test_text_that_xml_cannot_hold_is_replaced_and_markup_stays_text():
    made = written_item(element("p", "a\x00b <img src=x> ]]> &amp;", " \u202e\ud800"), "2.1")
    assert etree.fromstring(made).text == "a\ufffdb <img src=x> ]]> &amp; \u202e\ufffd"


def canonical(text):
    """The canonical form, without what the converter does otherwise: it says where a schema lies, and leaves children
    outside of the item's namespace."""
    root = etree.fromstring(text.encode(), etree.XMLParser(remove_blank_text=True))
    root.attrib.pop("{http://www.w3.org/2001/XMLSchema-instance}schemaLocation", None)
    etree.cleanup_namespaces(root)
    return etree.tostring(root, method="c14n").decode().replace(' xmlns=""', "")


def test_an_independent_converter_makes_each_version_of_an_item_from_the_other(engine, problems):
    """citolab-qti-convert, from a package registry: names, attributes and order of both versions agree."""
    older, newer = (unpacked(package(SET, problems, version)) for version in ("2.1", "3.0"))
    items = [name for name in older if name.startswith("items/")]
    assert len(items) == len(problems)
    for name in items:
        in_21, in_3 = older[name].decode(), newer[name].decode()
        assert canonical(upgrade_qti2_to_qti3(in_21)) == canonical(in_3)
        back = convert_qti3_to_qti21(in_3)
        assert back.warnings == []
        assert canonical(back.xml) == canonical(in_21)
