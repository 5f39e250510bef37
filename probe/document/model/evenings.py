"""What a map keeps of the evenings themselves: lines of work that a person wrote or ticked off, and photos by file name."""

import re
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, Field

from probe.document.model.record import Identifier, Label, Record, Text

_WINDOWS_DEVICES = re.compile(r"(?i)^(?:con|prn|aux|nul|com\d|lpt\d)(?:\.|$)")
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".gif", ".webp")


def _is_photo_name(text: str) -> str:
    """A plain file name of a picture: no folder, nothing hidden, no control character, no device of Windows."""
    bad = not text.isprintable() or any(sign in text for sign in '/\\:*?"<>|') or text != text.strip()
    if bad or text.startswith((".", "~", "-")) or ".." in text or _WINDOWS_DEVICES.match(text):
        raise ValueError(f"{text[:40]!r} is not the name of a photo beside the map: give a plain file name, no folder")
    if not text.lower().endswith(PHOTO_ENDINGS):
        raise ValueError(f"{text[:40]!r} is not the name of a photo: it has to end in {', '.join(PHOTO_ENDINGS)}")
    return text


PhotoName = Annotated[str, Field(min_length=5, max_length=120), AfterValidator(_is_photo_name)]


class WorkMoment(StrEnum):
    """When a line of work can be done, in the order of an evening. The value is the word for it."""

    BEFORE_POWER = "before power"
    POWER_ON = "power on"
    GAME_ON = "game on"


class WorkLine(Record):
    """A line of the worklist that a person wrote, or (`about`) a computed one that was ticked off.

    `about` names the computed line, and `state` what it was computed from then: when that changes it is open again. `done`:
    when it was ticked off; empty while it is open.
    """

    id: Identifier
    words: Label
    moment: WorkMoment = WorkMoment.BEFORE_POWER
    area: Text = ""
    about: Text = ""
    state: Text = ""
    done: Text = ""


class Photo(Record):
    """A photo in the folder of the map, of a place or of the joint arriving at a pixel. Only its name is kept."""

    id: Identifier
    file: PhotoName
    place: Identifier | None = None
    chain: Identifier | None = None
    pixel: Identifier | None = None
    caption: Text = ""
