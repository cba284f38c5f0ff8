"""Fireworks over the harbour: shells, sparks that fall and fade, and their reflections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.scenes.camera import Camera
from stacker.scenes.glow import with_glow
from stacker.scenes.place import paint_shore
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.sky import NIGHT
from stacker.scenes.streaks import LampLayer, Pieces, cut_tracks
from stacker.scenes.water import Sea, Water

FloatArray = npt.NDArray[np.float64]

SECONDS_BETWEEN_SHELLS = 2.9
CLIMB_S = 1.5
CELL_S = 0.125
# Air slows a spark by this rate per second; gravity in picture heights per second squared.
DRAG = 2.3
GRAVITY = 0.085
BARGE_AT = 0.30
COLOURS = np.array(
    [
        [1.0, 0.62, 0.20],  # charcoal gold
        [1.0, 0.16, 0.09],  # strontium red
        [0.22, 1.0, 0.30],  # barium green
        [0.30, 0.42, 1.0],  # copper blue
        [0.85, 0.30, 1.0],  # violet
        [1.0, 0.93, 0.80],  # titanium silver
    ]
)


@dataclass(frozen=True)
class Shell:
    """One shell: when and where it opens (shares of width and height) and its N sparks.

    ``velocity`` is (N, 2) in picture heights per second, ``life_s`` and ``power`` are (N,).
    """

    opens_s: float
    x: float
    y: float
    velocity: FloatArray
    life_s: FloatArray
    power: FloatArray
    colour: FloatArray

    @property
    def ends_s(self) -> float:
        """When its last spark has gone out."""
        return self.opens_s + float(self.life_s.max())


def make_shells(view: View) -> list[Shell]:
    """Return the shells of the whole display, in order."""
    rng = view.rng("shells")
    shells = []
    opens = -1.0
    while opens < view.duration_s:
        sparks = int(rng.integers(70, 110))
        direction = rng.standard_normal((sparks, 3))
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        speed = rng.uniform(0.30, 0.47) * (1 + 0.06 * rng.standard_normal((sparks, 1)))
        colour = COLOURS[rng.integers(len(COLOURS))]
        life = rng.uniform(1.5, 2.4) * rng.uniform(0.8, 1.0, sparks)
        shells.append(
            Shell(
                opens, rng.uniform(0.12, 0.70), rng.uniform(0.13, 0.28),
                (direction * speed)[:, :2], life, rng.uniform(0.6, 1.4, sparks), colour,
            )
        )  # fmt: skip
        opens += SECONDS_BETWEEN_SHELLS * rng.uniform(0.45, 1.5)
    return shells


class Fireworks(Scene):
    """A display fired from a barge, seen across the harbour."""

    camera = Camera(iso=200, f_number=8.0, focal_mm=35.0, clock="23:30:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        shore = paint_shore(view, NIGHT)
        self._above = shore.picture + with_glow(shore.lamp_light(view, 0.85 * view.unit), view.unit)
        sea = Sea(body=(0.0016, 0.0030, 0.0042), waves_m=(2.2, 14.0), swing=0.15, cell_s=0.2)
        self._sea = Water(view, sea, shore.horizon, self._above)
        self._shore = shore
        self._shells = make_shells(view)

    def light(self, t0: float, t1: float) -> Light:
        view = self.view
        layer = LampLayer(view.width, view.height)
        for shell in self._shells:
            if shell.opens_s - CLIMB_S < t1 and shell.ends_s > t0:
                self._add_sparks(layer, shell, t0, t1)
                self._add_climb(layer, shell, t0, t1)
        # Sparks pass behind the headland.
        sparks = layer.spread(0.72 * view.unit) * (1 - self._shore.land[..., None])
        moving = with_glow(sparks, view.unit, strength=0.8)
        picture = self._above + moving
        picture[self._sea.top :] = self._sea.light(t0, t1) + self._sea.mirror_moving(moving)
        return picture

    def _add_sparks(self, layer: LampLayer, shell: Shell, t0: float, t1: float) -> None:
        view = self.view

        def place(owner: npt.NDArray[np.intp], t: FloatArray) -> tuple[FloatArray, FloatArray]:
            age = np.maximum(t - shell.opens_s, 0)
            flown = (1 - np.exp(-DRAG * age)) / DRAG
            fallen = GRAVITY / DRAG * (age - flown)
            x = shell.velocity[owner, 0] * flown
            y = shell.velocity[owner, 1] * flown + fallen
            return shell.x * view.width + x * view.height, (shell.y + y) * view.height

        start, end = max(t0, shell.opens_s), min(t1, shell.ends_s)
        if end <= start:
            return
        pieces = cut_tracks(place, shell.life_s.size, start, end, cell_s=CELL_S)
        age = pieces.time_s - shell.opens_s
        left = np.clip(1 - age / shell.life_s[pieces.owner], 0, None)
        power = shell.power[pieces.owner] * (np.exp(-age / 0.75) * left**0.6)
        # White hot at first, then the colour of the salt.
        hot = np.exp(-age / 0.10)[:, None]
        colour = hot * np.array([1.0, 0.92, 0.8]) + (1 - hot) * shell.colour
        self._add(layer, place, pieces, 170 * power[:, None] * colour, t1 - t0)

    def _add_climb(self, layer: LampLayer, shell: Shell, t0: float, t1: float) -> None:
        """Draw the faint trail of the climbing shell."""
        view = self.view
        begins = shell.opens_s - CLIMB_S

        def place(owner: npt.NDArray[np.intp], t: FloatArray) -> tuple[FloatArray, FloatArray]:
            del owner
            part = np.clip((t - begins) / CLIMB_S, 0, 1)
            risen = 1 - (1 - part) ** 2
            x = BARGE_AT + (shell.x - BARGE_AT) * (0.5 * part + 0.5 * risen)
            foot = self._shore.horizon / view.height
            return x * view.width, (foot + (shell.y - foot) * risen) * view.height

        start, end = max(t0, begins), min(t1, shell.opens_s)
        if end <= start:
            return
        pieces = cut_tracks(place, 1, start, end, cell_s=CELL_S)
        fade = np.clip((pieces.time_s - begins) / CLIMB_S, 0, 1) * 22
        self._add(layer, place, pieces, fade[:, None] * np.array([1.0, 0.55, 0.22]), t1 - t0)

    def _add(
        self, layer: LampLayer, place: object, pieces: Pieces, power: FloatArray, open_s: float
    ) -> None:
        """Lay down pieces whose lamps have ``power`` (P, 3) in pixels of white."""
        x, y = place(pieces.owner, pieces.time_s)  # type: ignore[operator]
        layer.add(x, y, power * (self.view.unit**2 * pieces.span_s / open_s)[:, None])
