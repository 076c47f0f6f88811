"""The self test runs on an independent 6502 simulator (py65) against sound boards and planted faults."""

import re

import pytest
from py65.devices.mpu6502 import MPU
from py65.disassembler import Disassembler

from coppermend.board.folder import parse_board_folder
from coppermend.board.parttypes import standard_library
from coppermend.demo.board_data import demo_board_files
from coppermend.errors import InputError
from coppermend.rom.assemble import Assembly
from coppermend.rom.checksums import sums
from coppermend.rom.selftest import BAD, PASSED, RAM_CODE, ROM_CODE, STARTED, WALK_CODE, filler, self_test
from coppermend.rom.selftestplan import Area, SelfTestPlan, areas_of_board, check_ports_on_board

ROMS, RAMS = (Area(0xE000, 0x1000), Area(0xF000, 0x1000)), (Area(0x0000, 0x40), Area(0x0800, 0x120))
LAMP = (0x1001, 0x38, 0x30)
PLAN = SelfTestPlan(ROMS, RAMS, 0x0200, ((0x0201, 0xFF), (0x1801, 0x00)), (0x1800,), lamp=LAMP, delay=1)


class Bus:
    """A board on which memory faults can be planted; writes to ports are logged."""

    def __init__(self, test, read=None, write=None, rams=RAMS):
        self.ram = {a: 0xA7 for area in rams for a in range(area.start, area.last + 1)}
        self.rom = {area.start + n: b for area, image in zip(test.plan.roms, test.images, strict=True)
                    for n, b in enumerate(image)}  # fmt: skip
        self.log, self.read, self.write = [], read, write

    def __getitem__(self, address):
        if isinstance(address, slice):
            return [self[a] for a in range(*address.indices(0x10000))]
        if self.read and (seen := self.read(self, address)) is not None:
            return seen
        return self.rom.get(address, self.ram.get(address, 0xFF))

    def __setitem__(self, address, value):
        if address in self.ram:
            if not (self.write and self.write(self, address, value)):
                self.ram[address] = value
        else:
            assert address not in self.rom, f"writes to program memory at {address:04X}"
            self.log.append((address, value))


def run(bus, until=2_000_000, stop=lambda log: (0x0200, PASSED) in log):
    """What the ports saw, in order, until ``stop`` or so many instructions."""
    cpu = MPU(memory=bus)
    cpu.pc = bus[0xFFFC] | bus[0xFFFD] << 8
    for n in range(until):
        cpu.step()
        if n % 64 == 0 and stop(bus.log):
            break
    return bus.log


def codes(log):
    return [value for address, value in log if address == 0x0200]


@pytest.fixture(scope="module")
def test():
    return self_test(PLAN)


def test_a_sound_board_passes(test):
    """Codes in order, ports set up first, a single one walks over the port, the lamp is lit at the end."""
    bus = Bus(test)
    log = run(bus, stop=lambda log: LAMP[:2] in log)
    walked = [value for address, value in log if address == 0x1800]

    assert codes(log) == [STARTED, ROM_CODE, ROM_CODE + 1, RAM_CODE, RAM_CODE + 1, WALK_CODE, PASSED]
    assert walked == [1 << bit for bit in range(8)] + [0] and log[:2] == [(0x0201, 0xFF), (0x1801, 0)]
    assert log[-1] == LAMP[:2] and (LAMP[0], LAMP[2]) in log


def test_every_memory_has_the_same_sum_and_runs_without_ram(test):
    """All images add up to A55A; the program uses neither stack nor zero page."""
    assert {sums(image)["sum16"] for image in test.images} == {"A55A"}
    assert not {"JSR", "RTS", "PHA", "PLA", "PHP", "PLP", "BRK"} & {
        line.text.split()[0] for line in test.listing
    }


def shown(log):
    """The last two different values on the result port: the fault and its bits."""
    return set(codes(log)[-6:])


