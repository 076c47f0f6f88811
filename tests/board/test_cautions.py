"""Every caution has a text and a source, and every stage of the job shows some."""

from __future__ import annotations

import pytest

from coppermend.board.cautions import (
    BY_CODE,
    HAZARDOUS_VOLTS_DC,
    STEPS,
    cautions_called,
    cautions_for,
    merged,
)
from coppermend.errors import UnknownName
from coppermend.job.entry import STAGES


@pytest.mark.parametrize("step", STEPS)
def test_each_step_names_what_it_cautions_and_from_where(step):
    """No step is without a caution, and no caution without text and source."""
    for caution in cautions_for(step):
        assert caution.text.endswith(".")
        assert caution.source


def test_every_stage_of_the_job_has_cautions():
    """A page can ask for the cautions of any stage."""
    assert set(STAGES) <= set(STEPS)


def test_every_caution_is_shown_somewhere():
    """A caution that no step shows would protect nobody."""
    shown = {caution.code for step in STEPS for caution in cautions_for(step)}

    assert shown == set(BY_CODE)


def test_battery_is_the_first_caution_when_stripping():
    """The battery comes off before anything else."""
    assert cautions_for("strip")[0].code == "battery"


def test_alkaline_residue_is_never_met_with_bicarbonate():
    """Bicarbonate neutralises acid, not potassium hydroxide."""
    assert "bicarbonate is wrong" in str(BY_CODE["neutralise"])


def test_unknown_step_is_refused_by_name():
    """A misspelt step names itself and the steps there are."""
    with pytest.raises(UnknownName) as caught:
        cautions_for("stripping")

    assert caught.value.name == "stripping"
    assert "strip" in caught.value.hint


def test_merging_keeps_each_caution_once_in_order():
    """Two groups that share a caution show it once."""
    codes = [c.code for c in merged(cautions_called("lead", "iron"), cautions_called("iron", "static"))]

    assert codes == ["lead", "iron", "static"]


def test_json_of_a_caution_is_plain():
    """Code, text and source, as text."""
    assert cautions_called("lead")[0].to_json()["source"].startswith("OSHA")


def test_hazardous_voltage_is_that_of_the_safety_standard():
    """IEC 62368-1, class ES1: 60 V dc (from memory)."""
    assert HAZARDOUS_VOLTS_DC == 60.0
