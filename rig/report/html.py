"""Writes a report as one HTML file that needs nothing from outside and prints well."""

import base64
import html
from typing import assert_never

from rig.drawing.palette import COLOURS
from rig.drawing.svg import FAMILY, to_svg
from rig.language import say, shown, shown_in
from rig.report.document import (
    MARKS,
    Abreast,
    Block,
    Bullets,
    Facts,
    Figure,
    Letterhead,
    Photo,
    Report,
    Section,
    Signatures,
    Table,
    Words,
    caption_of,
)
from rig.texts import harmless

STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 54rem; background: PAPER; color: INK;
  font: 1rem/1.45 FAMILY; }
h1 { font-size: 1.9rem; line-height: 1.15; margin: .5rem 0 0; }
.unseen { position: absolute; left: -100rem; width: 1px; overflow: hidden; }
h2 { font-size: 1.35rem; margin: 2.4rem 0 .6rem; padding-top: .5rem; border-top: .2rem solid INK; }
p { margin: .5rem 0; }
nav ol { columns: 14rem; padding-left: 1.4rem; }
nav a { color: MARK; }
.lead { font-size: 1.25rem; font-weight: bold; }
.small, .subtitle, figcaption, caption { color: SOFT; }
.small { font-size: .85rem; overflow-wrap: anywhere; }
.tone { border-left: .45rem solid INK; padding: .25rem .7rem; }
.tone b { display: inline-block; min-width: 2.2em; }
.bad, .warning { border-color: ALARM; border-left-style: double; border-left-width: .6rem; }
.good { border-color: MARK; }
.unsure { border-left-style: dashed; }
.verdict { font-size: 1.4rem; font-weight: bold; }
dl { display: grid; grid-template-columns: minmax(9rem, 16rem) 1fr; gap: .2rem 1rem;
  margin: .6rem 0; }
dt { color: SOFT; } dd { margin: 0; font-weight: bold; }
table { border-collapse: collapse; margin: .8rem 0; width: 100%; font-size: .92rem; }
caption { text-align: left; font-weight: bold; padding: .3rem 0; }
th, td { text-align: left; vertical-align: top; padding: .22rem .6rem .22rem 0;
  border-bottom: 1px solid RULE; }
th { border-bottom: 2px solid INK; }
.right { text-align: right; font-variant-numeric: tabular-nums; }
table.large { font-size: 1.9rem; font-weight: bold; line-height: 1.2; }
table.large th, table.large caption { font-size: 1rem; }
table.large td:last-child { font-size: 1.1rem; font-weight: normal; }
td, th, dd, dt, li, p { overflow-wrap: anywhere; }
figure { margin: 1rem 0; }
figure svg, figure img { max-width: 100%; height: auto; }
td:first-child, .right { white-space: nowrap; }
.letterhead { display: flex; gap: 1rem; align-items: center; }
.letterhead img { max-width: 12rem; max-height: 5rem; width: auto; height: auto; }
.abreast { display: flex; flex-wrap: wrap; gap: 0 1rem; }
.abreast figure { flex: 1 1 17rem; min-width: 0; }
.signatures { display: flex; flex-wrap: wrap; gap: 1rem; margin-top: 4rem; }
.signatures p { flex: 1 1 14rem; border-top: 1px solid INK; padding-top: .2rem; }
footer { margin-top: 3rem; border-top: 1px solid RULE; }
@media (max-width: 34rem) { dl { grid-template-columns: 1fr; gap: 0; } dd { margin-bottom: .4rem; }
  table { font-size: .74rem; } table.large { font-size: 1.1rem; }
  table.large td:last-child { font-size: .85rem; }
  table.large th, table.large caption { font-size: .74rem; }
  td, th { padding-right: .35rem; overflow-wrap: break-word; }
  td:first-child, .right { white-space: normal; }
  table.large td:not(:last-child) { white-space: nowrap; font-size: 1rem; }
  nav ol { columns: auto; } h1 { font-size: 1.5rem; } .verdict { font-size: 1.15rem; } }
@media print { @page { size: SIZE; margin: 15mm; } body { max-width: none; padding: 0; }
  h2 { break-after: avoid; } .page { break-before: page; }
  figure, tr, .tone { break-inside: avoid; }
  nav { display: none; } thead { display: table-header-group; } }
