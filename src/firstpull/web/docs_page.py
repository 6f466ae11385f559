"""The interface on one plain page, made from its document; needs nothing from elsewhere."""

from __future__ import annotations

from html import escape
from typing import Any

STYLE = (
    "body{font:16px/1.5 sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem}"
    "code{font-size:.95em}h3{margin:1.6rem 0 .2rem}p,ul{margin:.2rem 0}"
    "section{border-top:1px solid #999;margin-top:2rem}small{color:#555}"
    "@media(prefers-color-scheme:dark){body{background:#1b1b1b;color:#e6e6e6}"
    "small{color:#aaa}a{color:#9cc4ff}}"
)


def docs_page(document: dict[str, Any]) -> str:
    """The whole interface as HTML: every address, what it takes, gives and refuses."""
    body = [f"<h1>{escape(document['info']['title'])}: interface</h1>"]
    body += [f"<p>{escape(p)}</p>" for p in document["info"]["description"].split("\n\n")]
    body.append('<p>For generators: <a href="/api/openapi.json">/api/openapi.json</a></p>')
    for tag in document["tags"]:
        calls = [_call(*call) for call in _calls(document) if tag["name"] in call[2]["tags"]]
        about = f"<h2>{escape(tag['name'].capitalize())}</h2><p>{escape(tag['description'])}</p>"
        body.append(f"<section>{about}{''.join(calls)}</section>")
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Interface</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{STYLE}</style></head><body>{''.join(body)}</body></html>"
    )


def _calls(document: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (path, method, call)
        for path, methods in document["paths"].items()
        for method, call in methods.items()
    ]


def _call(path: str, method: str, call: dict[str, Any]) -> str:
    """One address with one method."""
    lines = [
        f'<h3 id="{escape(call["operationId"])}">{escape(call["summary"])}</h3>',
        f"<p><code>{method.upper()} {escape(path)}</code></p>",
    ]
    if "description" in call:
        lines.append(f"<p>{escape(call['description'])}</p>")
    given = [
        f"<li><code>{escape(p['name'])}</code> in the {escape(p['in'])}"
        f"{'' if p.get('required') else ', may be left out'}{_words(p)}</li>"
        for p in call.get("parameters", [])
    ]
    if "requestBody" in call:
        given.append(f"<li>body: {_content(call['requestBody'])}{_words(call['requestBody'])}</li>")
    lines.append(f"<ul>{''.join(given)}</ul>" if given else "")
    for status, answer in sorted(call["responses"].items()):
        told = f"{status} {_content(answer)}{_words(answer)}"
        lines.append(f"<p>{told}</p>" if int(status) < 400 else f"<small>{told}<br></small>")
    return "".join(lines)


def _words(of: dict[str, Any]) -> str:
    words = of.get("description", "")
    return f": {escape(words)}" if words else ""


def _content(of: dict[str, Any]) -> str:
    """What a body holds: the name of its shape, or its media type."""
    for media_type, content in of.get("content", {}).items():
        name = content.get("schema", {}).get("$ref", "").rsplit("/", 1)[-1]
        return f"<code>{escape(name or media_type)}</code>"
    return ""
