"""How the page looks: calm, on the screen by day and by night, and on paper."""

from __future__ import annotations

# Pictures lie on a grey of half the light that white paper sends back, as prints are judged on:
# neither makes them look darker or lighter than they are.
STYLE = """
:root {
  color-scheme: light dark;
  --paper: #f6f5f2; --card: #ffffff; --ink: #23272b; --quiet: #5f666d; --rule: #d9d7d1;
  --line: #4d6a80; --accent: #b4531a; --wash: #f4e6da; --mat: #777777; --void: #b9bcbf;
}
@media (prefers-color-scheme: dark) {
  :root {
    --paper: #1b1d1f; --card: #232628; --ink: #e4e3df; --quiet: #a3a9ae; --rule: #3a3e41;
    --line: #8fb0c6; --accent: #ec965a; --wash: #3a2c22; --mat: #6b6b6b; --void: #565b5f;
  }
}
* { box-sizing: border-box; }
body {
  margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.55 system-ui, -apple-system, "Segoe UI", "Noto Sans", sans-serif;
}
main { max-width: 62rem; margin: 0 auto; padding: 2.5rem 1.25rem 4rem; }
h1 { font-size: 1.7rem; line-height: 1.25; font-weight: 600; margin: 0 0 .3rem;
  overflow-wrap: anywhere; }
h2 { font-size: 1.15rem; font-weight: 600; margin: 0 0 .7rem; }
h3 { font-size: 1rem; font-weight: 600; margin: 0 0 .25rem; overflow-wrap: anywhere; }
p { margin: 0 0 .7rem; max-width: 46rem; overflow-wrap: anywhere; }
.result + .result { margin-top: 4.5rem; }
.quiet, figcaption, dt { color: var(--quiet); }
section { margin: 2.6rem 0 0; padding: 1.1rem 0 0; border-top: 1px solid var(--rule); }
figure { margin: 0 0 1rem; }
figcaption { font-size: .87rem; line-height: 1.45; margin: .45rem 0 0; max-width: 46rem;
  overflow-wrap: anywhere; }
img { display: block; max-width: 100%; }
.mat { background: var(--mat); padding: clamp(.8rem, 3vw, 2.2rem); }
.mat img { margin: 0 auto; max-height: 80vh; }
.row { display: grid; grid-template-columns: repeat(auto-fit, minmax(17rem, 1fr)); gap: 1.4rem; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: .7rem; background: var(--mat);
  padding: .8rem; margin: 0 0 .4rem; }
.pair figure { margin: 0; }
.pair figcaption { color: #fff; margin: .3rem 0 0; }
.pair img { width: 100%; image-rendering: pixelated; }
dl { display: grid; grid-template-columns: repeat(auto-fill, minmax(9.5rem, 1fr)); gap: .9rem;
  margin: 1rem 0; }
dt { font-size: .85rem; }
dd { margin: 0; font-size: 1.15rem; font-variant-numeric: tabular-nums; overflow-wrap: anywhere; }
svg { display: block; width: 100%; height: auto; }
svg * { stroke-linejoin: round; stroke-linecap: butt; }
svg text { font-family: inherit !important; }
ul { margin: 0; padding: 0; list-style: none; }
.well li { padding: 0 0 .35rem 1.5rem; position: relative; max-width: 46rem; }
.well li::before { content: "\\2713"; position: absolute; left: 0; color: var(--line); }
.lessons > li { background: var(--card); border: 1px solid var(--rule); padding: .9rem 1.1rem;
  margin: 0 0 .8rem; border-left: 4px solid var(--rule); }
.lessons > li.problem, .lessons > li.caution { border-left-color: var(--accent); }
.lessons p { margin: 0 0 .3rem; }
.lessons b { font-weight: 600; }
.strip { display: grid; grid-template-columns: repeat(auto-fill, minmax(6.4rem, 1fr)); gap: .55rem;
  background: var(--mat); padding: .8rem; }
.strip li { color: #fff; font-size: .74rem; line-height: 1.3; overflow-wrap: anywhere; }
.strip img { width: 100%; margin: 0 0 .2rem; }
.strip .out img { opacity: .45; outline: 2px solid #ffb37d; outline-offset: -2px; }
.strip .odd img { outline: 2px solid #ffb37d; outline-offset: -2px; }
.bar { display: flex; height: 1.1rem; margin: .2rem 0 .5rem; background: var(--void); }
.bar .motion, .key .motion { background: var(--accent); }
.bar .detail, .key .detail { background: var(--line); }
.bar .empty, .key .empty { background: var(--void); }
.key { display: flex; flex-wrap: wrap; gap: .3rem 1.3rem; font-size: .9rem; margin: 0 0 .7rem; }
.key span { display: inline-block; width: .8rem; height: .8rem; margin-right: .4rem; }
table { border-collapse: collapse; width: 100%; font-size: .85rem;
  font-variant-numeric: tabular-nums; }
th, td { text-align: left; padding: .25rem .6rem .25rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: top; overflow-wrap: anywhere; }
summary { cursor: pointer; color: var(--quiet); margin: .6rem 0; }
code { font-family: ui-monospace, "DejaVu Sans Mono", monospace; font-size: .9em; }
footer { margin-top: 3rem; color: var(--quiet); font-size: .85rem; }
@page { size: A4; margin: 15mm; }
@media print {
  :root {
    color-scheme: light;
    --paper: #fff; --card: #fff; --ink: #111; --quiet: #444; --rule: #bbb;
    --line: #35566e; --accent: #a54a14; --wash: #fff; --mat: #777777; --void: #b9bcbf;
  }
  body { font-size: 10pt; }
  main { max-width: none; padding: 0; }
  section { margin-top: 1.4rem; }
  figure, .lessons > li, .strip li, .pair, tr { break-inside: avoid; }
  h2, h3 { break-after: avoid; }
  details:not([open]) { display: none; }
  .mat img { max-height: 150mm; }
  .row { grid-template-columns: 1fr 1fr; }
  .strip { grid-template-columns: repeat(8, 1fr); }
  .mat, .pair, .strip, .bar, .key span { -webkit-print-color-adjust: exact;
    print-color-adjust: exact; }
}
"""
