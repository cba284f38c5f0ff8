"""How the light leaves: tone, codes, and files with profile and metadata, placed atomically.

This folder imports ``errors`` and ``light`` of the program and nothing else of it.
"""

from stacker.finish.codes import to_codes8, to_codes16
from stacker.finish.formats import depth_of, format_of
from stacker.finish.grey import check_grey, save_grey
from stacker.finish.metadata import Metadata
from stacker.finish.pages import save_pages
from stacker.finish.place import check_place, check_target, place_file
from stacker.finish.save import save_picture
from stacker.finish.spaces import leaving_space, space_named
from stacker.finish.tone import Tone

__all__ = [
    "Metadata",
    "Tone",
    "check_grey",
    "check_place",
    "check_target",
    "depth_of",
    "format_of",
    "leaving_space",
    "place_file",
    "save_grey",
    "save_pages",
    "save_picture",
    "space_named",
    "to_codes8",
    "to_codes16",
]
