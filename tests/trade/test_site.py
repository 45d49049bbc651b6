from pathlib import Path

import numpy as np
import pytest
import yaml

from tutor.content.models import Place
from tutor.trade.site import cell_temperature, year_of_temperatures

PLACES = Path(__file__).parents[2] / "assets" / "parts" / "places.yaml"


@pytest.fixture(scope="module")
def places():
    return [Place(**fields) for fields in yaml.safe_load(PLACES.read_text(encoding="utf-8")).values()]


def year_at(place):
    return year_of_temperatures(
        place.record_low.working, place.hottest_cell.working, place.january_mean.working, place.july_mean.working
    )


def test_in_the_dark_cells_are_as_warm_as_the_air():
    assert cell_temperature(12.0, 45.0, 0.0) == 12.0


def test_half_the_sun_half_the_rise():
    assert cell_temperature(30.0, 45.0, 400.0) == 42.5


def test_a_northern_year_turns_in_january_and_july():
    year = year_of_temperatures(-24.0, 66.0, -5.0, 18.0)
    assert year.day[np.argmin(year.coldest_morning)] == 15.0
    assert year.day[np.argmax(year.hottest_cell)] == 197.5


def test_a_southern_year_turns_the_other_way():
    year = year_of_temperatures(-4.0, 66.0, 24.0, 9.0)
    assert year.day[np.argmin(year.coldest_morning)] == 197.5
    assert year.day[np.argmax(year.hottest_cell)] == 15.0


def test_every_invented_place_has_a_year_between_its_extremes(places):
    for place in places:
        year = year_at(place)
        assert year.coldest_morning.min() == pytest.approx(place.record_low.working, abs=1e-9)
        assert year.hottest_cell.max() == pytest.approx(place.hottest_cell.working, abs=1e-9)
        assert np.all(year.coldest_morning < year.hottest_cell)
        assert np.all(np.diff(year.day) > 0)
        assert 0 <= year.day[0] < year.day[-1] < 365


def test_means_outside_the_extremes_are_refused():
    with pytest.raises(ValueError, match="monthly means have to lie between"):
        year_of_temperatures(-10.0, 60.0, -12.0, 15.0)


def test_places_are_of_all_climates(places):
    lows = [place.record_low.working for place in places]
    assert len(places) >= 60
    assert min(lows) >= -40.0
    assert min(lows) <= -39.0
    assert 0 < max(lows) < 25
    assert sum(place.record_low.unit == "degF" for place in places) in range(15, 26)
    assert sum(place.january_mean.working > place.july_mean.working for place in places) >= 12


def test_cells_get_25_to_35_kelvin_hotter_than_the_air(places):
    for place in places:
        assert 25 <= place.hottest_cell.working - place.hottest_ambient.working <= 35, place.name


def test_each_place_keeps_one_unit_and_whole_degrees_fahrenheit(places):
    for place in places:
        amounts = [getattr(place, name) for name in Place.model_fields if name != "name"]
        assert len({amount.unit for amount in amounts}) == 1
        assert all(amount.value == round(amount.value) for amount in amounts if amount.unit == "degF")
