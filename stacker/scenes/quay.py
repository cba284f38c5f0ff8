"""The quay by day: people walking, some of whom linger, before houses and the harbour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stacker.scenes.camera import Camera
from stacker.scenes.facades import paint_facades, paint_mooring
from stacker.scenes.figures import PHASES, Sprite, paint_figure, place_shadow, place_sprite
from stacker.scenes.pier import Ground, stone_tones
from stacker.scenes.place import lit, paint_shore
from stacker.scenes.scene import Light, Scene, View, time_cells
from stacker.scenes.sky import DAY, Colour
from stacker.scenes.texture import fractal_noise, lay_over, relief, smoothstep
from stacker.scenes.water import Sea, Water

HORIZON_AT = 0.40
EYE_M = 3.0
EDGE_M = 31.0
PEOPLE = 14
LINGERERS = 4
# Nobody lingers for more than this share of the burst.
LONGEST_STAY = 0.28
# People move this little in one cell of time: two hundredths of a metre; long exposures use
# coarser cells, a tenth, which a body's width still hides.
CELL_S, LONG_CELL_S, LONG_S = 1 / 60, 1 / 10, 4.0
STEP_M = 0.75
SHADOW_LIE = (0.80, 1.05)
SHADOW_DARK: Colour = (0.66, 0.60, 0.52)
FIGURE_LIGHT: Colour = (0.95, 0.94, 0.93)


@dataclass(frozen=True)
class Walker:
    """Someone crossing the quay along a line, over and over, at most once lingering.

    Metres and seconds: ``x`` at time 0, ``z`` in the middle of the line, ``drift`` the change of
    z with x, ``half`` half the length of the line, ``stays`` when and how long they linger.
    """

    sprite: Sprite
    tall_m: float
    x: float
    z: float
    drift: float
    half: float
    speed: float
    stays: tuple[float, float]

    def at(self, t: float) -> tuple[float, float, int]:
        """Return x, z in metres and the phase of the step at time ``t``."""
        begin, length = self.stays
        walked = self.speed * (t - min(max(t - begin, 0.0), length))
        x = (self.x + walked + self.half) % (2 * self.half) - self.half
        if begin < t < begin + length:
            return x, self.z + self.drift * x, PHASES
        return x, self.z + self.drift * x, int(abs(walked) / (2 * STEP_M) * PHASES) % PHASES


class Quay(Scene):
    """A square from which a median takes the people away."""

    camera = Camera(iso=100, f_number=8.0, focal_mm=28.0, clock="11:04:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        shore = paint_shore(view, DAY, horizon_at=HORIZON_AT)
        self._ground = Ground(
            0.5 * (view.width - 1),
            shore.horizon,
            0.95 * float(np.sqrt(1.5 * view.width * view.height)),
            EYE_M,
        )
        self._still = self._paint(shore.picture, shore.horizon)
        self._walkers = self._invite()

    def _paint(self, above: Light, horizon: float) -> Light:
        """Return the square without people."""
        view = self.view
        water = Water(view, Sea(body=(0.05, 0.12, 0.14), eye_m=5.0), horizon, above)
        picture = above
        picture[water.top :] = water.light(0.0, 0.4)
        paint_mooring(view, DAY, self._ground, picture, EDGE_M)
        lay_over(picture, self._paving(), self._square())
        paint_facades(view, DAY, self._ground, picture, EDGE_M)
        return picture

    def _square(self) -> Light:
        """Return the cover of the paved ground, up to the edge of the quay."""
        edge = float(self._ground.pixels(0.0, EDGE_M)[1])
        rows = np.clip(self.view.y - edge + 0.5, 0, 1)
        return np.ascontiguousarray(
            np.broadcast_to(rows, (self.view.height, self.view.width)), np.float32
        )

    def _paving(self) -> Light:
        view = self.view
        rng = view.rng("paving")
        x, z = self._ground.metres(view)
        tone, joints = stone_tones(x, z, self._ground, (0.62, 0.38), rng)
        shape = (view.height, view.width)
        grain = fractal_noise(shape, rng, 7 * view.unit, stretch=2.2, gain=0.8)
        worn = fractal_noise(shape, rng, 90 * view.unit, stretch=4.0, gain=0.6)
        bumps = relief(grain * 0.45 * view.unit, from_left=0.5, from_above=0.5)
        shade = tone * (1 - 0.42 * joints) * (1 + 0.05 * grain) * (1 + 0.07 * worn)
        kerb = smoothstep(EDGE_M - 1.3, EDGE_M - 1.1, z)
        shade = shade * (1 - kerb) + 1.16 * kerb
        return lit(
            np.array([0.47, 0.44, 0.39], np.float32) * shade[..., None],
            DAY,
            np.clip(0.72 + bumps, 0, 1.4),
        )

    def _invite(self) -> list[Walker]:
        """Return the people, the farthest first so that the nearer hide them."""
        rng = self.view.rng("people")
        burst_s = max(self.view.duration_s, 1e-3)
        lanes = np.linspace(8.5, 27.0, PEOPLE) + rng.uniform(-0.5, 0.5, PEOPLE)
        lingers = rng.permutation(PEOPLE) < LINGERERS
        people = []
        for z, waits in zip(lanes, lingers, strict=True):
            half = 0.58 * self.view.width / self._ground.focal_px * z + 2.0
            speed = float(rng.uniform(0.8, 1.75) * rng.choice([-1, 1]))
            tall = float(rng.normal(1.70, 0.08))
            drift = float(rng.uniform(-0.06, 0.06))
            closest = z - abs(drift) * half
            tall_px = 1.1 * tall * self._ground.focal_px / closest
            stay = burst_s * LONGEST_STAY * float(rng.uniform(0.6, 1.0)) if waits else 0.0
            x = float(rng.uniform(-half, half))
            begin = 0.0
            if waits:
                # They stop somewhere in the middle of the picture.
                begin = float(rng.uniform(0.1, 0.6)) * burst_s
                x = float(rng.uniform(-0.35, 0.35)) * half - speed * begin
            people.append(
                Walker(
                    paint_figure(rng, tall_px, FIGURE_LIGHT),
                    tall,
                    x,
                    float(z),
                    drift,
                    half,
                    speed,
                    (begin, stay),
                )
            )
        return people[::-1]

    def light(self, t0: float, t1: float) -> Light:
        cell_s = CELL_S if t1 - t0 <= LONG_S else LONG_CELL_S
        cells = time_cells(t0, t1, cell_s)
        top = max(int(self._ground.horizon_px) - int(0.06 * self.view.height), 0)
        still = self._still[top:]
        total = np.zeros_like(still)
        canvas = np.empty_like(still)
        for middle, share in zip(cells.middle_s, cells.share, strict=True):
            np.copyto(canvas, still)
            self._draw(canvas, float(middle), top)
            canvas *= np.float32(share)
            total += canvas
        return np.concatenate([self._still[:top], total])

    def _draw(self, canvas: Light, t: float, top: int) -> None:
        """Draw everybody at time ``t`` on ``canvas``, whose first row is row ``top``."""
        for walker in self._walkers:
            x, z, step = walker.at(t)
            px, py = (float(value) for value in self._ground.pixels(x, z))
            foot = (px, py - top)
            tall_px = walker.tall_m * self._ground.focal_px / z
            # The ground is seen at a low angle: what lies along it is foreshortened.
            lie = (SHADOW_LIE[0], -SHADOW_LIE[1] * EYE_M / z)
            place_shadow(canvas, walker.sprite, step, foot, tall_px, lie=lie, dark=SHADOW_DARK)
            place_sprite(canvas, walker.sprite, step, foot, tall_px, faces_left=walker.speed < 0)

    def empty(self) -> Light:
        return self._still.copy()
