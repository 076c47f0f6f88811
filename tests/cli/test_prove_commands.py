"""``prove plan`` and ``prove gate``: exit status 1 until everything touched is proven."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def base(small: Path, small_area: Path) -> list[Any]:
    """Board and area as the commands take them."""
    return [small, "--area", small_area]


def test_plan_lists_only_what_is_needed(base: list[Any], call: Any) -> None:
    """In words only needed proofs appear, with --all every proof; JSON always has all and which to do."""
    document = call("prove", "plan", *base, "--json").document
    short, full = call("prove", "plan", *base).out, call("prove", "plan", *base, "--all").out

    every = [proof["id"] for proof in document["proofs"]]
    left_out = set(every) - set(document["to_do"])
    assert document["to_do"] and left_out
    assert all(f"{name} (" in full for name in every)
    assert not any(f"{name} (" in short for name in left_out)


def test_gate_is_not_passed_at_first(base: list[Any], call: Any) -> None:
    """With nothing proven the answer is no, with what would prove each thing."""
    answer = call("prove", "gate", *base, "--json")
    text = call("prove", "gate", *base)

    assert (answer.status, text.status) == (1, 1)
    assert answer.document["pass"] is False and answer.document["unproven"]
    assert "net N1" in text.out and "copper probes" in text.out and "not passed: " in text.out


def test_gate_passes_with_readings_and_results(base: list[Any], tmp_path: Path, call: Any) -> None:
    """Good readings and passed proofs turn the answer into yes, status 0."""
    readings, results = tmp_path / "readings.csv", tmp_path / "results.csv"
    probes = call("copper", "plan", *base, "--json").document["probes"]
    readings.write_text("".join(f"{p['a']},{p['b']},{p['expect_ohms']}\n" for p in probes))
    proofs = call("prove", "plan", *base, "--json").document["proofs"]
    results.write_text("proof,passed,note\n" + "".join(f"{p['id']},yes,seen\n" for p in proofs))

    answer = call("prove", "gate", *base, "--readings", readings, "--evidence", results)

    assert answer.status == 0, answer.out
    assert "passed: nothing touched is left unproven" in answer.out


def test_a_failed_proof_holds_the_gate(base: list[Any], tmp_path: Path, call: Any) -> None:
    """The last result of a proof counts: a failure after a pass is told and holds the gate."""
    proof = call("prove", "plan", *base, "--json").document["to_do"][0]
    results = tmp_path / "results.csv"
    results.write_text(f"{proof},yes\n{proof},no,went dark\n")

    answer = call("prove", "gate", *base, "--evidence", results)

    assert answer.status == 1 and f"failed: {proof}" in answer.out


def test_a_fitted_jumper_counts_in_the_gate(base: list[Any], tmp_path: Path, call: Any) -> None:
    """An open that a jumper bridges no longer leaves the net unproven, once it is probed again."""
    pairs = [(p["net"], p["a"], p["b"]) for p in call("copper", "plan", *base, "--json").document["probes"]]
    rows = [f"{a},{b},{'OL' if net == 'N1' else 0.3}" for net, a, b in pairs]
    readings = tmp_path / "readings.csv"
    for _ in range(8):
        readings.write_text("\n".join(rows))
        plan = call("copper", "plan", *base, "--readings", readings, "--json").document
        rows += [f"{p['a']},{p['b']},0.3" for p in plan["probes"]]
        rows += [f"{j['a']},{j['b']},jumper" for j in plan["jumpers"] if not plan["probes"]]
        if not (plan["probes"] or plan["jumpers"]):
            break

    assert any(row.endswith("jumper") for row in rows)
    gate = call("prove", "gate", *base, "--readings", readings, "--json").document
    assert {"item": "net N1", "kind": "net", "name": "N1", "by": ["copper probes"]} in gate["proven"]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("clok,yes", "this board has no proof 'clok'"),
        ("discharge,maybe", "is no result; expected proof,passed,note"),
        ("discharge", "is no result"),
        (",yes", "is no result"),
        ('discharge,"yes', "broken CSV"),
    ],
)
def test_a_wrong_result_names_file_and_line(
    row: str, told: str, base: list[Any], tmp_path: Path, call: Any
) -> None:
    """A result that cannot count is refused, not passed over."""
    results = tmp_path / "results.csv"
    results.write_text(f"proof,passed,note\n\n{row}")

    answer = call("prove", "gate", *base, "--evidence", results, "--json")

    assert answer.status == 2
    assert f"{results}:3: " in answer.err and told in answer.err
