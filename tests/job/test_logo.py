"""The shop's logo: drawings are kept, whatever else an SVG may do is refused."""

import io

import pytest
from PIL import Image

from coppermend.errors import InputError
from coppermend.job.logo import MOST_BYTES, keep_logo, logo_kind, logo_of
from coppermend.job.shop import read_shop, set_shop
from coppermend.job.store import Store
from coppermend.papers.pictures import logo_svg

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">'
MARK = f'<?xml version="1.0"?><!-- Fen Lane -->{HEAD}<title>Fen Lane</title><path d="M0 0h9v9z" fill="#335"/></svg>'


def picture(kind):
    made = io.BytesIO()
    Image.new("RGB", (40, 20), "#335").save(made, kind)
    return made.getvalue()


@pytest.mark.parametrize(
    ("data", "kind"),
    [(MARK.encode(), "image/svg+xml"), (picture("PNG"), "image/png"), (picture("JPEG"), "image/jpeg")],
)
def test_a_logo_is_kept_by_its_content(tmp_path, data, kind):
    """What was sent comes back, is the shop's logo, and is an SVG for papers."""
    with Store.open(tmp_path / "data") as store:
        sha256 = keep_logo(store, data, "mark", who="R. Tansy")

        assert logo_of(store) == (data, kind)
        assert read_shop(store).logo == sha256
        assert b"<svg" in logo_svg(data, kind)
        set_shop(store, {"logo": ""}, who="R. Tansy")
        assert logo_of(store) == (b"", "")


@pytest.mark.parametrize(
    "inside",
    [
        "<script>alert(1)</script>",
        '<rect onload="alert(1)"/>',
        '<rect ONCLICK="alert(1)"/>',
        '<a href="https://example.org"><rect/></a>',
        '<use href="https://example.org/x.svg#a"/>',
        '<use xlink:href="data:image/svg+xml;base64,PHN2Zz4="/>',
        '<image href="https://example.org/x.png"/>',
        "<foreignObject><p>x</p></foreignObject>",
        "<style>@import url(https://example.org/x.css);</style>",
        '<rect style="fill:url(https://example.org/x)"/>',
        "<style>rect{fill:\\75 rl(https://example.org/x)}</style>",
        '<animate attributeName="href" values="javascript:alert(1)"/>',
        '<set attributeName="onload" to="alert(1)"/>',
        '<rect xmlns="http://www.w3.org/1999/xhtml"/>',
    ],
)
def test_an_svg_that_does_more_than_draw_is_refused(inside):
    """By a list of what is allowed; the message says what was found (attacks listed by OWASP for SVG, from memory)."""
    with pytest.raises(InputError, match="does more than draw"):
        logo_kind(f"{HEAD}{inside}</svg>".encode())


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (f'<!DOCTYPE svg [<!ENTITY a "b">]>{HEAD}</svg>'.encode(), "document type"),
        (f"<!doctype svg>{HEAD}</svg>".encode("utf-16"), "not UTF-8"),
        (b'<?xml-stylesheet href="x.css"?>' + f"{HEAD}</svg>".encode(), "style sheet"),
        (b"<html></html>", "is no picture"),
        (b"", "is no picture"),
        (picture("PNG")[:60], "cannot be decoded"),
        (b"x" * (MOST_BYTES + 1), "1,000,001 bytes"),
    ],
)
def test_what_is_no_whole_picture_is_refused(data, match):
    """Other files, cut ones and large ones are told apart."""
    with pytest.raises(InputError, match=match):
        logo_kind(data)
