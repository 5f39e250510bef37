"""Commands for what lies between two evenings: the worklist, the log, photos beside the map."""

from __future__ import annotations

from pathlib import Path

from probe.cli.outcome import Exit, complain, say, say_json


def show_worklist(path: str, *, add: str | None, moment: str, as_json: bool) -> int:
    """Print what is left, or add a line of one's own."""
    from probe.document.file import load_map
    from probe.document.local_time import local_date
    from probe.document.model.evenings import WorkMoment
    from probe.document.needs import write_line
    from probe.evenings.worklist import all_left, item_data, summary

    if add is not None:
        from probe.cli.editing import edited

        if not add.strip():
            complain("a line of the worklist cannot be empty")
            return Exit.USAGE
        with edited(path) as document:
            scope = document.scope("worklist")
            document.commit(write_line(document.map, add[:2_000], moment=WorkMoment(moment)))
            scope.end()
        say(f"Kept: {add.strip()}")
        return Exit.FINE
    items = all_left(load_map(path))
    if as_json:
        say_json({"lines": [item_data(item) for item in items], "left": sum(not item.done for item in items)})
        return Exit.FINE
    moment_before, area_before = None, None
    for item in items:
        if not item.done and item.need.moment is not moment_before:
            say(item.need.moment.value.capitalize())
            moment_before, area_before = item.need.moment, None
        if item.need.area != area_before and not item.done:
            if item.need.area:
                say(f"  {item.need.area}")
            area_before = item.need.area
        more = f": {item.need.detail}" if item.need.detail else ""
        done = f" (ticked off {local_date(item.done)})" if item.done else ""
        say(f"  {'✓' if item.done else '☐'} {item.need.words}{more}{done}")
    say(f"{summary(items)}.")
    return Exit.FINE


def show_log(path: str, *, as_json: bool) -> int:
    """Print what was done, evening by evening."""
    from probe.document.file import load_map
    from probe.evenings.log import evening_data, evening_lines, evenings

    found = evenings(load_map(path))
    if as_json:
        say_json({"evenings": [evening_data(evening) for evening in found]})
        return Exit.FINE
    for evening in found:
        say(*evening_lines(evening))
    if not found:
        say("No evening is in this map yet.")
    return Exit.FINE


def attach_photo(
    path: str, *, photo: str | None, place: str | None, pixel: str | None, caption: str, remove: bool, as_json: bool
) -> int:
    """Attach a photo that lies beside the map to a place or a joint, take it off, or list what is attached.

    Only its name is kept; the file itself is not copied, changed or sent anywhere.
    """
    from pydantic import ValidationError

    from probe.cli.editing import edited
    from probe.document.file import load_map
    from probe.document.photos import NoSuchTargetError, attach, detach, titles
    from probe.document.plural import many

    if photo is None:
        listed = titles(load_map(path))
        if as_json:
            say_json({"photos": [{"file": name, "of": of, "caption": words} for name, of, words in listed]})
        else:
            say(*(f"{name}  {of}" + (f": {words}" if words else "") for name, of, words in listed))
            say(f"{many(len(listed), 'photo')}.")
        return Exit.FINE
    beside = Path(path).parent / photo
    try:
        with edited(path) as document:
            scope = document.scope("photo")
            if remove:
                document.commit(detach(document.map, photo))
            else:
                document.commit(attach(document.map, photo, place=place, pixel=pixel, caption=caption))
            scope.end()
    except ValidationError as error:
        complain(f"{photo}: {error.errors()[0]['msg'].removeprefix('Value error, ')}")
        return Exit.USAGE
    except NoSuchTargetError as error:
        complain(str(error))
        return Exit.USAGE
    if remove:
        say(f"Taken off: {photo}; the file itself is left as it is.")
    else:
        say(
            f"Attached: {photo}"
            + ("" if beside.is_file() else f"; it is not beside the map yet: put it into {beside.parent.resolve()}")
        )
    return Exit.FINE
