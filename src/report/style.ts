/**
 * How the report looks: a workshop's job sheet. Boxes to be filled in, ruled lines, one stamp; quiet otherwise.
 *
 * Text is at least 4.5:1 and lines and marks at least 3:1 against the sheet, in light and in dark (WCAG 2.2, 1.4.3 and
 * 1.4.11; tests/report/contrast.test.ts computes them).
 *
 * @module
 */
import { cssString } from './text.js';

/** Colours by role, light and dark. Paper always takes the light ones. */
export const palette = {
  light: {
    '--sheet': '#fdfcf8', '--ink': '#1c2422', '--faint': '#56605c', '--rule': '#d9d7cc', '--rule-strong': '#8b8f87', '--box': '#f4f2e9',
    '--link': '#0b4f74', '--quiet': '#6d746f',
    '--pass': '#1d6b3f', '--fail': '#a8231d', '--caution': '#8f5200', '--undecided': '#67418f', '--bench': '#3f5d77', '--info': '#5a635f', '--on-mark': '#ffffff',
    '--line-1': '#0d5584', '--line-2': '#b0470c', '--line-3': '#37691f', '--line-4': '#7d3a86', '--line-5': '#735c00',
    '--hum': '#a3271f', '--whine': '#6a2f8a', '--limit': '#a8231d',
  },
  dark: {
    '--sheet': '#171b1a', '--ink': '#e9e7de', '--faint': '#a9b0aa', '--rule': '#363d3a', '--rule-strong': '#7f8883', '--box': '#1f2523',
    '--link': '#8ecbef', '--quiet': '#959d98',
    '--pass': '#6fcf97', '--fail': '#ff8f85', '--caution': '#f0b45c', '--undecided': '#c9a5f0', '--bench': '#9dbfda', '--info': '#a9b0aa', '--on-mark': '#171b1a',
    '--line-1': '#79c1ee', '--line-2': '#ff9c63', '--line-3': '#a4d17b', '--line-4': '#dba2e6', '--line-5': '#dcc763',
    '--hum': '#ff9088', '--whine': '#cfa4f0', '--limit': '#ff8f85',
  },
} as const;

const declare = (colours: Readonly<Record<string, string>>): string =>
  Object.entries(colours)
    .map(([name, value]) => `${name}:${value}`)
    .join(';');

