"""Words that rooms below hand over as codes and pages show as words; here only so that the catalogues hold them."""

from __future__ import annotations

from coppermend.web.language import mark

STAGES = (
    mark("receive"), mark("inspect"), mark("isolate"), mark("plan"), mark("strip"), mark("copper"),
    mark("refit"), mark("prove"), mark("return"),
)  # fmt: skip
GRADES = (mark("sound"), mark("light"), mark("moderate"), mark("heavy"))
SIDES = (mark("top"), mark("bottom"), mark("top side"), mark("bottom side"))
FATES = (mark("discard"), mark("test"), mark("refit"))
LEVELS = (mark("low"), mark("high"))
SYMPTOMS = (mark("no boot"), mark("boots"), mark("all works"))
FINDINGS = (mark("error"), mark("warning"), mark("note"))
TOOLS = (
    mark("multimeter"), mark("logic probe"), mark("frequency counter"), mark("spare parts"),
    mark("bus adapter"),
)  # fmt: skip
PAYMENTS = (
    mark("quoted"), mark("invoiced"), mark("part-paid"), mark("paid"), mark("refunded"), mark("waived"),
)  # fmt: skip
