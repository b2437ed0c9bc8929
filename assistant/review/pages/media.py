"""Sound: the session's own, and clips of single words. Somebody's voice: the site says who may listen."""

from __future__ import annotations

from starlette.responses import FileResponse, HTMLResponse, Response

from assistant.errors import RecordError
from assistant.record.beside.clips import ClipPolicy, ClipStore
from assistant.review.serving.call import Call, fragment, session_url
from assistant.review.session.opened import Opened
from assistant.review.session.said import said_rows
from assistant.session.facts.lines import Heard, LineSpoken

SOUND = "session.wav"
SPOKEN_LANGUAGES = ("en", "ko")  # what the voices of this program speak
MOST_SPOKEN = 600  # letters


def may_hear_sound(call: Call) -> bool:
    """Whether this role may hear the session's sound."""
    return call.role in call.desk.rules.sound_listeners


def may_hear_clips(call: Call) -> bool:
    """Whether this role may hear clips."""
    return call.role in call.desk.rules.clip_listeners


def speaks(call: Call, opened: Opened) -> bool:
    """Whether the assistant's lines can be spoken again here."""
    return call.desk.setup.speak is not None and opened.record.header.get("language") in SPOKEN_LANGUAGES


def kept_clips(opened: Opened) -> set[str]:
    """The hashes of the clips that are still beside the record."""
    folder = opened.folder / "clips"
    try:
        return {path.stem for path in folder.glob("*.flac")} if folder.is_dir() else set()
    except OSError:
        return set()


def said(call: Call) -> Response:
    """Everything said and heard, each with what can be heard of it; `part`: only the list, for the page's script."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    name = f"{opened.folder.parent.name}/{opened.folder.name}"
    url = session_url(name)
    with_sound = (opened.folder / SOUND).is_file() and may_hear_sound(call)
    kept = kept_clips(opened) if may_hear_clips(call) else set()
    key = f"said {with_sound} {speaks(call, opened)} {sorted(kept)}"
    drawn = opened.drawn.get(key)
    if drawn is None:
        values = {"said": said_rows(opened), "sound": with_sound, "speaks": speaks(call, opened), "kept": kept}
        drawn = opened.drawn[key] = fragment("_said.html", url=url, **values)
    if call.query("part", 5):
        return HTMLResponse(drawn.encode("utf-8", "replace"))
    return call.page("said.html", drawn=drawn, url=url, name=name)


def sound(call: Call) -> Response:
    """session.wav, in ranges as the browser asks."""
    folder = call.desk.folder_of(call.params["enclosure"], call.params["session"])
    if not may_hear_sound(call):
        return call.say(
            "You may not listen to this.", "The site's rule says who may hear session sound.", 403
        )
    path = folder / SOUND
    if not path.is_file() or path.is_symlink():
        raise RecordError("No sound was kept of this session.")
    return FileResponse(path, media_type="audio/wav")


def clip(call: Call) -> Response:
    """One clip, only if the record names it and its bytes are the ones named."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    if not may_hear_clips(call):
        return call.say("You may not listen to this.", "The site's rule says who may hear clips.", 403)
    wanted = call.params["clip"]
    if not any(isinstance(f, Heard) and f.clip_sha256 == wanted for f in opened.facts) or not wanted:
        raise RecordError("The record names no such clip.")
    path = ClipStore(opened.folder, ClipPolicy()).path(wanted)
    if path is None:
        raise RecordError("This clip was not kept, or it was deleted. Its hash stays in the record.")
    return FileResponse(path, media_type="audio/flac")


def spoken(call: Call) -> Response:
    """A line of the assistant, spoken again from its text: never the recording, and said to be none."""
    opened = call.desk.open(call.params["enclosure"], call.params["session"])
    wanted = call.params["line"]
    speak = call.desk.setup.speak
    if speak is None or not speaks(call, opened):
        raise RecordError("There is no voice here for this record.")
    line = int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 10 else -1
    for fact, number in zip(opened.facts, opened.lines, strict=True):
        if number == line and isinstance(fact, LineSpoken):
            return Response(speak(fact.text[:MOST_SPOKEN], opened.record.header["language"]), media_type="audio/wav")
    raise RecordError("The assistant said nothing in that line.")


def record_file(call: Call) -> Response:
    """The record itself, byte for byte."""
    folder = call.desk.folder_of(call.params["enclosure"], call.params["session"])
    return FileResponse(
        folder / "record.jsonl",
        media_type="application/jsonl",
        filename=f"{folder.parent.name}-{folder.name}.jsonl",
    )


HANDLERS = {"sound": sound, "clip": clip, "spoken": spoken, "said": said, "record_file": record_file}
