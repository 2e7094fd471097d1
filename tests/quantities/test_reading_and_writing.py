"""Every form of a written quantity, and that what is written reads back the same."""

from __future__ import annotations

import math
from contextlib import suppress

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from backbench.quantities.columns import MixedDecimalSigns, column_sign
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import read_number
from backbench.quantities.reading import read_load, read_quantity, read_value
from backbench.quantities.units import UNITS, spelled_unit
from backbench.quantities.writing import (
    exact,
    measured,
    number,
    ordinary,
    quantity,
    value_alone,
    with_minus_signs,
)

READ: list[tuple[str, str, float, str | None]] = [
    # Signs of a fraction and of thousands.
    ("0,08 %", "%", 0.08, None), ("12,5 W", "W", 12.5, None), ("0,123 %", "%", 0.123, None),
    ("1.234 %", "%", 1.234, None), ("1.234,5 mV", "V", 1.2345, None),
    ("1,234.5 Hz", "Hz", 1234.5, None), ("1234,567 Hz", "Hz", 1234.567, None),
    ("1 234,567 Hz", "Hz", 1234.567, None), ("1 234,5 mV", "V", 1.2345, None),
    ("1'250 W", "W", 1250.0, None), ("1’250 W", "W", 1250.0, None),
    ("20\u202f000 Hz", "Hz", 20e3, None), ("20\u00a0000 Hz", "Hz", 20e3, None),
    ("1,234,567 Hz", "Hz", 1234567.0, None), ("1.234.567 Hz", "Hz", 1234567.0, None),
    ("1,234e3 Hz", "Hz", 1234.0, None), ("2,5e-3 V", "V", 0.0025, None), (".5 %", "%", 0.5, None),
    # Signs of a number.
    ("−3 dB", "dB", -3.0, None), ("–3 dB", "dB", -3.0, None), ("+1 dB", "dB", 1.0, None),
    ("- 3 dB", "dB", -3.0, None), ("1e−3 V", "V", 1e-3, None), ("= 5 W", "W", 5.0, None),
    # Bounds.
    ("< 0.01 %", "%", 0.01, "upper"), ("<=0,05%", "%", 0.05, "upper"), ("≤ 1 %", "%", 1.0, "upper"),
    ("≥ 20 W", "W", 20.0, "lower"), ("> 100 W", "W", 100.0, "lower"),
    (">= 200", "1", 200.0, "lower"),
    # Ratios and levels.
    ("-75 dB", "%", 0.01778279410038923, None), ("−40dB", "%", 1.0, None),
    ("0.1 %", "dB", -60.0, None), ("500 ppm", "%", 0.05, None), ("5 ‰", "%", 0.5, None),
    ("0 dBu", "V", 0.7745966692414834, None), ("-6 dBV", "V", 0.5011872336272722, None),
    ("-80 dBV", "V", 1e-4, None), ("30 dBf", "dBf", 30.0, None), ("1 percent", "%", 1.0, None),
    # Units and prefixes.
    ("8 Ω", "ohm", 8.0, None), ("8 \u2126", "ohm", 8.0, None), ("16 R", "ohm", 16.0, None),
    ("16R", "ohm", 16.0, None), ("16Ω", "ohm", 16.0, None), ("16 ohms", "ohm", 16.0, None),
    ("4R7", "ohm", 4.7, None), ("2k2", "ohm", 2200.0, None), ("47 kΩ", "ohm", 47e3, None),
    ("20 kHz", "Hz", 20e3, None), ("20 KHz", "Hz", 20e3, None), ("98 MHz", "Hz", 98e6, None),
    ("20 kc/s", "Hz", 20e3, None), ("5 µV", "V", 5e-6, None), ("5 μV", "V", 5e-6, None),
    ("5 uV", "V", 5e-6, None), ("9.00mVrms", "V", 9e-3, None), ("0.7 mV", "V", 0.0007, None),
    ("2 V rms", "V", 2.0, None), ("0.05 kW", "W", 50.0, None), ("15 watts", "W", 15.0, None),
    ("12 V/µs", "V/s", 12e6, None), ("3 us", "s", 3e-6, None), ("42", "1", 42.0, None),
    ("200 nV/√Hz", "V/√Hz", 2e-7, None), ("45°", "deg", 45.0, None), ("17 bit", "bit", 17.0, None),
]  # fmt: skip
REFUSED: list[tuple[str, str, str]] = [
    ("1,000 W", "W", "write 1 W or 1000 W"), ("1.000 W", "W", "write 1 W or 1000 W"),
    ("20.000 Hz", "Hz", "write 20 Hz or 20000 Hz"), ("1,234 %", "%", "write 1.234 % or 1234 %"),
    ("-1,234 dB", "dB", "write -1.234 dB or -1234 dB"), ("1,234", "1", "write 1.234 or 1234"),
    ("", "%", "no quantity"), ("low", "%", "no quantity"), ("0.1-0.3 %", "%", "can't be turned"),
    ("~0.1 %", "%", "no single value"), ("± 0.5 dB", "dB", "no single value"),
    ("1.2.3 %", "%", "no number"), ("1,23,4 %", "%", "no number"), ("12 34 %", "%", "no number"),
    ("5 apples", "%", "can't be turned"), ("inf %", "%", "no quantity"),
    ("nan %", "%", "no quantity"), ("٣ %", "%", "no quantity"), ("8 V", "W", "without a load"),
    ("5", "W", "write the unit, as in 5 W"), ("0 %", "dB", "no value in dB"),
    ("5 mhz", "Hz", "can't be turned"), ("5 kdB", "dB", "can't be turned"),
    ("1e400 %", "%", "out of the range"), ("1e-400 %", "%", "out of the range"),
    ("99999999 dB", "%", "more than 400 dB"), ("80 dB", "%", "more than 10 000 %"),
    ("5 MV", "V", "more than 100 kV"), ("9" * 41 + " V", "V", "no number"),
    ("1e9 W", "W", "more than 100 kW"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "unit", "value", "bound"), READ)
