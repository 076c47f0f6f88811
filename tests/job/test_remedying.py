"""Remedies that need more than one room: one larger ROM on an adapter, proofs of new parts, what a choice comes to."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pytest

from coppermend.board.atrisk import Touch
from coppermend.board.check import check_board
from coppermend.board.folder import parse_board_folder
from coppermend.board.model import PinRef
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.errors import InputError, UnknownName
from coppermend.job.assess import assess
from coppermend.job.known import board_facts
from coppermend.job.planning import plan_effect, remedy_facts
from coppermend.job.remedying import adapter_wiring, offered_remedies, proofs_of, required_proofs
from coppermend.job.state import EvidenceLine, JobState
from coppermend.rework.apply import apply_remedies, apply_remedy
from coppermend.rework.larger import larger_rom
from coppermend.rework.stocked import Stock
from coppermend.rework.verify import check_remedy, conflicts
from coppermend.rom.adapt import plan_adapter
from coppermend.rom.adapter import AdapterGate, verify_adapter
from coppermend.rom.devices import get_device
from coppermend.rom.readmap import socket_of

LIBRARY = standard_library()


@lru_cache
def demo():
    board = with_package_pads(parse_board_folder(demo_board_files()))
    return board, {r.id: r for r in offered_remedies(board, LIBRARY, Touch())}


def larger():
    return demo()[1]["larger-eprom"]


def errors(board):
    return [f for f in check_board(board, LIBRARY) if f.severity == "error"]


def test_two_roms_become_one_on_an_adapter():
    """Off, on, wires, steps, proof: with every address simulated and the access time known."""
    remedy = larger()
    checks = {c.name: c for c in remedy.checks}

    assert remedy.parts_off == ("U2", "U3")
    assert [line.type for line in remedy.parts_on] == ["adapter-plug", "2764"]
    assert checks["every CPU address reads as before"].value == "8,192 of 8,192 addresses, 0 wrong"
    assert checks["access time of the new device"].ok
    assert remedy.ok and not remedy.note_only
    assert remedy.requires[0].id == "contents:U28"
    assert any("U2 at offset 0000 (CPU E000 to EFFF)" in step for step in remedy.steps)


def test_the_edited_board_passes_its_check():
    """The plug takes the socket's contacts, the new device answers for both, and nothing is left floating."""
    board, _ = demo()
    after = apply_remedy(board, LIBRARY, larger())

    assert errors(after) == []
    assert check_remedy(board, LIBRARY, larger()) == ()
    assert after.index.net_of_pin[PinRef("U28", "20")] == "ROMBLK_N"
    assert after.index.net_of_pin[PinRef("P6", "9")] == board.index.net_of_pin[PinRef("U3", "9")]
    assert {p for r in after.memory_map for p in r.parts} >= {"U28"}


@pytest.mark.parametrize("number", range(27))
def test_each_wire_left_out_is_named(number):
    """27 wires; without any one of them the check says which pin is not joined to what."""
    board, remedy = demo()[0], larger()
    cut = replace(remedy, jumpers=remedy.jumpers[:number] + remedy.jumpers[number + 1 :])
    found = [f for f in check_remedy(board, LIBRARY, cut) if f.code == "missing-connection"]

    assert [f.subjects[0] for f in found] == [remedy.jumpers[number][0]]


def test_it_combines_with_the_others():
    """Supercapacitor, supervisor and one larger ROM: no conflict, no error."""
    board, offered = demo()
    chosen = [
        offered[n] for n in ("supercapacitor-BT1", "reset-supervisor", "supply-capacitors", "larger-eprom")
    ]

    assert conflicts(chosen) == ()
    assert errors(apply_remedies(board, LIBRARY, chosen)) == []


def test_where_no_adapter_fits_the_note_says_why():
    """Without the decoder's nets nothing selects one device as the two were."""
    board, _ = demo()
    nets = {n: tuple(p for p in pins if p.refdes != "U1") for n, pins in board.nets.items()}
    cut = replace(board, nets={n: pins for n, pins in nets.items() if pins})

    note = next(r for r in offered_remedies(cut, LIBRARY, Touch()) if r.id == "larger-eprom")

    assert note.note_only
    assert "An adapter could not be planned:" in note.why


