"""The shop's reference list: lines are added once, found by content, taken off again; it survives a restart."""

import pytest

from coppermend.errors import InputError, UnknownName
from coppermend.job.reference import add_known, drop_known, known_image, known_images, reference_rows
from coppermend.job.store import Store
from coppermend.rom.checksums import sums
from coppermend.rom.reference import KnownImage, format_known_csv, identify, parse_known_csv

DATA = bytes(range(256)) * 16


def test_lines_are_kept_once_and_found_by_content(tmp_path):
    """A name with the same sums is added once; after a restart the content is known, other content is not."""
    line = known_image("program C, low half", DATA, "two boards")
    with Store.open(tmp_path) as store:
        assert add_known(store, [line, line], who="R. Tansy") == 1
        assert add_known(store, [line], who="R. Tansy") == 0

    with Store.open(tmp_path) as store:
        known, rows = known_images(store), reference_rows(store)

    assert [k.name for k in identify(sums(DATA), known)] == ["program C, low half"]
    assert identify(sums(DATA[::-1]), known) == ()
    assert rows[0].who == "R. Tansy" and rows[0].to_json()["note"] == "two boards"


def test_a_line_is_taken_off(tmp_path):
    """Dropping a line forgets it; dropping it again names the number."""
    with Store.open(tmp_path) as store:
        add_known(store, [known_image("x", DATA)], who="R. Tansy")
        number = reference_rows(store)[0].id
        drop_known(store, number)

        assert reference_rows(store) == ()
        with pytest.raises(UnknownName, match=f"'{number}'"):
            drop_known(store, number)


def test_nothing_is_added_without_an_author(tmp_path):
    """A list that nobody stands for is refused, whole."""
    with Store.open(tmp_path) as store, pytest.raises(InputError, match="author"):
        add_known(store, [known_image("x", DATA)], who=" ")


def test_the_list_goes_out_and_comes_back_as_csv():
    """What is written is read again, also with semicolons and a byte order mark from a spreadsheet."""
    lines = (known_image("a, with a comma", DATA), KnownImage("b", {"crc32": "0" * 8}, "note"))
    text = format_known_csv(lines)

    assert parse_known_csv(text) == lines
    assert parse_known_csv("\ufeffName;CRC32\nb;00000000\n") == (KnownImage("b", {"crc32": "0" * 8}),)


@pytest.mark.parametrize(
    ("text", "told", "line"),
    [
        ("sha256\n00\n", "lacks name", 1),
        ("name,sha256\nx,12\n", "sha256 '12'", 2),
        ("name,crc32\nok,00000000\n,00000000\n", "without name", 3),
        (f"name,crc32\n{'x' * 201},00000000\n", "201 .*characters", 2),
    ],
)
def test_a_wrong_list_is_told_by_line(text, told, line):
    """A row that says nothing usable is named by file and line."""
    with pytest.raises(InputError, match=told) as caught:
        parse_known_csv(text, "good.csv")

    assert (caught.value.where, caught.value.line) == ("good.csv", line)


def test_what_is_no_csv_is_told():
    """A line end in the middle of a field, as in a file that is no CSV, is refused in words."""
    with pytest.raises(InputError, match="is no CSV"):
        parse_known_csv("name,crc32\nx\ry,00000000\n", "good.csv")
