"""The glossary, as the pages show it; docs/glossary.md says the same, and a test holds the two together."""

from __future__ import annotations

WORDS: tuple[tuple[str, str], ...] = (
    (
        "adapter",
        "what puts one device in place of others with different pins: straight contacts, leads, ties, gates",
    ),
    ("area, damage map", "where the board is damaged: polygons in board mm, or a grey picture at 4 px/mm"),
    ("assessment", "everything the program computes for a job as it stands now"),
    ("at risk", "in damage, so not to be trusted until proven"),
    ("complaint", "what the customer says is wrong"),
    ("concern", "a part, net or point that was damaged, removed, changed or suspected"),
    ("device", "a memory part as a product class: 2716, 2764, ..."),
    ("dump", "one read of a device"),
    ("entry", "one line of the job's append-only record"),
    ("evidence", "a proof with its result"),
    ("fate", "what becomes of a stripped part: discard, test, refit"),
    ("gate", "the last question: is anything touched left unproven?"),
    ("image", "the contents of a program memory"),
    ("jumper", "a wire that bridges an open"),
    ("kit", "what must be on the bench to refit the board"),
    ("layer, side", "top (parts side), bottom (solder side)"),
    ("net", "pins that are one electrical node"),
    ("open, short", "a connection that should be and is not; one that should not be and is"),
    (
        "pad, via, track, copper area",
        "copper where a pin is soldered; a plated hole joining layers; a run of copper; a filled area",
    ),
    ("part, refdes, pin", "a component, its reference on the board (U3), one of its leads (U3.9)"),
    ("part type", "what a part is: pins, directions, signal paths"),
    ("probe", "one measurement between two points"),
    ("proof", "a test and what it exercises"),
    ("reading", "what the meter said"),
    ("reference point", "a place by which a photo is laid over the drawing"),
    ("remedy", "a deliberate change to the board, with its checks and required proofs"),
    ("section", "a functional area of the board: reset, clock, memory, ..."),
    (
        "severity, grade",
        "0 to 1, and its word: sound, light (from 48/255), moderate (112/255), heavy (176/255)",
    ),
    ("shelf", "parts in stock"),
    ("stage", "receive, inspect, isolate, plan, strip, copper, refit, prove, return"),
    ("strip list", "parts to take off, with reason, fate and order"),
    ("strobe, return", "the driven and the sensed lines of a switch matrix"),
    ("suspect", "something that may be wrong, with its weight"),
    ("tag", "the label that goes home with the board and names the job"),
)
