"""Retention, ripple, reset ramps and pull-up rise beside transients of ngspice, within 1 %."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from coppermend.rework.figures.catalog import figure_called
from coppermend.rework.figures.hold import hold_up
from coppermend.rework.figures.inrush import rail_rise_s
from coppermend.rework.figures.ramp import rail_profile, run_rail
from coppermend.rework.figures.rectifier import simulate_rectifier

NGSPICE = shutil.which("ngspice") or ""


pytestmark = [
    pytest.mark.debian,
    pytest.mark.skipif(not NGSPICE, reason="outside check skipped: ngspice is not installed"),
]


def measure(netlist: str) -> dict[str, float]:
    """The ``meas`` results of a netlist by name."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "circuit.cir"
        path.write_text(netlist)
        run = subprocess.run(
            [NGSPICE, "-b", str(path)], capture_output=True, text=True, timeout=60, check=False
        )
    found = re.findall(r"^(\w+)\s*=\s*([-+.\deE]+)", run.stdout, re.MULTILINE)
    return {name: float(value) for name, value in found}


@pytest.mark.parametrize(
    ("farads", "start", "load", "ohms"),
    [(0.1, 4.7, 2e-6, 1e6), (0.47, 4.7, 10e-6, 470e3), (1.0, 4.7, 20e-6, 1e6), (0.1, 4.7, 0.0, 1e6)],
)
def test_hold_up_as_in_a_transient(farads, start, load, ohms):
    """A capacitor with load and leak falls to 2 V when ngspice says so."""
    ours = float(hold_up(farads, start, 2.0, load, ohms))
    found = measure(
        f"""hold-up
C1 keep 0 {farads} IC={start}
R1 keep 0 {ohms}
I1 keep 0 {load}
.tran {ours / 500} {ours * 1.5} 0 {ours / 500} UIC
.meas tran hold WHEN v(keep)=2.0 FALL=1
.end
"""
    )

    assert ours == pytest.approx(found["hold"], rel=0.01)


RIPPLE = """ripple
V1 a b SIN(0 {peak} {hz})
RS a aa {source}
D1 aa out DX
D2 b out DX
D3 0 aa DX
D4 0 b DX
VC out top 0
C1 top cap {farads}
RE cap 0 {esr}
I1 out 0 {load}
RB b 0 1MEG
.model DX D(IS=1e-9 N=1.6 RS=0.02)
.tran 20u 0.4 0.3 20u
.meas tran ripple PP v(out) FROM=0.3 TO=0.4
.meas tran rms RMS i(VC) FROM=0.3 TO=0.4
.meas tran low MIN v(out) FROM=0.3 TO=0.4
.end
"""


@pytest.mark.parametrize(
    ("hz", "load", "farads", "source", "esr"),
    [
        (60, 1.0, 4700e-6, 1e-3, 1e-3),
        (50, 1.0, 4700e-6, 1e-3, 1e-3),
        (60, 0.5, 2200e-6, 1e-3, 1e-3),
        (60, 1.0, 4700e-6, 0.3, 1e-3),
        (50, 1.0, 4700e-6, 0.3, 0.1),
    ],
)
def test_ripple_as_in_a_transient(hz, load, farads, source, esr):
    """Peak-to-peak ripple, trough and capacitor current of a bridge rectifier at 9 V."""
    ours = simulate_rectifier(9.0, hz, load, farads, source_ohm=source, esr_ohm=esr)
    found = measure(RIPPLE.format(peak=9 * 2**0.5, hz=hz, source=source, farads=farads, esr=esr, load=load))

    assert ours.ripple_v == pytest.approx(found["ripple"], rel=0.01)
    assert ours.trough_v == pytest.approx(found["low"], rel=0.01)
    assert ours.capacitor_rms_a == pytest.approx(found["rms"], rel=0.01)


def test_i_over_2fc_bounds_the_transient():
    """The textbook ripple is above ngspice, and less than 1/0.6 of it: a bound, not a value."""
    bound = (
        figure_called("supply")
        .evaluate({"mains": "60Hz", "load": "1A", "capacitance": "4700uF"})
        .out("ripple_bound_v")
        .nominal
    )
    found = measure(RIPPLE.format(peak=9 * 2**0.5, hz=60, source=1e-3, farads=4700e-6, esr=1e-3, load=1))

    assert 0.6 * bound <= found["ripple"] <= bound


