"""The drawing: well-formed whatever the names, true to scale, truly mirrored, and told apart without colour."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
import shapely
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from coppermend.board.draw import Overlay, draw_board
from coppermend.board.draw_overlays import overlay_layer
from coppermend.board.draw_svg import Frame, number
from coppermend.board.folder import parse_board_folder
from coppermend.board.model import Board, CopperArea, Pad, Part, PinRef, Track, Via
from coppermend.board.packages import with_package_pads
from coppermend.board.parttypes import PartLibrary, parse_part_types
from coppermend.demo.board_data import demo_board_files
from coppermend.errors import InputError, UnknownName

SVG = "{http://www.w3.org/2000/svg}"
BOARD = with_package_pads(
    Board(
        "Lift", 60, 40, revision="C",
        parts=(
            Part("U1", "7400", x_mm=10, y_mm=30, package="DIP-14"),
            Part("C1", "capacitor", x_mm=30, y_mm=30, package="DISC-2.5"),
            Part("D1", "diode", x_mm=40, y_mm=10, package="AXIAL-10.16"),
            Part("Q1", x_mm=45, y_mm=25, package="TO-92", side="bottom"),
            Part("R9"),
        ),
        nets={"CLK": (PinRef("U1", "1"), PinRef("C1", "1")), "GND": (PinRef("U1", "7"), PinRef("R9", "1"))},
        vias=(Via("V1", "CLK", 25, 20, 0.4, 1.0),),
        tracks=(
            Track("CLK", "top", 10, 30, 20, 30, 0.4), Track("CLK", "top", 20, 30, 25, 20, 0.4),
            Track("CLK", "bottom", 25, 20, 30, 30, 0.4),
        ),
        areas=(CopperArea("GND", "bottom", "POLYGON ((1 1, 59 1, 59 5, 1 5, 1 1))"),),
    )
)  # fmt: skip
LIBRARY = PartLibrary(
    parse_part_types(
        '["diode"]\ndescription="d"\nkind="diode"\npolarised=true\npins=["1 K passive", "2 A passive"]'
    )
)


def drawn(board: Board = BOARD, **how) -> ElementTree.Element:
    """The drawing as an element tree: fails when it is not well-formed."""
    return ElementTree.fromstring(draw_board(board, **how))


def layer(root: ElementTree.Element, name: str) -> ElementTree.Element:
    (found,) = (g for g in root if g.get("class") == f"layer {name}")
    return found


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_layers(side):
    """Every layer is a group with its class and an id that starts with the prefix; ids are unique."""
    root = drawn(side=side, prefix="job-7", overlays=[Overlay("damage", shape=shapely.box(1, 1, 9, 9))])

    names = [g.get("class").removeprefix("layer ") for g in root if g.get("class")]
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert set(names) == {
        "outline", "areas", "copper-top", "copper-bottom", "vias", "bodies", "pads", "pin-1", "overlays",
        "refdes", "labels", "caption",
    }  # fmt: skip
    assert len(ids) == len(set(ids)) and all(i.startswith("job-7") for i in ids)


def test_places_are_true_to_scale_and_mirrored():
    """On the top a via stands at (x, height - y); on the bottom its x is counted from the right edge."""
    for side, x in (("top", "25"), ("bottom", "35")):
        (via,) = layer(drawn(side=side), "vias").findall(f"{SVG}circle")

        assert (via.get("cx"), via.get("cy"), via.get("r")) == (x, "20", ".5")
        assert (via.get("data-point"), via.get("data-net")) == ("V1", "CLK")


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_a_renderer_puts_ink_where_the_board_has_pads(side, tmp_path):
    """Seen by an independent SVG renderer, each pad's ring is dark and its hole light, on both sides."""
    (tmp_path / "board.svg").write_text(draw_board(BOARD, side=side, caption=False), "utf-8")
    page = tmp_path / "page.typ"
    page.write_text('#set page(width: 66mm, height: 46mm, margin: 0mm)\n#image("board.svg", width: 66mm)')
    picture = cv2.imdecode(
        np.frombuffer(typst.compile(page, format="png", ppi=508.0), np.uint8), cv2.IMREAD_GRAYSCALE
    )

    for pad in BOARD.pads:
        x, y = Frame.of(BOARD, side).spot(pad.x_mm, pad.y_mm)
        column, row = round((x + 3) * 20), round((y + 3) * 20)  # 3 mm margin, 20 px/mm
        ring = round((pad.size_mm + pad.hole_mm) / 4 * 20)
        assert picture[row, column] > 200 and picture[row + ring, column] < 90, pad.ref


names = st.text(min_size=1, max_size=10)