const everywhere = `
*{box-sizing:border-box}
html{font:16px/1.5 system-ui,"Segoe UI","Noto Sans","Liberation Sans",sans-serif;background:var(--sheet);color:var(--ink);-webkit-text-size-adjust:100%;overflow-wrap:anywhere}
body{margin:0 auto;max-width:52rem;padding:1.25rem 1.25rem 3rem}
h1,h2,h3,.stamp-word,.faults{font-family:"Iowan Old Style","Palatino Linotype",Charter,"Noto Serif","Liberation Serif",Georgia,serif;line-height:1.2;font-weight:600;text-wrap:balance}
h1{font-size:2.3rem;margin:.1rem 0 .9rem}
h2{font-size:1.45rem;margin:0 0 .5rem}
h3{font-size:1.1rem;margin:0 0 .3rem}
:is(.chart,.strip) :is(h3,h4){font-family:inherit;font-size:1.05rem;margin:0 0 .2rem}
.topic-heading{margin:1.6rem 0 .2rem;border-bottom:1px solid var(--rule-strong);padding-bottom:.1rem}
.tile :is(h3,h4){font-family:inherit;font-size:.92rem;margin:0 0 .1rem}
p{margin:0 0 .6rem}
ul,ol,dl{margin:0 0 .8rem;padding:0}
ul{padding-left:1.1rem}
a{color:var(--link)}
a:focus-visible,summary:focus-visible,.scroll:focus-visible{outline:3px solid var(--link);outline-offset:2px}
code{font-family:ui-monospace,"Cascadia Mono","Liberation Mono",monospace;font-size:.88em}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
caption{text-align:left;color:var(--faint);font-size:.85rem;padding:0 0 .3rem}
th,td{text-align:left;vertical-align:top;padding:.28rem .6rem .28rem 0;border-top:1px solid var(--rule);font-weight:400}
thead th{border-top:0;border-bottom:2px solid var(--ink);font-size:.82rem;color:var(--faint);vertical-align:bottom}
sup{font-size:.72em;line-height:0;padding-left:.15em;color:var(--faint)}
svg{display:block;width:100%;height:auto}
svg text{font-family:system-ui,"Segoe UI","Noto Sans","Liberation Sans",sans-serif;font-variant-numeric:tabular-nums}
figure{margin:0 0 1rem}
figcaption{font-size:.92rem;margin-top:.2rem}
summary{cursor:pointer;color:var(--link);padding:.25rem 0}
details{margin:0 0 1.2rem}
.sprite{position:absolute;width:0;height:0}
.skip{position:absolute;left:-99rem}
.skip:focus{position:static;display:inline-block;padding:.3rem 0}
.small{font-size:.84rem;color:var(--faint)}
.figure{font-weight:650;font-variant-numeric:tabular-nums}
.num{white-space:nowrap;text-align:right;padding-right:1.2rem}
.heard{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.chart text{paint-order:stroke;stroke-linejoin:round;font-size:12px}
.chart text:not([fill]){fill:currentColor}
.on-strip{stroke:var(--sheet);stroke-width:4}
.mark{display:inline-block;width:1em;height:1em;vertical-align:-.12em;flex:none}
.verdict{display:inline-flex;gap:.35em;align-items:baseline;white-space:nowrap}
.verdict .mark{align-self:center}
.v-fail,.v-caution{font-weight:650}
.v-info{color:var(--faint)}
.f-pass{fill:var(--pass)}.f-fail{fill:var(--fail)}.f-caution{fill:var(--caution)}.f-undecided{fill:var(--undecided)}.f-bench{fill:var(--bench)}.f-info{fill:var(--info)}
.o-info{fill:none;stroke:var(--info);stroke-width:1.4}
.o-absent{fill:none;stroke:var(--info);stroke-width:1.4;stroke-dasharray:2.6 2.2}
.on-mark{fill:none;stroke:var(--on-mark);stroke-width:1.9;stroke-linecap:square}
.head{border-top:5px solid var(--ink);padding-top:.45rem}
.form-name{font-size:.86rem;color:var(--faint);margin:0}
.boxes{display:grid;grid-template-columns:repeat(auto-fit,minmax(10.8rem,1fr));margin:0 0 1rem;border-top:1px solid var(--rule-strong);border-left:1px solid var(--rule-strong)}
.boxes div{padding:.3rem .55rem .4rem;border-right:1px solid var(--rule-strong);border-bottom:1px solid var(--rule-strong)}
.boxes dt{font-size:.76rem;color:var(--faint)}
.boxes dd{margin:0;line-height:1.3;overflow-wrap:break-word}
.invented{border:2px dashed var(--caution);padding:.45rem .7rem;margin:0 0 1rem}
.stamp{display:grid;grid-template-columns:auto 1fr;gap:.3rem 1.3rem;align-items:center;margin:0 0 1.3rem}
.stamp-word{margin:0;padding:.55rem 1rem;border:3px double currentColor;border-radius:3px;font-size:1.45rem;display:flex;gap:.5em;align-items:center}
.s-pass .stamp-word{color:var(--pass)}.s-fail .stamp-word{color:var(--fail)}.s-undecided .stamp-word{color:var(--undecided)}.s-absent .stamp-word{color:var(--info)}
.stamp-sentence{font-size:1.08rem;margin:0 0 .2rem;line-height:1.4}
.tally{font-size:.9rem;color:var(--faint);margin:0}
.quiet-heading{font-size:1.05rem;border-bottom:1px solid var(--rule-strong);padding-bottom:.15rem;margin:0 0 .6rem}
.faults{margin:0 0 1rem;padding-left:1.5rem;font-size:1.02rem}
.faults li{margin-bottom:.12rem}
.turn-down{border:2px solid var(--caution);padding:.45rem .7rem}
.clips{list-style:none;padding:0;display:grid;grid-template-columns:repeat(auto-fill,minmax(min(20rem,100%),1fr));gap:.6rem 1.4rem}
.clips p{margin:0 0 .2rem}
.clips audio{width:100%;height:2.4rem}
.numbers td{padding-right:.9rem;text-align:right}
.numbers thead th:not(:first-child){text-align:right;padding-right:.9rem}
.numbers{margin-top:.9rem}
.numbers tbody th{min-width:9rem}
.numbers.many{font-size:.84rem}
.compared table{table-layout:fixed;min-width:34rem}
.compared thead th:first-child{width:31%}
.compared thead th:nth-child(4){width:22%}
.compared thead th:last-child{width:16%}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:0 1rem;margin:0 0 1rem}
.pair>div{border:1px solid var(--rule-strong);padding:.4rem .7rem}
.pair p{margin:0}
.pair .pair-name{font-family:"Iowan Old Style","Palatino Linotype",Charter,"Noto Serif","Liberation Serif",Georgia,serif;font-size:1.2rem;font-weight:600}
.summed{margin-bottom:.9rem}
.sentences{list-style:none;padding:0;margin:0 0 1.3rem}
.sentences li{display:grid;grid-template-columns:1.5rem 1fr;margin-bottom:.45rem}
.sentences .mark{margin-top:.28em}
.sentences p{margin:0}
.said{color:var(--faint)}
.board{margin-bottom:.4rem}
.board figcaption{font-size:.84rem;color:var(--faint)}
.board text{fill:var(--ink)}.board .faint{fill:var(--faint)}
.wire,.tie{fill:none;stroke:var(--ink);stroke-width:1.7}
.tie{stroke-width:1.2;stroke:var(--rule-strong)}
.arrow,.jack{fill:var(--ink)}
.feed{stroke:var(--rule-strong);stroke-width:1.2}
.box{fill:var(--box);stroke:var(--rule-strong);stroke-width:1.2}
.tag{fill:var(--sheet);stroke:var(--rule-strong);stroke-width:1.1}
.behind{fill:var(--sheet)}
.on-pass{stroke:var(--pass)}.on-fail{stroke:var(--fail);stroke-width:2.6}.on-caution{stroke:var(--caution);stroke-width:2.2}.on-undecided{stroke:var(--undecided);stroke-width:1.8}.on-bench-limited{stroke:var(--bench);stroke-width:1.8}.on-absent{stroke-dasharray:4 3}
.strip{margin:0 0 .8rem;break-inside:avoid}
.strip text{fill:var(--faint);font-size:11.5px}
.strip .rule{stroke:var(--rule)}
.strip .between{fill:var(--line-1);stroke:var(--line-1);stroke-width:1.2}
.strip .drop{fill:var(--fail)}
.strip .crack{fill:none;stroke:var(--fail);stroke-width:1.5}
.strip figcaption{font-size:.84rem;color:var(--faint)}
.narrow{display:none}
.sign{display:grid;grid-template-columns:2fr 1fr 2fr 2fr;gap:1.1rem;margin:1.7rem 0 .5rem}
.sign p{border-top:1px solid var(--ink);margin:2.2rem 0 0;font-size:.8rem;color:var(--faint);padding-top:.15rem}
.contents{border-top:5px solid var(--ink);margin:2.5rem 0 0;padding:.7rem 0 0}
.contents ul{list-style:none;padding:0;columns:2;column-gap:2.5rem;margin-bottom:0}
.contents li{break-inside:avoid;display:flex;justify-content:space-between;align-items:baseline;gap:.8rem;border-bottom:1px solid var(--rule);padding:.22rem 0}
.contents .verdict{font-size:.84rem}
.part{border-top:1px solid var(--rule-strong);margin-top:2rem;padding-top:1rem}
.result-line .why{color:var(--faint)}
.readings{margin-top:.9rem;width:auto;min-width:min(34rem,100%);font-size:.9rem;overflow-wrap:normal}
.readings td,.readings thead th+th{text-align:right;padding-left:.9rem;padding-right:.9rem}
.readings td{position:relative}
.readings thead th{max-width:9.5rem}
.readings tbody th{min-width:9.5rem;max-width:22rem}
.readings td.limit,.readings .limits>*,.readings .none{color:var(--faint)}
.readings td .verdict,.readings td .small{display:flex;justify-content:flex-end;gap:.3em;font-size:.8rem;line-height:1.2}
.readings td .mark{width:.85em;height:.85em}
.readings td sup{position:absolute;right:.1rem;top:.75rem;line-height:1}
.readings td:has(.two){padding-right:1.3rem}
.unit{display:inline-block;margin-left:.45em;color:var(--faint);white-space:nowrap}
.notes{list-style:none;padding:0;font-size:.82rem;color:var(--faint);margin-bottom:1.2rem}
.chart{margin-top:1.1rem}
.chart svg{color:var(--ink)}
.plate{position:relative;touch-action:pan-y}
.over{position:absolute;inset:0;height:100%;pointer-events:none}
.redrawn>svg:not(.over){visibility:hidden}
.bar{font-size:.86rem;margin:.15rem 0 .5rem;display:grid;gap:.3rem}
.scrub{display:grid;grid-template-columns:auto 1fr 5.2rem;gap:.6rem;align-items:center}
.scrub input{width:100%;height:24px;margin:0;accent-color:var(--link)}
.where{font-weight:650;font-variant-numeric:tabular-nums}
.chips,.buttons{display:flex;flex-wrap:wrap;gap:.3rem .5rem}
.chip{display:inline-flex;align-items:center;gap:.5rem;min-width:11.5rem}
.num-now{font-variant-numeric:tabular-nums;white-space:nowrap}
.bar button{font:inherit;color:inherit;background:var(--box);border:1px solid var(--rule-strong);border-radius:3px;padding:.15rem .55rem;min-height:28px;min-width:28px;cursor:pointer;display:inline-flex;align-items:center;gap:.4rem}
.bar button:disabled{color:var(--faint);border-style:dashed;cursor:default}
.bar button[aria-pressed=false]{text-decoration:line-through;background:none;border-style:dashed}
.bar button[aria-pressed=false] .sample{visibility:hidden}
.bar button:focus-visible,.scrub input:focus-visible,.to-chart:focus-visible,audio:focus-visible{outline:3px solid var(--link);outline-offset:2px}
.sample{width:26px;height:10px;flex:none}
.at-cursor{font-size:.84rem;font-variant-numeric:tabular-nums;min-height:1.4em;margin:.1rem 0}
.to-chart{font:inherit;color:var(--link);background:none;border:0;padding:0;text-align:inherit;cursor:pointer;text-decoration:underline dotted;min-height:24px;min-width:24px}
.pointed{background:var(--box);box-shadow:inset 0 -3px var(--ink)}
.wide{max-width:52rem}
.tiles{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(19rem,100%),1fr));gap:.3rem 1.4rem}
.tile{margin:.7rem 0 .4rem}
.tile figcaption{font-size:.84rem;color:var(--faint)}
.tile-chart{max-width:24rem}
.scroll{overflow-x:auto;margin-bottom:.3rem}
.figures{font-size:.82rem;width:auto}
.figures th,.figures td{padding:.1rem .9rem .1rem 0;text-align:right;white-space:nowrap;overflow-wrap:normal}
.figures thead th{white-space:normal;min-width:4.2rem;max-width:10rem}
.figures caption,.figures tbody th,.figures thead tr:first-child th:first-child{text-align:left}
.plain{font-size:.9rem;overflow-wrap:normal}
.budget{table-layout:fixed}
.budget th,.budget td{width:26%}
.budget td.num{white-space:normal}
.budget thead th:nth-child(2){width:10%}
.budget thead th:nth-child(3){width:46%}
.budget thead th:last-child{width:18%;text-align:right;padding-right:1.2rem}
.each thead th:nth-child(2){width:24%}
.each thead th:nth-child(3){width:32%}
.plain ul{margin:0;padding:0;list-style:none}
.lines div{display:grid;grid-template-columns:10rem 1fr;gap:.8rem;border-top:1px solid var(--rule);padding:.28rem 0}
.lines dt{color:var(--faint)}
.lines dd{margin:0}
.lines ul{margin:0;list-style:none;padding:0}
.findings{list-style:none;padding:0}
.finding{margin:0 0 1.4rem}
.methods dt{font-weight:650}
.methods dd{margin:0 0 .8rem}
.methods .small{display:block}
.captures{font-size:.9rem}
.captures td{width:54%}
.captures td+td{width:28%}
.captures .small{display:block}
.hash{font-size:.76rem;word-break:break-all}
.hashes{font-family:ui-monospace,"Liberation Mono",monospace;font-size:.76rem}
.foot{border-top:5px solid var(--ink);margin-top:2.5rem;padding-top:.7rem;font-size:.88rem}
.foot .lines div{grid-template-columns:13rem 1fr}
`;

