"""How a debrief's page and plots look, beyond the brief's page: that one's colours and pieces are used throughout.

In plots a line is told apart by its strokes, a mark by its shape; red and amber are for warnings and cautions.
"""

from __future__ import annotations

import re
from typing import Final

from watchkeeper.brief.page_style import LIGHT, PLOT, style_sheet

_LINES: Final = """
.d-axis{fill:none;stroke:var(--rule);stroke-width:1}
.d-grid{fill:none;stroke:var(--rule);stroke-width:.5;opacity:.55}
.d-flight{fill:var(--panel)}
.d-main,.d-second,.d-third{fill:none;stroke:var(--accent);stroke-width:2;stroke-linejoin:round;stroke-linecap:round}
.d-second{stroke:var(--ink);stroke-width:1.4;stroke-dasharray:7 3}
.d-third{stroke:var(--ink);stroke-width:1.6;stroke-dasharray:.5 3.5}
.d-band{fill:var(--accent);fill-opacity:.2;stroke:none}
.d-limit{fill:none;stroke:var(--soft);stroke-width:1.2;stroke-dasharray:12 3 2 3}
.d-turn{fill:none;stroke:var(--ink);stroke-width:1;stroke-dasharray:2 2}
.d-tick{fill:none;stroke:var(--ink);stroke-width:1}
.plot .d-title,.plot .d-number{font-weight:700}
.plot .d-soft{fill:var(--soft)}
.plot .d-end{text-anchor:end}.plot .d-mid{text-anchor:middle}
.plot .d-exercise{font-weight:700;letter-spacing:.12em;text-anchor:end}
.d-track{fill:none;stroke:var(--accent);stroke-width:2;stroke-linejoin:round}
.d-warning{fill:var(--warning);stroke:var(--ink);stroke-width:1}
.d-caution{fill:var(--caution);stroke:var(--ink);stroke-width:1}
"""
_PAGE: Final = """
.exercise{font-weight:700;letter-spacing:.18em;border:.2rem dashed var(--ink);padding:.2rem .7rem;margin:.7rem 0 0;
text-align:center}
.flown{margin-top:.6rem;max-width:62rem}
.flown strong{color:var(--accent)}
.plots{columns:2 27rem;column-gap:2.2rem;margin-top:.8rem}
.plots figure{break-inside:avoid;padding-bottom:1.3rem}
.plots .plot{max-width:46rem}
.none{border-left:.3rem solid var(--rule);padding-left:.6rem;margin:.3rem 0;color:var(--soft)}
.save{color:var(--accent);display:block;width:max-content;padding:.3rem 0;min-height:1.5rem}
.called ul{columns:4 13rem;column-gap:2rem;list-style:none;padding:0}
.narrow{width:auto;min-width:min(100%,26rem)}
.narrow th,.narrow td{padding-right:1.6rem}
.timeline{counter-reset:none;list-style:none;padding:0;margin:0}
.timeline>li{border-bottom:.06rem solid var(--rule);padding:.5rem 0;display:grid;
grid-template-columns:2.2rem 6.4rem 7.4rem minmax(0,1fr);gap:.1rem .8rem;break-inside:avoid}
.no{font-weight:700;text-align:right}
.timeline .tag{align-self:start}
.when{font-variant-numeric:tabular-nums}
.when small,.what small{display:block;color:var(--soft);font-size:.88rem}
.what strong{font-size:1.05rem}
.what p{margin-top:.12rem}
.away{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);
white-space:nowrap}
.defs{position:absolute;width:0;height:0}
.tag.advisory{border-style:dotted}
@media (max-width:44rem){.timeline>li{grid-template-columns:2.2rem minmax(0,1fr) 7.2rem}
.timeline .what{grid-column:1/-1}
.timeline .tag{order:0;justify-self:end;align-self:start;min-width:6.4rem}}
@media print{.save{display:none}.plots{columns:2;column-gap:6mm}.plots figure{padding-bottom:2mm}
.plots .plot{max-height:none}
.timeline>li{padding:.15rem 0;grid-template-columns:1.8rem 5.4rem 6.4rem minmax(0,1fr)}
.d-band{fill-opacity:.15}
.exercise{margin:.2rem 0}
@page{@bottom-center{content:"PRINTED"}}}
"""


def page_style(exercise: bool) -> str:
    """Return the whole style sheet of the page; an exercise says so at the foot of each sheet of paper."""
    foot = "EXERCISE" if exercise else "Debrief"
    return style_sheet() + _LINES.strip() + "\n" + _PAGE.strip().replace("PRINTED", foot) + "\n"


def plot_style(inside: str) -> str:
    """Return the style of one plot that stands by itself: light, in colours that every program understands.

    Only the rules that it uses: their classes stand `inside`.
    """
    rules = (PLOT + _LINES).replace("inherit", "sans-serif").replace("\n", "")
    used = [
        rule
        for rule in re.findall(r"[^{}]+\{[^}]*\}", rules)
        if not (named := re.findall(r"\.([pd]-[a-z-]+)", rule))
        or any(re.search(rf"\b{one}\b", inside) for one in named)
    ]
    return re.sub(r"var\(--([a-z-]+)\)", lambda found: LIGHT[found[1]], "".join(used))