@pytest.mark.parametrize(("rise", "threshold"), [(0.02, 1.6), (0.2, 2.0), (0.5, 0.8)])
def test_rc_reset_on_a_ramp_as_in_a_transient(rise, threshold):
    """On a rail that ramps, the RC passes its threshold when ngspice says so."""
    corners = rail_profile("power-up", 5.0, rise, 0.6, dip_v=0.0, dip_s=0.01)
    ours = run_rail(
        corners,
        resistance_ohm=10e3, capacitance_f=10e-6, input_threshold_v=threshold, trip_v=4.63, time_out_s=0.2,
        cpu_min_v=4.75,
    )  # fmt: skip
    found = measure(
        f"""ramp
V1 rail 0 PWL(0 0 {rise} 5 2 5)
R1 rail cap 10k
C1 cap 0 10u IC=0
.tran 0.1m {rise + 0.6} 0 0.1m UIC
.meas tran release WHEN v(cap)={threshold} RISE=1
.meas tran trip WHEN v(rail)=4.63 RISE=1
.end
"""
    )

    assert ours.released_s(ours.rc_reset) == pytest.approx(found["release"], rel=0.01)
    assert ours.released_s(ours.supervisor_reset) == pytest.approx(found["trip"] + 0.2, rel=0.01)


def test_rc_with_a_diode_after_a_dip_as_in_a_transient():
    """A dip to 0.5 V discharges the capacitor through its diode; it charges again as in ngspice."""
    corners = rail_profile("dip", 5.0, 0.01, 0.5, dip_v=0.5, dip_s=0.05)
    ours = run_rail(
        corners,
        resistance_ohm=10e3, capacitance_f=10e-6, input_threshold_v=2.0, trip_v=4.63, time_out_s=0.2,
        cpu_min_v=4.75, diode_v=0.0,
    )  # fmt: skip
    points = " ".join(f"{t} {v}" for t, v in corners)
    found = measure(
        f"""dip
V1 rail 0 PWL({points})
R1 rail cap 10k
C1 cap 0 10u IC=0
D1 cap rail DI
.model DI D(IS=1e-9 N=0.02)
.tran 0.1m {corners[-1][0]} 0 0.1m UIC
.meas tran release WHEN v(cap)=2.0 RISE=2
.end
"""
    )

    assert ours.released_s(ours.rc_reset) == pytest.approx(found["release"], rel=0.01)


@pytest.mark.parametrize(("ohms", "farads"), [(10e3, 100e-12), (4.7e3, 150e-12), (3.3e3, 50e-12)])
def test_pull_up_rise_as_in_a_transient(ohms, farads):
    """10 to 90 % of a released net."""
    answer = figure_called("pull-up").evaluate({"pull-up": f"{ohms}", "net": f"{farads} F"})
    ours = answer.out("rise_s").nominal
    found = measure(
        f"""rise
V1 rail 0 5
R1 rail net {ohms}
C1 net 0 {farads} IC=0
.tran {ours / 200} {ours * 3} 0 {ours / 200} UIC
.meas tran rise TRIG v(net) VAL=0.5 RISE=1 TARG v(net) VAL=4.5 RISE=1
.end
"""
    )

    assert ours == pytest.approx(found["rise"], rel=0.01)


@pytest.mark.parametrize(("bulk", "series"), [(470e-6, 175.0), (2200e-6, 30.0), (100e-6, 255.0)])
def test_rail_rise_in_the_current_limit_as_in_a_transient(bulk, series):
    """A regulator in its limit charges the bulk, and through a diode and a resistor the retention capacitor."""
    ours = float(rail_rise_s(5.0, 1.0, 0.4, bulk, 0.3, series))
    found = measure(
        f"""inrush
I1 0 rail 1.0
I2 rail 0 0.4
C1 rail 0 {bulk} IC=0
V1 rail a 0.3
D1 a b DI
.model DI D(IS=1e-9 N=0.005)
R1 b keep {series}
C2 keep 0 0.47 IC=0
.tran {ours / 2000} {ours * 1.5} 0 {ours / 2000} UIC
.meas tran up WHEN v(rail)=5 RISE=1
.meas tran charge FIND i(V1) WHEN v(rail)=5 RISE=1
.end
"""
    )

    assert ours == pytest.approx(found["up"], rel=0.01)
    assert 4.7 / series == pytest.approx(found["charge"], rel=0.01)
