"""What labels must keep to among themselves, beside every label of the CEC module table (2019, as pvlib ships it)."""

import numpy as np
import pytest

from tutor.content.library import load
from tutor.problems.agreements import agreements, broken


@pytest.fixture(scope="module")
def real_labels(cec_modules):
    """Every label of the table, in working units.

    The table has the power coefficient, and the operating voltage's is what the current's leaves of it.
    """
    table = cec_modules
    share = {
        "voc_coefficient": table.beta_oc / table.V_oc_ref,
        "isc_coefficient": table.alpha_sc / table.I_sc_ref,
        "power_coefficient": table.gamma_r / 100,
    }
    columns = share | {
        "module_voc": table.V_oc_ref,
        "module_vmp": table.V_mp_ref,
        "module_isc": table.I_sc_ref,
        "module_imp": table.I_mp_ref,
        "module_power": table.STC,
        "vmp_coefficient": share["power_coefficient"] - share["isc_coefficient"],
    }
    rows = np.column_stack([column.to_numpy(float) for column in columns.values()]).tolist()
    return [dict(zip(columns, row, strict=True)) for row in rows]


def test_real_labels_keep_the_agreements(real_labels):
    """Of 21,535 labels fewer than one in a thousand breaks one: entries with a coefficient that no cell has."""
    compiled = agreements(load())
    found = [[one.id for one in broken(compiled, label)] for label in real_labels]
    broken_by = {id_: sum(id_ in ids for ids in found) for id_ in {id_ for ids in found for id_ in ids}}
    print(f"\n{sum(map(bool, found))} of {len(found)} labels: {broken_by}")
    assert len(found) > 21_000
    assert sum(map(bool, found)) < len(found) / 1000


def test_a_label_with_two_figures_swapped_breaks_one(real_labels):
    compiled = agreements(load())
    for one, other in (("module_voc", "module_vmp"), ("module_isc", "module_imp")):
        for label in real_labels[::50]:
            swapped = label | {one: label[other], other: label[one]}
            assert any(broken(compiled, swapped)), label
