"""What an entry must carry before it is kept."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coppermend.errors import InputError
from coppermend.job.plain import DEEPEST, plain
from coppermend.job.validate import KINDS, check_body, check_header, check_kind, check_stage, check_who

SHA = "0" * 64
RING = [[[0, 0], [5, 0], [5, 5], [0, 0]]]
AREA = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"severity": 0.8},
            "geometry": {"type": "Polygon", "coordinates": RING},
        }
    ],
}
GOOD = {
    "job": {"customer": "Ana"},
    "board": {"name": "Tiny", "sha256": SHA},
    "photo": {"sha256": SHA, "name": "front.jpg", "media_type": "image/jpeg", "caption": "top"},
    "image": {"sha256": SHA, "name": "u3.bin", "what": "burn", "refdes": "U3", "verified": True},
    "damage": {"area": AREA},
    "note": {"text": "white residue at the battery"},
    "remedy": {"id": "fram", "chosen": True},
    "observation": {"point": "U3.9", "kind": "logic", "value": "low", "condition": "running"},
    "strip": {"refdes": "U3", "done": True, "fate": "discard"},
    "reading": {"a": "U3.9", "b": "V17", "ohms": 0.3},
    "jumper": {"net": "A5", "a": "U3.9", "b": "U4.1", "side": "top"},
    "refit": {"refdes": "U3", "done": True},
    "evidence": {"proof": "rails", "passed": False},
    "trial": {"test": "matrix", "commanded": ["S1:R2"], "seen": []},
    "decay": {"refdes": "C7", "hours": 0.5, "volts": 4.6},
    "proof": {"id": "book-3", "title": "Lamp test", "shows": ["lamps"], "watched": "each", "offered": True},
    "waiver": {"reason": "customer wants it back today", "items": ["net RES_N", "part U3"]},
    "stage": {"stage": "copper"},
    "paper": {"what": "tag", "sha256": SHA, "name": "tag.pdf"},
    "void": {"seq": 4, "why": "wrong pin"},
    "approval": {"what": "quote of 3 March", "approved": True, "by": "O. Penhallow"},
    "shipping": {"direction": "out", "carrier": "by hand", "tracking": ""},
    "payment": {"state": "part-paid", "amount": "40.00"},
    "video": {"url": "https://example.org/start.mp4", "caption": "does not start"},
    "waiting": {"parts": "C5 C7", "arrived": False, "until": "2026-03-20"},
    "timer": {"does": "add", "minutes": -5},
    "fingerprint": {"codes": {"U5": "8142", "U9": "7936"}},
    "comeback": {"job": "26-0042-U", "why": "same serial"},
    "erased": {"entries": [1], "why": "asked for on 3 March"},
}


def with_feature(**changes: object) -> dict[str, object]:
    """The damage area with its one feature changed."""
    return {"type": "FeatureCollection", "features": [{**AREA["features"][0], **changes}]}


def test_every_kind_has_a_good_example():
    """Each kind of entry accepts its example unchanged."""
    assert set(GOOD) == set(KINDS)
    assert {kind: check_body(check_kind(kind), body) for kind, body in GOOD.items()} == GOOD


@pytest.mark.parametrize(
    ("kind", "key"),
    [
        ("board", "name"), ("board", "sha256"), ("photo", "sha256"), ("damage", "area"), ("note", "text"),
        ("remedy", "chosen"), ("strip", "done"), ("reading", "ohms"), ("reading", "a"), ("jumper", "net"),
        ("refit", "refdes"), ("evidence", "passed"), ("waiver", "reason"), ("waiver", "items"), ("trial", "seen"), ("decay", "volts"), ("proof", "shows"), ("stage", "stage"), ("paper", "what"), ("void", "seq"),
    ],
)  # fmt: skip
def test_missing_key_is_named(kind: str, key: str):
    """A body without a key it needs is refused, naming kind, key and what should be there."""
    body = {k: v for k, v in GOOD[kind].items() if k != key}

    with pytest.raises(InputError) as caught:
        check_body(kind, body)

    assert caught.value.found == f"{kind} entry lacks {key!r}"
    assert caught.value.expected


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [
        ("job", "customer", 7), ("job", "machine", "x" * 201), ("board", "sha256", "0" * 63),
        ("board", "sha256", "Z" * 64), ("note", "text", "  "), ("note", "text", "x" * 20_001),
        ("remedy", "chosen", "yes"), ("remedy", "chosen", 1), ("strip", "fate", "bin"), ("strip", "refdes", ""),
        ("reading", "ohms", -1), ("reading", "ohms", "open"), ("reading", "ohms", True),
        ("reading", "ohms", None), ("reading", "a", "U3 9"), ("reading", "b", ""), ("jumper", "side", "left"),
        ("trial", "commanded", "S1:R2"), ("trial", "seen", [""]), ("trial", "test", "rails"), ("trial", "fresh", 1),
        ("decay", "hours", -1), ("decay", "volts", "4.6"), ("decay", "volts", True), ("proof", "watched", "once"), ("proof", "shows", []),
        ("evidence", "passed", None), ("stage", "stage", "paint"), ("void", "seq", 0), ("void", "seq", True),
        ("void", "seq", 1.0), ("damage", "area", "POLYGON"), ("damage", "area", {"type": "Feature"}),
        ("damage", "area", {"type": "FeatureCollection", "features": {}}),
        ("damage", "area", {"type": "FeatureCollection", "features": ["x"]}),
        ("damage", "area", with_feature(geometry=None)),
        ("damage", "area", with_feature(geometry={"type": "Point", "coordinates": [0, 0]})),
        ("damage", "area", with_feature(properties={"severity": 1.1})),
        ("damage", "area", with_feature(properties={"severity": "much"})),
        ("damage", "area", with_feature(properties=["x"])),
    ],
)  # fmt: skip
def test_wrong_value_is_named(kind: str, key: str, value: object):
    """A value of the wrong type or range is refused, naming its key."""
    with pytest.raises(InputError) as caught:
        check_body(kind, {**GOOD[kind], key: value})

    assert f"{kind} entry has {key} " in caught.value.found
    assert len(str(caught.value)) < 300


def test_keys_beyond_the_known_are_kept():
    """What a later version adds to a body survives."""
    body = {"text": "x", "seen_by": ["Bo", None, 3, 0.5, True]}

    assert check_body("note", body) == body


def test_open_circuit_and_whole_ohms_are_readings():
    """OL, integers and a nulled meter a little below zero are readings as well as decimals."""
    for ohms in ("OL", 0, 47, 4.7, -0.1):
        assert check_body("reading", {**GOOD["reading"], "ohms": ohms})["ohms"] == ohms


def test_a_damage_feature_without_severity_is_accepted():
    """An area without a severity counts as wholly damaged and is accepted."""
    assert check_body("damage", {"area": with_feature(properties=None)})
    assert check_body("damage", {"area": with_feature(properties={"severity": None})})


def test_reading_to_itself_is_refused():
    """A reading between a point and itself says nothing about copper."""
    with pytest.raises(InputError) as caught:
        check_body("reading", {"a": "U3.9", "b": "U3.9", "ohms": 0})

    assert "to itself" in caught.value.found


@pytest.mark.parametrize(
    ("value", "found"),
    [
        (float("nan"), "nan"), (float("inf"), "inf"), (2**60, str(2**60)), (10**400, "1000"), ("a\x00b", "character"),
        ("\ud800", "character"), ({1: "x"}, "the key 1"), (b"x", "bytes"), ({"\x00": 1}, "a key of"), ({3}, "set"),
    ],
)  # fmt: skip
def test_only_plain_json_is_kept(value: object, found: str):
    """Values that JSON or a database could not give back exactly are refused."""
    with pytest.raises(InputError) as caught:
        check_body("note", {"text": "x", "more": value})

    assert found in caught.value.found


def test_deep_nesting_is_refused():
    """A body nested beyond the limit is refused, long before the interpreter's own limit."""
    value: object = "x"
    for _ in range(50_000):
        value = [value]

    with pytest.raises(InputError) as caught:
        plain(value)

    assert f"deeper than {DEEPEST}" in caught.value.found


