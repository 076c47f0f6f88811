"""Outputs that do not follow are traced to the driver, latch, decoder or contact that explains all of them."""

from __future__ import annotations

from random import Random

import pytest

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.proving.drive import DriveResult, Outputs, explain_drive


@pytest.fixture(scope="module")
def board():
    return parse_board_folder(demo_board_files())


@pytest.fixture(scope="module")
def outputs(board):
    return Outputs.of(board, standard_library())


def one_by_one(outputs, dead=(), stuck=(), joined=(), swapped=()):
    """Nothing commanded, then each output alone, on a machine with this fault."""
    other = {**dict(zip(swapped, reversed(swapped), strict=True))}
    results = []
    for commanded in [frozenset(), *(frozenset({net}) for net in outputs.contacts)]:
        seen = {other.get(net, net) for net in commanded} - set(dead) | set(stuck)
        results.append(
            DriveResult(commanded, frozenset(seen | (set(joined) if seen & set(joined) else set())))
        )
    return results


def test_outputs_are_those_that_the_board_drives_to_a_contact(outputs):
    """Sixteen lamps and eight coils of the demo board are among them, each with its driver in its cone."""
    names = set(outputs.contacts)

    assert {f"LAMP{n}" for n in range(16)} | {f"COIL{n}" for n in range(8)} <= names
    assert any(
        outputs.role_of(p)[0] == "driver" for p, nets in outputs.governed.items() if nets == ("LAMP3",)
    )


@pytest.mark.parametrize("seed", range(6))
def test_an_open_point_is_among_those_that_explain_best(board, outputs, seed):
    """Whatever point opens: all explanations that are as good govern just the outputs that stay dark."""
    pin = Random(seed).choice(sorted(outputs.governed))
    dark = outputs.governed[pin]

    found = explain_drive(board, standard_library(), one_by_one(outputs, dead=dark))

    same = [f for f in found if set(f.outputs) == set(dark) and f.kind == "open"]
    assert str(pin) in {f.where[0] for f in same}
    assert found[0] in same and sum(f.probability for f in found) <= 1.0001


def test_a_coil_that_stays_on_is_its_driver_first(board, outputs):
    """A stuck driver comes before the logic behind it."""
    found = explain_drive(board, standard_library(), one_by_one(outputs, stuck=["COIL2"]))

    assert (found[0].kind, found[0].outputs) == ("stuck on", ("COIL2",)) and found[0].words.startswith(
        "driver "
    )
    assert any("gate output" in f.words for f in found)


@pytest.mark.parametrize("kind", ["shorted", "swapped"])
def test_neighbouring_contacts(board, outputs, kind):
    """Two lamps that come on together, or for each other, are two contacts."""
    plug, pins = "J4", {}
    for net, contacts in outputs.contacts.items():
        pins |= {int(p.pin): net for p in contacts if p.refdes == plug}
    first = next(n for n in sorted(pins) if n + 1 in pins)
    pair = (pins[first], pins[first + 1])

    results = one_by_one(outputs, **{"joined" if kind == "shorted" else "swapped": pair})
    found = explain_drive(board, standard_library(), results)

    assert (found[0].kind, set(found[0].outputs)) == (kind, set(pair))
    assert found[0].where == (f"{plug}.{first}", f"{plug}.{first + 1}")


def test_sound_outputs_need_no_explanation(board, outputs):
    """Everything did as commanded."""
    assert explain_drive(board, standard_library(), one_by_one(outputs)) == ()


def test_a_latch_and_a_decoder_are_called_so(outputs):
    """Words name what the part does."""
    words = {outputs.role_of(pin)[1].split(" ")[0] for pin in outputs.governed}

    assert {"driver", "contact", "latch", "decoder", "gate"} <= words
