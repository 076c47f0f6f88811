"""The device table against a published pin chart, and what it refuses."""

import pytest

from coppermend.errors import InputError, UnknownName
from coppermend.rom.devices import devices, find_device, get_device, parse_devices, pin_differences

# Open byte-wide pin chart of the 24-pin 600-mil devices: control pins 18, 20, 21.
CHART = {
    "2716": ("/CE", "/OE", "VPP"), "2732": ("/CE", "/OE", "A11"), "2332": ("A11", "CS1", "CS2"),
    "2364": ("A11", "CS", "A12"), "2532": ("A11", "/PD", "VPP"), "2316": ("CS2", "CS1", "CS3"),
}  # fmt: skip


@pytest.mark.parametrize("name", CHART)
def test_control_pins_of_24_pin_devices(name):
    """Pins 18, 20 and 21 are those of the pin chart."""
    pins = get_device(name).pin_names

    assert (pins["18"], pins["20"], pins["21"]) == CHART[name]


@pytest.mark.parametrize("name", [n for n, d in devices().items() if d.pins == 24])
def test_common_pins_of_24_pin_devices(name):
    """Pins 1 to 8 are A7 to A0, 9 to 11 and 13 to 17 D0 to D7, 22 and 23 A9 and A8, on all (same chart)."""
    pins = get_device(name).pin_names

    assert [pins[str(n)] for n in range(1, 9)] == [f"A{7 - n}" for n in range(8)]
    assert [pins[str(n)] for n in (9, 10, 11, 13, 14, 15, 16, 17)] == [f"D{n}" for n in range(8)]
    assert (pins["22"], pins["23"], pins["24"]) == ("A9", "A8", "VCC")


@pytest.mark.parametrize("name", list(devices()))
def test_every_device_is_whole(name):
    """Size and address lines agree, every device has a source, and every other pin has a use."""
    device = get_device(name)
    used = {*device.address, *device.data, device.supply, device.ground, *device.selects, *device.read_ties}
    rest = {device.pin_names[pin] for pin in device.pin_names if pin not in used}

    assert device.bytes == 1 << len(device.address)
    assert device.source and device.access_ns > 0
    assert rest <= {"NC", "VPP", "/PGM", "RDY", "VBB", "VDD"}


def test_difference_of_2332_and_2732():
    """A 2332 and a 2732 swap pins 18 and 21, and differ in the selects (pin chart)."""
    found = {d.pin: (d.a, d.b) for d in pin_differences(get_device("2332"), get_device("2732"))}

    assert found == {"18": ("A11", "/CE"), "20": ("CS1", "/OE"), "21": ("CS2", "A11")}


def test_24_pins_in_28():
    """A 2732 in the lower 24 pins of a 2764's socket needs its supply where the 2764 has no connection."""
    found = pin_differences(get_device("2732"), get_device("2764"))

    assert [(d.pin, d.a, d.b) for d in found] == [("24", "VCC", "NC")]
    assert found[0].to_json()["pin"] == "24"


def test_names_as_printed_on_parts():
    """Prefixes, grades and suffixes are ignored; a CPU is no memory device."""
    assert find_device("TMM2732D").name == "2732"
    assert find_device("M27C256B-15").name == "27256"
    assert find_device("6502") is None
    with pytest.raises(UnknownName, match="27512"):
        get_device("4711")


def test_json_of_a_device():
    """The JSON of a device names its pins and levels."""
    document = get_device("2764").to_json()

    assert (document["pins"], document["pinout"]["20"], document["selects"]["20"]) == (28, "/CE", "low")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[", "TOML"),
        ('["X"]\npart = "2732"', "'X' is incomplete"),
        ('["X"]\npart = "nothing"\nbytes = 4096', "'X' is incomplete"),
        ('["X"]\npart="2732"\nfamily="E"\nbytes=3000\nselects={}\nsource=""', "power of two"),
        ('["X"]\npart="2732"\nfamily="E"\nbytes=4096\nselects={18="off"}\nsource=""', "level 'off'"),
        ('["X"]\npart="2732"\nfamily="E"\nbytes=4096\nselects={99="low"}\nsource=""', "no pin 99"),
    ],
)
def test_broken_tables(library, text, words):
    """A broken table is refused with the device's name."""
    with pytest.raises(InputError, match=words) as caught:
        parse_devices(text, library, "mine.toml")

    assert caught.value.where == "mine.toml"