const narrowScreen = `
@media screen{.readings:is(.many,.some) :is(td,thead th+th){padding-left:.45rem;padding-right:.6rem}
.readings:is(.many,.some) td:has(.two){padding-right:1.2rem}
.readings.many{font-size:.84rem}
.readings th:first-child{position:sticky;left:0;background:var(--sheet);z-index:1}
.part{content-visibility:auto;contain-intrinsic-size:auto 60rem}}
@media screen and (min-width:66rem){
body{max-width:62rem}
.sheet-one,.sheet-one~*>:is(p,.lines,.findings,.methods),.wide,.strip,.bar{max-width:52rem}
.sheet-one{margin:auto}
.readings.many{table-layout:fixed;width:100%;font-size:.78rem}
.readings.many :is(td,thead th+th){padding-left:.2rem;padding-right:.5rem}
.readings.many thead th:first-child{width:20%}
.readings.many thead .limit{width:9%}
}
@media screen and (max-width:36rem){
html{font-size:15px}
body{padding:.9rem .9rem 2rem}
h1{font-size:1.75rem}
.boxes{grid-template-columns:1fr 1fr}
.boxes dd{font-size:.84rem}
.wide{display:none}
.narrow{display:block}
.stamp,.lines div,.foot .lines div{grid-template-columns:1fr;gap:.1rem}
.stamp{gap:.7rem}
.contents ul{columns:1}
.sign{grid-template-columns:1fr 1fr;gap:.4rem 1.1rem}
.readings{font-size:.86rem}
.readings tbody th{min-width:7.5rem;max-width:8.5rem}
.readings td,.readings thead th+th{padding-left:.6rem}
.captures thead{position:absolute;left:-99rem}
.captures tr{display:block;border-top:1px solid var(--rule);padding:.4rem 0}
.captures tr>*{display:block;width:auto;border:0;padding:0}
}
`;

