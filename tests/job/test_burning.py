"""The burn list of a job: last image of each place, its verdict, and what cannot be burnt as it stands."""

from coppermend.job.burning import burn_lines, keep_burn
from coppermend.job.state import fold
from coppermend.job.store import Store
from coppermend.rom.burning import BurnItem, check_read_back
from coppermend.rom.devices import get_device

DATA = bytes(range(256)) * 16
ITEM = BurnItem("U3", get_device("2732"), "program C", "2", 0xF000, 0xFFFF, DATA)


def lines(store, job):
    return burn_lines(store, fold(store.entries(job)))


def test_an_image_is_kept_once_and_its_read_back_judged(tmp_path):
    """Keeping the same image again with a read-back adds the read-back alone; the last verdict counts."""
    with Store.open(tmp_path) as store:
        job = store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")
        keep_burn(store, job, ITEM, b"", None, who="R. Tansy")
        assert lines(store, job)[0].verdict == "not read back"

        for read, verdict in ((b"\xff" * 4096, "not verified"), (DATA, "verified")):
            kept = keep_burn(store, job, ITEM, read, check_read_back(DATA, read), who="R. Tansy")
            (line,) = lines(store, job)
            assert (len(kept), line.verdict, line.verdict_seq) == (1, verdict, kept[0].seq)

        document = line.to_json()
        assert document["item"]["label"] == ["U3 2732", "program C 2", "F000-FFFF", "sum16 F800"]
        assert document["item"]["version"] == "2" and document["sha256"] == line.image.sha256


def test_a_new_image_for_a_place_has_not_been_read_back(tmp_path):
    """A read-back of the image before does not verify the one that took its place."""
    other = BurnItem("U3", get_device("2732"), "program D", "", None, None, DATA[::-1])
    with Store.open(tmp_path) as store:
        job = store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")
        keep_burn(store, job, ITEM, DATA, check_read_back(DATA, DATA), who="R. Tansy")
        keep_burn(store, job, other, b"", None, who="R. Tansy")

        assert [(line.image.name, line.verdict) for line in lines(store, job)] == [
            ("program D.bin", "not read back")
        ]


def test_what_cannot_be_burnt_is_told(tmp_path):
    """An image without a device, or of another size than its device, is listed with what is wrong."""
    with Store.open(tmp_path) as store:
        job = store.new_job({"customer": "O. Penhallow"}, who="R. Tansy")
        sha256 = store.attach(DATA, "x.bin")
        for place, device in (("U2", ""), ("U3", "2764")):
            body = {"sha256": sha256, "name": "x.bin", "what": "burn", "refdes": place}
            store.append(job, "image", "refit", body | ({"device": device} if device else {}), who="R. Tansy")

        first, second = lines(store, job)

    assert first.item is None and "none was named" in first.trouble
    assert "expected 8,192 bytes" in second.trouble and second.to_json()["item"] is None
