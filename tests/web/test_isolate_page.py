"""The isolate page: suspects on the board, the next measurement large, what each observation changed, undo."""

from __future__ import annotations

import re

import pytest

from coppermend.board.parttypes import standard_library
from coppermend.job.earlierfaults import NO_HISTORY, earlier_faults
from coppermend.job.isolating import search_of
from coppermend.job.state import JobState

from .conftest import Bench, square


def _text(bench: Bench, query: str = "") -> str:
    answer = bench.get(f"/isolate{query}")
    assert answer.status_code == 200
    return answer.text


def test_the_page_names_suspects_and_the_next_measurement(at_work: Bench) -> None:
    """Without any observation there are suspects, a measurement with its reason, and a way to begin."""
    text = _text(at_work)

    assert "Suspects" in text and "One look tells" in text and "bit, about" in text
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


def test_after_a_repair_the_search_goes_on_with_what_still_holds(at_work: Bench) -> None:
    """The repair is one button; what was bad counts no longer, what was good does, and the page asks what happens now."""
    for row in (("", "symptom", "no boot"), ("+5V", "volts", "5.0"), ("+5V", "ripple", "10m"),
                ("U1.37", "logic", "good"), ("U1.40", "logic", "stuck low")):  # fmt: skip
        at_work.kept("observation", point=row[0], kind=row[1], value=row[2])
    assert "Repaired: go on" in _text(at_work)

    at_work.kept("observation", point="C1", kind="repair", answer="done", value="")

    text = _text(at_work)
    assert (
        "counts no longer" in text and "What does the board do now?" in text and "Repair now: C1" not in text
    )
    search = search_of(at_work.job.board, standard_library(), at_work.job.state).isolation
    assert [str(one) for one in search.counting] == ["+5V volts 5", "+5V ripple 0.01", "U1.37 logic good"]


def test_readings_in_another_condition_can_be_entered(at_work: Bench) -> None:
    """The conditions that the board can be brought to are offered, and kept with the reading."""
    assert "without U2" in at_work.get("/isolate").text

    at_work.kept("observation", point="U1.9", kind="logic", value="good", condition="without U2")

    assert at_work.job.state.observations[-1].condition == "without U2"
    assert (
        at_work.post(
            "observation", point="U1.9", kind="logic", value="good", condition="without R1"
        ).status_code
        == 400
    )


def test_a_repair_on_another_job_raises_the_suspicion(at_work: Bench) -> None:
    """What was the fault on a board of this type before is suspected more, and says why."""
    board = at_work.job.board
    before = earlier_faults(at_work.desk.store, board)
    at_work.kept("observation", point="U3", kind="repair", value="replaced")

    history = earlier_faults(at_work.desk.store, board)

    assert before == NO_HISTORY and history.here == (("U3", 1),) and len(history.of_type) == 1
    assert earlier_faults(at_work.desk.store, board, besides=at_work.number) == NO_HISTORY
    search = search_of(board, standard_library(), JobState(), history).isolation
    suspect = next(s for s in search.suspects() if (s.kind, s.name) == ("part", "U3"))
    plain = next(
        s for s in search_of(board, standard_library(), JobState()).isolation.suspects() if s.name == "U3"
    )
    assert suspect.probability > 2 * plain.probability and any(
        "was the fault" in why for why in suspect.reasons
    )