@pytest.mark.parametrize(
    ("address", "area"), [(0x0000, 0), (0x003F, 0), (0x0800, 1), (0x08FF, 1), (0x091F, 1)]
)
@pytest.mark.parametrize("level", [0, 1])
def test_a_stuck_cell_is_found_and_its_bit_shown(test, address, area, level):
    """A cell stuck at either level, at both ends of an area and of a page: code and bit in turn."""
    bit = 1 << (address % 8)

    def read(bus, at):
        if at == address:
            return bus.ram[at] | bit if level else bus.ram[at] & ~bit
        return None

    log = run(Bus(test, read), stop=lambda log: codes(log).count(BAD | RAM_CODE | area) > 3)

    assert shown(log) == {BAD | RAM_CODE | area, bit}


@pytest.mark.parametrize("pair", [(0x0803, 0x0807), (0x0810, 0x0910), (0x0000, 0x0020), (0x08FF, 0x0800)])
@pytest.mark.parametrize("kind", ["inversion up", "inversion down", "sets", "clears", "same cell"])
def test_coupled_cells_are_found(test, pair, kind):
    """A write to one cell that changes another, and two addresses that reach one cell (March C- finds all)."""
    from_, to = pair

    def write(bus, at, value):
        if kind == "same cell" and at == to:
            bus.ram[from_] = value
            return True
        if at == from_ and kind != "same cell":
            rose, fell = value & ~bus.ram[at] & 4, ~value & bus.ram[at] & 4
            if (kind == "inversion up" and rose) or (kind == "inversion down" and fell):
                bus.ram[to] ^= 4
            if kind in ("sets", "clears") and rose:
                bus.ram[to] = bus.ram[to] | 4 if kind == "sets" else bus.ram[to] & ~4
        return False

    def read(bus, at):
        return bus.ram[from_] if kind == "same cell" and at == to else None

    bad = BAD | RAM_CODE | (0 if to < 0x40 else 1)
    log = run(Bus(test, read, write), stop=lambda log: bad in codes(log))

    assert bad in codes(log) and PASSED not in codes(log)


def test_bits_coupled_within_a_byte_are_found(test):
    """Two shorted data lines of a RAM (wired AND): found thanks to the backgrounds, not by 00 and FF alone."""

    def read(bus, at):
        if 0x0800 <= at <= 0x091F:
            value = bus.ram[at]
            return value & ~3 | (3 if value & 3 == 3 else 0)
        return None

    log = run(Bus(test, read), stop=lambda log: codes(log).count(BAD | RAM_CODE | 1) > 3)

    assert shown(log) in ({BAD | RAM_CODE | 1, 1}, {BAD | RAM_CODE | 1, 2})


def test_dead_ram_is_still_told_and_counted_out(test):
    """With no RAM at all the test runs, shows the code, and the lamp flashes as often as the list says."""
    bus = Bus(test, write=lambda bus, at, value: True)
    log = run(bus, stop=lambda log: codes(log).count(BAD | RAM_CODE) > 2)
    fault = [n for n, entry in enumerate(log) if entry == (0x0200, BAD | RAM_CODE)]
    between = log[fault[0] : fault[1]]

    assert between.count(LAMP[:2]) == 3  # two program memories, then the first RAM
    assert "flashes 3 times" in dict(test.codes)[BAD | RAM_CODE]


@pytest.mark.parametrize("number", [0, 1])
def test_a_flipped_bit_in_a_program_memory_is_found(test, number):
    """One changed bit beyond the program changes the sum."""
    bus = Bus(test)
    bus.rom[ROMS[number].start + 0xE00] ^= 0x10
    bad = BAD | ROM_CODE | number

    assert bad in codes(run(bus, stop=lambda log: bad in codes(log)))


@pytest.mark.parametrize("line", range(12))
def test_a_stuck_address_line_of_the_other_memory_is_found(test, line):
    """Reading half of the memory twice changes the sum."""

    def read(bus, at):
        return bus.rom[at & ~(1 << line)] if 0xE000 <= at < 0xF000 else None

    assert BAD | ROM_CODE in codes(run(Bus(test, read), stop=lambda log: BAD | ROM_CODE in codes(log)))