def test_a_gate_on_the_adapter_is_wired_and_checked():
    """Where the select is made by an AND of both old ones: four wires of the gate more, none of them to spare."""
    board, _ = demo()
    plan = plan_adapter(
        board, LIBRARY, [socket_of(board, LIBRARY, r) for r in ("U2", "U3")], get_device("2764")
    )
    gate = AdapterGate("UA1", "74LS08", ("ROM0_N", "ROM1_N"), "ADAPTER_SELECT")
    wires = tuple(
        replace(w, net=gate.output, source="UA1", how="gate") if w.name == "/CE" else w for w in plan.wires
    )
    adapter = replace(plan, wires=wires, gates=(gate,))
    contents = {"U2": bytes(range(256)) * 16, "U3": bytes(range(255, -1, -1)) * 16}
    remedy = larger_rom(board, LIBRARY, adapter_wiring(LIBRARY, adapter), ())
    pins = {a: b for a, b in remedy.connections if a.startswith("U28.")}

    assert verify_adapter(board, LIBRARY, adapter, contents).passed
    assert [line.type for line in remedy.parts_on] == ["adapter-plug", "2764", "74LS08"]
    assert (pins["U28.1"], pins["U28.2"], pins["U28.14"]) == ("ROM0_N", "ROM1_N", "+5V")
    assert ("U27.20", "U28.3") in remedy.connections
    assert pins["U28.4"] == "GND"  # what is not used rests
    assert check_remedy(board, LIBRARY, remedy) == ()
    for number, (a, _) in enumerate(remedy.jumpers):
        if a.startswith("U28."):
            cut = replace(remedy, jumpers=remedy.jumpers[:number] + remedy.jumpers[number + 1 :])
            assert "missing-connection" in {f.code for f in check_remedy(board, LIBRARY, cut)}


def test_a_mask_rom_of_unknown_select_keeps_the_note():
    """Which level selects it is part of its mask; the note says what to find out."""
    board, _ = demo()
    parts = tuple(
        replace(p, type="2316", value="2316") if p.refdes in ("U2", "U3") else p for p in board.parts
    )
    odd = replace(board, parts=parts, memory_map=())

    note = next(r for r in offered_remedies(odd, LIBRARY, Touch()) if r.id == "larger-eprom")

    assert note.note_only and "could not be planned" in note.why


def test_without_a_clock_no_access_time_is_claimed():
    """The contents are still simulated."""
    board, _ = demo()
    found = {r.id: r for r in offered_remedies(replace(board, clocks=()), LIBRARY, Touch())}["larger-eprom"]

    assert [c.name for c in found.checks] == ["room for all programs", "every CPU address reads as before"]


def test_a_board_without_several_roms_is_offered_none():
    """One ROM is one ROM."""
    board, _ = demo()
    board = replace(board, parts=tuple(p for p in board.parts if p.refdes != "U2"))

    assert "larger-eprom" not in {r.id for r in offered_remedies(board, LIBRARY, Touch())}


def test_the_new_device_must_be_proven():
    """The gate stays shut until the burnt device was read back; the proof comes with the remedy and only with it."""
    board, _ = demo()
    state = JobState(remedies=("larger-eprom",))
    found = assess(board, LIBRARY, state)
    passed = {p.id: EvidenceLine(p.id, True, "", 1) for p in found.proofs if p.id != "contents:U28"}
    shut = assess(board, LIBRARY, replace(state, evidence=passed))
    both = {**passed, "contents:U28": EvidenceLine("contents:U28", True, "", 1)}

    assert "contents:U28" in {p.id for p in found.proofs_to_do}
    assert "contents:U28" not in {p.id for p in assess(board, LIBRARY, JobState()).proofs}
    assert [item.subject.name for item in shut.gate.open] == ["U28"]
    assert assess(board, LIBRARY, replace(state, evidence=both)).gate.passed


