"""Good answers and what is read from them.

Expected values are conversions by NIST SP 811 (2008), appendix B.8: a foot is 0.3048 m, an inch 0.0254 m,
t/°C = (t/°F - 32)/1.8 and t/°C = T/K - 273.15.  The decimal mark and the groups of three parted by a space are those of
the SI Brochure (9th edition), section 5.4.4.  The other values are plain arithmetic.
"""

import pytest

from tutor.entries.entry import EntryError, read_entry

GOOD = [
    # text, asked unit, then what is read: value, half-width, unit understood, digits
    ("38.9", "V", 38.9, 0.05, "", 3),
    ("38,9", "V", 38.9, 0.05, "", 3),
    ("  38.9\n", "V", 38.9, 0.05, "", 3),
    ("13", "V", 13, 0.5, "", 2),
    ("13.", "V", 13, 0.5, "", 2),
    (".5", "V", 0.5, 0.05, "", 1),
    ("-,5", "V", -0.5, 0.05, "", 1),
    ("0.050", "V", 0.05, 0.0005, "", 2),
    ("0", "V", 0, 0.5, "", 1),
    ("1.20e3", "V", 1200, 5, "", 3),
    ("46.76e0", "V", 46.76, 0.005, "", 4),
    ("4.676E+01", "V", 46.76, 0.005, "", 4),
    ("1,2e3", "V", 1200, 50, "", 2),
    # digit groups
    ("1 234", "V", 1234, 0.5, "", 4),
    ("1 234,5", "V", 1234.5, 0.05, "", 5),
    ("1 234.5", "V", 1234.5, 0.05, "", 5),
    ("1\u00a0234.5", "V", 1234.5, 0.05, "", 5),
    ("1\u2009234,5", "V", 1234.5, 0.05, "", 5),
    ("1\u202f234,5\u202fV", "V", 1234.5, 0.05, "V", 5),
    ("1'234.5", "V", 1234.5, 0.05, "", 5),
    ("1’234.5", "V", 1234.5, 0.05, "", 5),
    ("1,234.5", "V", 1234.5, 0.05, "", 5),
    ("1.234,5", "V", 1234.5, 0.05, "", 5),
    ("1.234", "V", 1.234, 0.0005, "", 4),
    ("0,234", "V", 0.234, 0.0005, "", 3),
    ("1,23", "V", 1.23, 0.005, "", 3),
    ("1,2345", "V", 1.2345, 0.00005, "", 5),
    ("1234,567", "V", 1234.567, 0.0005, "", 7),
    ("1,234,567", "V", 1234567, 0.5, "", 7),
    ("1.234.567", "V", 1234567, 0.5, "", 7),
    ("1,234,567.8", "V", 1234567.8, 0.05, "", 8),
    ("1.234,567", "V", 1234.567, 0.0005, "", 7),
    # signs and other scripts' digits
    ("+38.9", "V", 38.9, 0.05, "", 3),
    ("\u221218", "degC", -18, 0.5, "", 2),
    ("–18", "degC", -18, 0.5, "", 2),
    ("３８．９\u3000Ｖ", "V", 38.9, 0.05, "V", 3),
    ("٣٨.٩", "V", 38.9, 0.05, "", 3),
    # units
    ("38.9V", "V", 38.9, 0.05, "V", 3),
    ("38.9 V.", "V", 38.9, 0.05, "V", 3),
    ("38.9 v", "V", 38.9, 0.05, "V", 3),
    ("38.9 volts", "V", 38.9, 0.05, "V", 3),
    ("38.9 Volt", "V", 38.9, 0.05, "V", 3),
    ("38.9 VDC", "V", 38.9, 0.05, "V", 3),
    ("38.9 V dc", "V", 38.9, 0.05, "V", 3),
    ("389 mV", "V", 0.389, 0.0005, "mV", 3),
    ("0.389 kV", "V", 389, 0.5, "kV", 3),
    ("1 MV", "V", 1e6, 5e5, "MV", 1),
    ("12 kΩ", "ohm", 12000, 500, "kohm", 2),
    ("12 k\u2126", "ohm", 12000, 500, "kohm", 2),
    ("12 kohm", "ohm", 12000, 500, "kohm", 2),
    ("12 KOHM", "ohm", 12000, 500, "kohm", 2),
    ("12 milliohms", "ohm", 0.012, 0.0005, "mohm", 2),
    ("250 µA", "mA", 0.25, 0.0005, "µA", 3),
    ("250 μA", "mA", 0.25, 0.0005, "µA", 3),
    ("250 uA", "mA", 0.25, 0.0005, "µA", 3),
    ("1.5 kw", "W", 1500, 50, "kW", 2),
    ("1.5 kilowatt hours", "Wh", 1500, 50, "kWh", 2),
    ("100 amp hours", "Ah", 100, 0.5, "Ah", 3),
    ("90 minutes", "h", 1.5, 0.5 / 60, "min", 2),
    ("1 h 30 min", "h", 1.5, 0.5 / 60, "h", 3),
    ("25 mm2", "mm^2", 25, 0.5, "mm^2", 2),
    ("25 mm²", "mm^2", 25, 0.5, "mm^2", 2),
    ("25 mm^2", "m^2", 25e-6, 0.5e-6, "mm^2", 2),
    ("1000 W/m²", "W/m^2", 1000, 0.5, "W/m^2", 4),
    ("1000 W·m⁻²", "W/m^2", 1000, 0.5, "W*m^-2", 4),
    ("3.28 ohm per km", "ohm/m", 3.28e-3, 5e-6, "ohm/km", 3),
    ("5 ft 3 in", "m", 1.6002, 0.0127, "ft", 2),
    ("5ft3in", "ft", 5.25, 0.5 / 12, "ft", 2),
    ("5' 3\"", "ft", 5.25, 0.5 / 12, "ft", 2),
    ("5′3″", "ft", 5.25, 0.5 / 12, "ft", 2),
    ("-5 ft 3 in", "ft", -5.25, 0.5 / 12, "ft", 2),
    ("5.25 ft", "m", 1.6002, 0.005 * 0.3048, "ft", 3),
    ('63"', "ft", 5.25, 0.5 / 12, "in", 2),
    # temperatures, and differences of temperatures
    ("-18 °C", "degC", -18, 0.5, "degC", 2),
    ("-18C", "degC", -18, 0.5, "degC", 2),
    ("-18 deg C", "degC", -18, 0.5, "degC", 2),
    ("-18 ℃", "degC", -18, 0.5, "degC", 2),
    ("-18 degrees celsius", "degC", -18, 0.5, "degC", 2),
    ("-18°", "degC", -18, 0.5, "degC", 2),
    ("0 F", "degC", -32 / 1.8, 0.5 / 1.8, "degF", 1),
    ("-11.2 °F", "degC", -24, 0.05 / 1.8, "degF", 3),
    ("-24 °C", "degF", -11.2, 0.5 * 1.8, "degC", 2),
    ("249 K", "degC", -24.15, 0.5, "K", 3),
    ("249 K", "degF", -11.47, 0.5 * 1.8, "K", 3),
    ("49 K", "K", 49, 0.5, "K", 2),
    ("49 °C", "K", 49, 0.5, "K", 2),
    ("88.2 °F", "K", 49, 0.05 / 1.8, "delta_degF", 3),
    ("-0.27 %/K", "%/K", -0.27, 0.005, "%/K", 2),
    ("-0.27 %/°C", "%/K", -0.27, 0.005, "%/K", 2),
    ("-0.27 % / deg C", "%/K", -0.27, 0.005, "%/K", 2),
    ("-0.27 percent per °C", "%/K", -0.27, 0.005, "%/K", 2),
    ("-0.15 %/°F", "%/K", -0.27, 0.009, "%/delta_degF", 2),
    ("-0.0027/K", "%/K", -0.27, 0.005, "K^-1", 2),
    ("-111 mV/K", "mV/K", -111, 0.5, "mV/K", 3),
    ("-111 mV/°C", "V/K", -0.111, 0.0005, "mV/K", 3),
    # shares
    ("12 %", "", 0.12, 0.005, "%", 2),
    ("12 %", "%", 12, 0.5, "%", 2),
    ("12 per cent", "%", 12, 0.5, "%", 2),
    ("0.12", "", 0.12, 0.005, "", 2),
    # arithmetic: whole numbers are exact, decimals carry their half-width along
    ("1/2", "", 0.5, 0, "", 15),
    ("450/46.76", "", 450 / 46.76, 450 / 46.76 * 0.005 / 46.76, "", 4),
    ("450 ÷ 46,76", "", 450 / 46.76, 450 / 46.76 * 0.005 / 46.76, "", 4),
    ("9*46.76", "V", 420.84, 0.045, "", 4),
    ("9 × 46.76 V", "V", 420.84, 0.045, "V", 4),
    ("9·46.76 V", "V", 420.84, 0.045, "V", 4),
    ("9 x 46.76 V", "V", 420.84, 0.045, "V", 4),
    ("41.3 + 5.46", "V", 46.76, 0.055, "", 3),
    ("25 - -24", "K", 49, 0, "", 15),
    ("20 - 45", "K", -25, 0, "", 15),
    ("14 - 12", "", 2, 0, "", 15),
    ("18-2", "", 16, 0, "", 15),
    ("150-125.5", "", 24.5, 0.05, "", 4),
    ("41.3*(1 + 0.0027*49)", "V", 46.76399, 0.05 * 1.1323 + 41.3 * 49 * 0.00005, "", 2),
    ("-2^2", "", -4, 0, "", 15),
    ("(-2)^2", "", 4, 0, "", 15),
    ("((2^2)^2)^ 2", "", 256, 0, "", 15),
    ("1.2×10³ V", "V", 1200, 50, "V", 2),
    ("1.2*10^(-3)", "V", 0.0012, 0.00005, "", 2),
    ("1.5^2", "", 2.25, 0.15, "", 2),
    ("(((13)))", "", 13, 0.5, "", 2),
    # mixed numbers are open by half of their fraction's unit
    ("5 1/4 in", "in", 5.25, 0.125, "in", 2),
    ("5½ in", "in", 5.5, 0.25, "in", 2),
    ("32-1/4 ft", "ft", 32.25, 0.125, "ft", 3),
    ("32-1/4", "ft", 32.25, 0.125, "", 3),
    ('1-3/4"', "in", 1.75, 0.125, "in", 2),
    ("5' 3 1/2\"", "in", 63.5, 0.25, "ft", 3),
    # words for numbers, hours and minutes
    ("twenty-one", "V", 21, 0.5, "", 2),
    ("thirty two volts", "V", 32, 0.5, "V", 2),
    ("1:30", "h", 1.5, 0.5 / 60, "h", 3),
    ("23h26m", "h", 23 + 26 / 60, 0.5 / 60, "h", 4),
    ("1h30", "h", 1.5, 0.5 / 60, "h", 3),
    # what stands around the value
    ("Voc = 38.9", "V", 38.9, 0.05, "", 3),
    ("38.9 Voc", "V", 38.9, 0.05, "V", 3),
    ("62.0 A (Isc)", "A", 62, 0.05, "A", 3),
    ("62 A, rounded up", "A", 62, 0.5, "A", 2),
    ("38.9 volts DC", "V", 38.9, 0.05, "V", 3),
    ("4.74 A-h", "Ah", 4.74, 0.005, "Ah", 3),
    ("۳۸٫۹ V", "V", 38.9, 0.05, "V", 3),
    # words before the number
    ("=38.9", "V", 38.9, 0.05, "", 3),
    ("≈ 38.9 V", "V", 38.9, 0.05, "V", 3),
    ("~38.9", "V", 38.9, 0.05, "", 3),
    ("about 38.9 V", "V", 38.9, 0.05, "V", 3),
    ("ca. 38.9", "V", 38.9, 0.05, "", 3),
    ("approx. 38.9", "V", 38.9, 0.05, "", 3),
]

