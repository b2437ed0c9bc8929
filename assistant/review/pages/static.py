"""The program's own style sheets and scripts."""

from __future__ import annotations

import mimetypes

from starlette.responses import FileResponse, Response

from assistant.review.serving.call import HERE, Call

FOLDER = HERE / "static"
_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


def static(call: Call) -> Response:
    """A file of ours, by its plain name."""
    wanted = call.params["path"]
    for path in FOLDER.iterdir():  # compared with what is there, so that no name leads elsewhere
        if path.name == wanted and path.is_file():
            kind = _TYPES.get(path.suffix) or mimetypes.guess_type(path.name)[0] or "application/octet-stream"
            return FileResponse(path, media_type=kind)
    return Response("There is no such file.\n", 404, media_type="text/plain")


HANDLERS = {"static": static}
