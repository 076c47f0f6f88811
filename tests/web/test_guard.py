"""The guard: foreign posts, sizes, headers, and what a browser may show of an attachment."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from starlette.datastructures import Headers

from coppermend.web.app import create_app
from coppermend.web.files import picture_type, shown_type
from coppermend.web.security import is_foreign

from coppermend.errors import InputError  # isort: skip


@pytest.mark.parametrize(
    ("headers", "foreign"),
    [
        ({}, False),
        ({"sec-fetch-site": "same-origin"}, False),
        ({"sec-fetch-site": "none"}, False),
        ({"sec-fetch-site": "same-site"}, True),
        ({"sec-fetch-site": "cross-site", "origin": "http://bench:8000", "host": "bench:8000"}, True),
        ({"origin": "http://bench:8000", "host": "bench:8000"}, False),
        ({"origin": "http://bench:8001", "host": "bench:8000"}, True),
        ({"origin": "null", "host": "bench:8000"}, True),
    ],
)
def test_foreign_requests_are_told_by_what_browsers_say(headers, foreign):
    """Fetch metadata decides, else the origin; a program that says nothing is not foreign (W3C Fetch Metadata)."""
    assert is_foreign(Headers(headers)) is foreign


def test_scripts_are_asked_for_again_after_an_update(at_work):
    """A browser must ask whether a script has changed, and is told so in short where it has not (RFC 9111, 5.2.2.4; RFC 9110, 15.4.5)."""
    first = at_work.client.get("/static/page.js")
    again = at_work.client.get("/static/page.js", headers={"if-none-match": first.headers["etag"]})

    assert first.status_code == 200 and again.status_code == 304 and not again.content
    assert first.headers["cache-control"] == again.headers["cache-control"] == "no-cache"


def test_a_post_from_another_site_changes_nothing(at_work):
    """A cross-site post is refused with 403 and the record stays as it was."""
    before = at_work.job.state.seq

    answer = at_work.client.post(
        f"/jobs/{at_work.number}/note",
        data={"stage": "receive", "text": "forged"},
        headers={"Sec-Fetch-Site": "cross-site"},
    )

    assert answer.status_code == 403
    assert at_work.job.state.seq == before


def test_reading_from_another_site_is_possible_and_not_framed(bench):
    """A link from elsewhere opens the page, but no other site may put it in a frame."""
    answer = bench.client.get("/", headers={"Sec-Fetch-Site": "cross-site"})

    assert answer.status_code == 200
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


def test_every_answer_carries_a_policy_without_inline_code(at_work):
    """Nothing from elsewhere and nothing inline may run, and no page needs it to."""
    for path in ("/", "/boards", f"/jobs/{at_work.number}/copper", "/no-such-page", "/static/page.js"):
        answer = at_work.client.get(path)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'self'") and "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert " style=" not in answer.text and "<script>" not in answer.text


def test_a_fault_of_the_program_is_told_without_its_inside(at_work, monkeypatch):
    """An unexpected error answers 500 with a page that says what is safe, and no traceback."""

    def broken(number):
        raise ZeroDivisionError("private matter")

    monkeypatch.setattr(at_work.desk, "job", broken)
    client = TestClient(at_work.client.app, raise_server_exceptions=False)

    answer = client.get(f"/jobs/{at_work.number}")

    assert answer.status_code == 500
    assert "acknowledged before is kept" in answer.text and "private matter" not in answer.text


def test_too_much_at_once_is_refused_before_it_is_read(tmp_path: Path):
    """A body over the limit is refused by its stated length."""
    with TestClient(create_app(tmp_path, most_bytes=1000)) as client:
        answer = client.post("/jobs/new", data={"customer": "x" * 2000})

    assert answer.status_code == 413


def test_too_much_is_refused_when_no_length_is_stated(tmp_path: Path):
    """A body that is sent in pieces is cut off once it is over the limit."""

    def pieces():
        for _ in range(10):
            yield b"customer=" + b"x" * 500

    with TestClient(create_app(tmp_path, most_bytes=1000)) as client:
        answer = client.post(
            "/jobs/new",
            content=pieces(),
            headers={"content-type": "application/x-www-form-urlencoded"},
        )

    assert answer.status_code == 413


def test_a_script_that_calls_itself_a_picture_is_only_handed_out(bench):
    """What is no picture by its first bytes is never shown, whatever type the sender gave it."""
    sha256 = bench.desk.store.attach(b"<svg onload='alert(1)'/>", "harmless.png", "image/png")

    answer = bench.client.get(f"/attachments/{sha256}")

    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment")
    assert (
        bench.client.get(f"/attachments/{sha256}/small").headers["content-type"] == "application/octet-stream"
    )


def test_a_name_cannot_break_out_of_its_header(bench):
    """Quotes and letters beyond ASCII in a file name are encoded (RFC 6266)."""
    sha256 = bench.desk.store.attach(b"%PDF-1.7", 'tag "é"; filename=x.html', "application/pdf")

    answer = bench.client.get(f"/attachments/{sha256}")

    assert answer.headers["content-disposition"] == (
        "inline; filename*=UTF-8''tag%20%22%C3%A9%22%3B%20filename%3Dx.html"
    )
    assert answer.headers["content-type"] == "application/pdf"


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"\x89PNG\r\n\x1a\n....", "image/png"),
        (b"\xff\xd8\xff\xe0", "image/jpeg"),
        (b"GIF89a", "image/gif"),
        (b"RIFF\0\0\0\0WEBPVP8 ", "image/webp"),
        (b"%PDF-1.7", "application/pdf"),
        (b"<html>", ""),
        (b"", ""),
    ],
)
def test_what_may_be_shown_is_told_by_its_first_bytes(data, kind):
    """Signatures: PNG (RFC 2083), JPEG (ISO/IEC 10918-1), GIF89a, WebP container (RFC 9649), PDF (ISO 32000)."""
    assert shown_type(data) == kind


def test_a_phones_picture_format_is_a_picture():
    """HEIF files (ISO/IEC 23008-12) are kept; anything else is refused by name."""
    assert picture_type(b"\0\0\0\x18ftypheic", "a.heic") == "image/heic"

    with pytest.raises(InputError) as refused:
        picture_type(b"%PDF-1.7", "invoice.pdf")

    assert refused.value.where == "invoice.pdf"