COUNTS = [
    *[(text, 13, 0.5) for text in ("13", "13 panels", "13 modules", "13 in series", "13 Solar Panels in series")],
    *[(text, 13, 0.5) for text in ("13 pcs", "13 pcs.", "thirteen", "Thirteen panels", "= 13")],
    *[(text, 13, 0.5) for text in ("13S", "13 s", "13x", "13!", "up to 13", "13 max", "13 units", "n = 13", "so 13")],
    ("twenty-one", 21, 0.5),
    ("13.0", 13, 0.05),
    ("9.62", 9.62, 0.005),
    ("twenty", 20, 0.5),
    ("one", 1, 0.5),
]


@pytest.mark.parametrize(("text", "asked", "read"), [(text, asked, read) for text, asked, *read in GOOD])
def test_a_good_entry_is_read(text, asked, read):
    value, half_width, unit, digits = read
    entry = read_entry(text, asked)
    assert entry.value == pytest.approx(value, rel=1e-12, abs=1e-12)
    assert entry.half_width == pytest.approx(half_width, rel=1e-9)
    assert (entry.unit, entry.digits, entry.text) == (unit, digits, text.strip())


@pytest.mark.parametrize(("text", "value", "half_width"), COUNTS)
def test_a_count_is_read(text, value, half_width):
    entry = read_entry(text, "", "count")
    assert (entry.value, entry.unit) == (value, "")
    assert entry.half_width == pytest.approx(half_width)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        *[(text, 1.0) for text in ("yes", "Yes.", "Y", "TRUE", " it does ")],
        *[(text, 0.0) for text in ("no", "No", "n", "false", "it does not", "it doesn’t", "no!", "no, 110.5 V")],
    ],
)
def test_yes_and_no_are_read(text, value):
    assert read_entry(text, "", "yes-or-no").value == value


@pytest.mark.parametrize(
    "text",
    ["", "maybe", "1", "13", "yes and no", "no problem", "yes it fails", "no, yes", "\u202eyes", "y" * 200],
)
def test_anything_else_is_neither_yes_nor_no(text):
    with pytest.raises(EntryError) as caught:
        read_entry(text, "", "yes-or-no")
    assert caught.value.verdict == "refused"


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("10 mF", "mF", 10.0),
        ("10 000 µF", "mF", 10.0),
        ("10000 uF", "mF", 10.0),
        ("12.9 Ω·cmil/ft", "ohm*cmil/ft", 12.9),
        ("6530 cmil", "cmil", 6530.0),
    ],
)
def test_capacitances_and_circular_mils(text, unit, value):
    assert read_entry(text, unit).value == pytest.approx(value, rel=1e-12)


def test_a_bare_f_stays_a_temperature():
    assert read_entry("-11.2 F", "degC").value == pytest.approx(-24, abs=1e-9)


def test_a_bare_f_is_a_farad_where_a_capacitance_is_asked_for():
    assert read_entry("0.084 F", "mF").value == pytest.approx(84)
    assert read_entry("86 F", "degC").value == pytest.approx(30)