def test_a_quantity_in_the_unit_wanted(
    text: str, unit: str, value: float, bound: str | None
) -> None:
    result = read_quantity(text, unit)
    assert (result.value, result.bound) == (pytest.approx(value, rel=1e-12), bound)


@pytest.mark.parametrize(("text", "unit", "words"), REFUSED)
def test_what_is_no_single_quantity_is_refused_with_the_reason(
    text: str, unit: str, words: str
) -> None:
    with pytest.raises(UnreadableQuantity) as raised:
        read_quantity(text, unit)
    assert words in str(raised.value)
    assert words in str(raised.value.fault("review.toml", "a number with a unit"))


def test_a_stated_decimal_sign_settles_the_doubt() -> None:
    assert read_number("1,234", ",") == 1.234
    assert read_number("1,234", ".") == 1234
    assert read_number("1.500", ".") == 1.5
    assert read_number("1.500", ",") == 1500
    with pytest.raises(UnreadableQuantity, match="another decimal sign"):
        read_number("12,5", ".")


def test_watts_and_volts_across_a_known_load() -> None:
    assert read_quantity("8 V", "W", load_ohm=8.0).value == pytest.approx(8.0)
    assert read_quantity("2 W", "V", load_ohm=8.0).value == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("text", "load"),
    [("8", 8.0), ("16 R", 16.0), ("16Ω", 16.0), ("16 ohm", 16.0), ("0.6 k", None), ("600", 600.0),
     ("high", "open"), ("open", "open"), ("Hi-Z", "open"), ("0", None), ("< 8", None)],
)  # fmt: skip
def test_loads(text: str, load: float | str | None) -> None:
    if load is None:
        with pytest.raises(UnreadableQuantity):
            read_load(text)
    else:
        assert read_load(text) == load


