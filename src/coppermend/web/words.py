"""The glossary, as the pages show it; docs/glossary.md says the same, and a test holds the two together."""

from __future__ import annotations

from coppermend.web.language import mark

WORDS: tuple[tuple[str, str], ...] = (
    (
        mark("adapter"),
        mark(
            "what puts one device in place of others with different pins: straight contacts, leads, ties, gates"
        ),
    ),
    (
        mark("area, damage map"),
        mark("where the board is damaged: polygons in board mm, or a grey picture at 4 px/mm"),
    ),
    (mark("assessment"), mark("everything the program computes for a job as it stands now")),
    (mark("at risk"), mark("in damage, so not to be trusted until proven")),
    (mark("attract mode"), mark("what the machine shows while nobody plays")),
    (mark("complaint"), mark("what the customer says is wrong")),
    (mark("concern"), mark("a part, net or point that was damaged, removed, changed or suspected")),
    (mark("device"), mark("a memory part as a product class: 2716, 2764, ...")),
    (mark("dump"), mark("one read of a device")),
    (mark("entry"), mark("one line of the job's append-only record")),
    (mark("evidence"), mark("a proof with its result")),
    (mark("fate"), mark("what becomes of a stripped part: discard, test, refit")),
    (mark("gate"), mark("the last question: is anything touched left unproven?")),
    (mark("image"), mark("the contents of a program memory")),
    (mark("jumper"), mark("a wire that bridges an open")),
    (mark("kit"), mark("what must be on the bench to refit the board")),
    (mark("layer, side"), mark("top (parts side), bottom (solder side)")),
    (mark("net"), mark("pins that are one electrical node")),
    (mark("open, short"), mark("a connection that should be and is not; one that should not be and is")),
    (
        mark("pad, via, track, copper area"),
        mark("copper where a pin is soldered; a plated hole joining layers; a run of copper; a filled area"),
    ),
    (
        mark("part, refdes, pin"),
        mark("a component, its reference on the board (U3), one of its leads (U3.9)"),
    ),
    (mark("part type"), mark("what a part is: pins, directions, signal paths")),
    (mark("probe"), mark("one measurement between two points")),
    (mark("proof"), mark("a test and what it exercises")),
    (mark("reading"), mark("what the meter said")),
    (mark("reference point"), mark("a place by which a photo is laid over the drawing")),
    (mark("remedy"), mark("a deliberate change to the board, with its checks and required proofs")),
    (mark("section"), mark("a functional area of the board: reset, clock, memory, ...")),
    (mark("self-test"), mark("a test that the board's own program offers")),
    (
        mark("severity, grade"),
        mark("0 to 1, and its word: sound, light (from 48/255), moderate (112/255), heavy (176/255)"),
    ),
    (mark("shelf"), mark("parts in stock")),
    (mark("stage"), mark("receive, inspect, isolate, plan, strip, copper, refit, prove, return")),
    (mark("strip list"), mark("parts to take off, with reason, fate and order")),
    (mark("strobe, return"), mark("the driven and the sensed lines of a switch matrix")),
    (mark("suspect"), mark("something that may be wrong, with its weight")),
    (mark("tag"), mark("the label that goes home with the board and names the job")),
    (
        mark("trial"),
        mark("one look in a test of many lines: what was closed or switched on, and what was seen"),
    ),
)
