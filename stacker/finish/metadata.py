"""What a result says about itself: how it was exposed, with what, and how to make it again."""

from __future__ import annotations

from dataclasses import dataclass

from stacker.finish.exif import DATE_TIME, DATE_TIME_ORIGINAL, NO_TAGS, ExifTags, carried_tags
from stacker.finish.ifd import (
    LONG_MAX,
    UNDEFINED,
    BrokenDirectoryError,
    Field,
    long_field,
    rational_field,
    short_field,
    text_field,
)
from stacker.light.space import SRGB, ColourSpace, same_space

DESCRIPTION, SOFTWARE, ORIENTATION = 0x010E, 0x0131, 0x0112
X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 0x011A, 0x011B, 0x0128
EXPOSURE_TIME, EXIF_VERSION, COMPONENTS = 0x829A, 0x9000, 0x9101
FLASHPIX_VERSION, COLOUR_SPACE, PIXELS_WIDE, PIXELS_HIGH = 0xA000, 0xA001, 0xA002, 0xA003
SRGB_NUMBER, UNCALIBRATED = 1, 65535
# Exif wants a resolution; 72 to the inch is its word for "unknown"
RESOLUTION_PER_INCH = 72.0
INCH = 2


@dataclass(frozen=True)
class Metadata:
    """What is known of a result.

    Parameters
    ----------
    exif : the Exif block of the first frame, with or without the mark ``Exif\\0\\0``.
    exposure_s : the built exposure in seconds; unknown if None.
    description : the settings in words, so that the picture can be made again.
    software : name and version of the program.
    keep_location : keep where (GPS) and by whom (owner, artist, copyright) the frame was made.
    """

    exif: bytes | None = None
    exposure_s: float | None = None
    description: str = ""
    software: str = ""
    keep_location: bool = False


def result_tags(
    metadata: Metadata, *, size: tuple[int, int], space: ColourSpace
) -> tuple[ExifTags, list[str]]:
    """Return the Exif directories of the result, and warnings as sentences.

    The frame's exposure time never stays: it is replaced by the built one or left out. So are
    orientation, thumbnail, maker notes, serial numbers and what described the frame's file.

    Parameters
    ----------
    size : (width, height) in pixels, as the picture lies.
    space : the colour space of the numbers written.
    """
    carried, warnings = _carried(metadata)
    main = {
        **carried.main,
        ORIENTATION: short_field(1),
        X_RESOLUTION: rational_field(RESOLUTION_PER_INCH),
        Y_RESOLUTION: rational_field(RESOLUTION_PER_INCH),
        RESOLUTION_UNIT: short_field(INCH),
    }
    if DATE_TIME not in main and DATE_TIME_ORIGINAL in carried.exif:
        main[DATE_TIME] = carried.exif[DATE_TIME_ORIGINAL]
    if metadata.description:
        main[DESCRIPTION] = text_field(metadata.description)
    if metadata.software:
        main[SOFTWARE] = text_field(metadata.software)
    exif = {
        **carried.exif,
        EXIF_VERSION: Field(UNDEFINED, b"0232"),
        FLASHPIX_VERSION: Field(UNDEFINED, b"0100"),
        COMPONENTS: Field(UNDEFINED, bytes((1, 2, 3, 0))),
        COLOUR_SPACE: short_field(SRGB_NUMBER if same_space(space, SRGB) else UNCALIBRATED),
        PIXELS_WIDE: long_field(size[0]),
        PIXELS_HIGH: long_field(size[1]),
    }
    if metadata.exposure_s is not None and 0 < metadata.exposure_s <= LONG_MAX:
        exif[EXPOSURE_TIME] = rational_field(metadata.exposure_s)
    return ExifTags(main, exif, carried.gps), warnings


def _carried(metadata: Metadata) -> tuple[ExifTags, list[str]]:
    if not metadata.exif:
        return NO_TAGS, []
    try:
        tags, whole = carried_tags(metadata.exif, keep_location=metadata.keep_location)
    except BrokenDirectoryError as error:
        return NO_TAGS, [f"The Exif of the first frame is damaged and was left out: {error}."]
    if whole:
        return tags, []
    return tags, ["Parts of the Exif of the first frame are damaged or too long and were left out."]
