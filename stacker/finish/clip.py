"""Writing a clip: MP4 with H.264, tagged BT.709, whole or not at all."""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stacker.errors import OptionError, OutputError
from stacker.finish.place import OutputFile, check_place, place_file
from stacker.light.encoding import LightArray
from stacker.light.space import ColourSpace
from stacker.light.video import BT709_NUMBER, video_planes

if TYPE_CHECKING:
    from av.container import OutputContainer
    from av.video.stream import VideoStream

SUFFIXES = (".mp4", ".mov")
# the best first; the last one comes with every build of FFmpeg
ENCODERS = ("libx264", "h264", "mpeg4")
# constant quality, at which a flat colour keeps within two codes; chroma is kept finer, as a step
# of it is worth two of blue. Without the tree of macroblocks, whose sums differ from run to run.
QUALITY = {
    "libx264": {
        "crf": "16",
        "preset": "medium",
        "x264-params": "mbtree=0:chroma-qp-offset=-4",
    },
    "mpeg4": {"qscale": "2"},
}
FPS_MAX = 240
# people write 23.976 and 29.97 for 24000/1001 and its kin
NTSC = Fraction(1000, 1001)
NTSC_ROUNDING = 5e-4
FPS_DENOMINATOR_MAX = 1001
LIMITED_RANGE = 1
LEAST_SIDE = 16


class ClipWriter:
    """Takes the pictures of a clip one after the other."""

    def __init__(
        self, file: OutputFile, *, size: tuple[int, int], fps: Fraction, space: ColourSpace
    ) -> None:
        import av

        self.frames = 0
        self.size = size
        self._space = space
        self._file = file
        self._fps = fps
        kind = file.target.suffix[1:].lower()
        with file.told():
            # the index goes before the pictures, so that a clip can play while it is loaded
            self._container: OutputContainer = av.open(
                str(file.temporary), "w", format=kind, options={"movflags": "faststart"}
            )
        self._stream = self._new_stream(_encoder())

    def _new_stream(self, encoder: str) -> VideoStream:
        options = QUALITY.get(encoder, {})
        stream: Any = self._container.add_stream(encoder, rate=self._fps, options=options)
        stream.width, stream.height = self.size
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.color_primaries = context.color_trc = context.colorspace = BT709_NUMBER
        context.color_range = LIMITED_RANGE
        video: VideoStream = stream
        return video

    def add(self, light: LightArray) -> None:
        """Write the next picture.

        Parameters
        ----------
        light : float32 (H, W, 3) in the clip's space; not changed.

        Raises
        ------
        OutputError
            It cannot be written.
        """
        import av

        if light.shape != (self.size[1], self.size[0], 3):
            raise ValueError(f"a picture of shape {light.shape} in a clip of {self.size}")
        frame = av.VideoFrame.from_ndarray(video_planes(light, self._space), format="yuv420p")
        frame.pts = self.frames
        frame.time_base = 1 / self._fps
        frame.colorspace = BT709_NUMBER
        frame.color_range = LIMITED_RANGE
        with self._file.told():
            self._container.mux(self._stream.encode(frame))
        self.frames += 1

    def finish(self) -> None:
        """Write what waits, and the index."""
        with self._file.told():
            self._container.mux(self._stream.encode(None))
            self._container.close()

    def give_up(self) -> None:
        """Let go of the file."""
        with contextlib.suppress(Exception):
            self._container.close()


@contextmanager
def place_clip(
    target: Path,
    *,
    size: tuple[int, int],
    fps: Fraction,
    space: ColourSpace,
    overwrite: bool = False,
    sources: Collection[Path] = (),
) -> Iterator[ClipWriter]:
    """Yield a writer; when the block ends well its clip becomes ``target``, whole.

    Parameters
    ----------
    size : (width, height), both even.
    space : the colour space of the light to come; it leaves in BT.709.

    Raises
    ------
    OutputError
        The file cannot be written there.
    """
    check_clip(target, overwrite=overwrite, sources=sources)
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        writer = ClipWriter(file, size=size, fps=fps, space=space)
        try:
            yield writer
            writer.finish()
        except BaseException:
            writer.give_up()
            raise


def check_clip(target: Path, *, overwrite: bool = False, sources: Collection[Path] = ()) -> None:
    """Return if a clip may be written to ``target``; to be asked before the work begins.

    Raises
    ------
    OutputError
        ``output-suffix`` and what ``check_place`` raises.
    """
    if target.suffix.lower() not in SUFFIXES:
        raise OutputError(
            target,
            "a film is an MP4",
            remedy=f"give it a name that ends in {' or '.join(SUFFIXES)}",
            code="output-suffix",
        )
    check_place(target, overwrite=overwrite, sources=sources)


def frame_rate(fps: float) -> Fraction:
    """Return frames per second as a fraction that clips can hold: 23.976 becomes 24000/1001.

    Raises
    ------
    OptionError
        That many frames per second make no sense.
    """
    if not 0 < fps <= FPS_MAX:
        raise OptionError(
            f"--fps {fps:g}",
            "is no frame rate",
            remedy=f"give a number above 0, up to {FPS_MAX}, such as 24",
            code="option-value",
        )
    ntsc = round(fps / NTSC) * NTSC
    if abs(float(ntsc) - fps) < NTSC_ROUNDING:
        return ntsc
    return Fraction(fps).limit_denominator(FPS_DENOMINATOR_MAX)


def clip_size(size: tuple[int, int], width: int | None, *, usual: int) -> tuple[int, int]:
    """Return the (width, height) of a clip, both even, for pictures of a size.

    Parameters
    ----------
    width : the one asked for; that of the pictures, but at most ``usual``, if None.

    Raises
    ------
    OptionError
        No clip of that width can be made.
    """
    if width is None:
        width = min(size[0], usual) // 2 * 2
    elif width % 2 or width > size[0] or width < LEAST_SIDE:
        raise OptionError(
            f"--width {width}",
            f"a clip of these pictures is even and between {LEAST_SIDE} and {size[0]} pixels wide",
            remedy=f"give a number such as {max(LEAST_SIDE, min(width, size[0]) // 2 * 2)}",
            code="option-value",
        )
    height = size[1] if width in (size[0], size[0] - 1) else round(size[1] * width / size[0])
    return width, max(2, height // 2 * 2)


def _encoder() -> str:
    import av

    return next(name for name in ENCODERS if name in av.codecs_available and _encodes(name))


def _encodes(name: str) -> bool:
    import av

    try:
        return av.Codec(name, "w").is_encoder
    except av.codec.codec.UnknownCodecError:
        return False
