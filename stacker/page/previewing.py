"""The answer to a drag: the exposure of a span as a picture, with what is told about it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

import simplejpeg
from starlette.responses import Response

from stacker.engine.expose import expose_burst
from stacker.engine.preview import for_reduced
from stacker.engine.settings_file import chosen_from
from stacker.finish import Tone
from stacker.finish.preview import preview_codes
from stacker.page.opened import COARSE_SIDE, Opened

QUALITY = 90


def answer(opened: Opened, data: Mapping[str, Any]) -> Response:
    """Return the picture of a span."""
    chosen = chosen_from(data.get("settings", {}))
    side = COARSE_SIDE if data.get("side") == COARSE_SIDE else 1500
    burst = opened.coarse if side == COARSE_SIDE else opened.fine
    shots = expose_burst(burst, for_reduced(chosen.settings, burst.factor))
    shot = next(iter(shots.values()))
    finishing = chosen.finishing
    tone = Tone(
        exposure_ev=finishing["exposure_ev"],
        shoulder=finishing["shoulder"],
        brightest=shot.brightest,
    )
    codes = preview_codes(shot.light, shot.space, tone, chosen.balance.balance_for(shot))
    body = simplejpeg.encode_jpeg(codes, quality=QUALITY, colorsubsampling="444")
    headers = {
        "X-Open-S": json.dumps(shot.open_s),
        "X-Frames": str(shot.report["frames_used"]),
        "X-Histogram": json.dumps(None),
        "X-Notes": json.dumps(shot.report["warnings"]),
        "ETag": f'"{sha256(body).hexdigest()[:16]}"',
    }
    return Response(body, media_type="image/jpeg", headers=headers)
