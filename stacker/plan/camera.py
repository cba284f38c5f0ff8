"""How to set the camera, by subject."""

from __future__ import annotations

STEADY = "Tripod, stabiliser off, remote release; long-exposure noise reduction off: it makes gaps."
BY_HAND = "Exposure, ISO, focus and white balance by hand, the same for all frames."
STARS_FOCUS = "Focus by hand on a bright star, magnified; the mark for infinity is no guide."
DARKS = "Afterwards ten to twenty darks: lens cap on, same shutter and ISO, camera as warm."
FILES = {
    "raw": "Raw files: they keep the shades of lamps and shadows.",
    "jpeg": "JPEG of the best quality will do and fills the buffer later; expose for the lights.",
}

HELD = "By hand: elbows in, lean on something, stabiliser on, the fastest drive; release in a row."

# focus and the like, white balance, kind of files
BY_SUBJECT = {
    "water": (
        "Focus on the rock that shall be sharp; white balance daylight; a polariser against "
        "glare.",
        FILES["jpeg"],
    ),
    "clouds": ("Focus far away, white balance daylight; shade the lens from the sun.",
               FILES["jpeg"]),
    "traffic": (
        "Focus on the road where the trails are to run; white balance tungsten or 3500 K; no lamp "
        "burnt out but the headlights.",
        FILES["raw"],
    ),
    "star-trails": (STARS_FOCUS, "White balance 4000 K, raw files; a dew heater or a warm band.",
                    DARKS),
    "stars": (STARS_FOCUS, "White balance 4000 K, raw files; the ground is a burst of its own.",
              DARKS),
    "fireworks": (
        "Focus on the first burst, then by hand; white balance daylight, so that colours stay; "
        "frame wide.",
        FILES["raw"],
    ),
    "dusk": (
        "Focus while it is light; white balance daylight; expose for the windows and keep that.",
        FILES["raw"],
    ),
    "light-painting": (
        "Focus by a torch on the subject, then by hand; white balance to the lamp's; keep moving, "
        "in dark clothes.",
        FILES["raw"],
    ),
    "crowd": ("Focus on the place, white balance daylight; nothing may move but the people.",
              FILES["jpeg"]),
    "pan": (
        "Focus ahead where the subject will pass; turn from the hip, start before and end after.",
        "A clip with the shutter open for the whole of each frame, or the fastest drive.",
    ),
    "ghosts": ("Focus on the place of the poses; the same light on each of them.",
               FILES["jpeg"]),
    "many-of-one": (
        "Focus on the place of the poses and leave it; shadows count too, so leave room between "
        "poses.",
        FILES["jpeg"],
    ),
}  # fmt: skip
MOVED_STEADILY = (
    "Stabiliser in its mode for panning or off; exposure, ISO, focus and white balance by hand."
)


def camera_settings(subject: str, *, held: bool = False) -> tuple[str, ...]:
    """Return how to set the camera for a subject, one sentence or two each.

    ``held`` without a tripod.
    """
    first = (MOVED_STEADILY,) if subject == "pan" else (HELD if held else STEADY, BY_HAND)
    return (*first, *BY_SUBJECT[subject])