@settings(max_examples=120)
@given(names, names, names.filter(lambda n: "." not in n), names)
def test_any_names_give_well_formed_xml(refdes, net, via, label):
    """Markup, quotes, control characters and lone surrogates in names are never markup in the drawing."""
    board = Board(
        name=label, width_mm=20, height_mm=20, revision=net,
        parts=(Part(refdes, label, x_mm=5, y_mm=15, package="DIP-8"),),
        nets={net: (PinRef(refdes, "1"),)}, pads=(Pad(refdes, "1", 5, 15, 0.8, 1.6),),
        vias=(Via(via, net, 9, 9, 0.4),), tracks=(Track(net, "top", 1, 1, 9, 9, 0.3),),
    )  # fmt: skip

    root = drawn(board, overlays=[Overlay("probe", (via, f"{refdes}.1"), label=label)], show_legend=True)

    seen = layer(root, "vias").find(f"{SVG}circle").get("data-point")
    kept = re.sub("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", via)
    assert seen == kept


def test_numbers_are_short():
    """No length has more than two decimals: 0.01 mm is finer than any print."""
    board = Board("B", 20, 20, tracks=(Track("A", "top", 1 / 3, 2 / 3, 10 / 3, 20 / 7, 0.123456),))

    assert not re.search(r"\d\.\d{3}|\.\d{3}", draw_board(board))


@given(st.floats(-10_000, 10_000))
def test_short_numbers_read_back(value):
    """A short number is within 0.005 of the value, and is a number of the SVG grammar."""
    written = number(value)

    assert re.fullmatch(r"-?(\d+|\d*\.\d+)", written) and abs(float(written) - value) <= 0.005 + 1e-9


