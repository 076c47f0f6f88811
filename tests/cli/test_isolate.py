"""``coppermend isolate`` and ``isolate simulate`` as a technician and a script use them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from coppermend.underway import heard_by


@pytest.fixture
def seen(tmp_path: Path) -> Path:
    """What was seen on a board whose reset line is held low."""
    path = tmp_path / "seen.csv"
    path.write_text("point,kind,value\n,symptom,no boot\n+5V,volts,5.02\nU1.37,logic,good\nU1.40,logic,low\n")
    return path


def test_suspects_come_as_json_with_the_next_measurement(call: Any, demo_folder: Path) -> None:
    """Without readings the answer has suspects by prior, a next measurement, and is not isolated."""
    answer = call("isolate", demo_folder, "--json")

    document = answer.document
    assert answer.status == 0 and document["isolated"] is False and document["decision"] == "measure"
    assert {"name", "kind", "probability"} <= set(document["suspects"][0])
    assert {"point", "kind", "gain_bits", "cost_s", "why"} <= set(document["next"][0])
    assert document["next"][0]["gain_bits"] > 0 and document["next"][0]["cost_s"] > 0


def test_readings_move_the_suspicion(call: Any, demo_folder: Path, seen: Path) -> None:
    """A reset line that is low accuses the capacitor that holds it."""
    document = call("isolate", demo_folder, "--readings", seen, "--json").document

    assert document["suspects"][0]["name"] == "C1" and len(document["evidence"]) == 4
    assert sum(s["probability"] for s in document["suspects"]) <= 1 + 1e-6


def test_the_search_tells_its_steps_while_it_works(call: Any, demo_folder: Path, seen: Path) -> None:
    """Whoever listens hears each step once, in order, before the answer: a terminal shows them as a bar."""
    heard: list[tuple[int, int, str]] = []

    with heard_by(lambda done, total, words: heard.append((done, total, words))):
        answer = call("isolate", demo_folder, "--readings", seen, "--json")

    assert answer.status == 0 and [(done, total) for done, total, _ in heard] == [(k, 4) for k in range(4)]
    assert [words.split()[0] for _, _, words in heard] == ["Reading", "Following", "Choosing", "Telling"]


def test_damage_moves_the_suspicion(call: Any, demo_folder: Path, demo_area: Path) -> None:
    """What lies in the damaged area is suspected more than before."""
    plain, damaged = (
        {
            s["name"]: s["probability"]
            for s in call("isolate", demo_folder, *more, "--json").document["suspects"]
        }
        for more in ((), ("--damage", demo_area))
    )

    assert max(damaged.values()) > max(plain.values())


def test_people_read_suspects_steps_and_cautions(
    call: Any, demo_folder: Path, tmp_path: Path, seen: Path
) -> None:
    """The text names the suspects, the next steps with their reason, and what to mind; then how it ends."""
    said = call("isolate", demo_folder)
    assert (
        "caution" in said.out
        and "suspects" in said.out
        and "bit, about" in said.out
        and "next: make" in said.out
    )

    done = call("isolate", demo_folder, "--readings", seen)
    assert "repair C1 now" in done.out or "isolated: C1" in done.out

    seen.write_text(
        seen.read_text() + "U1.40,logic,good\nU1.40,logic,good\nU9.3,logic,good\nU9.2,logic,good\n"
    )
    assert "contradicts the rest" in call("isolate", demo_folder, "--readings", seen).out


def test_the_named_command_is_the_same(call: Any, demo_folder: Path, seen: Path) -> None:
    """``isolate BOARD`` and ``isolate suspects BOARD`` answer alike, with the options in any order."""
    short = call("isolate", "--json", "--readings", seen, demo_folder).document

    assert short == call("isolate", "suspects", demo_folder, "--readings", seen, "--json").document


@pytest.mark.parametrize(
    ("row", "words"),
    [("U99.1,logic,high", "no point 'U99.1'"), ("U1.40,logic,mauve", "logic value 'mauve'"), ("U1.40,volts,9000", "9000")],
)  # fmt: skip
def test_a_bad_row_is_named_with_its_line(
    call: Any, demo_folder: Path, tmp_path: Path, row: str, words: str
) -> None:
    """Status 2 and one line on stderr: file, line, what is wrong."""
    path = tmp_path / "bad.csv"
    path.write_text(f"point,kind,value\n{row}\n")

    answer = call("isolate", demo_folder, "--readings", path)

    assert (
        answer.status == 2
        and f"{path}:2" in answer.err
        and words in answer.err
        and answer.err.count("\n") == 1
    )


@pytest.fixture
def row_folder(tmp_path: Path) -> Path:
    """Three inverters in a row between two pins of a connector."""
    folder = tmp_path / "row"
    folder.mkdir()
    (folder / "board.toml").write_text('name = "Row"\nwidth_mm = 60\nheight_mm = 40\n')
    (folder / "parts.csv").write_text("refdes,type\nU1,7404\nU2,7404\nU3,7404\nJ1,header\n")
    rows = "IN J1.1 U1.1,N1 U1.2 U2.1,N2 U2.2 U3.1,N3 U3.2 J1.2,+5V U1.14 U2.14 U3.14 J1.3,GND U1.7 U2.7 U3.7 J1.4"
    pins = [(net, *pin.split(".")) for net, *points in map(str.split, rows.split(",")) for pin in points]
    (folder / "nets.csv").write_text("net,refdes,pin\n" + "".join(f"{','.join(p)}\n" for p in pins))
    return folder


def test_a_simulation_counts_measurements_beside_its_baselines(call: Any, row_folder: Path) -> None:
    """Planted faults on a small board: means, bound and each search; the same seed gives the same answer."""
    words = ("isolate", "simulate", row_folder, "--faults", "6", "--seed", "3", "--json")

    document = call(*words).document

    assert document["faults"] == 6 == len(document["searches"]) and document == call(*words).document
    assert {"mean_measurements", "half_split_mean", "random_mean", "entropy_bound_bits", "top3_share"} <= set(
        document
    )
    assert "entropy bound" in call(*words[:-1]).out


def test_a_simulation_needs_a_number_and_a_board_with_signals(call: Any, small: Path, tmp_path: Path) -> None:
    """No faults, too many, or a board on which none shows: one clear line."""
    for count in ("0", "999999"):
        assert "--faults" in call("isolate", "simulate", small, "--faults", count).err
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "board.toml").write_text('name = "Bare"\nwidth_mm = 10\nheight_mm = 10\n')
    (bare / "parts.csv").write_text("refdes,type\n")
    (bare / "nets.csv").write_text("net,refdes,pin\n")

    assert "no fault on Bare shows" in call("isolate", "simulate", bare).err


def test_history_rework_and_repair_change_the_answer(call: Any, demo_folder: Path, tmp_path: Path) -> None:
    """What was the fault before and what was just worked on is suspected more; a repair makes bad readings void."""
    history, seen = tmp_path / "history.csv", tmp_path / "repaired.csv"
    history.write_text("refdes,times\nU3,2\n")
    seen.write_text(",symptom,no boot\nU1.40,logic,stuck low\nC1,repair,replaced\n")

    plain, told = (
        {
            s["name"]: s
            for s in call("isolate", demo_folder, *more, "--json").document["suspects"]
            if s["kind"] == "part"
        }
        for more in ((), ("--history", history, "--reworked", "U3"))
    )
    after = call("isolate", demo_folder, "--readings", seen, "--json").document
    text = call("isolate", demo_folder, "--readings", seen).out

    assert told["U3"]["probability"] > 5 * plain["U3"]["probability"] and len(told["U3"]["reasons"]) == 3
    assert [row["counts"] for row in after["evidence"]] == [False, False, True]
    assert after["suspects"][0]["name"] != "C1" and "repaired: C1" in text


@pytest.mark.parametrize(("text", "said"), [("U99,2\n", "'U99'"), ("U3,many\n", "U3,many"), ("U3\n", "U3")])
def test_a_history_that_cannot_be_read_is_refused(
    call: Any, demo_folder: Path, tmp_path: Path, text: str, said: str
) -> None:
    """Exit 2 and one line that names the file, the row and what was expected."""
    path = tmp_path / "history.csv"
    path.write_text(text)

    answer = call("isolate", demo_folder, "--history", path)

    assert answer.status == 2 and said in answer.err and "history.csv" in answer.err


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("U1.40,seconds,soon", "soon"), ("U2.9,seconds,0.1", "reset"), ("U1.9,ripple,0.1", "rail"),
        ("U1.9,logic,good,without R1", "R1"), ("U1.9,logic,good,frozen", "frozen"), ("U99,repair,done", "U99"),
    ],
)  # fmt: skip
def test_readings_that_make_no_sense_are_refused(
    call: Any, demo_folder: Path, tmp_path: Path, row: str, said: str
) -> None:
    """Ripple is of rails, reset timing of reset nets, an emptied socket of a socket."""
    path = tmp_path / "seen.csv"
    path.write_text(f"{row}\n")

    answer = call("isolate", demo_folder, "--readings", path)

    assert answer.status == 2 and said in answer.err


def test_every_kind_of_evidence_can_be_given(call: Any, demo_folder: Path, tmp_path: Path) -> None:
    """One row of each kind, and each condition, is understood."""
    path = tmp_path / "all.csv"
    path.write_text(
        ",symptom,no boot\n+5V,volts,5.02\n+5V,ripple,20m\nU1.40,seconds,0.2\nU1.37,hertz,0.89M\nU1.9,logic,good,forced\n"
        "U2.9,logic,floating,deselected\nU2.9,logic,good,without U4\nU2.9:U1.33,ohms,0.2\nU3,swap,same\n"
        "U4,visual,corroded\nU5,selftest,pass\nU2,repair,replaced\n"
    )

    answer = call("isolate", demo_folder, "--readings", path, "--json")

    assert answer.status == 0 and len(answer.document["evidence"]) == 13


def test_only_what_the_bench_has_is_proposed(call: Any, demo_folder: Path) -> None:
    """With a meter alone nothing asks for a probe, a spare or an adapter; without tools only eyes are asked for."""
    every, meter, none = (
        {row["kind"] for row in call("isolate", demo_folder, *more, "--json").document["next"]}
        for more in ((), ("--tools", "multimeter"), ("--tools", ""))
    )

    assert "logic" in every and meter and not meter & {"logic", "swap", "hertz"}
    assert none <= {"watch", "joints"}


def test_an_unknown_tool_is_refused(call: Any, demo_folder: Path) -> None:
    """Exit 2 and one line that names the option, the word and the words that are known."""
    answer = call("isolate", demo_folder, "--tools", "multimeter, crystal ball")

    assert answer.status == 2 and "--tools" in answer.err and "'crystal ball'" in answer.err
    assert "logic probe" in answer.err and answer.err.count("\n") == 1
