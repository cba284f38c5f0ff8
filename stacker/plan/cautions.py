"""Cautions by subject: one table, for whoever speaks of a subject.

They say what experience fears, and leave the last word to local rules and licensed people.
"""

from __future__ import annotations

CAUTIONS = {
    "road": "Stand off the carriageway and behind barriers, wear something reflective, and follow "
    "local rules on verges and bridges.",
    "shore": "Tides, waves, wet rock and fast water: read the tide table, keep a way back, and "
    "never be alone in the dark on the shore.",
    "fireworks": "Keep the organiser's distance and the licensed pyrotechnician's word; never "
    "handle a dud.",
    "sparks": "Sparks and burning wool are a fire and burn hazard and forbidden in many places: "
    "permits, eye and skin protection, water at hand.",
    "lights": "Never shine at drivers, pilots or boats; lasers can blind and are regulated.",
    "sun": "With the sun in or near the frame, a dense filter on the camera does not make it safe "
    "to look through an optical finder.",
    "night": "Tell someone where you are; mind cliff edges, cold, private land and curfews.",
    "people": "Mind local law and courtesy with strangers in public pictures.",
    "tripod": "A tripod must not block a path, a door or a kerb; many squares and stations want a "
    "permit.",
}
LAST_WORD = "Local rules come first, and the word of people who are licensed for what they do."

BY_SUBJECT = {
    "water": ("shore", "sun"),
    "clouds": ("sun", "night"),
    "traffic": ("road", "people"),
    "star-trails": ("night", "lights"),
    "stars": ("night", "lights"),
    "fireworks": ("fireworks", "people"),
    "dusk": ("road", "night"),
    "light-painting": ("sparks", "lights", "night"),
    "crowd": ("people", "tripod"),
    "pan": ("road", "people"),
    "ghosts": ("people", "tripod"),
    "many-of-one": ("people", "tripod"),
}


def cautions_for(subject: str) -> tuple[str, ...]:
    """Return the cautions that fit a subject, those of the place first, the last word last."""
    return (*(CAUTIONS[name] for name in BY_SUBJECT[subject]), LAST_WORD)
