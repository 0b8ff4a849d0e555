"""One self-contained page: every style, script, figure and datum is inside the file."""

from __future__ import annotations

import base64
import hashlib
import json
from importlib.resources import files

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from kit.report.content import FigurePart, ReportContent
from kit.report.recheck import RelabellingCheck
from kit.report.vector import color_variables


def render_report(content: ReportContent) -> str:
    """The page as HTML text. Every text is escaped; only our own figures stand as markup.

    A content security policy in the page forbids every request and every script but the one
    that belongs to it, so that text from a stranger's bundle can do nothing.
    """
    script = _part("page.js")
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True,
                              lstrip_blocks=True)  # fmt: skip
    return environment.from_string(_part("page.html.jinja")).render(
        content=content,
        figures=[(_drawings(part), part) for part in content.figures],
        method_figures=[(_drawings(part), part) for part in content.method_figures],
        check=content.check if isinstance(content.check, RelabellingCheck) else None,
        no_check=content.check if isinstance(content.check, str) else "",
        check_data=_json_for_script(content.check),
        style=Markup(_style()),
        script=Markup(script),
        policy=_policy(script),
    )


def _part(name: str) -> str:
    return files("kit.report").joinpath(name).read_text(encoding="utf-8")


def _drawings(part: FigurePart) -> Markup:
    """Both drawings, one of them shown; they come from our own renderer, which escapes texts."""
    wide, phone = Markup(part.svg), Markup(part.phone_svg)
    return Markup('<div class="wide">{}</div><div class="phone">{}</div>').format(wide, phone)


def _style() -> str:
    """The style sheet, with the colours of both themes filled in."""
    sheet = _part("page.css")
    for name in ("light", "dark"):
        sheet = sheet.replace(f"/* colours: {name} */", color_variables(name))
    return sheet


def _policy(script: str) -> str:
    """Nothing may be fetched; only the page's own script runs (W3C Content Security Policy)."""
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    return (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
        f"form-action 'none'; script-src 'sha256-{digest}'"
    )


def _json_for_script(check: RelabellingCheck | str) -> Markup:
    """The data of the check as JSON that cannot end its script element."""
    data = check.as_data() if isinstance(check, RelabellingCheck) else None
    text = json.dumps(data, ensure_ascii=True, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))