def test_proofs_of_one_remedy_are_the_least_that_cover_it():
    """A supervisor calls for the reset proof, the coin cell also for its own."""
    board, offered = demo()
    proofs = board_facts(board, LIBRARY).proofs

    assert [p.id for p in proofs_of(offered["reset-supervisor"], board, proofs)] == ["reset:RES_N"]
    assert "uncharged:BT2" in {p.id for p in proofs_of(offered["coin-cell-BT1"], board, proofs)}
    assert proofs_of(replace(larger(), note_only=True), board, proofs) == ()
    assert [p.id for p in required_proofs([larger()])] == ["contents:U28"]


def test_what_a_choice_comes_to():
    """Kit with the shelf, time, price, proofs; the job itself stays as it is."""
    board, _ = demo()
    found = assess(board, LIBRARY, JobState())
    shelf = (Stock("supercapacitor", "1.5F", "", 1, 4.0, "B2"),)

    effect = plan_effect(found, LIBRARY, ["supercapacitor-BT1", "reset-supervisor"], shelf)
    supplies = {s.line.type: s for s in effect.supplies}

    assert supplies["supercapacitor"].places == ("B2",)
    assert effect.to_order == 1
    assert effect.price == pytest.approx(effect.parts_price + effect.labour)
    assert {p.id for p in effect.more_proofs} >= {"retention:BT1", "reset:RES_N"}
    assert effect.findings == () and effect.conflicts == ()
    assert found.state.remedies == ()
    assert effect.to_json()["chosen"] == ["supercapacitor-BT1", "reset-supervisor"]


def test_a_choice_that_cannot_be_is_refused():
    """Unknown ids, and two that exclude each other."""
    found = assess(demo()[0], LIBRARY, JobState())

    with pytest.raises(UnknownName):
        plan_effect(found, LIBRARY, ["gold plating"])
    with pytest.raises(InputError) as error:
        plan_effect(found, LIBRARY, ["supercapacitor-BT1", "coin-cell-BT1"])
    assert "exclude each other" in error.value.found


def test_facts_of_a_remedy_are_worked_out_once():
    """The same object the second time; a note has none."""
    board = demo()[0]

    assert remedy_facts(board, LIBRARY, larger()) is remedy_facts(board, LIBRARY, larger())
    assert remedy_facts(board, LIBRARY, larger()).drawing.startswith("<svg")
    assert remedy_facts(board, LIBRARY, replace(larger(), note_only=True)).proofs == ()


def test_lifting_a_chip_for_a_remedy_leaves_its_socket():
    """The adapter plugs into it; the old programs are kept until they have been read."""
    found = assess(demo()[0], LIBRARY, JobState(remedies=("larger-eprom",)))

    assert [(i.refdes, i.fate) for i in found.strip] == [("U2", "test"), ("U3", "test")]
    assert {i.refdes for i in found.refit} == {"P6", "U28"}


@pytest.mark.shared
def test_a_shared_board_gets_its_strap(shared_boards):
    """A real board, read from its fabrication files: each remedy on offer is carried out soundly, wire by wire."""
    from coppermend.board.importing import Source, import_board

    folder = shared_boards / "trainer-computer"
    board, _ = import_board(
        name=folder.name,
        ipc356=Source("board.d356", (folder / "board.d356").read_bytes()),
        gerber=[Source(f.name, f.read_bytes()) for f in sorted((folder / "gerber").iterdir())],
        parts=Source("parts.csv", (folder / "parts.csv").read_bytes()),
        library=LIBRARY,
    )
    offered = {r.id: r for r in offered_remedies(board, LIBRARY, Touch()) if not r.note_only}
    strap = offered["input-straps"]
    before = {(f.code, f.subjects) for f in errors(board)}

    for remedy in offered.values():
        assert check_remedy(board, LIBRARY, remedy) == ()
        assert {(f.code, f.subjects) for f in errors(apply_remedy(board, LIBRARY, remedy))} <= before
    for number in range(len(strap.jumpers)):
        cut = replace(strap, jumpers=strap.jumpers[:number] + strap.jumpers[number + 1 :])
        assert "missing-connection" in {f.code for f in check_remedy(board, LIBRARY, cut)}
