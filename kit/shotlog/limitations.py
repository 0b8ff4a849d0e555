"""What is not known of data without a plan: said once here, carried by every statement."""

from __future__ import annotations

from kit.shotlog.state import Log

SENTENCES = {
    "no schedule": (
        "The order was not drawn at random by a recorded plan, so a difference may come from "
        "when a method was pulled rather than from the method."
    ),
    "no order": (
        "The order in which the shots were pulled is not known, so drift cannot be seen or "
        "allowed for."
    ),
    "no blocks": (
        "The shots are not grouped into blocks, so methods are compared across whatever changed "
        "during the shoot."
    ),
    "no sessions": "It is not known which shots were pulled in the same session.",
}


def limitations_of(log: Log) -> list[str]:
    """The limitations of everything imported into a log, as sentences without repetition."""
    names = [name for event in log.imports for name in event.data.get("limitations", [])]
    return [SENTENCES[name] for name in SENTENCES if name in names]