/**
 * Paper: light, nothing split that belongs together, what is short set beside each other. What would fill sheet after sheet with
 * little said (the figures behind the charts, the budget of every single reading) stays on the screen; the page says where it is.
 */
const onPaper = (runningHead: string, tool: string, form: string, invented: boolean): string => `
@page{margin:15mm 14mm 14mm;@top-left{content:${cssString(runningHead)};font:9pt sans-serif;color:#56605c}@top-right{content:${cssString(invented ? 'Invented board, for demonstration' : form)};font:9pt sans-serif;color:#56605c}@bottom-left{content:${cssString(tool)};font:9pt sans-serif;color:#56605c}@bottom-right{content:"page " counter(page) " of " counter(pages);font:9pt sans-serif;color:#56605c}}
@page :first{margin-top:12mm;@top-left{content:""}@top-right{content:""}}
@media print{
html{font-size:8.5pt;line-height:1.34;background:none;color-scheme:light}
h1{margin-bottom:.6rem}
.boxes,.invented,.stamp,.sentences{margin-bottom:.8rem}
.sentences li{margin-bottom:.3rem}
body{max-width:none;padding:0;margin:0}
a{color:inherit;text-decoration:none}
.skip,.screen-only,summary,.bar,.at-cursor,.over{display:none}
.redrawn>svg:not(.over){visibility:visible}
.to-chart{color:inherit;text-decoration:none;min-height:0}
details{display:block}
details::details-content{display:block;content-visibility:visible;block-size:auto}
.sheet-one{break-after:page;font-size:9.3pt;line-height:1.36}
.sheet-one h1{font-size:1.8rem;margin-bottom:.4rem}
.sheet-one .stamp-word{font-size:1.25rem;padding:.35rem .8rem}
.sheet-one .stamp-sentence{font-size:1rem}
.sheet-one .invented{padding:.2rem .6rem}
.sheet-one .boxes dd{line-height:1.2}
.sheet-one .faults{font-size:.98rem}
.sheet-one .quiet-heading{margin-bottom:.35rem}
.board .wide{max-height:68mm}
.chart .wide{max-height:54mm}
.contents{margin-top:0}
.contents ul{columns:3;column-gap:1.6rem;font-size:7.8pt}
.contents .verdict{font-size:7pt}
.strip svg{max-height:19mm}
h2,h3,caption,.group{break-after:avoid}
figure,tr,.lines div,.notes li,.stamp,.sentences li,.sign{break-inside:avoid}
.part{margin-top:1.4rem}
.tiles{grid-template-columns:1fr 1fr 1fr;gap:.2rem 1rem}
.charts{display:grid;grid-template-columns:repeat(6,1fr);grid-auto-flow:dense;gap:0 1rem;align-items:start}
.charts>*{grid-column:1/-1;margin-bottom:.2rem}
.charts>[data-charts]{display:contents}
.charts .chart{grid-column:span 3;margin:.3rem 0}
.charts .tile,.thirds .chart{grid-column:span 2}
.across .chart{grid-column:1/-1}
.beside>.scroll{grid-column:span 3}
.beside .readings{font-size:6.8pt}
.beside .readings td{white-space:nowrap}
.beside .readings thead th:first-child{width:34%}
.beside .readings thead .limit{width:13%}
.charts:not(.across) .wide{display:none}
.charts:not(.across) .narrow{display:block}
.charts .narrow{max-height:56mm}
.charts .rows .narrow{max-height:62mm}
.tile{break-inside:avoid}
.tile-chart{max-width:none}
.scroll{overflow:visible}
.plain{font-size:8pt}
.plain th,.plain td{padding-top:.1rem;padding-bottom:.1rem}
.numbers{width:auto}
.compared table{width:100%;min-width:0}
#curves .tiles{grid-template-columns:1fr 1fr}
#curves .tile svg{max-height:38mm}
#curves>.small{break-before:avoid;break-after:auto}
.foot{break-before:avoid}
.plates{display:grid;grid-template-columns:1fr 1fr 1fr;gap:0 1rem}
.plates .tiles{display:contents}
.plates .tile{margin:.3rem 0 0}
.plates>p{order:1;grid-column:1/-1;margin:0}
.close~.close .plates>p{display:none}
.lists{columns:2;column-gap:1.4rem}
.lists table{width:100%;margin-top:.3rem;font-size:7.4pt}
.lists .numbers tbody th{min-width:0;width:52%}
.lists .scroll{break-inside:avoid-page}
.lists .across{column-span:all}
.methods{columns:2;column-gap:1.4rem;font-size:7pt;line-height:1.25}
.methods dt{break-after:avoid}
.methods dd{margin-bottom:.35rem}
.basis,.budget{font-size:7.4pt;line-height:1.25}
.captures{font-size:6.8pt;line-height:1.25}
.captures th,.captures td{padding:.1rem .6rem .1rem 0}
.captures td{width:47%;font-size:6.4pt}
.captures td+td{width:36%;padding-right:0}
.captures .hash{font-size:5.4pt;white-space:nowrap}
.methods .small{display:inline;font-size:6.2pt;line-height:1.25}
.hash{font-size:6.2pt}
.readings tbody tr:nth-child(-n+3){break-after:avoid}
.readings tbody tr:nth-last-child(-n+3){break-before:avoid}
.tile figcaption,.tile :is(h3,h4){font-size:7.8pt;line-height:1.25}
.tile :is(h3,h4){font-size:8.2pt}
.readings{font-size:7.4pt;line-height:1.25;min-width:0;margin-top:.4rem}
.readings th,.readings td{padding-top:.08rem;padding-bottom:.08rem}
.readings td,.readings thead th+th{padding-left:.2rem;padding-right:.42rem}
.readings td:has(.two){padding-right:.8rem}
.readings td .verdict,.readings td .small{font-size:6.6pt}
.readings td sup{top:.15rem;right:0;padding:0}
.readings{width:100%;table-layout:fixed}
.readings td{white-space:normal}
.readings tbody th{min-width:0;max-width:none}
.readings thead th{max-width:none}
.readings thead th:first-child{width:44%}
.readings.some thead th:first-child{width:30%}
.readings.many{font-size:6.8pt}
.readings.many thead th:first-child{width:21%}
.readings thead .limit{width:7.5%}
.turned thead th:first-child{width:24%!important}
thead,.result-line{break-after:avoid}
.notes{font-size:6.8pt;columns:2;column-gap:1.4rem;line-height:1.25}
.part>p{break-after:avoid}
.findings+p{break-before:avoid}
.finding:last-child{margin-bottom:.4rem}
.finding .lines div{padding:.1rem 0}
.finding .lines div:nth-child(-n+2){break-after:avoid}
.finding .lines div:last-child{break-before:avoid}
.finding{margin-bottom:.8rem}
.sign{margin-top:.8rem}
.sign p{margin-top:1.8rem}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}
}
`;

/** The one style sheet of a page. `form` says what kind of sheet it is. What repeats on every printed page is part of it. */
export function styleSheet(runningHead: string, tool: string, form: string, invented: boolean): string {
  return [
    `:root{color-scheme:light dark;${declare(palette.light)}}`,
    `@media screen and (prefers-color-scheme:dark){:root{${declare(palette.dark)}}}`,
    `@media (forced-colors:active){:root{${declare(Object.fromEntries(Object.keys(palette.light).map((k) => [k, ['--sheet', '--box', '--on-mark'].includes(k) ? 'Canvas' : 'CanvasText'])))}}}`,
    everywhere.trim(),
    narrowScreen.trim(),
    onPaper(runningHead, tool, form, invented).trim(),
  ].join('\n');
}