def test_large_body_is_refused():
    """More than 4 MB belongs into an attachment."""
    with pytest.raises(InputError) as caught:
        check_body("note", {"text": "x", "more": ["y" * 1_000_000] * 5})

    assert "4,000,000 bytes" in caught.value.found


@pytest.mark.parametrize("body", [None, [], "text", 3])
def test_body_must_be_an_object(body: object):
    """A body that is no mapping is refused."""
    with pytest.raises(InputError) as caught:
        check_body("note", body)

    assert caught.value.expected == "a JSON object"


def test_unknown_kind_and_stage_list_the_known_ones():
    """A misspelt kind or stage is answered with what exists."""
    with pytest.raises(InputError) as kind:
        check_kind("remark")
    with pytest.raises(InputError) as stage:
        check_stage("wash")

    assert "note" in kind.value.expected
    assert "copper" in stage.value.expected


@pytest.mark.parametrize("who", ["", "   ", "a\nb", "x" * 201, None, 3])
def test_author_must_have_a_name(who: object):
    """An entry without an author is refused."""
    with pytest.raises(InputError) as caught:
        check_who(who)

    assert "author" in caught.value.found


def test_author_is_kept_without_blanks():
    """Blanks around a name are not part of it."""
    assert check_who(" Bo ") == "Bo"


@pytest.mark.parametrize("header", [{}, {"customer": " "}, {"machine": "Pebble Run"}])
def test_header_needs_a_customer(header: dict[str, str]):
    """A job is somebody's."""
    with pytest.raises(InputError) as caught:
        check_header(header)

    assert "customer" in caught.value.found


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.binary(max_size=3),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text() | st.integers(), inner, max_size=4),
)


@given(
    st.sampled_from(KINDS), st.dictionaries(st.sampled_from(["a", "b", "area", "text", "ohms", "seq"]), JSON)
)
def test_any_body_is_kept_or_refused(kind: str, body: dict[str, object]):
    """Whatever a body holds, it is copied equal or refused with one clear error."""
    try:
        kept = check_body(kind, body)
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert kept == plain(body)


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("job", {"promised": "31.3.2026"}), ("job", {"promised": "2026-02-30"}), ("job", {"promised": "20260331"}),
        ("video", {"url": "javascript:alert(1)"}), ("video", {"url": "https://"}), ("video", {"url": "http://[x"}),
        ("video", {"url": "https://example.org/a b"}), ("timer", {"does": "start", "minutes": 3}),
        ("timer", {"does": "add"}), ("timer", {"does": "add", "minutes": 1e6}), ("payment", {"state": "later"}),
        ("fingerprint", {"codes": {}}), ("fingerprint", {"codes": {"U5": 8142}}), ("shipping", {"direction": "up"}),
    ],
)  # fmt: skip
def test_malformed_dealings_are_refused(kind: str, body: dict[str, object]):
    """Dates that do not exist, addresses that are none, and minutes without a reason are refused."""
    with pytest.raises(InputError) as caught:
        check_body(kind, body)

    assert caught.value.expected
