"""The look of the page: colours for light, dark and paper, and the style sheet.

Contrast is held by a test against WCAG 2.2 (1.4.3 and 1.4.11) for the pairs named here. Red is for warnings and
amber for cautions alone (14 CFR 25.1322), always beside words. On paper all is black on white.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

LIGHT: Final = {
    "paper": "#fbfaf6",
    "panel": "#efede4",
    "ink": "#14181b",
    "soft": "#434a50",
    "rule": "#878b8c",
    "accent": "#0b4a56",
    "warning": "#a3121f",
    "on-warning": "#ffffff",
    "caution": "#bd7600",
    "on-caution": "#000000",
    "reach": "#dfe9e6",
}
DARK: Final = {
    "paper": "#12171a",
    "panel": "#1d2529",
    "ink": "#edebe4",
    "soft": "#bcc3c6",
    "rule": "#768187",
    "accent": "#93cdd6",
    "warning": "#ff6a60",
    "on-warning": "#2a0306",
    "caution": "#f0b33c",
    "on-caution": "#000000",
    "reach": "#1c3033",
}
PAPER: Final = {
    "paper": "#ffffff",
    "panel": "#ffffff",
    "ink": "#000000",
    "soft": "#000000",
    "rule": "#777777",
    "accent": "#000000",
    "warning": "#000000",
    "on-warning": "#ffffff",
    "caution": "#000000",
    "on-caution": "#ffffff",
    "reach": "#ffffff",
}
TEXT_PAIRS: Final = (
    *((text, ground) for text in ("ink", "soft", "accent", "warning") for ground in ("paper", "panel", "reach")),
    ("on-warning", "warning"),
    ("on-caution", "caution"),
)
"""Which colours of text stand on which grounds."""
GRAPHIC_PAIRS: Final = (("rule", "paper"), ("caution", "paper"), ("accent", "paper"), ("accent", "reach"))
"""Lines and marks that carry meaning, and their grounds."""

_SCREEN: Final = """
*{box-sizing:border-box}
body{margin:0;background:var(--paper);color:var(--ink);font:1rem/1.45 "Segoe UI",Roboto,"Helvetica Neue",
Arial,"Liberation Sans",sans-serif;overflow-wrap:anywhere;font-variant-numeric:tabular-nums}
.sheet{max-width:76rem;margin:0 auto;padding:1.2rem clamp(.8rem,3vw,2.4rem) 3rem}
h1,h2,h3,p,ul,ol,dl,dd,figure{margin:0;padding:0}
header{border-bottom:.35rem double var(--accent);padding-bottom:.7rem}
h1{font-size:clamp(1.5rem,4vw,2.1rem);line-height:1.15}
.made{color:var(--soft);margin-top:.2rem}
.standing{margin-top:.5rem;max-width:62rem}
h2{font-size:1.3rem;line-height:1.2;color:var(--accent);border-top:.16rem solid var(--accent);padding-top:.3rem;
margin:1.9rem 0 .6rem}
h3{font-size:1.05rem;margin:1.3rem 0 .35rem}
dl{display:grid;grid-template-columns:minmax(8rem,max-content) 1fr;gap:.15rem 1rem}
dt{color:var(--soft)}
dl.line{display:flex;flex-wrap:wrap;gap:.15rem 1.6rem;margin-top:.7rem}
dl.line div{display:flex;gap:.45rem}
dl.line dt{flex:0 0 auto;max-width:50%}
.remarks{list-style:none;display:grid;gap:.55rem}
.remarks li{display:grid;grid-template-columns:6.6rem 1fr;gap:.1rem .8rem;align-items:start}
.tag{font-weight:700;font-size:.85rem;text-align:center;padding:.12rem .3rem;border:.12rem solid var(--ink)}
.tag.warning{background:var(--warning);color:var(--on-warning);border-color:var(--warning)}
.tag.caution{background:var(--caution);color:var(--on-caution);border-color:var(--caution)}
.do{display:block}
.is-warning{color:var(--warning);font-weight:700}
.is-caution{box-shadow:inset .28rem 0 var(--caution);padding-left:.6rem!important}
.n.is-caution{box-shadow:inset -.28rem 0 var(--caution);padding-right:.6rem!important}
.wide,.words{margin-top:.9rem}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.95rem;line-height:1.3}
caption{text-align:left;font-weight:700;padding-bottom:.25rem}
th,td{text-align:left;vertical-align:top;padding:.28rem .7rem .28rem 0;border-bottom:.06rem solid var(--rule);
min-width:3.2rem}
td.n,thead th{overflow-wrap:normal}
tbody th{font-weight:400;min-width:8rem}
thead th{vertical-align:bottom;font-weight:400;color:var(--soft);line-height:1.15}
thead tr:last-child th,thead th[rowspan]{border-bottom:.12rem solid var(--ink)}
th.over{text-align:center;border-bottom:.06rem solid var(--ink);color:var(--ink)}
.n{text-align:right}
td.n{white-space:nowrap}
.n+:not(.n){padding-left:.6rem}
.set td.n{font-size:1.35rem;font-weight:700;line-height:1.1}
.set tbody th{font-weight:700}
.note{color:var(--soft);font-size:.9rem;margin-top:.35rem;max-width:62rem}
.pair{display:grid;grid-template-columns:minmax(0,1.05fr) minmax(0,1fr);gap:0 2.2rem}
.beside{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,24rem),1fr));gap:0 2.2rem}
.facts{margin-top:.9rem}
.ticks{list-style:none;columns:2 22rem;column-gap:2.2rem}
.ticks li{break-inside:avoid}
.ticks label{display:flex;gap:.7rem;align-items:center;min-height:2.75rem;padding:.2rem 0}
.ticks input{width:1.5rem;height:1.5rem;flex:none;margin:0;accent-color:var(--accent)}
.plainlist{padding-left:1.2rem}
.card{border:.2rem solid var(--ink);padding:.2rem .8rem .7rem}
.card .words{margin-top:.4rem}
.card tbody th{font-weight:700}
footer{border-top:.35rem double var(--accent);margin-top:2rem;padding-top:.6rem}
:focus-visible{outline:.2rem solid var(--accent);outline-offset:.15rem}
@media (max-width:56rem){.pair{grid-template-columns:minmax(0,1fr)}}
@media screen and (max-width:34rem){
.words table,.words caption,.words tbody,.words tr,.words th[scope=row],.words td{display:block}
.words thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.words tr{border-bottom:.06rem solid var(--rule);padding:.35rem 0}
.words th,.words td{border:0;padding:.08rem 0;text-align:left}
.words tbody th{font-weight:700}
.words td.n{white-space:normal}
.words .n+:not(.n):not(.is-caution){padding-left:0}
.words td[data-head]{display:grid;grid-template-columns:8rem minmax(0,1fr);gap:.6rem}
.words td[data-head]::before{content:attr(data-head);color:var(--soft);font-weight:400;font-size:.95rem}
.words td:empty{display:none}
.remarks li,dl{grid-template-columns:minmax(0,1fr)}.tag{justify-self:start}
dd{margin-bottom:.3rem}}
"""
PLOT: Final = """
.plot{display:block;width:100%;max-width:36rem;margin:0 auto;color:var(--ink)}
.plot text{font-size:12px;font-family:inherit;fill:var(--ink);paint-order:stroke;stroke:var(--paper);
stroke-width:3px;stroke-linejoin:round}
.plot .p-name{font-weight:700}
.plot .p-scale,.plot .p-area-name{fill:var(--soft)}
.plot .p-area-name{font-style:italic}
.plot .p-compass{font-weight:700}
.p-rim,.p-ring,.p-plan,.p-back,.p-peak,.p-girth,.p-place,.p-wind,.p-area,.p-hatch{fill:none;stroke:var(--ink);
stroke-width:1.3}
.p-rim{stroke:var(--rule)}
.p-ring{stroke:var(--rule);stroke-width:.8;stroke-dasharray:1.5 3}
.p-reach{fill:var(--reach);stroke:var(--accent);stroke-width:3.2;fill-opacity:.75}
.p-plan{stroke-width:1.8}
.p-leader{fill:none;stroke:var(--soft);stroke-width:.7}
.p-back{stroke-dasharray:6 4}
.p-home,.p-dot{fill:var(--ink)}
.p-point{fill:var(--paper);stroke:var(--ink);stroke-width:2}
.p-outside{stroke:var(--warning);stroke-width:1.7}
.p-peak,.p-wind,.p-place{stroke-width:2}
.p-hatch{stroke-width:1.1}
.p-boundary{stroke-width:1.6;stroke-dasharray:10 3 2 3}
.p-keep-out{fill:url(#hatch-keep-out)}
.p-people{fill:url(#hatch-people)}
"""
"""What is drawn, here and in the debrief: the whole of it goes into a plot that is saved by itself."""
_PRINT: Final = """
@page{size:A4;margin:8mm 10mm 11mm;
@bottom-right{content:"page " counter(page) " of " counter(pages);font:8pt sans-serif}
@bottom-left{content:"Watchkeeper advises, the crew decides. Not certified.";font:8pt sans-serif}}
@media print{
html{font-size:7.8pt}
.screen{display:none}
body{line-height:1.24}
.sheet{max-width:none;padding:0}
h1{font-size:14pt;display:inline}
.made{display:inline;margin-left:.8rem}
h2{font-size:1.2rem;margin:.65rem 0 .2rem;padding-top:.15rem;break-after:avoid}
h3{margin:.5rem 0 .1rem;break-after:avoid}
header{padding-bottom:.3rem}
.standing{max-width:none;margin-top:.2rem}
dl.line{margin-top:.3rem}
dl{gap:0 .8rem}
.remarks{gap:.15rem}
.remarks li{break-inside:avoid;grid-template-columns:6.2rem 1fr}
.tag{padding:0 .2rem}
.tag.warning,.tag.caution{background:none;color:var(--ink)}
.tag.warning{border-width:.24rem;text-decoration:underline}
.tag.advisory{border-style:dotted}
.is-warning{text-decoration:underline}
.wide,.words{margin-top:.3rem}
.wide{overflow:visible}
.set tbody th{white-space:nowrap}
.facts{margin-top:.4rem}
table{font-size:.95rem}
caption{padding-bottom:.05rem}
th,td{padding:.07rem .45rem .07rem 0;min-width:0}
tbody th{min-width:4.4rem}
tr,.words,.card,figure{break-inside:avoid}
.set td.n{font-size:1.2rem}
.note{margin-top:.1rem;max-width:none;font-size:.9rem}
.pair{grid-template-columns:minmax(0,1.12fr) minmax(0,1fr);gap:0 5mm}
.beside{grid-template-columns:1.35fr 1fr;gap:0 5mm}
.do{display:inline}
.plot{max-width:none;max-height:90mm}
.p-reach{fill:none}
.ticks{columns:2;column-gap:6mm}
.ticks label{min-height:0;padding:.1rem 0;gap:.5rem}
.ticks input{width:1.15rem;height:1.15rem}
.sheetpart{break-inside:avoid}
.card{padding:.1rem .6rem .3rem;margin-top:.4rem}
.card h3{margin-top:.2rem}
h2+.note,caption{break-after:avoid}
.long{break-inside:auto!important}
footer{display:none}
}
"""


def style_sheet() -> str:
    """Return the style sheet; the page carries it whole."""
    return (
        f":root{{color-scheme:light dark;{_variables(LIGHT)}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{_variables(DARK)}}}}}\n"
        f"@media print{{:root{{color-scheme:light;{_variables(PAPER)}}}}}\n"
        f"{_SCREEN.strip()}\n{PLOT.strip()}\n{_PRINT.strip()}\n"
    )


def _variables(colours: Mapping[str, str]) -> str:
    return ";".join(f"--{name}:{value}" for name, value in colours.items())