"""


def to_html(report: Report) -> str:
    """Write the whole file."""
    report = shown_in(report)
    style = STYLE.replace("FAMILY", FAMILY).replace("SIZE", report.paper)
    for name in ("paper", "ink", "soft", "rule", "alarm", "mark"):
        style = style.replace(name.upper(), COLOURS[name])
    contents = "\n".join(
        f'<li><a href="#{part.key}">{_escape(part.title)}</a></li>'
        for part in report.sections
        if part.title
    )
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    if report.pictures():
        policy += "; img-src data:"
    head = (
        f"<header>\n<h1>{_escape(report.title)}</h1>\n"
        f'<p class="subtitle">{_escape(report.subtitle)}</p>\n</header>\n'
        f'<nav aria-label="{_escape(say("Contents"))}"><ol>\n{contents}\n</ol></nav>'
    )
    if not report.title_shown:
        head = f'<header><h1 class="unseen">{_escape(report.title)}</h1></header>'
    body = "\n".join(_section(part) for part in report.sections)
    return f"""<!DOCTYPE html>
<html lang="{report.lang}">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="{_escape(report.stamp)}">
<title>{_escape(report.title)}</title>
<style>{style}</style>
</head>
<body>
{head}
<main>
{body}
</main>
<footer><p class="small">{_escape(report.stamp)}</p></footer>
</body>
</html>
"""


def _section(part: Section) -> str:
    page = ' class="page"' if part.new_page else ""
    body = "\n".join(_block(block) for block in part.blocks)
    if not part.title:
        return f'<section id="{part.key}"{page}>\n{body}\n</section>'
    return (
        f'<section id="{part.key}"{page} aria-labelledby="{part.key}-title">\n'
        f'<h2 id="{part.key}-title">{_escape(part.title)}</h2>\n{body}\n</section>'
    )


def _block(block: Block) -> str:
    match block:
        case Words():
            return _words(block)
        case Bullets():
            items = "".join(f"<li>{_escape(item)}</li>" for item in block.items)
            if block.tone == "plain":
                return f"<ul>{items}</ul>"
            return f'<div class="tone {block.tone}"><ul>{items}</ul></div>'
        case Facts():
            rows = "".join(f"<dt>{_escape(a)}</dt><dd>{_escape(b)}</dd>" for a, b in block.rows)
            return f"<dl>{rows}</dl>"
        case Table():
            return _table(block)
        case Figure():
            return _figure(block)
        case Letterhead():
            return _letterhead(block)
        case Abreast():
            shown = (
                _figure(one) if isinstance(one, Figure) else _picture(one, "photo")
                for one in block.items
            )
            return f'<div class="abreast">{"".join(shown)}</div>'
        case Signatures():
            rooms = "".join(f"<p>{_escape(name)}</p>" for name in block.names)
            return f'<div class="signatures">{rooms}</div>'
        case _:
            assert_never(block)


def _figure(figure: Figure) -> str:
    return (
        f'<figure id="figure-{figure.name}">\n{to_svg(figure.drawing)}\n'
        f"<figcaption>{_escape(caption_of(figure))}</figcaption>\n</figure>"
    )


def _picture(picture: Photo, kind: str) -> str:
    data = base64.b64encode(picture.data).decode()
    caption = _escape(picture.caption)
    image = (
        f'<img alt="{caption or kind}" width="{picture.width_px}" height="{picture.height_px}" '
        f'src="data:{picture.media_type};base64,{data}">'
    )
    if kind == "logo":
        return image
    return f"<figure>{image}<figcaption>{caption}</figcaption></figure>"


def _letterhead(block: Letterhead) -> str:
    logo = "" if block.logo is None else _picture(block.logo, "logo")
    lines = "<br>".join(map(_escape, block.lines))
    return (
        f'<div class="letterhead">{logo}<p><b>{_escape(block.name)}</b><br>'
        f'<span class="small">{lines}</span></p></div>'
    )


def _words(words: Words) -> str:
    text = _escape(words.text)
    if words.tone in MARKS:
        mark = _escape(shown(MARKS[words.tone]))
        size = " verdict" if words.tone in ("good", "bad", "unsure") else ""
        return f'<p class="tone {words.tone}{size}"><b>{mark}</b> {text}</p>'
    return f'<p class="{words.tone}">{text}</p>' if words.tone != "plain" else f"<p>{text}</p>"


def _table(table: Table) -> str:
    def cell(tag: str, n: int, text: str) -> str:
        side = ' class="right"' if n in table.right else ""
        scope = ' scope="col"' if tag == "th" else ""
        return f"<{tag}{scope}{side}>{_escape(text)}</{tag}>"

    head = "".join(cell("th", n, text) for n, text in enumerate(table.head))
    rows = "\n".join(
        "<tr>" + "".join(cell("td", n, text) for n, text in enumerate(row)) + "</tr>"
        for row in table.rows
    )
    size = ' class="large"' if table.large else ""
    return (
        f"<table{size}><caption>{_escape(table.title or table.head[0])}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>"
    )


def _escape(text: str) -> str:
    return html.escape(harmless(text))