def test_a_bound_is_no_value() -> None:
    with pytest.raises(UnreadableQuantity, match="is a bound"):
        read_value("< 5 W", "W")


@given(st.floats(-1e9, 1e9).map(lambda v: float(f"{v:.6g}")), st.sampled_from([".", ","]))
def test_any_number_reads_back_in_either_sign(value: float, decimal: str) -> None:
    text = f"{value:.10f}".replace(".", decimal)
    sign = "." if decimal == "." else ","
    assert read_number(text, sign) == pytest.approx(value, abs=1e-9)  # type: ignore[arg-type]


def within(unit: str) -> float:
    return min(UNITS[unit].greatest / 2, 1e9)


UNIT_NAMES = st.sampled_from(sorted(UNITS))
SIZES = st.floats(1e-11, 1.0) | st.floats(1.0, 1e9)


@given(SIZES, st.sampled_from([1.0, -1.0]), UNIT_NAMES, st.integers(3, 7))
@example(999.6, 1.0, "Hz", 3)
@example(0.0009996, 1.0, "V", 3)
def test_a_quantity_reads_back_within_its_rounding(
    size: float, sign: float, unit: str, digits: int
) -> None:
    value = sign * min(size, within(unit))
    read = read_quantity(quantity(value, unit, digits), unit, decimal=".").value
    assert read == pytest.approx(value, rel=0.5001 * 10.0 ** (1 - digits))


@given(SIZES, st.floats(1e-6, 10.0), UNIT_NAMES)
@example(14.5752, 0.1375 / 14.5752, "W")
@example(999.96, 0.01 / 999.96, "W")
def test_value_and_uncertainty_read_back(size: float, share: float, unit: str) -> None:
    value = min(size, within(unit))
    u = min(share * value, within(unit) / 2)
    text, _, spread = measured(value, u, unit).partition(" ± ")
    assert text == value_alone(value, u, unit)
    got = read_quantity(spread, unit, decimal=".").value
    assert got >= 2 * u * (1 - 1e-6)
    last = 10.0 ** (math.floor(math.log10(1.0006 * max(value, 2 * u))) - 3)
    # Two digits of the uncertainty (a tenth of it), or the fourth digit of the value.
    assert got <= 2 * u * 1.101 + 1.001 * last
    assert read_quantity(text, unit, decimal=".").value == pytest.approx(
        value, abs=0.5001 * max(0.1 * 2 * u, last) + 1e-15
    )


@given(SIZES, st.sampled_from([1.0, -1.0]), UNIT_NAMES, st.sampled_from(["upper", "lower", None]))
def test_the_exact_text_reads_back_equal(
    size: float, sign: float, unit: str, bound: str | None
) -> None:
    value = float(f"{sign * min(size, within(unit)):.12g}")
    read = read_quantity(exact(value, unit, bound), unit)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.bound == bound


@given(SIZES, st.sampled_from([1.0, -1.0]), UNIT_NAMES)
def test_a_bound_is_never_shown_tighter_than_it_is(size: float, sign: float, unit: str) -> None:
    value = sign * min(size, within(unit))
    for bound in ("upper", "lower"):
        text = measured(value, None, unit, bound)
        read = read_quantity(text, unit, decimal=".")
        assert read.bound == bound
        assert (read.value - value) * (1 if bound == "upper" else -1) >= -1e-8 * abs(value)
        assert read.value == pytest.approx(value, rel=0.011)


@given(st.text(max_size=30))
@example("1e99999999999999999999")
@example("0" * 30 + "," * 3)
def test_any_text_is_a_finite_value_or_a_reason(text: str) -> None:
    for unit in ("%", "dB", "V", "ohm", "1"):
        with suppress(UnreadableQuantity):
            assert math.isfinite(read_quantity(text, unit, usual_unit=unit).value)


