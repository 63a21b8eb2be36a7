"""Bench measurements as words and a table."""

from __future__ import annotations

from ridesim.report.view import Table, View
from ridesim.units import told
from ridesim.workshop.bench.sheet import BenchSheet

MODEL_WORDS = (
    "Model: V = rpm / Kv + I R, drag torque tau_0 + tau_1 omega (Hendershot and Miller 2010, from memory); copper at "
    "20 °C after IEC 60028. Errors: first order, readings independent, or the scatter about the line by Student's "
    "factor, the larger of the two (JCGM 100:2008, from memory)."
)


def view(result: BenchSheet, units: str = "metric", *, pictures: bool = True) -> View:
    """Return the answer of the bench: figures with their errors, and the keys to write into a build file."""
    keys = tuple((f"{key} = {value}",) for key, value in result.keys)
    return View(
        title="Bench sheet",
        question="What do the readings say about motor and pack?",
        answer=(f"{told(result.reason, units)}.",),
        verdict=result.verdict,
        tables=(
            Table("Measured", ("", "value", "error", "verdict"), tuple(_rows(result, units))),
            *((Table("For the build file", ("key = value",), keys),) if keys else ()),
        ),
        notes=(told(MODEL_WORDS, units), *result.cautions),
    )


def _rows(s: BenchSheet, units: str) -> list[tuple[str, str, str, str]]:
    rows: list[tuple[str, str, str, str]] = []
    if s.resistance is not None:
        r = s.resistance
        rows.append(("resistance, as read", f"{r.resistance_mohm:.2f} mΩ", "", ""))
        cold, error = f"{r.resistance_at_20_c_mohm:.2f} mΩ", _pm(r.resistance_error_mohm, 2)
        rows.append((told("resistance at 20 °C", units), cold, error, r.verdict))
    if s.pairs is not None:
        rows.append(("mean of the three pairs", f"{s.pairs.resistance_mohm:.2f} mΩ", "", s.pairs.verdict))
        rows.append(("spread of the pairs", f"{s.pairs.spread_percent:.1f} %", "", ""))
    if s.no_load is not None:
        n = s.no_load
        rows.append(("Kv, no load", f"{n.kv_rpm_per_v:.2f} rpm/V", _pm(n.kv_error_rpm_per_v, 2), n.verdict))
        rows.append(("torque per ampere", f"{n.torque_per_current_nm_per_a:.4f} N·m/A", "", ""))
        rows.append(("drag, constant part", f"{n.drag_torque_nm:.4f} N·m", _pm(n.drag_torque_error_nm, 4), ""))
        rows.append(("drag, growing part", f"{n.drag_growth_nm_s:.3g} N·m·s", f"± {n.drag_growth_error_nm_s:.2g}", ""))
    if s.loaded is not None:
        f = s.loaded
        rows.append(("Kv, under load", f"{f.kv_rpm_per_v:.2f} rpm/V", _pm(f.kv_error_rpm_per_v, 2), f.verdict))
        rows.append(("resistance with leads, warm", f"{f.resistance_mohm:.2f} mΩ", _pm(f.resistance_error_mohm, 2), ""))
    if s.spin is not None:
        rows.append(("Kv, spun", f"{s.spin.kv_rpm_per_v:.2f} rpm/V", _pm(s.spin.kv_error_rpm_per_v, 2), s.spin.verdict))
    if s.pole_pairs is not None:
        rows.append(("pole pairs", str(s.pole_pairs), "", ""))
    if s.pack is not None:
        p = s.pack
        rows.append(("pack with leads", f"{p.resistance_mohm:.1f} mΩ", _pm(p.resistance_error_mohm, 1), p.verdict))
        rows.append(("pack at rest", f"{p.open_circuit_v:.2f} V", "", ""))
    return rows


def _pm(value: float, digits: int) -> str:
    return f"± {value:.{digits}f}" if value > 0.0 else "not given"
