"""X2 attributes: what net, pin and component each object carries."""

from __future__ import annotations

from coppermend.board.readers.gerber import ObjectTag, parse_gerber
from coppermend.board.readers.gerber_words import split_attribute, unescape

from .gerber_samples import gerber


def read(*words: str):
    return parse_gerber(gerber(*words), "F_Cu.gbr")


def test_object_attributes_stay_until_deleted():
    """.N, .P and .C hold for flashes, strokes and regions until %TD names them or all (specification 5.4, 5.5)."""
    layer = read(
        "%TO.N,CLK*%", "X0Y0D03*", "%TO.P,U3,9,GPIO*%", "X1000000D01*", "%TD.P*%", "G36*", "X0Y0D02*",
        "X1000000D01*", "Y1000000D01*", "G37*", "%TO.C,R5*%", "X0Y0D03*", "%TD*%", "X0Y0D03*",
    )  # fmt: skip

    assert [o.tag for o in layer.objects] == [
        ObjectTag("CLK"),
        ObjectTag("CLK", "U3", "9", "GPIO"),
        ObjectTag("CLK"),
        ObjectTag("CLK", "R5"),
        ObjectTag(),
    ]


def test_the_pins_component_wins_over_c():
    """.P names its component itself, whatever .C says."""
    layer = read("%TO.C,R5*%", "%TO.P,U3,9*%", "X0Y0D03*")

    assert layer.flashes[0].tag == ObjectTag("", "U3", "9")


def test_aperture_attributes_belong_to_apertures_defined_after():
    """.AperFunction is taken at %AD, and at G36 for regions; deleting it later changes nothing."""
    layer = read(
        "%TA.AperFunction,ViaPad*%", "%ADD20C,0.8*%", "%TD.AperFunction*%", "%ADD21C,0.8*%", "D20*",
        "X0Y0D03*", "D21*", "X0Y0D03*",
    )  # fmt: skip

    assert [f.aperture.function for f in layer.flashes] == ["ViaPad", ""]


def test_attributes_in_comments_count():
    """Standard comments ``G04 #@!`` carry X2 attributes for readers that know them; other comments do not."""
    layer = read(
        "G04 #@! XX.Unknown,1*",
        "G04 #@! TF.FileFunction,Copper,L1,Top*",
        "G04 #@! TO.N,GND*",
        "G04 TO.N,VCC*",
        "X0Y0D03*",
    )

    assert layer.function == ("Copper", "L1", "Top")
    assert layer.flashes[0].tag.net == "GND"


def test_escapes_are_read_after_splitting():
    r"""``\u002C`` is a comma inside a field; surrogates and half escapes do no harm."""
    assert split_attribute(r".N,A\u002CB,\u00B5C") == (".N", ("A,B", "µC"))
    assert unescape(r"\U0001F600") == "\U0001f600"
    assert unescape(r"\uD800|\U00FFFFFF") == "\N{REPLACEMENT CHARACTER}|\N{REPLACEMENT CHARACTER}"
    assert unescape(r"\u12|\x") == r"\u12|\x"


def test_names_keep_spaces_slashes_and_tildes():
    """Hierarchical and overbarred names come through whole; several nets give the first."""
    layer = read("%TO.N,/CPU Board/~{RESET},OTHER*%", "X0Y0D03*", "%TO.N*%", "X0Y0D03*")

    assert [f.tag.net for f in layer.flashes] == ["/CPU Board/~{RESET}", ""]
