"""Hostile requests made from the server's own OpenAPI description: no answer is ever a fault of the program.

Reference: schemathesis, which draws requests that fit the description and ones that break it.
"""

from __future__ import annotations

import json

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode

from coppermend.job.entry import STAGES
from coppermend.job.validate import FIELDS

OPERATIONS = [
    "GET /api/jobs",
    "GET /api/jobs/{number}",
    "POST /api/jobs/{number}/entries",
    "GET /api/boards",
    "GET /api/boards/{sha256}",
]
EXAMPLES = 15
JSON = {"content-type": "application/json"}
HOSTILE = st.sampled_from(
    [
        "<script>alert(1)</script>",
        "../../etc/passwd",
        "=HYPERLINK(1)",
        "'; DROP TABLE entry; --",
        "{{7*7}}",
        "\x00",
        "\ud800",
        "💥" * 50,
    ]
)


def test_every_described_operation_is_tried(one_job):
    """A new operation has to be added to the list above."""
    described = schemathesis.openapi.from_asgi("/openapi.json", one_job[0])
    assert sorted(one.ok().label for one in described.get_all_operations()) == sorted(OPERATIONS)


@pytest.mark.parametrize("label", OPERATIONS)
def test_no_request_is_answered_by_a_fault(one_job, label):
    """Neither within the description nor outside of it does the server answer 5xx."""
    app, real = one_job
    described = schemathesis.openapi.from_asgi("/openapi.json", app)
    operation = described.find_operation_by_label(label)
    seen = set()

    @settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck), database=None)
    @given(case=operation.as_strategy() | operation.as_strategy(generation_mode=GenerationMode.NEGATIVE))
    def ask(case):
        # Random words would only ever find that there is no such job; half of the draws go further.
        for name, value in list((case.path_parameters or {}).items()):
            if len(str(value)) % 2:
                case.path_parameters[name] = real[name]
        answer = case.call()
        seen.add(answer.status_code)
        assert answer.status_code < 500, answer.text

    ask()
    assert label.startswith("POST") or 200 in seen, seen


@pytest.mark.parametrize("kind", sorted(FIELDS))
def test_entries_of_every_kind_with_hostile_bodies_are_kept_or_refused(one_job, kind):
    """Right names with wrong things in them: 201, or 4xx with a line that says why; the pages stay readable."""
    app, real = one_job
    plain = (
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats(allow_nan=False)
        | st.text(max_size=20)
        | HOSTILE
    )
    value = st.recursive(
        plain, lambda v: st.lists(v, max_size=3) | st.dictionaries(st.text(max_size=5), v, max_size=3)
    )
    names = st.sampled_from(sorted(FIELDS[kind]) or ["x"]) | st.text(max_size=8)
    client = TestClient(app, raise_server_exceptions=False)

    @settings(max_examples=6, suppress_health_check=list(HealthCheck), database=None)
    @given(
        body=st.dictionaries(names, value, max_size=5),
        stage=st.sampled_from(STAGES),
        who=st.text(max_size=9) | HOSTILE,
    )
    def send(body, stage, who):
        sent = {"kind": kind, "stage": stage, "who": who, "body": body}
        answer = client.post(f"/api/jobs/{real['number']}/entries", content=json.dumps(sent), headers=JSON)
        assert answer.status_code == 201 or (answer.status_code < 500 and answer.json()["error"]), answer.text

    send()
    for page in ("", "/record", "/inspect", "/copper", "/prove"):
        shown = client.get(f"/jobs/{real['number']}{page}")
        assert shown.status_code == 200 and "<script>alert" not in shown.text
