"""A given and an expected result for every shipped query, worked out by hand.

A line of `given` is a call of the catalogue maker: its name, then values in order and by name.
A line of `expect` is a row; its first line names the columns that are looked at.
"""

from __future__ import annotations

import ast
import shlex
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from backbench.querying.saved_queries import SavedQuery, shipped
from backbench.storage.database import reading

TWICE = """
review r1 2020-01-01
review r2 2021-01-01
unit a r1
unit a r2 state=restored work="['new capacitors', 'cleaned']"
reading a noise_a 8e-4 1e-5 under=idle review=r1
reading a noise_a 2e-4 1e-5 under=idle review=r2
reading a thd 0.5 0.01 review=r1
reading a thd 0.505 0.01 review=r2
reading a power_at_limit 10 0.2 limit_percent=1.0 power_w=None review=r1
reading a power_at_limit 9 0.2 limit_percent=1.0 power_w=None review=r2
unit b r1
reading b noise_a 1e-4 1e-6 under=idle review=r1
"""


@dataclass(frozen=True)
class Case:
    query: str
    given: str
    expect: str
    values: dict[str, str] = field(default_factory=dict)


CASES = [
    Case("idle-noise-of-technology", """
        unit a
        reading a noise_a 1e-4 2e-6 under=idle
        reading a noise_a 3e-4 2e-6 under=idle output=right
        unit b
        reading b noise_a 2e-4 4e-6 under=idle bound=upper status=at_floor
        unit c technology='solid state'
        reading c noise_a 5e-5 0 under=idle
        unit d technology='solid state'
        reading d noise_a 6e-5 0 under=idle
        """, """
        unit_key | technology  | value | low | high | bound
        c        | solid state | 50    | 50  | 50   |
        b        | tube        | 200   |     | 208  | upper
        a        | tube        | 300   | 296 | 304  |
        """, {"unit": "c", "technology": "tube"}),
    Case("idle-noise-of-technology", """
        unit a
        reading a noise_a 1e-4 2e-6 under=idle
        unit b
        unit e
        unit c technology='solid state'
        reading c noise_a 5e-5 0 under=idle
        unit d technology='solid state'
        reading d noise_a 6e-5 0 under=idle
        """, """
        unit_key | technology
        c        | solid state
        d        | solid state
        """, {"unit": "c"}),
    Case("input-referred-noise", """
        unit a
        reading a input_referred_noise 1e-5 2e-7 under=idle
        unit c technology='solid state'
        reading c input_referred_noise 5e-6 0 under=idle
        unit d technology='solid state'
        unit p technology='solid state' kind=preamplifier
        reading p input_referred_noise 1e-6 0 under=idle
        """, """
        unit_key | technology  | value | peers
        c        | solid state | 5     | 1
        """, {"unit": "c"}),
    Case("listening-notes", """
        unit a
        heard a listening='Hum' tags="['loan']"
        unit b
        heard b listening='A faint hum at the seat' tags="['Horns']"
        unit c
        """, """
        unit_key | tags  | listening
        b        | Horns | A faint hum at the seat
        """, {"tag": "horns", "text": "hum"}),
    Case("quietest-of-a-kind", """
        unit a
        reading a noise_a 3e-4 0 under=idle
        unit c technology='solid state' kind=receiver
        reading c noise_a 2e-4 0 under=idle
        unit d technology='solid state'
        reading d noise_a 1e-5 0 under=idle
        """, """
        unit_key | technology  | marked
        d        | solid state | False
        c        | solid state | True
        """, {"unit": "c"}),
    Case("quietest-of-a-kind", """
        unit a
        reading a noise_a 3e-4 0 under=idle
        unit b
        reading b noise_a 1e-4 0 under=idle
        unit c
        reading c noise_a 2e-4 0 under=idle
        unit d kind=preamplifier
        reading d noise_a 1e-5 0 under=idle
        """, """
        unit_key | value | marked
        b        | 100   | False
        c        | 200   | True
        """, {"most": "2", "unit": "c"}),
    Case("idle-noise-of-technology", """
        unit a
        reading a noise_a 3e-4 0 under=idle
        unit d kind=preamplifier
        reading d noise_a 1e-5 0 under=idle
        """, """
        unit_key
        a
        """, {"unit": "a"}),
    Case("bandwidth-by-technology", """
        unit a
        reading a response_high_3db 3e4 0 under=sweep
        unit d kind=preamplifier
        reading d response_high_3db 1e5 0 under=sweep
        """, """
        unit_key
        d
        """, {"unit": "d"}),
    Case("balance-against-age", """
        unit a made=1950
        reading a channel_balance -0.5 0.1
        unit b made=1990
        reading b channel_balance 0.1 0.1
        unit c made_first=1960 made_last=1964
        reading c channel_balance 0.3 0.05
        unit d made=None
        reading d channel_balance 0.3 0.05
        """, """
        unit_key | x  | y   | y_low | y_high | marked
        b        | 30 | 0.1 | 0     | 0.3    | False
        c        | 58 | 0.3 | 0.2   | 0.4    | True
        a        | 70 | 0.5 | 0.3   | 0.7    | False
        """, {"unit": "c"}),
    Case("distortion-over-power", """
        unit a
        reading a thd 0.2 0.01 power_w=1.0
        reading a thd 0.9 0.01 power_w=10.0
        reading a thd 0.8 0.01 under=steps power_w=10.0
        reading a thd 0.5 0.01 power_w=1.0 load_ohm=4.0
        reading a thd 0.6 0.01 power_w=1.0 frequency_hz=20.0
        unit b kind=receiver
        reading b thd 0.1 0.02 under=steps power_w=2.0 bound=upper status=at_floor
        unit c kind=preamplifier
        reading c thd 0.1 0.02 power_w=2.0
        unit d technology='solid state'
        reading d thd 0.1 0.02 power_w=2.0
        """, """
        unit_key | output | power_w | thd_percent | thd_low | thd_high | bound
        a        | left   | 1       | 0.2         | 0.18    | 0.22     |
        a        | left   | 10      | 0.9         | 0.88    | 0.92     |
        b        | left   | 2       | 0.1         |         | 0.14     | upper
        """, {"unit": "a"}),
    Case("damping-by-technology", """
        unit a
        reading a damping_factor 9 0.5
        reading a damping_factor 8 0.5 output=right
        unit b technology=switching
        reading b damping_factor 200 20 bound=lower status=at_floor
        unit p kind=preamplifier
        reading p damping_factor 0.007 0
        """, """
        unit_key | technology | value | low | high | bound | marked
        b        | switching  | 200   | 160 |      | lower | False
        a        | tube       | 8     | 7   | 9    |       | True
        """, {"unit": "a"}),
    Case("response-over-peers", """
        unit a
        unit b
        published a response_spread 'at most' 3.0 band_low_hz=20.0 band_high_hz=20000.0
        unit c technology=hybrid
        curve a response [100.0,1000.0,1010.0,30000.0] [-2.0,0.0,0.2,-9.0]
        curve b response [100.0,1000.0] [-1.0,0.0]
        curve c response [100.0,1000.0] [-7.0,0.0]
        unit d
        reading d response_spread 38.0 0.1 under=sweep input=phono analysis_key=c
        curve d response [100.0,1000.0] [13.0,0.0]
        """, """
        unit_key | frequency_hz | level_db | low_db | high_db | peers | mask_db | mask_high_hz
        a        | 100          | -2       | -1.9   | -1.1    | 2     | 3       | 20000
        a        | 1000         | 0.1      | 0.01   | 0.09    | 2     | 3       | 20000
        """, {"unit": "a"}),
    Case("missing-measurements", """
        unit a
        reading a gain 20 0.1
        reading a thd None
        unit p kind=preamplifier
        reading p gain 10 0.1
        reading p thd 0.1 0.1
        reading p thd_n 0.1 0.1
        reading p noise_a 1e-6 0 under=idle
        reading p response_spread 1 0 under=sweep
        reading p gain 10 0.1 output=right
        """, """
        unit_key | family               | readings | state
        a        | distortion           | 0        | refused
        a        | distortion and noise | 0        | absent
        a        | power at a limit     | 0        | absent
        a        | residual noise       | 0        | absent
        a        | response             | 0        | absent
        a        | source impedance     | 0        | absent
        p        | channel balance      | 0        | absent
        p        | separation           | 0        | absent
        """, {"lacking": "yes"}),
    Case("missing-measurements", """
        review r1 2020-03-01
        unit m-left r1
        unit m-right r1
        reading m-left gain 20 0 review=r1
        reading m-right gain 20 0 review=r1 output=right
        reading m-left channel_balance 0.2 0 review=r1 against=m-right
        """, """
        unit_key | family               | readings | state          | reviewed
        m-left   | distortion           | 0        | absent         | 2020-03-01
        m-left   | distortion and noise | 0        | absent         | 2020-03-01
        m-left   | power at a limit     | 0        | absent         | 2020-03-01
        m-left   | residual noise       | 0        | absent         | 2020-03-01
        m-left   | response             | 0        | absent         | 2020-03-01
        m-left   | source impedance     | 0        | absent         | 2020-03-01
        m-right  | distortion           | 0        | absent         | 2020-03-01
        m-right  | distortion and noise | 0        | absent         | 2020-03-01
        m-right  | power at a limit     | 0        | absent         | 2020-03-01
        m-right  | residual noise       | 0        | absent         | 2020-03-01
        m-right  | response             | 0        | absent         | 2020-03-01
        m-right  | source impedance     | 0        | absent         | 2020-03-01
        m-left   | level and gain       | 1        | measured       | 2020-03-01
        m-left   | channel balance      | 1        | measured       | 2020-03-01
        m-left   | separation           | 0        | not applicable | 2020-03-01
        m-right  | level and gain       | 1        | measured       | 2020-03-01
        m-right  | channel balance      | 1        | measured       | 2020-03-01
        m-right  | separation           | 0        | not applicable | 2020-03-01
        """),
    Case("harmonics-left-and-right", """
        unit a
        reading a harmonic -60 1 order_n=2 power_w=1.0
        reading a harmonic -50 1 order_n=2 power_w=5.0
        reading a harmonic -90 1 order_n=3 power_w=5.0 bound=upper status=at_floor
        reading a harmonic -55 1 order_n=2 power_w=5.0 output=right
        reading a harmonic -40 1 order_n=2 power_w=20.0
        unit b
        reading b harmonic -50 1 order_n=2 power_w=5.0
        """, """
        unit_key | output | power_w | order_n | level_db | bound
        a        | left   | 1       | 2       | -60      |
        a        | left   | 5       | 2       | -50      |
        a        | left   | 5       | 3       | -90      | upper
        a        | right  | 5       | 2       | -55      |
        """, {"unit": "a"}),
    Case("response-before-and-after", TWICE.strip() + """
        curve a response [100.0,1000.0,1010.0,30000.0] [-2.0,0.0,0.2,-9.0] review=r1
        curve a response [100.0,1000.0] [-1.0,0.0] review=r2 uncertainty=[0.1,0.0]
        curve b response [100.0,1000.0] [-7.0,0.0] review=r1
        """, """
        unit_key | series                  | output | x    | y   | y_u
        a        | 2020-01-01, as received | left   | 100  | -2  |
        a        | 2020-01-01, as received | left   | 1000 | 0.1 |
        a        | 2021-01-01, restored    | left   | 100  | -1  | 0.1
        a        | 2021-01-01, restored    | left   | 1000 | 0   | 0
        """),
    Case("distortion-before-and-after", TWICE.strip() + """
        reading a thd 0.1 0.02 review=r1 power_w=1.0
        reading a thd 0.1 0.02 review=r2 power_w=1.0 bound=upper status=at_floor
        reading a thd 0.7 0.02 review=r2 load_ohm=4.0
        """, """
        unit_key | series                  | output | x | y     | y_u
        a        | 2020-01-01, as received | left   | 1 | 0.1   | 0.02
        a        | 2020-01-01, as received | left   | 5 | 0.5   | 0.01
        a        | 2021-01-01, restored    | left   | 5 | 0.505 | 0.01
        """, {"unit": "a"}),
    Case("response-left-and-right", """
        unit a
        unit b
        curve a response [100.0,1000.0] [-2.0,0.0]
        curve b response [100.0,1000.0,1010.0] [-1.0,0.0,0.2] uncertainty=[0.1,0.0,0.0]
        curve b response [100.0,1000.0] [-1.5,0.0] output=right
        """, """
        unit_key | series | output | x    | y    | y_u
        b        | left   |        | 100  | -1   | 0.1
        b        | left   |        | 1000 | 0.1  | 0
        b        | right  |        | 100  | -1.5 |
        b        | right  |        | 1000 | 0    |
        """),
    Case("responses-overlaid", """
        unit a
        unit b
        unit c
        curve a response [100.0,1000.0] [-2.0,0.0]
        curve b response [100.0,1000.0] [-1.0,0.0]
        curve b response [100.0,1000.0] [-1.5,0.0] output=right
        reading c response_spread 3.0 0.1 under=sweep analysis_key=c
        curve c response [100.0,1000.0] [-3.0,0.0]
        curve c response [100.0,1000.0] [-9.0,0.0] analysis_key=a
        unit d kind=turntable
        curve d played_response [5.0,10.0] [-3.0,0.0] analysis_key=a
        curve d played_response [100.0,1000.0,2000.0] [-4.0,0.0,1.0] analysis_key=b
        """, """
        unit_key | output | x    | y
        c        | left   | 100  | -3
        c        | left   | 1000 | 0
        b        | left   | 100  | -1
        b        | left   | 1000 | 0
        b        | right  | 100  | -1.5
        b        | right  | 1000 | 0
        d        | left   | 100  | -4
        d        | left   | 1000 | 0
        d        | left   | 1995.262314969 | 1
        """, {"first": "c", "second": "b", "third": "d"}),
    Case("before-and-after-work", TWICE, """
        unit_key | metric         | before | after | unit | beyond              | assessment
        a        | noise_a        | 8e-4   | 2e-4  | V    | 21.213203435596427  | better
        a        | power_at_limit | 10     | 9     | W    | 1.7677669529663689  | worse
        a        | thd | 0.5 | 0.505 | % | 0.17677669529663689 | not significantly different
        """),
    Case("improvements-by-work", TWICE, """
        unit_key | metric  | gain_db            | state    | work
        a        | noise_a | 12.041199826559248 | restored | new capacitors; cleaned
        """),
    Case("bench-over-time", """
        row calibration bench_key=b1 since=2019-05-01 track=1 volts_peak_at_full_scale=40.0 \
            uncertainty_percent=0.5
        review r1 2020-01-01
        reading '' level 0.5 0.005 review=r1 load_ohm=None generator_vrms=1.0
        reading '' thd_n 0.001 1e-5 review=r1 load_ohm=None
        reading '' noise_a 2e-6 1e-7 review=r1 under=idle
        reading '' level 0.5 0.005 review=r1 load_ohm=None generator_vrms=1.0 frequency_hz=20.0
        """, """
        series                           | reviewed   | value               | u     | unit
        calibration, track 1             | 2019-05-01 | 40                  | 0.2   | V
        loop-back THD+N at 1 kHz, left   | 2020-01-01 | 0.001               | 1e-5  | %
        loop-back gain at 1 kHz, left | 2020-01-01 | -6.020599913279624 | 0.08685889638065 | dB
        loop-back noise, A-weighted, left | 2020-01-01 | 2                  | 0.1   | µV
        """),
    Case("measured-against-rated-power", """
        unit a
        published a power_at_limit 'at least' 20 limit_percent=1.0
        reading a power_at_limit 16 1 limit_percent=1.0 power_w=None
        reading a power_at_limit 18 1 limit_percent=1.0 power_w=None output=right
        unit b
        published b power_at_limit 'at least' 20 limit_percent=1.0 load_ohm=8.0
        reading b power_at_limit 21 1 limit_percent=1.0 power_w=None
        reading b power_at_limit 15 1 limit_percent=1.0 power_w=None load_ohm=4.0
        unit c
        published c power_at_limit 'at least' 20 limit_percent=1.0
        reading c power_at_limit 40 1 limit_percent=1.0 power_w=None
        unit d
        published d power_at_limit 'at least' 20 limit_percent=1.0
        reading d power_at_limit 40 1 limit_percent=3.0 power_w=None
        """, """
        unit_key | value | excess_db           | state
        a        | 16    | -0.9691001300805639 | fails
        b        | 21    | 0.2118929906993796  | inconclusive
        c        | 40    | 3.010299956639812   | meets
        """),
    Case("harmonics-by-topology", """
        unit a topology=push-pull
        reading a harmonic -60 1 order_n=2
        reading a harmonic -50 1 order_n=2 output=right
        unit b topology=push-pull
        reading b harmonic -70 1 order_n=2 bound=upper status=at_floor
        unit c
        reading c harmonic -40 1 order_n=2
        """, """
        technology | topology   | order_n | units | bounds | lower_db | median_db | upper_db
        tube       | not stated | 2       | 1     | 0      | -40      | -40       | -40
        tube       | push-pull  | 2       | 2     | 1      | -65      | -60       | -55
        """),
    Case("noise-against-gain", """
        unit a
        reading a noise_a 3e-4 1e-5 under=idle
        reading a gain 30 0.1
        unit b
        reading b noise_a 1e-4 1e-5 under=idle
        reading b gain 20 0.1
        unit c
        reading c gain 20 0.1
        """, """
        unit_key | x  | y   | y_low | y_high | marked
        b        | 20 | 100 | 80    | 120    | False
        a        | 30 | 300 | 280   | 320    | True
        """, {"unit": "a"}),
    Case("input-referred-noise", """
        unit a
        reading a input_referred_noise 1e-5 3e-7 under=idle detail="'{\\"weighting\\":\\"A\\"}'"
        reading a input_referred_noise 2e-6 2e-8 under=idle output=right
        reading a input_referred_noise 5e-5 2e-8 under=idle detail="'{\\"weighting\\":\\"none\\"}'"
        unit b
        reading b input_referred_noise 1e-6 1e-8 under=idle
        """, """
        unit_key | value | low  | high
        b        | 1     | 0.98 | 1.02
        a        | 10    | 9.4  | 10.6
        """),
    Case("damping-over-the-decades", """
        unit a made=1968
        reading a damping_factor 20 1
        unit b made=1955
        reading b damping_factor 5 0.5
        """, """
        unit_key | x    | y  | y_low | y_high | decade
        b        | 1955 | 5  | 4     | 6      | 1950
        a        | 1968 | 20 | 18    | 22     | 1960
        """),
    Case("due-for-another-review", """
        review r1 2000-01-01
        review r2 2020-01-01
        unit a r1
        reading a thd 1 0 review=r1
        unit b r2
        reading b thd 1 0 review=r2 method_version=0
        unit c r2
        reading c thd 1 0 review=r2
        """, """
        unit_key | years_ago | stale | reasons
        a        | 20        | 0     | long ago
        b        | 0         | 1     | older method
        """),
    Case("captures-with-flags", """
        unit a
        capture r-a 1 status=failed reason='unreadable audio'
        capture r-a 2
        capture r-a 3
        reading a thd None analysis_key=r-a-3 reason=clipped
        reading a thd_n None analysis_key=r-a-3 reason=clipped
        reading a gain 1 0 analysis_key=r-a-3
        """, """
        review_key | position | file   | outcome        | refused | reason
        r-a        | 1        | 1.flac | failed         | 0       | unreadable audio
        r-a        | 3        | 3.flac | partly refused | 2       | thd, thd n (left): clipped
        """),
    Case("outliers-among-peers", """
        unit a
        unit b
        unit c
        unit d
        unit e
        reading a gain 20 0
        reading b gain 21 0
        reading c gain 22 0
        reading d gain 23 0
        reading e gain 40 0
        """, """
        unit_key | metric | value | middle | deviation          | peers
        e        | gain   | 40    | 22     | 12.140833670578713 | 5
        """),
    Case("limited-by-the-bench", """
        unit a
        reading a thd 0.001 0 bound=upper status=at_floor
        reading a thd 0.1 0
        reading a gain 20 0
        """, """
        bench_key | metric | readings | bounds | share
        b1        | thd    | 2        | 1      | 50
        """),
    Case("noise-against-power", """
        unit a
        reading a noise_a 3e-4 1e-5 under=idle
        reading a power_at_limit 30 0.1 limit_percent=1.0 power_w=None
        reading a power_at_limit 40 0.1 limit_percent=10.0 power_w=None
        unit b
        reading b noise_a 1e-4 1e-5 under=idle
        """, """
        unit_key | x  | y   | y_low | y_high
        a        | 30 | 300 | 280   | 320
        """),
    Case("signal-to-noise-by-technology", """
        unit a
        reading a snr 90 1
        reading a snr 80 1 output=right
        reading a snr 70 1 power_w=1.0
        unit b technology=hybrid
        reading b snr 100 1
        """, """
        unit_key | technology | value | low | high
        b        | hybrid     | 100   | 98  | 102
        a        | tube       | 80    | 78  | 82
        """),
    Case("hum-of-a-unit", """
        unit a
        reading a mains_line 1e-4 0 under=idle order_n=1 frequency_hz=50.0
        reading a mains_line 2e-5 0 under=idle order_n=2 frequency_hz=100.1 bound=upper
        unit b
        reading b mains_line 3e-4 0 under=idle order_n=1 frequency_hz=50.0
        unit c technology=hybrid
        reading c mains_line 9e-4 0 under=idle order_n=1 frequency_hz=50.0
        """, """
        unit_key | order_n | frequency_hz | value | bound | peers_median | peers_low | peers
        a        | 1       | 50           | 100   |       | 300          | 300       | 1
        a        | 2       | 100.1        | 20    | upper |              |           | 0
        """, {"unit": "a"}),
    Case("idle-spectrum-of-a-unit", """
        unit a
        curve a idle_spectrum [5.0,50.0,50.1,1000.0] [-60.0,-80.0,-90.0,-120.0]
        """, """
        unit_key | frequency_hz | level | kind | name
        a        | 50           | -80   | idle |
        a        | 1000         | -120  | idle |
        """),
    Case("idle-spectrum-of-a-unit", """
        unit a
        curve a idle_spectrum [50.1,100.0,150.0,1000.0] [-80.0,-85.0,-110.0,-120.0]
        reading a mains_line 5e-5 0 under=idle frequency_hz=50.03 order_n=1
        reading a mains_line 4e-5 0 under=idle frequency_hz=100.06 order_n=2
        reading a mains_line 1e-6 0 under=idle frequency_hz=150.09 order_n=3 bound=upper \
            status=at_floor
        """, """
        unit_key | frequency_hz | level | kind  | name
        a        | 50.1         | -80   | idle  |
        a        | 100          | -85   | idle  |
        a        | 150          | -110  | idle  |
        a        | 1000         | -120  | idle  |
        a        | 50.1         | -80   | mains | 50 Hz
        a        | 100          | -85   | mains | 100 Hz
        """),
    Case("noise-over-time", """
        review r1 2020-01-01
        review r2 2021-01-01
        unit a r1
        unit a r2
        unit b r1
        curve a noise_over_time [0.5,1.0] [-0.1,0.2] review=r1
        curve a noise_over_time [0.5,1.0] [-0.4,3.0] review=r2
        curve b noise_over_time [0.5,1.0] [0.0,0.1] review=r1
        """, """
        unit_key | series | output | x   | y
        a        | noise  | left   | 0.5 | -0.4
        a        | noise  | left   | 1   | 3
        """),
    Case("noise-in-third-octaves", """
        unit a
        curve a idle_spectrum [10.0,990.0,1000.0,1010.0,2000.0] \
            [-60.0,-100.0,-60.0,-110.0,-120.0] y_unit=dBV/√Hz
        """, """
        unit_key | x        | y
        a        | 1000     | -102.596373105
        a        | 1995.262315 | -120
        """),
    Case("products-of-two-tones", """
        review r1 2020-01-01
        review r2 2021-01-01
        unit a r1
        unit b r2
        capture r1 1 stimulus='two tones' analysis_key=t1 \\
            stimulus_json='{"tones_hz":[19000,20000],"ratio":null}'
        capture r2 1 stimulus='two tones' analysis_key=t2 \\
            stimulus_json='{"tones_hz":[19000,20000],"ratio":null}'
        row analysis_capture analysis_key=t1 review_key=r1 sha256=r1-1
        row analysis_capture analysis_key=t2 review_key=r2 sha256=r2-1
        reading a tone_level 9 0 under=two_tones analysis_key=t1 review=r1 frequency_hz=19000.0
        reading b tone_level 1 0 under=two_tones analysis_key=t2 review=r2 frequency_hz=19000.0
        reading b tone_level 1 0 under=two_tones analysis_key=t2 review=r2 frequency_hz=20000.0
        reading b intermodulation_product -60 0.5 under=two_tones analysis_key=t2 review=r2 \
            frequency_hz=1000.0 order_n=2 'detail={"product":"f2 - f1","of":null}'
        reading b intermodulation_product -90 0.5 under=two_tones analysis_key=t2 review=r2 \
            frequency_hz=18000.0 order_n=3 bound=upper status=at_floor \
            'detail={"product":"2 f1 - f2","of":null}'
        """, """
        unit_key| frequency_hz| level_db          | low_db| high_db| kind   | name     | bound
        b       | 1000        | -60               | -61   | -59    | product| f2 - f1   |
        b       | 18000       | -90               |       |        | product| 2 f1 - f2| upper
        b       | 19000       | -6.020599913279624|       |        | tone   | played    |
        b       | 20000       | -6.020599913279624|       |        | tone   | played    |
        """),
    Case("spectrum-of-many-tones", """
        review r1 2020-01-01
        review r2 2021-01-01
        unit a r1
        unit b r2
        capture r1 1 stimulus=multitone analysis_key=t1
        capture r2 1 stimulus='two tones' analysis_key=t2
        capture r2 2 stimulus=multitone analysis_key=t3
        curve a tones_spectrum [100.0,1000.0] [-9.0,-9.0] review=r1 analysis_key=t1
        curve b tones_spectrum [100.0,1000.0] [-8.0,-8.0] review=r2 analysis_key=t2
        curve b tones_spectrum [100.0,1000.0] [-7.0,-70.0] review=r2 analysis_key=t3
        reading b greatest_product -63 0 review=r2 analysis_key=t3 \
            frequency_hz=990.0
        """, """
        unit_key | frequency_hz | level | kind
        b        | 100          | -7    | tone
        b        | 1000         | -70   | tone
        b        | 1000         | -70   | distortion
        """),
    Case("square-wave-of-a-unit", """
        review r1 2020-01-01
        review r2 2021-01-01
        unit a r1
        unit b r2
        curve a waveform [-1e-4,1e-4] [-9.0,9.0] review=r1 frequency_hz=1000.0
        curve b waveform [-1e-4,-1e-5,1e-5,2e-5,1.5e-4,4.7e-4,6e-4] \
            [-1.0,-0.7,1.1,1.0,0.98,0.9,-1.0] review=r2 frequency_hz=1000.0 analysis_key=w
        reading b state_low -1 0 under=square review=r2 analysis_key=w
        reading b state_high 1 0 under=square review=r2 analysis_key=w
        reading b rise_time 7.2e-6 0 under=square review=r2 analysis_key=w bound=upper \
            status=at_floor
        reading b overshoot 5 0 under=square review=r2 analysis_key=w
        reading b tilt 9 0 under=square review=r2 analysis_key=w
        """, """
        unit_key | time_s  | volts | kind      | note
        b        | 1e-5    | 1.1   | overshoot | overshoot 5 %
        b        | -1e-5   | -0.7  | rise time | rise time at most 7.2 µs
        b        | 1e-5    | 1.1   | rise time | rise time at most 7.2 µs
        b        | 1.5e-4  | 0.98  | tilt      | tilt 9 %
        b        | 4.7e-4  | 0.9   | tilt      | tilt 9 %
        b        | -1e-4   | -1    | trace     |
        b        | -1e-5   | -0.7  | trace     |
        b        | 1e-5    | 1.1   | trace     |
        b        | 2e-5    | 1     | trace     |
        b        | 1.5e-4  | 0.98  | trace     |
        b        | 4.7e-4  | 0.9   | trace     |
        b        | 6e-4    | -1    | trace     |
        """),
    Case("power-against-price", """
        unit a price_amount=100.0 price_currency=USD price_year=1958
        reading a power_at_limit 20 1 limit_percent=1.0 power_w=None
        unit b price_amount=313.689 price_currency=USD price_year=2024
        reading b power_at_limit 50 1 limit_percent=1.0 power_w=None
        unit c price_amount=300.0 price_currency=GBP price_year=1990
        reading c power_at_limit 50 1 limit_percent=1.0 power_w=None
        unit d
        reading d power_at_limit 50 1 limit_percent=1.0 power_w=None
        """, """
        unit_key | x                  | y  | y_low | listed  | watts_per_kusd
        b        | 0.313689           | 50 | 48    | 313.689 | 159.39353946105857
        a        | 1.085429065743945  | 20 | 18    | 100     | 18.42589316169837
        """),
    Case("tone-spectrum-of-a-unit", """
        unit a
        curve a spectrum [1000.0,2000.0] [10.0,-50.0] frequency_hz=1000.0 power_w=4.8
        curve a spectrum [1000.0,2000.0] [3.0,-60.0] frequency_hz=1000.0 power_w=1.0 analysis_key=d
        """, """
        unit_key | frequency_hz | level | kind | taken_w | taken_v
        a        | 1000         | 10    | tone | 4.8     |
        a        | 2000         | -50   | tone | 4.8     |
        """),
    Case("tone-spectrum-of-a-unit", """
        unit p kind=preamplifier
        curve p spectrum [1000.0] [10.0] frequency_hz=1000.0
        reading p level 0.5 0.01 analysis_key=c load_ohm=None power_w=None
        curve p spectrum [1000.0] [20.0] frequency_hz=1000.0 analysis_key=d
        reading p level 1.9 0.01 analysis_key=d load_ohm=None power_w=None
        """, """
        unit_key | level | taken_w | taken_v
        p        | 20    |         | 1.9
        """),
    Case("impedance-over-frequency", """
        review r1 2020-01-01
        review r2 2021-01-01
        unit a r1
        unit a r2
        curve a impedance [20.0,1000.0] [9.0,9.0] review=r1
        curve a impedance [20.0,1000.0] [2.5,0.5] review=r2
        """, """
        unit_key | output | frequency_hz | ohm
        a        | left   | 20           | 2.5
        a        | left   | 1000         | 0.5
        """),
    Case("samples-of-one-model", """
        unit a model=Heron
        reading a gain 20 0.3
        unit b model=Heron
        reading b gain 22 0.4
        unit c model=Heron
        reading c gain 21 0.1
        unit d model=Rail
        reading d gain 10 0.1
        """, """
        model | metric | units | least | least_unit | greatest | greatest_unit | beyond
        Heron | gain   | 3     | 20    | a          | 22       | b             | 2
        """),
    Case("left-against-right", """
        unit a
        reading a gain 20 0.3
        reading a gain 21 0.4 output=right
        reading a thd 0.5 0.01
        unit b
        reading b gain 20 0
        reading b gain 20 0 output=right
        reading b thd 0.5 0.01 driven=left
        reading b thd 0.6 0.01 output=right driven=right
        reading a thd_n 0.5 0.01 driven=left
        reading a thd_n 0.6 0.01 output=right driven=left
        """, """
        unit_key | metric | left_value | right_value | difference | beyond
        b        | thd    | 0.5        | 0.6         | -0.1       | 3.5355339059327378
        a        | gain   | 20         | 21          | -1         | 1
        b        | gain   | 20         | 20          | 0          | 0
        """),
    # 10 lg (20/25) of the weaker output; b has no output alone, c none with all driven.
    Case("power-one-and-all-driven", """
        unit a
        reading a power_at_limit 20 0 limit_percent=1.0 power_w=None
        reading a power_at_limit 25 0 limit_percent=1.0 power_w=None driven=left
        reading a power_at_limit 21 0 limit_percent=1.0 power_w=None output=right
        reading a power_at_limit 24 0 limit_percent=1.0 power_w=None output=right driven=right
        unit b
        reading b power_at_limit 20 0 limit_percent=1.0 power_w=None
        unit c
        reading c power_at_limit 20 0 limit_percent=1.0 power_w=None driven=left
        """, """
        unit_key | load_ohm | output | one_driven | all_driven | loss_db
        a        | 8        | left   | 25         | 20         | -0.96910013008
        """),
    Case("figure-over-the-years", """
        unit a made=1960
        reading a gain 26 0.1
        reading a gain 25 0.1 output=right
        unit b made_first=1970 made_last=1975
        reading b gain 30 0.5
        unit c made=None
        reading c gain 30 0.5
        unit p kind=preamplifier
        reading p gain 10 0.1
        """, """
        unit_key | made_first | made_last | year   | value | low  | high | unit | marked
        a        | 1960       | 1960      | 1960   | 26    | 25.8 | 26.2 | dB   | True
        b        | 1970       | 1975      | 1972.5 | 30    | 29   | 31   | dB   | False
        """, {"metric": "gain", "point": "gain-1khz", "unit": "a"}),
    Case("figure-over-the-years", """
        unit a made=1960
        reading a power_at_limit 20 0 limit_percent=1.0 power_w=None
        reading a power_at_limit 30 0 limit_percent=10.0 power_w=None
        """, """
        unit_key | value
        a        | 30
        """, {"metric": "power_at_limit", "point": "limit-1khz-8ohm", "limit_percent": "10"}),
    Case("map-of-likeness", """
        unit a
        reading a gain 26 0.1
        reading a gain 25 0.1 output=right
        reading a power_at_limit 20 0 limit_percent=1.0 power_w=None
        reading a power_at_limit 30 0 limit_percent=10.0 power_w=None
        unit b technology='solid state'
        reading b gain 30 0.5
        reading b thd 0.01 0.01 bound=upper status=at_floor
        unit p kind=preamplifier
        reading p gain 10 0.1
        """, """
        unit_key | model     | metric         | value | bound | unit | marked
        a        | Ostrova A | gain           | 26    |       | dB   | False
        a        | Ostrova A | power_at_limit | 20    |       | W    | False
        a        | Ostrova A | thd            |       |       | %    | False
        b        | Ostrova B | gain           | 30    |       | dB   | True
        b        | Ostrova B | power_at_limit |       |       | W    | True
        b        | Ostrova B | thd            | 0.01  | upper | %    | True
        """, {"unit": "b"}),
    Case("harmonic-patterns", """
        unit a
        reading a harmonic -60 1 order_n=2
        reading a harmonic -55 1 order_n=2 output=right
        reading a harmonic -90 1 order_n=3 bound=upper status=at_floor
        reading a harmonic -99 1 order_n=11
        unit b
        reading b harmonic -70 1 order_n=2
        reading b harmonic -40 1 order_n=2 power_w=1.0
        unit c technology='solid state'
        reading c harmonic -80 1 order_n=2
        unit d technology='solid state'
        reading d harmonic -80 1 order_n=2
        """, """
        unit_key | technology  | order_n | level_db | bound | marked
        a        | tube        | 2       | -55      |       | False
        a        | tube        | 3       | -90      | upper | False
        b        | tube        | 2       | -70      |       | False
        c        | solid state | 2       | -80      |       | True
        """, {"technology": "tube", "unit": "c"}),
    Case("power-into-loads", """
        unit a rated_power_w=20.0
        reading a power_at_limit 22 0 limit_percent=1.0 power_w=None
        reading a power_at_limit 21 0.5 limit_percent=1.0 power_w=None output=right
        reading a power_at_limit 31.5 0 limit_percent=1.0 power_w=None load_ohm=4.0
        reading a power_at_limit 9 0 limit_percent=1.0 power_w=None load_ohm=2.0 bound=lower
        reading a power_at_limit 40 0 limit_percent=10.0 power_w=None
        unit b
        reading b power_at_limit 10 0 limit_percent=1.0 power_w=None load_ohm=16.0
        unit c
        reading c power_at_limit 50 0 limit_percent=1.0 power_w=None tap='8 ohm'
        reading c power_at_limit 48 0 limit_percent=1.0 power_w=None load_ohm=4.0 tap='4 ohm'
        """, """
        unit_key | load_ohm | tap   | value | low | high | bound | share | rated | marked
        c        | 8        | 8 ohm | 50    | 50  | 50   |       | 1     |       | True
        c        | 4        | 4 ohm | 48    | 48  | 48   |       |       |       | True
        a        | 8        |       | 21    | 20  | 22   |       | 1     | 20    | False
        a        | 4        |       | 31.5  | 31.5 | 31.5 |      | 1.5   | 20    | False
        a        | 2        |       | 9     | 9   |      | lower |       | 20    | False
        b        | 16       |       | 10    | 10  | 10   |       |       |       | False
        """, {"unit": "c"}),
    # 2 ohm before 8 ohm: 20 lg (8/10); at its resonance the model is 6 + 18 = 24 ohm without a
    # phase: 20 lg (24/26).
    Case("level-into-a-loudspeaker", """
        unit a
        curve a source_impedance [1000.0] [2.0]
        unit b
        """, """
        unit_key | series            | output | x    | y
        a        | 8 ohm resistor    | left   | 1000 | -1.938200260161
        a        | model loudspeaker | left   | 1000 | -0.6952421251842
        """, {"coil": "6", "coil_mh": "0", "peak": "18", "resonance": "1000"}),
    Case("level-into-a-loudspeaker", """
        unit a
        reading a source_impedance 2.0 0 under=tone power_w=None
        """, "\n".join(["series | output", *["8 ohm resistor | left"] * 61,
                        *["model loudspeaker | left"] * 61]), {}),
    # Far above its resonance the model is its coil: 4 ohm and 2 pi x 10 kHz x 1 mH / (2 pi) gives
    # 10 ohm of inductance for 1/(2 pi) mH: |4 + 10i| / |6 + 10i|.
    Case("level-into-a-loudspeaker", """
        unit a
        curve a source_impedance [10000.0] [2.0]
        """, """
        series            | x     | y
        8 ohm resistor    | 10000 | -1.938200260161
        model loudspeaker | 10000 | -0.690809191433
        """, {"coil": "4", "coil_mh": "0.15915494309189535", "peak": "0"}),
    # The other frequency's bound is left out; of two units the one with more frequencies.
    Case("separation-over-frequency", """
        unit a
        reading a separation 60 0.1
        reading a separation 40 0.2 frequency_hz=10000.0
        reading a separation 80 0.2 frequency_hz=20.0 bound=lower
        unit b
        reading b separation 70 0.1
        """, """
        unit_key | setting     | output | x     | y  | y_u
        a        | left, tones | left   | 1000  | 60 | 0.1
        a        | left, tones | left   | 10000 | 40 | 0.2
        """),
    # Means over the third octave at 1 kHz; the curve without a setting is none of the family.
    Case("response-by-setting", """
        unit a
        capture r-a 1 controls=flat volume=full
        capture r-a 2 controls='bass full' volume=full
        capture r-a 3
        curve a response '[990.0, 1010.0]' '[0.0, 0.2]' analysis_key=r-a-1
        curve a response [1000.0] [3.0] analysis_key=r-a-2
        curve a response [1000.0] [9.0] analysis_key=r-a-3
        unit b
        capture r-b 1 controls=flat
        curve b response [1000.0] [0.0] analysis_key=r-b-1
        """, """
        unit_key | setting   | output | x    | y
        a        | flat      | left   | 1000 | 0.1
        a        | bass full | left   | 1000 | 3
        """),
    Case("balance-over-volume", """
        unit a
        reading a channel_balance 0.5 0.05 volume=half power_w=None
        reading a channel_balance 0.1 0.02 volume=full power_w=None
        reading a channel_balance 0.9 0.02 volume=full power_w=None frequency_hz=20.0
        reading a gain 10 0.1 volume=half power_w=None
        reading a gain 12 0.1 volume=half power_w=None output=right
        reading a gain 30 0.1 volume=full power_w=None
        unit b
        reading b channel_balance 0.1 0.02 volume=full power_w=None
        reading b gain 30 0.1 volume=full power_w=None
        """, """
        unit_key | setting | output | x  | y   | y_u
        a        | half    | left   | 11 | 0.5 | 0.05
        a        | full    | left   | 30 | 0.1 | 0.02
        """),
    # -60 dB twice: 100 sqrt(2e-6) = 0.141421 %; u: 0.5 dB each, 0.1 % x 0.05756 / sqrt 2 x sqrt 2.
    Case("distortion-over-frequency", """
        unit a
        reading a harmonic -60 0.5 order_n=2 generator_vrms=0.2 analysis_key=p
        reading a harmonic -60 0.5 order_n=3 generator_vrms=0.2 analysis_key=p
        reading a harmonic -40 0 order_n=2 generator_vrms=0.2 analysis_key=q frequency_hz=20.0
        reading a harmonic -80 0 order_n=3 generator_vrms=0.2 analysis_key=q frequency_hz=20.0
        reading a harmonic -40 0 order_n=2 generator_vrms=0.2 analysis_key=r frequency_hz=5000.0
        reading a harmonic -40 0 order_n=3 generator_vrms=0.2 analysis_key=r frequency_hz=5000.0
        reading a harmonic -40 0 order_n=2 generator_vrms=0.2 analysis_key=q frequency_hz=20.0 \
            output=right power_w=4.96
        reading a harmonic -80 0 order_n=3 generator_vrms=0.2 analysis_key=q frequency_hz=20.0 \
            output=right power_w=4.96
        reading a harmonic -40 0 order_n=2 generator_vrms=0.2 analysis_key=u frequency_hz=200.0 \
            output=right power_w=4.96
        reading a harmonic -80 0 order_n=3 generator_vrms=0.2 analysis_key=u frequency_hz=200.0 \
            output=right power_w=4.96
        reading a harmonic -40 0 order_n=2 generator_vrms=0.2 analysis_key=r frequency_hz=5000.0 \
            output=right power_w=4.96
        reading a harmonic -40 0 order_n=3 generator_vrms=0.2 analysis_key=r frequency_hz=5000.0 \
            output=right power_w=4.96
        reading a harmonic -30 0 order_n=2 generator_vrms=0.9 analysis_key=s
        reading a harmonic -30 0 order_n=3 generator_vrms=0.9 analysis_key=s
        unit b
        reading b harmonic -60 0 order_n=2 generator_vrms=0.2 analysis_key=t
        """, """
        unit_key | series | output | x    | y               | y_u
        a        | 5 W    | left   | 20   | 1.000049998750  | 0
        a        | 5 W    | left   | 1000 | 0.1414213562373 | 0.005756462732
        a        | 5 W    | left   | 5000 | 1.4142135623731 | 0
        a        | 5 W    | right  | 20   | 1.000049998750  | 0
        a        | 5 W    | right  | 200  | 1.000049998750  | 0
        a        | 5 W    | right  | 5000 | 1.4142135623731 | 0
        """),
    Case("intermodulation-over-power", """
        unit a
        reading a difference_frequency_total 0.1 0.01 under=two_tones analysis_key=p
        reading a equivalent_sine_power 2 0 under=two_tones analysis_key=p
        reading a difference_frequency_total 0.4 0.02 under=two_tones analysis_key=q
        reading a equivalent_sine_power 8 0 under=two_tones analysis_key=q
        reading a modulation_distortion_rms 0.7 0.03 under=two_tones analysis_key=r
        reading a equivalent_sine_power 8 0 under=two_tones analysis_key=r
        reading a difference_frequency_total 9 0.02 under=two_tones analysis_key=s
        unit b
        reading b difference_frequency_total 0.4 0.02 under=two_tones analysis_key=t
        reading b equivalent_sine_power 8 0 under=two_tones analysis_key=t
        """, """
        unit_key | series               | output | x | y   | y_u
        a        | difference frequency | left   | 2 | 0.1 | 0.01
        a        | difference frequency | left   | 8 | 0.4 | 0.02
        a        | modulation           | left   | 8 | 0.7 | 0.03
        """),
    Case("distortion-map", """
        unit a
        reading a thd 0.1 0.01 power_w=1.0
        reading a thd 0.1 0.01 power_w=1.0 driven=left
        reading a thd None power_w=None driven=right
        reading a thd 0.2 0.02 power_w=10.0 frequency_hz=20000.0 \
            detail="'{\\"harmonics\\":\\"2 to 4\\"}'"
        reading a thd 0.02 0.001 power_w=1.0 frequency_hz=20.0 bound=upper status=at_floor
        reading a thd None power_w=None frequency_hz=5000.0 generator_vrms=0.3
        reading a thd 0.3 0 load_ohm=4.0
        reading a thd 0.3 0 reason='interpolated between two steps' power_w=5.0
        unit b
        reading b thd 5 0 power_w=1.0
        """, """
        frequency_hz | power_w | thd_percent | thd_low | thd_high | bound | harmonics | status   | \
reason
        20           | 1       | 0.02        |         | 0.022    | upper | 2 to 10   | at_floor |
        1000         | 1       | 0.1         | 0.08    | 0.12     |       | 2 to 10   | measured |
        5000         |         |             |         |          |       |         | rejected | \
no honest number
        20000        | 10      | 0.2         | 0.16    | 0.24     |       | 2 to 4    | measured |
        """),
    Case("distortion-over-the-band", """
        unit a
        reading a harmonic -60 0 order_n=2
        reading a harmonic -60 0 order_n=3
        reading a harmonic -40 0 order_n=2 frequency_hz=20.0
        reading a harmonic -40 0 order_n=3 frequency_hz=20.0
        reading a harmonic -50 0 order_n=2 frequency_hz=20000.0
        unit b
        reading b harmonic -60 0 order_n=2
        reading b harmonic -200 0 order_n=3
        """, """
        unit_key | at_20_hz | at_1_khz | at_20_khz | rise_db
        a        | 1.414213562 | 0.1414213562 |  | 20
        b        |          | 0.1      |           |
        """),
    Case("entered-from-old-records", """
        unit a
        reading a thd 0.1 None status=entered
        reading a gain 20 0
        """, """
        reading_key | unit_key | metric | value | uncertainty | unit
        k00001      | a        | thd    | 0.1   |             | %
        """),
    Case("what-was-measured", """
        unit a
        reading a thd 0.1 0
        reading a thd 0.2 0 output=right bound=upper status=at_floor
        unit b
        reading b thd 0.2 None status=entered
        reading b thd None power_w=1.0
        """, """
        metric | point_key         | units | readings | bounds | entered | newest
        thd    | tone-1khz-5w-8ohm | 2     | 3        | 1      | 1       | 2020-01-01
        """),
    Case("separation-against-balance", """
        unit a
        reading a channel_balance -0.4 0
        reading a separation 60 1
        reading a separation 55 1 output=right
        """, """
        unit_key | x   | y  | y_low | y_high
        a        | 0.4 | 55 | 53    | 57
        """),
    Case("bandwidth-by-technology", """
        unit a
        reading a response_high_3db 40000 500 under=sweep frequency_hz=None
        unit b
        reading b response_high_3db 20000 0 under=sweep frequency_hz=None bound=lower
        """, """
        unit_key | value | low | high | bound
        b        | 20    | 20  |      | lower
        a        | 40    | 39  | 41   |
        """),
    Case("published-figures", """
        unit a
        published a thd 'at most' 0.5
        published a snr 'at least' 80 position=2
        reading a thd 0.1 0
        reading a thd None output=right
        """, """
        unit_key | position | metric | promised     | readings
        a        | 1        | thd    | at most 0.5  | 1
        a        | 2        | snr    | at least 80  | 0
        """),
]  # fmt: skip


