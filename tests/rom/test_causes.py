"""Why two images differ: the true cause is named, alone and beside a second one."""

import numpy as np
import pytest

from coppermend.rom.causes import find_causes
from coppermend.rom.faults import Fault, addresses_seen, bytes_seen, fault_words, line_faults
from coppermend.rom.likelihood import content_bits, leftover_bits, naming_bits

from . import damaged
from .rom_samples import program


def test_single_faults_are_named_first():
    """Of 66 damaged dumps of every kind, all true causes are named first (full figures: tools/measure_rom.py)."""
    cases = [damaged.single(seed) for seed in range(66)]

    named = [damaged.names(find_causes(contents, dump)[0], faults) for contents, dump, faults in cases]

    assert sum(named) >= 65


def test_two_faults_are_in_the_first_three():
    """Of 24 dumps with two faults at once, at least 23 have both named together among the first three causes."""
    cases = [damaged.double(seed) for seed in range(24)]

    named = [
        any(damaged.names(cause, faults) for cause in find_causes(contents, dump)[:3])
        for contents, dump, faults in cases
    ]

    assert sum(named) >= 23


def test_equal_images_have_no_cause():
    """Equal images need no cause."""
    data = np.arange(256, dtype=np.uint8)

    assert find_causes(data, data.copy()) == ()


def test_unrelated_images_are_said_to_be_unrelated():
    """Two random images: no fault is claimed."""
    rng = np.random.default_rng(5)
    a, b = (rng.integers(0, 256, 2048, np.uint8) for _ in range(2))

    assert find_causes(a, b)[0].faults == ()
    assert "different contents" in find_causes(a, b)[0].words


def test_the_first_image_can_be_the_bad_one():
    """When the image that was trusted is the one with a stuck line, the cause says so."""
    good = np.frombuffer(program(3, 4096), np.uint8)
    bad = bytes_seen(Fault("data-stuck", (6,), 0))[good]
    cause = find_causes(bad, good)[0]

    assert (cause.faults, cause.suspect) == ((Fault("data-stuck", (6,), 0),), "first")


def test_swaps_blame_neither():
    """A swap undoes itself: nothing tells which image has it."""
    good = np.frombuffer(program(4, 4096), np.uint8)

    assert find_causes(good, bytes_seen(Fault("data-swapped", (1, 5)))[good])[0].suspect == "either"


def test_reversed_data_lines():
    """All eight lines in reverse are named as an order of lines, inverted ones as inverted."""
    good = np.frombuffer(program(8, 4096), np.uint8)
    order = Fault("data-order", tuple(range(7, -1, -1)))

    assert find_causes(good, bytes_seen(order)[good])[0].faults == (order,)
    assert find_causes(good, ~good)[0].faults == (Fault("data-inverted"),)


def test_a_floating_address_line():
    """Bytes that are now of one level of a line, now of the other, show that line to be open."""
    good = np.frombuffer(program(9, 4096), np.uint8)
    at = np.arange(4096)
    tossed = at ^ (np.random.default_rng(1).integers(0, 2, 4096) << 5)

    assert find_causes(good, good[tossed])[0].faults == (Fault("address-open", (5,)),)


def test_pairs_of_swapped_bytes():
    """Bytes swapped in pairs have words of their own."""
    good = np.frombuffer(program(10, 2048), np.uint8)
    cause = find_causes(good, good.reshape(-1, 2)[:, ::-1].reshape(-1))[0]

    assert cause.words == "bytes swapped in pairs (A0 inverted)"


def test_sizes_that_are_no_power_of_two():
    """Data-line faults are found in images of any size; address faults are not claimed."""
    good = np.frombuffer(program(11, 3000), np.uint8)

    assert find_causes(good, good | 4)[0].faults == (Fault("data-stuck", (2,), 1),)


def test_small_images():
    """Images of one and two bytes have causes too, without an error."""
    one, two = np.array([1], np.uint8), np.array([1, 2], np.uint8)

    assert find_causes(one, np.array([3], np.uint8))
    assert find_causes(two, two[::-1].copy())


def test_json_of_a_cause():
    """Likelihoods are shares, and faults carry kind, lines and words."""
    good = np.frombuffer(program(12, 2048), np.uint8)
    causes = find_causes(good, good | 1)
    document = causes[0].to_json()

    assert 0.99 < document["likelihood"] <= 1 and sum(c.likelihood for c in causes) <= 1 + 1e-9
    assert document["faults"][0] == {
        "kind": "data-stuck", "lines": [0], "mode": 1, "words": "data line D0 stuck high, or open and read as high",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("fault", "seen"),
    [
        (Fault("address-stuck", (1,), 1), [2, 3, 2, 3, 6, 7, 6, 7]),
        (Fault("address-stuck", (0,), 0), [0, 0, 2, 2, 4, 4, 6, 6]),
        (Fault("address-swapped", (0, 2)), [0, 4, 2, 6, 1, 5, 3, 7]),
        (Fault("address-shorted", (0, 1), 0), [0, 0, 0, 3, 4, 4, 4, 7]),
        (Fault("address-shorted", (0, 1), 1), [0, 3, 3, 3, 4, 7, 7, 7]),
        (Fault("address-inverted", (2,)), [4, 5, 6, 7, 0, 1, 2, 3]),
        (Fault("offset", (), 3), [3, 4, 5, 6, 7, 0, 1, 2]),
    ],
)
def test_what_address_faults_do(fault, seen):
    """Worked by hand for three address lines."""
    assert addresses_seen(fault, np.arange(8, dtype=np.int32), 8).tolist() == seen


def test_counts_of_line_faults():
    """Eight lines: 16 stuck, 28 swapped, 56 shorted; address lines can be inverted one by one, data lines as one."""
    assert len(line_faults("data", 8)) == 16 + 28 + 56 + 1
    assert len(line_faults("address", 8)) == 16 + 28 + 56 + 8


@pytest.mark.parametrize("kind", ["data-open", "region", "flips", "address-open", "address-shorted"])
def test_every_kind_has_words_and_a_price(kind):
    """Every kind can be said, and costs bits to name."""
    fault = Fault(kind, (1, 2) if "shorted" in kind else (1,), 1)

    assert "{" not in fault_words(fault)
    assert naming_bits(fault, 12, 4096) >= 0


def test_bits_of_a_description():
    """No wrong bit costs nothing; one among 2^14 costs about 14 bits and its count; a blank image is cheap."""
    assert leftover_bits(0, 100) == 0
    assert 14 <= leftover_bits(1, 1 << 14) <= 19
    assert content_bits(np.zeros(1000, np.uint8)) == 257
