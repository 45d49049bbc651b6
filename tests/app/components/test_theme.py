from dataclasses import asdict

import pytest
from streamlit import config

from tutor.app.components import theme
from tutor.app.components.theme import DAWN
from tutor.pictures.looks import DARK, LIGHT

LOOKS = pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour: WCAG 2.2, 'relative luminance' (from memory)."""
    shares = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio: WCAG 2.2, 'contrast ratio' (from memory)."""
    darker, lighter = sorted([luminance(one), luminance(other)])
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_gives_the_known_ratios():
    # Black on white is 21:1 (WCAG 2.2); #767676 is often quoted as just above 4.5:1 on white (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert contrast("#777777", "#ffffff") < 4.5


@LOOKS
@pytest.mark.parametrize("ink", ["text", "quiet", "link", "danger"])
@pytest.mark.parametrize("ground", ["ground", "raised"])
def test_text_stands_out(look, ink, ground):
    # WCAG 2.2, 1.4.3: 4.5:1
    assert contrast(getattr(look, ink), getattr(look, ground)) >= 4.5


@LOOKS
def test_what_to_act_on_stands_out(look):
    # WCAG 2.2, 1.4.3 for the button's words, 1.4.11 for the button on the page
    assert contrast(look.on_accent, look.accent) >= 4.5
    assert contrast(look.accent, look.ground) >= 3


@LOOKS
@pytest.mark.parametrize("ink", ["edge", "line_1", "line_2", "danger"])
@pytest.mark.parametrize("ground", ["ground", "band"])
def test_lines_of_controls_and_figures_stand_out(look, ink, ground):
    # WCAG 2.2, 1.4.11: 3:1; an edge never lies on a figure's band
    if (ink, ground) != ("edge", "band"):
        assert contrast(getattr(look, ink), getattr(look, ground)) >= 3


def test_the_focus_ring_stands_out_from_any_ground():
    # Two rings: whatever lies below, one of them has 3:1 (WCAG 2.2, 1.4.11).
    assert contrast(DAWN, LIGHT.text) >= 3
    grounds = [colour for look in (LIGHT, DARK) for colour in asdict(look).values()]
    assert all(max(contrast(ground, DAWN), contrast(ground, LIGHT.text)) >= 3 for ground in grounds)


def test_the_server_knows_every_option_of_the_look():
    unknown = [name for name in theme.options() if name not in config._config_options_template]
    assert unknown == []
