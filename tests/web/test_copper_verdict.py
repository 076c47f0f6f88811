"""What the copper page says of a probe between two nets, and of a number before it is kept."""

from __future__ import annotations


def test_short_between_two_nets_is_kept_and_found(damaged):
    """Short is what a beeper says: kept as 0 Ω, and the plan names the two nets."""
    board, nets = damaged.job.board, {}
    for probe in damaged.job.found.copper.probes:
        nets.setdefault(board.index.place(probe.a).net, probe.a)
    a, b = list(nets.values())[:2]

    damaged.kept("reading", a=a, b=b, answer="short")

    assert damaged.job.state.readings[0].ohms == 0.0
    assert [{*short.between} for short in damaged.job.found.copper.shorts] == [{a, b}]


def test_the_limit_for_a_typed_number_is_on_the_page(damaged):
    """Up to where a reading is good, for the verdict while it is typed."""
    probe = next(p for p in damaged.job.found.copper.probes if p.purpose == "continuity")

    page = damaged.get(f"/copper?probe={probe.id}").text

    assert f'data-limit="{probe.expect_ohms + 1:.3f}"' in page
