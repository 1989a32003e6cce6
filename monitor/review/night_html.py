"""The night as one HTML file that needs nothing else: no script, no address outside. Pure."""

from __future__ import annotations

from datetime import tzinfo
from html import escape

from monitor.review.night_chart import chart_of, svg
from monitor.review.night_nouns import Night
from monitor.review.night_words import happening_labels, headline, sections, title

_STYLE = """
:root{color-scheme:light dark;--paper:#fbfaf6;--ink:#23201a;--soft:#6b6557;--line:#d8d2c2;
--air:#7a4b12;--spread:#d9b98a;--dew:#1f6a78;--band:#e6efdd;--span:#f0d2c4}
@media (prefers-color-scheme:dark){:root{--paper:#191713;--ink:#efe9da;--soft:#a79f8c;
--line:#3a362d;--air:#e8b46a;--spread:#6d4f26;--dew:#6cc3d3;--band:#24301d;--span:#4d2a1e}}
body{margin:0 auto;max-width:46rem;padding:1rem;background:var(--paper);color:var(--ink);
font:1rem/1.5 system-ui,sans-serif}
h1{font-size:1.35rem;line-height:1.35;margin:.2rem 0 .4rem}
p.when{color:var(--soft);margin:0 0 1rem}
svg{width:100%;height:auto;font:16px system-ui,sans-serif}
@media (min-width:40rem){svg{font-size:11px}}
svg text{fill:var(--soft)}.band{fill:var(--band)}.span{fill:var(--span)}.grid{stroke:var(--line)}
.spread{fill:var(--spread);opacity:.7}.mean{fill:none;stroke:var(--air);stroke-width:2}
.dew{fill:none;stroke:var(--dew);stroke-width:1.5;stroke-dasharray:5 4}
p.key{color:var(--soft);font-size:.85rem;margin:.2rem 0 1rem}
h2{font-size:1rem;margin:1.1rem 0 .2rem;border-top:1px solid var(--line);padding-top:.7rem}
ul{margin:0;padding-left:1.1rem}
"""


def night_html(night: Night, room: str, units: str, zone: tzinfo) -> str:
    """The whole file; whatever names are in it are escaped."""
    first = headline(night, units, zone)
    when = f"{room}, {title(night, zone)}"
    chart = chart_of(night, units, zone, happening_labels(night, units, zone))
    told = "".join(
        f"<h2>{escape(section.name)}</h2><ul>"
        f"{''.join(f'<li>{escape(line)}</li>' for line in section.lines)}</ul>"
        for section in sections(night, units, zone)
    )
    key = (
        "Line: the room's air, with the spread between its probes. Dashes: dew point. "
        "Lighter ground: its band; darker ground: what happened."
    )
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\';'
        " style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(when)}</title><style>{_STYLE}</style></head><body><main>"
        f'<h1>{escape(first)}</h1><p class="when">{escape(when)}</p>'
        f"{svg(chart, 'The air through the night. ' + first)}"
        f'<p class="key">{escape(key)}</p>{told}</main></body></html>\n'
    )
