"""Open data and the invented parts, read once for the checks against the outside."""

import csv
from dataclasses import fields
from pathlib import Path

import pandas as pd
import pvlib
import pytest
import yaml

from tutor.content.models import Module
from tutor.trade.modules import Label

ASSETS = Path(__file__).parents[2] / "assets"
CRYSTALLINE = ("Mono-c-Si", "Multi-c-Si")


def open_table(name):
    """Read one of the System Advisor Model's tables that pvlib ships, one part a row, figures as numbers."""
    table = pvlib.pvsystem.retrieve_sam(name).T
    for column in table:
        numbers = pd.to_numeric(table[column], errors="coerce")
        if numbers.notna().any():
            table[column] = numbers
    return table


@pytest.fixture(scope="session")
def cec_modules():
    return open_table("cecmod")


@pytest.fixture(scope="session")
def crystalline(cec_modules):
    return cec_modules[cec_modules.Technology.isin(CRYSTALLINE)]


@pytest.fixture(scope="session")
def cec_inverters():
    return open_table("cecinverter")


@pytest.fixture(scope="session")
def sandia_crystalline():
    modules = open_table("sandiamod")
    return modules[modules.Material.isin(["c-Si", "mc-Si"])]


@pytest.fixture(scope="session")
def invented():
    text = (ASSETS / "parts" / "modules.yaml").read_text(encoding="utf-8")
    return {name: Module(**sheet) for name, sheet in yaml.safe_load(text).items()}


@pytest.fixture(scope="session")
def labels(invented):
    names = [field.name for field in fields(Label)]
    return {id_: Label(**{name: getattr(module, name).working for name in names}) for id_, module in invented.items()}


@pytest.fixture(scope="session")
def cold_factors():
    with (ASSETS / "tables" / "cold_voltage_factor.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))
