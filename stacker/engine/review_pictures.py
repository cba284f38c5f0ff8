"""The pictures of the report as a page, as small files of JPEG and PNG."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from stacker.engine.review import Compared, Review
from stacker.engine.shot import Shot
from stacker.finish.preview import preview_codes
from stacker.light.encoding import LightArray, PixelArray, decode
from stacker.light.srgb import linear_to_srgb
from stacker.survey.burnt_out import BurntOut
from stacker.survey.composition import EMPTY, MOTION, OUTSIDE, Composition
from stacker.survey.movers import Movers
from stacker.survey.page.content import Content, Pair, ShownResult

CodeArray = npt.NDArray[np.uint8]

# JPEG quality of the result and of thumbnails: a page of 60 of these takes half a megabyte
PICTURE_QUALITY, THUMB_QUALITY = 86, 72
# colours of maps, sRGB: what is marked, and black
MARKED, BLACK = (222, 120, 56), (70, 120, 190)
# even squares are shown so that one frame's noise spans this many of 255 codes to either side
GRAIN_CODES = 28.0
# side of the maps in pixels, at least: small copies are drawn larger so that they print well
MAP_PX = 640


def content_of(shots: Sequence[Shot], review: Review) -> Content:
    """Return the review with its pictures."""
    burst, space = shots[0].burst, shots[0].burst.encoding.space
    thumbs = {
        number: _jpeg(preview_codes(decode(small, burst.encoding), space), THUMB_QUALITY)
        for number, small in review.thumbs.items()
    }
    movers, filled = review.burst.movers, review.burst.composition
    output = review.results[0].review.report["output"]
    return Content(
        title=Path(output).stem if output and len(shots) == 1 else _title(output),
        burst=review.burst,
        results=[_shown(shot, each) for shot, each in zip(shots, review.results, strict=True)],
        thumbs=thumbs,
        motion=_motion_map(movers, filled) if movers and filled else None,
        burnt=_burnt_map(review.burst.burnt, movers),
    )


def _title(output: str | None) -> str:
    return "A long exposure" if output is None else Path(output).stem.rpartition("-")[0]


def _shown(shot: Shot, compared: Compared) -> ShownResult:
    look, comparison = compared.look, compared.review.comparison
    detail = grain = None
    if comparison.detailed is not None and comparison.sharpest is not None:
        frame = compared.squares[comparison.sharpest][comparison.detailed]
        if frame is not None:
            detail = _detail(shot, frame, look.squares[comparison.detailed])
    if comparison.flat is not None and comparison.noise_of_frame is not None:
        frame = compared.squares[0][comparison.flat]
        if frame is not None:
            square = look.squares[comparison.flat]
            grain = _grain(shot, frame, square, comparison.noise_of_frame)
    return ShownResult(
        review=compared.review,
        picture=_jpeg(look.picture, PICTURE_QUALITY),
        limits=_limits_map(look.picture, look.limits),
        detail=detail,
        grain=grain,
    )


def _detail(shot: Shot, frame: PixelArray, square: LightArray) -> Pair:
    """Return a square of a frame and of the result, in one brightness that shows it well."""
    light = decode(frame, shot.burst.encoding)
    # a sum is as bright as all its frames: both are shown in the light of one
    alike = square * np.float32(np.median(light) / max(float(np.median(square)), 1e-9))
    top = np.float32(max(float(np.percentile(light, 99.5)), 1e-6))
    return Pair(*(_png(preview_codes(each / top, shot.space)) for each in (light, alike)))


def _grain(shot: Shot, frame: PixelArray, square: LightArray, noise: float) -> Pair:
    """Return what in a square of a frame and of the result differs from even, made visible."""
    light = decode(frame, shot.burst.encoding)
    scale = float(np.median(light)) / max(float(np.median(square)), 1e-9)
    shown = []
    for each in (light, square * np.float32(scale)):
        green = each[..., 1].astype(np.float64)
        even = cv2.GaussianBlur(green, (0, 0), 8)
        codes = np.clip(128 + (green - even) * (GRAIN_CODES / noise), 0, 255)
        shown.append(_png(np.repeat(np.rint(codes).astype(np.uint8)[..., None], 3, axis=2)))
    return Pair(*shown)


def _limits_map(picture: CodeArray, limits: npt.NDArray[np.uint8]) -> bytes:
    """Return the picture in dark grey with what is at a limit in colour."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY) // 2 + 16
    out = np.repeat(grey[..., None], 3, axis=2).astype(np.uint8)
    burnt = limits == 1
    # a lamp of one pixel shall be seen
    out[cv2.dilate(burnt.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0] = MARKED
    out[limits == 2] = BLACK
    height, width = out.shape[:2]
    if width > MAP_PX:
        small = (MAP_PX, max(1, round(height * MAP_PX / width)))
        out = np.asarray(cv2.resize(out, small, interpolation=cv2.INTER_AREA), np.uint8)
    return _jpeg(out, PICTURE_QUALITY)


def _burnt_map(burnt: BurntOut | None, movers: Movers | None) -> bytes | None:
    """Return the still picture in dark grey with what is burnt out in any frame in colour."""
    if burnt is None or burnt.anywhen == 0:
        return None
    share = burnt.share
    height, width = share.shape
    grey = np.zeros((height, width), np.float32)
    if movers is not None:
        # roots of light are near enough to codes for a backdrop
        grey = cv2.resize(np.nan_to_num(movers.still), (width, height)).astype(np.float32)
    out = np.repeat(grey[..., None] * 110 + 16, 3, axis=2)
    # a lamp in a single frame shall be seen, and one in all of them more
    seen = cv2.dilate(share, np.ones((3, 3), np.uint8))[..., None]
    strength = np.where(seen > 0, 0.5 + 0.5 * seen, 0)
    out = out * (1 - strength) + np.array(MARKED) * strength
    factor = max(1, round(MAP_PX / max(height, width)))
    codes = np.rint(np.clip(out, 0, 255)).astype(np.uint8)
    large = cv2.resize(codes, (width * factor, height * factor), interpolation=cv2.INTER_NEAREST)
    return _jpeg(np.asarray(large, np.uint8), PICTURE_QUALITY)


def _motion_map(movers: Movers, filled: Composition) -> bytes:
    """Return what stands still in grey, motion in colour, and what is empty darkened."""
    grey = linear_to_srgb(np.clip(np.nan_to_num(movers.still), 0, 1) ** 2)
    # the brightest part of a night shall be seen too
    grey = np.clip(grey / max(float(np.percentile(grey, 99)), 0.05), 0, 1) * 255
    out = np.repeat(grey[..., None], 3, axis=2)
    # the rim that was left out tells as little as what is empty
    out[(filled.parts == EMPTY) | (filled.parts == OUTSIDE)] *= 0.4
    moving = filled.parts == MOTION
    strength = (0.4 + 0.6 * np.clip(movers.cover / 0.5, 0, 1))[..., None]
    tinted = out * (1 - strength) + np.array(MARKED) * strength
    out[moving] = tinted[moving]
    factor = max(1, round(MAP_PX / max(out.shape[:2])))
    size = (out.shape[1] * factor, out.shape[0] * factor)
    codes = np.rint(np.clip(out, 0, 255)).astype(np.uint8)
    return _jpeg(
        np.asarray(cv2.resize(codes, size, interpolation=cv2.INTER_NEAREST)), PICTURE_QUALITY
    )


def _jpeg(codes: CodeArray, quality: int) -> bytes:
    return _encoded(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, quality])


def _png(codes: CodeArray) -> bytes:
    return _encoded(".png", codes, [])


def _encoded(suffix: str, codes: CodeArray, options: list[int]) -> bytes:
    # OpenCV takes blue first
    done, data = cv2.imencode(suffix, np.ascontiguousarray(codes[..., ::-1]), options)
    assert done
    return bytes(data.tobytes())
