"""The isolate page: suspects on the board, the next measurement large, what each observation changed, undo."""

from __future__ import annotations

import re

import pytest

from .conftest import Bench, square


def _text(bench: Bench, query: str = "") -> str:
    answer = bench.get(f"/isolate{query}")
    assert answer.status_code == 200
    return answer.text


def test_the_page_names_suspects_and_the_next_measurement(at_work: Bench) -> None:
    """Without any observation there are suspects, a measurement with its reason, and a way to begin."""
    text = _text(at_work)

    assert "Suspects" in text and "Splits the suspicion" in text and "bit, about" in text
    assert 'data-kind="suspect"' in text and "fill-opacity" in text and "Add what was seen" in text


def test_an_observation_is_kept_and_changes_the_suspects(at_work: Bench) -> None:
    """A reset line that rests low puts the capacitor first, and the page says what the reading changed."""
    at_work.kept("observation", kind="symptom", value="no boot")
    at_work.kept("observation", point="+5V", kind="volts", value="5.01")
    at_work.kept("observation", point="+5V", kind="ripple", value="20m")
    at_work.kept("observation", point="U1.40", kind="logic", value="stuck low")

    text = _text(at_work)
    assert "Repair now: C1" in text and "U1.40 logic stuck low" in text and "before:" in text
    assert [o.value for o in at_work.job.state.observations] == [
        "no boot", "5.01", "20m", "stuck low"
    ]  # fmt: skip


def test_an_answer_button_is_enough(at_work: Bench) -> None:
    """For a logic probe the answers are buttons; the answer counts where nothing is typed."""
    at_work.kept("observation", point="U1.37", kind="logic", answer="good", condition="running", value="")

    assert "U1.37 logic good" in _text(at_work)


def test_an_observation_can_be_taken_back(at_work: Bench) -> None:
    """After taking it back it counts no more; the record still holds it."""
    seq = at_work.kept("observation", point="U1.40", kind="logic", value="stuck low")

    at_work.kept("void", seq=str(seq), stage="isolate")

    assert at_work.job.state.observations == () and at_work.job.entry(seq) is not None
    assert "Repair now" not in _text(at_work)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"point": "U99.1", "kind": "logic", "value": "low"}, "no point"),
        ({"point": "U1.40", "kind": "logic", "value": "mauve"}, "logic value"),
        ({"point": "U1.40", "kind": "logic", "value": ""}, "nothing was seen"),
        ({"point": "U1.40", "kind": "smell", "value": "bad"}, "unknown kind"),
    ],
)
def test_what_cannot_be_is_refused_with_what_was_typed(
    at_work: Bench, sent: dict[str, str], words: str
) -> None:
    """The page comes back with one clear line, and nothing is kept."""
    before = at_work.job.state.seq

    answer = at_work.post("observation", **sent)

    assert answer.status_code == 400 and words in answer.text and at_work.job.state.seq == before


def test_another_of_the_proposals_can_be_chosen(at_work: Bench) -> None:
    """The second proposal has its own page state."""
    found = re.search(r'href="\?step=2#measure">(\w+) ([^<]+)<', _text(at_work))
    assert found is not None

    assert re.search(rf"measure-kind\">{found[1]}</span> {re.escape(found[2])}", _text(at_work, "?step=2"))


def test_the_complaint_can_start_the_search(at_work: Bench) -> None:
    """The complaint in the job's header is offered as the first observation, once."""
    assert "Start from the complaint" in _text(at_work)

    at_work.kept("observation", kind="symptom", value="display dark and dead")

    assert "Start from the complaint" not in _text(at_work)


def test_a_job_without_a_board_asks_for_one(bench: Bench) -> None:
    """Nothing can be isolated on no board: an observation is refused, the page leads to the choice."""
    number = bench.desk.store.new_job({"customer": "A. Reed"}, who="B")
    here = Bench(bench.client, bench.desk, number)

    assert here.post("observation", kind="symptom", value="no boot").status_code == 400
    assert "Choose the board" in _text(here)


def test_damage_shades_what_it_touched(at_work: Bench) -> None:
    """With a damaged area the reset parts in it are suspected more."""
    at_work.kept("damage", area=square())

    assert "damage of severity" in _text(at_work)


def test_hostile_words_stay_words(at_work: Bench) -> None:
    """What is typed is shown as text, never run."""
    answer = at_work.post("observation", point='"><script>alert(1)</script>', kind="logic", value="low")

    assert answer.status_code == 400 and "<script>alert" not in answer.text