@pytest.mark.parametrize(
    ("value", "u", "unit", "bound", "text"),
    [
        (14.5752, 0.1375, "W", None, "14.58 W ± 0.28 W"),
        (2.13e-5, 3e-7, "V", None, "21.30 µV ± 0.60 µV"),
        (0.2159521, 4.8e-5, "%", None, "0.2160 % ± 0.0001 %"),
        (10.4284, 0.0, "Hz", "upper", "≤ 10.5 Hz"), (22.5, 0.2, "W", "lower", "≥ 22.5 W"),
        (0.1, None, "%", "upper", "≤ 0.1 %"), (-0.3268, 0.0491, "dB", None, "−0.327 dB ± 0.099 dB"),
        (10.929, 0.0546, "1", None, "10.93 ± 0.11"), (-1e-9, 2e-6, "V", None, "0.0 µV ± 4.0 µV"),
        (999.96, 0.01, "W", None, "1.000 kW ± 0.001 kW"), (3.2, None, "V", None, "3.2 V"),
        (12.3e6, 1e5, "V/s", None, "12.30 V/µs ± 0.20 V/µs"), (None, None, "V", None, ""),
        (12345.6, 3.0, "1", None, "12\u202f346 ± 6"), (180.2, 0.4, "deg", None, "180.2 ° ± 0.8 °"),
    ],
)  # fmt: skip
def test_a_value_is_rounded_to_its_uncertainty(
    value: float | None, u: float | None, unit: str, bound: str | None, text: str
) -> None:
    assert measured(value, u, unit, bound).replace("\u00a0", " ") == text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (21.3e-6, "V", "21.3 µV"), (0.0009996, "V", "1 mV"), (1520.0, "ohm", "1.52 kΩ"),
        (0.5, "%", "0.5 %"), (-3.014, "dB", "−3.01 dB"), (12345.6, "", "12\u202f300"),
        (0.0, "V", "0 V"), (999.6, "Hz", "1 kHz"), (45.0, "1", "45"), (1000.0, "Hz", "1 kHz"),
        (0.0123, "V p-p", "12.3 mV p-p"), (2e-7, "V/√Hz", "200 nV/√Hz"), (5.0, "dB/h", "5 dB/h"),
    ],
)  # fmt: skip
def test_quantities_read_as_a_bench_writes_them(value: float, unit: str, text: str) -> None:
    assert quantity(value, unit).replace("\u00a0", " ") == text


def test_numbers() -> None:
    assert number(1234567.0) == "1\u202f230\u202f000"
    assert (number(1234.0, 4), number(-0.0), number(6.3e-6, 2)) == ("1234", "0", "0.0000063")
    assert number(2.13e-14) == "2.13e−14"
    assert ordinary(quantity(-12345.6, "dB")) == "-12 300 dB"


def test_units_by_name_and_prefix() -> None:
    assert spelled_unit("kΩ") == ("ohm", 3)
    assert spelled_unit("mV rms") == ("V", -3)
    assert spelled_unit("V/us") == ("V/s", 6)
    assert spelled_unit("mhz") is None
    assert spelled_unit("furlong") is None


def test_a_column_has_one_decimal_sign() -> None:
    assert column_sign({"F2": "0,08 %", "F3": "1,234", "F4": "12"}) == ","
    assert column_sign({"F2": "1,234.5", "F3": "7"}) == "."
    assert column_sign({"F2": "1,234", "F3": "low"}) is None
    with pytest.raises(MixedDecimalSigns, match=r"'0,08 %' in F2 .*, '0.08 %' in F3"):
        column_sign({"F2": "0,08 %", "F3": "0.08 %"})


@pytest.mark.parametrize(
    ("typed", "shown"),
    [("at most -75 dB", "at most −75 dB"), ("20-20000 Hz", "20-20000 Hz"),
     ("-.5 dB at 2024-01-02", "−.5 dB at 2024-01-02"), ("push-pull", "push-pull")],
)  # fmt: skip
def test_a_typed_minus_is_shown_as_one(typed: str, shown: str) -> None:
    assert with_minus_signs(typed) == shown