def test_large_boards_stay_small():
    """A board of 5,000 pads and 2,000 tracks is drawn in less than 1 MB."""
    spots = [(i % 100 * 3.0, i // 100 * 3.0) for i in range(5000)]
    pads = tuple(Pad(f"U{i // 14}", str(i % 14), x, y, 0.8, 1.6) for i, (x, y) in enumerate(spots))
    tracks = tuple(Track(f"N{i // 10}", "top", x, y, x + 2, y, 0.3) for i, (x, y) in enumerate(spots[:2000]))
    nets = {f"N{i}": tuple(pad.ref for pad in pads[i * 10 : i * 10 + 10]) for i in range(500)}

    assert len(draw_board(Board("B", 300, 150, pads=pads, tracks=tracks, nets=nets)).encode()) < 1_000_000


def test_tracks_of_a_net_are_one_path():
    """Tracks of one net, layer and width are one path, and go on where the last one ended."""
    root = drawn()

    (top,) = layer(root, "copper-top")
    assert top.get("data-net") == "CLK" and top.get("stroke-width") == ".4"
    assert top.get("d") == "M10 10 20 10 25 20"


def test_pads_of_the_other_side_are_not_shown():
    """A surface-mount pad on the bottom is drawn on the bottom only; shapes follow the pad."""
    pads = (Pad("U1", "1", 5, 5, 0, 2, "bottom", 1, False), Pad("U1", "2", 9, 5, 0, 3, "bottom", 1, True))
    board = Board("B", 20, 20, pads=pads)

    square, oblong = layer(drawn(board, side="bottom"), "pads").iter(f"{SVG}rect")

    assert not list(layer(drawn(board), "pads").iter(f"{SVG}rect"))
    assert (square.get("x"), square.get("width"), square.get("height"), square.get("rx")) == (
        "14",
        "2",
        "1",
        None,
    )
    assert oblong.get("rx") == ".5"


def test_parts_of_the_other_side_are_dashed():
    """The outline of a part on the other side is dashed; on its own side it is whole."""
    for side, dashed in (("top", {"Q1"}), ("bottom", {"U1", "C1", "D1"})):
        bodies = layer(drawn(side=side), "bodies")

        assert {b.get("data-refdes") for b in bodies if b.get("stroke-dasharray")} == dashed


def test_pin_1_is_marked_where_it_matters():
    """Parts of three or more pads are marked, two-lead parts only when their type must not be turned."""
    marked = {m.get("data-refdes") for m in layer(drawn(), "pin-1")}
    with_library = {m.get("data-refdes") for m in layer(drawn(library=LIBRARY), "pin-1")}

    assert marked == {"U1"} and with_library == {"U1", "D1"}
    assert {m.get("data-refdes") for m in layer(drawn(side="bottom"), "pin-1")} == {"Q1"}


@pytest.mark.parametrize("package", ["DIP-14", "DIP-40", "SIP-8", "HDR-2X5", "TO-92", "EDGE-10", "DIP-4"])
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_the_mark_of_pin_1_points_at_it(package, turn):
    """The wedge touches no pad, and its tip is nearer to pin 1 than to any other pin."""
    part = Part("U1", x_mm=50, y_mm=50, rotation_deg=turn, package=package)
    board = with_package_pads(Board("B", 100, 100, parts=(part,)))

    (mark,) = layer(drawn(board), "pin-1")
    corners = np.array(re.findall(r"-?[\d.]+", mark.get("d")), dtype=float).reshape(-1, 2) * [1, -1] + [
        0,
        100,
    ]

    nearest = board.space.tree.nearest(shapely.Point(corners[0]))
    assert board.pads[nearest].pin == "1"
    assert not len(board.space.touching(shapely.Polygon(corners)))


def test_names_keep_off_pads():
    """A name that does not fit between its pads stands beside the part; one that fits stands in the body."""
    texts = {t.get("data-refdes"): t for t in layer(drawn(), "refdes")}
    x, y = float(texts["C1"].get("x")), float(texts["C1"].get("y"))

    assert abs(x - 31.25) < 0.01 and 10 - y > 1.5  # C1 lies at y 30: 10 mm from the top edge
    assert "".join(texts["U1"].itertext()) == "U1\u00a07400"
    assert texts["U1"].get("transform").startswith("rotate(-90")


def test_parts_that_share_a_refdes():
    """Several parts of one refdes without a package get no body that would span the board between them."""
    holes = (Part("REF**", x_mm=3, y_mm=3), Part("REF**", x_mm=57, y_mm=37), Part("REF**", package="HOLE-3"))
    board = Board(
        "B", 60, 40, parts=holes, pads=(Pad("REF**", "1", 3, 3, 3, 6), Pad("REF**", "1", 57, 37, 3, 6))
    )

    bodies = layer(drawn(board), "bodies")

    assert len(bodies) == 1 and not len(layer(drawn(board), "pin-1"))


SHAPES = shapely.GeometryCollection(
    [shapely.box(1, 1, 9, 9), shapely.Point(20, 20), shapely.LineString([(1, 1), (5, 5)]), shapely.Polygon()]
)
OVERLAYS = [
    Overlay("damage", shape=shapely.box(1, 1, 9, 9).difference(shapely.box(2, 2, 3, 3)), label="bath"),
    Overlay("touched", ("U1", "V1", "C1.1", "CLK"), label="a"),
    Overlay("strip", ("U1", "R9"), label="1"),
    Overlay("probe", ("U1.1", "C1.1"), label="1"),
    Overlay("suspect", ("D1",), label="1"),
    Overlay("jumper", ("U1.1", "C1.1"), label="W1"),
    Overlay("net", ("CLK", "GND"), label="never shown: a net has no place"),
    Overlay("damage", shape=SHAPES),
    Overlay("damage", shape=shapely.Polygon()),
    Overlay("touched", shape=shapely.Point(5, 5), label="spot"),
]


@pytest.mark.parametrize("side", ["top", "bottom"])
def test_overlays(side):
    """Every kind is a group that says its kind and names; labels stand over everything."""
    root = drawn(side=side, overlays=OVERLAYS)
    groups = list(layer(root, "overlays"))

    assert [g.get("data-kind") for g in groups] == [o.kind for o in OVERLAYS]
    assert groups[3].get("data-names") == "U1.1 C1.1" and groups[3].find(f"{SVG}title").text == "probe 1"
    assert [t.text for t in layer(root, "labels").iter(f"{SVG}text")] == ["a", "1", "1", "1", "W1", "spot"]


def test_overlays_for_a_drawing_that_is_there_already():
    """Overlays drawn on their own are those of the whole drawing, with the labels behind them."""
    frame = Frame.of(BOARD, "top")

    alone = overlay_layer(BOARD, frame, "board", OVERLAYS)

    whole = draw_board(BOARD, overlays=OVERLAYS)
    first, second = alone.split('<g class="layer labels"')
    assert first in whole and second in whole


def test_a_jumper_is_drawn_along_the_run_of_its_wire():
    """Three corners in the order given, in the picture's millimetres; without a run the straight line is drawn."""
    run = shapely.LineString([(10, 30), (10, 12), (30, 12)])
    frame = Frame.of(BOARD, "top")
    corners = "M" + " ".join(f"{number(x)} {number(y)}" for x, y in (frame.spot(*at) for at in run.coords))

    drawn = overlay_layer(BOARD, frame, "x", [Overlay("jumper", ("U1.1", "C1.1"), run)])
    straight = overlay_layer(BOARD, frame, "x", [Overlay("jumper", ("U1.1", "C1.1"))])

    assert drawn.count(corners) == 2 and corners not in straight


def test_a_probe_is_a_line_between_its_points():
    """A probe's and a jumper's line runs between the two points, where the board has them."""
    for kind in ("probe", "jumper"):
        (group,) = layer(drawn(overlays=[Overlay(kind, ("U1.1", "C1.1"))]), "overlays")

        lines = [p.get("d") for p in group.iter(f"{SVG}path")]
        assert lines == ["M10 10 30 10"] * 2  # a light line and a dark one, halo or core


def test_a_net_is_whole_on_this_side_and_dashed_on_the_other():
    """Copper of a highlighted net on the far layer is dashed, so that one sees where to scrape."""
    (group,) = layer(drawn(overlays=[Overlay("net", ("CLK",))]), "overlays")

    far, near = [p for p in group.iter(f"{SVG}path") if p.get("stroke") != "#fffefa"]
    assert far.get("stroke-dasharray") and not near.get("stroke-dasharray")
    assert len(list(group.iter(f"{SVG}circle"))) == 3  # two pads and a via


def test_severity_shows_in_the_hatching():
    """Light, moderate and heavy damage have three hatchings that differ without colour (48, 112, 176 of 255)."""
    levels = [48 / 255, 111 / 255, 112 / 255, 175 / 255, 176 / 255, 1.0]
    root = drawn(overlays=[Overlay("damage", shape=shapely.box(1, 1, 9, 9), severity=s) for s in levels])

    fills = [g.find(f"{SVG}path").get("fill") for g in layer(root, "overlays")]
    assert fills == [f"url(#board-{w})" for w in ("light", "light", "moderate", "moderate", "heavy", "heavy")]
    hatches = [ElementTree.tostring(p).split(b">", 1)[1] for p in root.iter(f"{SVG}pattern")]
    assert len(hatches) == len(set(hatches)) == 3


def test_legend():
    """The legend explains the kinds that are there, in rows that end with the board."""
    root = drawn(overlays=OVERLAYS, show_legend=True)
    samples = layer(root, "legend")

    words = [t.text for t in samples.iter(f"{SVG}text")]
    assert words == [
        "light damage", "moderate damage", "heavy damage", "touched by damage", "comes off", "probe", "suspect",
        "jumper", "net",
    ]  # fmt: skip
    assert max(float(t.get("x")) for t in samples.iter(f"{SVG}text")) < 60
    lowest = max(float(t.get("y")) for t in samples.iter(f"{SVG}text"))
    assert lowest < sum(map(float, root.get("viewBox").split()[1::2]))


def test_a_legend_for_a_bare_drawing_is_empty():
    """Without overlays there is nothing to explain."""
    root = drawn(show_legend=True, caption=False)

    assert len(layer(root, "legend")) == 0 and not [g for g in root if g.get("class") == "layer caption"]


@pytest.mark.parametrize("name", ["U2", "U1.15", "V9", "", "no such net"])
def test_unknown_names_in_an_overlay(name):
    """An overlay about something that the board lacks is refused by its name."""
    with pytest.raises(UnknownName) as caught:
        draw_board(BOARD, overlays=[Overlay("touched", (name,))])

    assert caught.value.name == name


def test_pins_without_a_place_are_left_out():
    """A pin that is on a net but has no pad cannot be drawn, and is no error."""
    (group,) = layer(drawn(overlays=[Overlay("touched", ("R9.1",), label="x")]), "overlays")

    assert len(group) == 1 and group[0].tag == f"{SVG}title"


@pytest.mark.parametrize("prefix", ["", "7", 'a"b', "a b", "ä"])
def test_bad_prefix(prefix):
    """A prefix that cannot start an XML id is refused."""
    with pytest.raises(InputError) as caught:
        draw_board(BOARD, prefix=prefix)

    assert "a letter" in caught.value.expected


def test_an_outline_that_is_not_at_the_origin():
    """The view box follows the outline, wherever it lies, and says so for the page's script."""
    board = Board("B", 30, 20, outline=((-10, -5), (20, -5), (20, 15), (-10, 15)))

    root = drawn(board)

    assert root.get("viewBox").startswith("-3 -3 36 ")
    assert (root.get("data-left-mm"), root.get("data-bottom-mm"), root.get("data-width-mm")) == (
        "-10",
        "-5",
        "30",
    )


@pytest.mark.parametrize(("kind", "mark"), [("remedy", "stroke-dasharray"), ("proof", "url(#board-lines)")])
def test_remedies_and_what_is_to_be_proven_have_lines_of_their_own(kind, mark):
    """Told apart without colour: a dashed outline, and ruled lines whose pattern is in the drawing."""
    board = parse_board_folder(demo_board_files())
    svg = draw_board(with_package_pads(board), overlays=[Overlay(kind, ("U1",))])

    drawn = next(g for g in ElementTree.fromstring(svg).iter() if g.get("data-kind") == kind)

    assert mark in ElementTree.tostring(drawn, "unicode")
    assert kind == "remedy" or 'id="board-lines"' in svg
