"""A second reader of QTI: lxml and the rules of response processing as the standard words them, nothing of the writer.

1EdTech QTI 2.1 Assessment Test, Section and Item Information Model, section 8 (response processing) and section 15
(expressions): a condition that is NULL is not true; `equal` with absolute tolerances [t0, t1] holds from y - t0 to
y + t1, y the second expression, both ends included; `index` past the end is NULL.
"""

import re
from functools import lru_cache

import pytest
from lxml import etree

from tutor.problems.draw import draw

NAMES = {"http://www.imsglobal.org/xsd/imsqti_v2p1": "2.1", "http://www.imsglobal.org/xsd/imsqtiasi_v3p0": "3.0"}


def camel(name):
    """The 2.1 name of an element or an attribute, whichever version it is written in."""
    name = name.removeprefix("qti-")
    return re.sub(r"-([a-z])", lambda match: match[1].upper(), name)


class Reader:
    """One item, read; `respond` works its response processing out."""

    def __init__(self, data):
        self.root = etree.fromstring(data, etree.XMLParser(resolve_entities=False, no_network=True))
        self.version = NAMES[etree.QName(self.root).namespace]
        self.declared = {self.get(one, "identifier"): one for one in self.all("responseDeclaration")}
        self.right = {name: [v.text for v in self.inside(one, "value")] for name, one in self.declared.items()}

    def tag(self, one):
        return camel(etree.QName(one).localname)

    def get(self, one, name):
        return {camel(etree.QName(key).localname): value for key, value in one.attrib.items()}.get(name)

    def inside(self, one, name):
        return [child for child in one.iter(etree.Element) if self.tag(child) == name]

    def all(self, name):
        return self.inside(self.root, name)

    def respond(self, **responses):
        """The outcomes for responses: a number, a text or a list of texts each."""
        self.values = {name: responses.get(name) for name in self.declared}
        for one in self.all("outcomeDeclaration"):
            start = self.inside(one, "value")
            self.values[self.get(one, "identifier")] = (
                self._typed(self.get(one, "baseType"), start[0].text) if start else None
            )
        for rule in self.all("responseProcessing")[0]:
            self._run(rule)
        return {name: value for name, value in self.values.items() if name not in self.declared}

    def _run(self, rule):
        if self.tag(rule) == "setOutcomeValue":
            self.values[self.get(rule, "identifier")] = self._value(rule[0])
            return
        assert self.tag(rule) == "responseCondition"
        for branch in rule:
            if self.tag(branch) == "responseElse" or self._value(branch[0]) is True:
                for action in branch[0 if self.tag(branch) == "responseElse" else 1 :]:
                    self._run(action)
                return

    @staticmethod
    def _typed(base, text):
        return {"float": float, "integer": int, "identifier": str}[base](text)

    def _value(self, one):  # noqa: PLR0912 - one case for each expression of the standard
        parts = [self._value(child) for child in one]
        match self.tag(one):
            case "variable":
                return self.values[self.get(one, "identifier")]
            case "correct":
                name = self.get(one, "identifier")
                declared = self.declared[name]
                typed = [self._typed(self.get(declared, "baseType"), text) for text in self.right[name]]
                return typed if self.get(declared, "cardinality") == "ordered" else typed[0]
            case "baseValue":
                return self._typed(self.get(one, "baseType"), one.text)
            case "and":
                return False if False in parts else None if None in parts else True
            case "or":
                return True if True in parts else None if None in parts else False
            case "containerSize":
                return 0 if parts[0] is None else len(parts[0])
            case "index":
                at = int(self.get(one, "n"))
                return None if parts[0] is None or len(parts[0]) < at else parts[0][at - 1]
            case _ if None in parts:
                return None
            case "match":
                return parts[0] == parts[1]
            case "member":
                return parts[0] in parts[1]
            case "lt":
                return parts[0] < parts[1]
            case "gt":
                return parts[0] > parts[1]
            case "equal":
                assert self.get(one, "toleranceMode") == "absolute"
                below, above = map(float, self.get(one, "tolerance").split())
                return parts[1] - below <= parts[0] <= parts[1] + above
        raise AssertionError(f"an expression that the reader does not know: {one.tag}")


@pytest.fixture(scope="session")
def drawn():
    """drawn(question, number): a problem, drawn once for all tests."""
    return lru_cache(maxsize=None)(draw)


@pytest.fixture(scope="session")
def reader():
    return Reader