def test_the_listing_is_what_an_independent_disassembler_reads(test):
    """Every line of the listing, bytes and instruction, as py65 disassembles the image (labels put in)."""
    names = {line.label: line.address for line in test.listing if line.label}
    dis = Disassembler(MPU(memory=Bus(test)))
    for line in test.listing:
        length, text = dis.instruction_at(line.address)
        ours = re.sub(r"[a-z]\w*", lambda m: f"${names[m[0]]:04x}" if m[0] in names else m[0], line.text)
        assert (length, text.lower()) == (len(line.data), ours.lower()), str(line)
        assert test.images[1][line.address - 0xF000 :][: len(line.data)] == line.data


def test_a_four_bit_ram_is_judged_by_its_bits():
    """With mask 0F the upper half of each byte may float."""
    plan = SelfTestPlan(ROMS[1:], (Area(0x0800, 0x100),), 0x0200, mask=0x0F, delay=1)
    bus = Bus(self_test(plan), lambda bus, at: bus.ram[at] & 0x0F | 0xA0 if 0x0800 <= at < 0x0900 else None)

    assert PASSED in codes(run(bus))


def test_the_board_tells_its_memories():
    """On the sample board: two program memories, 128 bytes in the timer chip, 256 in two RAMs; ports are checked."""
    board, library = parse_board_folder(demo_board_files()), standard_library()
    roms, rams = areas_of_board(board, library)

    assert [str(a) for a in (*roms, *rams)] == [
        "E000 to EFFF",
        "F000 to FFFF",
        "0000 to 007F",
        "0800 to 08FF",
    ]
    check_ports_on_board(board, SelfTestPlan(roms, rams, 0x0200, lamp=LAMP))
    with pytest.raises(InputError, match="port A000 is in no region"):
        check_ports_on_board(board, SelfTestPlan(roms, rams, 0xA000))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"roms": ()}, "last program memory"), ({"roms": ROMS[:1]}, "ends at FFFF"),
        ({"rams": (Area(0xFF00, 0x200),)}, "0000 to FFFF"), ({"rams": (Area(0, 0x40), Area(0x20, 1))}, "overlap"),
        ({"roms": (Area(0xFF80, 0x80),)}, "whole pages"), ({"result": 0x10}, "lies in the memory 0000 to 003F"),
        ({"result": 0x10000}, "0000 to FFFF"), ({"walks": (0x0200,)}, "both walks and shows"),
        ({"delay": 0}, "1 to 255"), ({"setup": ((0x201, 256),)}, "value 0x100"),
        ({"walks": tuple(range(0x1000, 0x1010))}, "at most 15"),
    ],
)  # fmt: skip
def test_plans_that_cannot_be(change, told):
    """Each is told with what was expected."""
    given = {"roms": ROMS, "rams": RAMS, "result": 0x0200, **change}
    with pytest.raises(InputError, match=told):
        SelfTestPlan(**given)


def test_programs_that_do_not_fit():
    """Too many RAM pages for the memory, and no room to bring the sum right, are told."""
    with pytest.raises(InputError, match="at most 250: fewer RAM pages"):
        self_test(SelfTestPlan((Area(0xFF00, 0x100),), RAMS, 0x0200))
    with pytest.raises(InputError, match="to bring the sum right"):
        self_test(SelfTestPlan((Area(0xFE00, 0x200),), (Area(0, 0x10),), 0x0200))


def test_filler_differs_everywhere():
    """Filler is the same on each call, and no half of it repeats."""
    area = Area(0xE000, 0x1000)

    assert filler(area) == filler(area) and len({filler(area)[n : n + 16] for n in range(0, 4096, 16)}) == 256


def test_the_assembler_refuses_what_is_wrong():
    """A label set twice or not at all, an unknown instruction, a branch too far, a program too long."""
    asm = Assembly(0xFFFE)
    asm.label("a")
    with pytest.raises(ValueError, match="set twice"):
        asm.label("a")
    with pytest.raises(ValueError, match="no LDA in mode i"):
        asm.op("LDA")
    asm.op("JMP", "ab", "a")
    with pytest.raises(InputError, match="ends at 0x10000"):
        asm.assemble()
    far = Assembly(0xF000)
    far.op("BNE", "r", 0xF100)
    with pytest.raises(ValueError, match="too far"):
        far.assemble()
    lost = Assembly(0xF000)
    lost.op("JMP", "ab", "nowhere")
    with pytest.raises(ValueError, match="not set"):
        lost.assemble()
