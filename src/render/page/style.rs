//! How the page looks: paper, ink, one serif face; nothing but measured values is coloured.

/// The style sheet.
pub(super) const STYLE: &str = "\
* { box-sizing: border-box; }
body { font: 16px/1.5 Georgia, 'Times New Roman', serif; color: #1e1e22; background: #fff; margin: 0; overflow-wrap: break-word; }
bdi, h1, td.loose { overflow-wrap: anywhere; }
main { max-width: 72rem; margin: 0 auto; padding: 1.2rem 1.5rem 3rem; }
a { color: #00224e; }
a.skip { position: absolute; left: -60rem; }
a.skip:focus { left: 1rem; top: .5rem; background: #fff; padding: .3rem .6rem; }
h1 { font-size: 1.55rem; line-height: 1.25; margin: 0 0 .3rem; }
h2 { font-size: 1.2rem; margin: 2rem 0 .5rem; border-bottom: 1px solid #8f897b; padding-bottom: .15rem; }
h3 { font-size: 1rem; margin: 1.1rem 0 .3rem; }
p { margin: .3rem 0; max-width: 52rem; }
p.lead { font-size: 1.2rem; margin: .6rem 0; }
.detail, p.detail { color: #55524b; font-size: .88rem; }
i.term { color: #55524b; }
ul.lines { list-style: none; margin: .2rem 0 .6rem; padding: 0; }
ul.lines li { padding: .2rem 0 .2rem .8rem; border-left: .18rem solid #cfcabd; margin: .25rem 0; max-width: 60rem; }
section.group { display: grid; grid-template-columns: 11rem 1fr; gap: 0 1rem; border-top: 1px solid #dcd7ca; padding: .4rem 0; }
section.group h3 { margin: .4rem 0; font-size: 1rem; }
section.group.stops h3 { font-weight: bold; }
section.group.stops ul.lines li { border-left-color: #1e1e22; }
section.group.calm h3 { font-weight: normal; }
.sign { display: inline-block; width: 1.2em; }
ul.items { list-style: none; margin: .4rem 0; padding: 0; }
ul.items li { display: grid; grid-template-columns: 7.5rem 1fr; gap: 0 .8rem; padding: .2rem 0; }
ul.items li > b { font-weight: normal; }
ul.items li > b.attend { font-weight: bold; border-left: .25rem solid #1e1e22; padding-left: .4rem; }
ul.items li.plain { display: block; }
.wide { overflow-x: auto; }
.wide:focus-visible, summary:focus-visible, button:focus-visible, a:focus-visible { outline: .15rem solid #00224e; outline-offset: .1rem; }
table { border-collapse: collapse; margin: .5rem 0; font-size: .9rem; line-height: 1.35; }
caption { text-align: left; color: #55524b; padding-bottom: .25rem; }
th, td { border: 1px solid #cfcabd; padding: .22rem .5rem; text-align: left; vertical-align: top; }
th { background: #f4f1ea; font-weight: bold; }
td { font-variant-numeric: tabular-nums; }
td.number, td.verdict { white-space: nowrap; }
td b.stop { border-bottom: .15rem solid #1e1e22; }
td .why { display: block; color: #55524b; font-size: .85rem; max-width: 40rem; }
figure { margin: 0; break-inside: avoid; }
figure img, figure svg { display: block; max-width: 100%; height: auto; border: 1px solid #cfcabd; }
figcaption { font-size: .85rem; color: #55524b; margin-top: .2rem; }
.gallery { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(21rem, 100%), 1fr)); gap: 1.1rem; margin: .6rem 0; align-items: start; }
.space-frame { display: grid; grid-template-columns: 15rem 1fr; gap: 1rem; align-items: start; }
fieldset { border: 1px solid #cfcabd; margin: 0 0 .7rem; padding: .3rem .7rem .5rem; }
legend { font-weight: bold; font-size: .9rem; padding: 0 .3rem; }
fieldset label { display: block; font-size: .92rem; padding: .12rem 0; }
fieldset button { font: inherit; font-size: .9rem; color: #1e1e22; background: #f4f1ea; border: 1px solid #8f897b; border-radius: .2rem; padding: .2rem .6rem; margin: .12rem .1rem .12rem 0; }
#space-view { height: 34rem; border: 1px solid #cfcabd; display: block; overflow: hidden; position: relative; }
.flat-only { display: none; }
.flat .flat-only { display: block; font-weight: bold; }
.flat .space-frame { display: none; }
details { border-top: 1px solid #dcd7ca; padding: .3rem 0; }
summary { cursor: pointer; font-weight: bold; padding: .2rem 0; }
ol.cautions li { max-width: 56rem; margin: .25rem 0; }
.hash { font-family: monospace; font-size: .78rem; }
.print-only { display: none; }
@media (max-width: 44rem) {
  main { padding: .8rem .8rem 2rem; }
  section.group { display: block; }
  .space-frame { display: block; }
  #space-view { height: 24rem; }
  ul.items li { display: block; }
  table.cards thead { position: absolute; left: -60rem; }
  table.cards, table.cards tbody, table.cards tr, table.cards td { display: block; border: 0; }
  table.cards tr { border: 1px solid #cfcabd; margin: .5rem 0; padding: .3rem .5rem; }
  table.cards caption { display: block; }
  table.cards td { padding: .1rem 0; }
  table.cards td::before { content: attr(data-head) ': '; color: #55524b; font-size: .85rem; }
  table.cards td.bare::before { content: ''; }
}
@page { margin: 9mm; }
@media print {
  html { font-size: 7.7pt; }
  body { font-size: 7.7pt; line-height: 1.22; }
  main { max-width: none; padding: 0; }
  h1 { font-size: 13pt; } h2 { font-size: 10.5pt; margin: 8pt 0 3pt; break-after: avoid; } h3 { font-size: 9pt; margin: 4pt 0 2pt; break-after: avoid; }
  p { max-width: none; } p.detail { break-after: avoid; } p.lead { font-size: 10pt; margin: 3pt 0; }
  ul.lines { margin: 1pt 0; } ul.lines li { margin: 0; padding: 1pt 0 1pt 5pt; max-width: none; }
  section.group { grid-template-columns: 30mm 1fr; padding: 1.5pt 0; }
  section.group h3 { margin: 1pt 0; font-size: 7.7pt; }
  table { font-size: 6.7pt; line-height: 1.16; margin: 3pt 0; width: 100%; } th, td { padding: 1pt 3pt; }
  tr { break-inside: avoid; }
  td .why { font-size: 6.4pt; } tr.calm .why { display: none; }
  .wide { overflow: visible; }
  .gallery { grid-template-columns: repeat(3, 1fr); gap: 5pt; } .gallery.drawn { grid-template-columns: repeat(4, 1fr); }
  figcaption { font-size: 6.6pt; line-height: 1.15; }
  figure svg, figure img { max-height: 52mm; width: auto; margin: 0 auto; }
  #space, .screen, a.skip, details { display: none !important; }
  .print-only { display: block; }
  ol.cautions li { margin: 1pt 0; max-width: none; }
}
";