def value_of(text: str) -> Any:
    try:
        return ast.literal_eval(text)
    except (ValueError, SyntaxError):
        return text


def fill(given: Any, lines: str) -> Path:
    """Call the maker as each line says."""
    for line in lines.replace("\\\n", " ").strip().splitlines():
        name, *parts = shlex.split(line)
        pairs = [part.partition("=") for part in parts if "=" in part]
        plain = [value_of(part) for part in parts if "=" not in part]
        getattr(given, name)(*plain, **{key: value_of(value) for key, _, value in pairs})
    folder: Path = given.build()
    return folder


def result(query: SavedQuery, folder: Path, values: dict[str, str]) -> Any:
    with reading(folder) as store:
        return query.run(store, values)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.query)
def test_given_and_expected_with_a_unique_grain_in_the_same_order(given: Any, case: Case) -> None:
    query = shipped()[case.query]
    folder = fill(given, case.given)
    frame = result(query, folder, case.values)
    assert frame.select(query.grain).is_duplicated().any() is False
    assert frame.equals(result(query, folder, case.values))
    head, *rows = [
        [cell.strip() for cell in line.split("|")] for line in case.expect.strip().splitlines()
    ]
    actual = [[row[name] for name in head] for row in frame.iter_rows(named=True)]
    assert len(actual) == len(rows), frame
    for got, wanted in zip(actual, rows, strict=True):
        for cell, text in zip(got, wanted, strict=True):
            assert same(cell, text), (got, wanted)


def same(actual: Any, text: str) -> bool:
    if actual is None or text == "":
        return actual is None and text == ""
    if isinstance(actual, float):
        return actual == pytest.approx(float(text), rel=1e-9, abs=1e-12)
    return str(actual) == text


def test_every_shipped_query_has_a_case() -> None:
    assert {case.query for case in CASES} == set(shipped())
    assert len(shipped()) >= 25


def test_headers_say_what_a_reader_needs() -> None:
    for query in shipped().values():
        assert query.question.endswith((".", "?")), query.name
        assert all(p.help for p in query.parameters), query.name
