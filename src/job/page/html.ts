import { showControls } from '../../errors.ts';
import { lookUp } from '../../json.ts';
import { type KnownNotice, sayAtRest } from '../../notices.ts';
import { SOURCES } from '../../sources.ts';

const ENTITIES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};

/** Text as it may stand in HTML and in attributes. */
export function escapeHtml(text: string): string {
  return showControls(text).replace(/[&<>"']/g, (sign) => ENTITIES[sign]!);
}

/** A number with so many decimals at most, without trailing zeros. */
export function roundTo(value: number, decimals: number): string {
  return String(Number(value.toFixed(decimals)));
}

/** Bytes as `82 kB` or `4.3 MB`, of a thousand each. */
export function sayBytes(bytes: number): string {
  return bytes < 1e6 ? `${Math.ceil(bytes / 1e3)} kB` : `${roundTo(bytes / 1e6, 1)} MB`;
}

/** Seconds as `45 s`, `3 min 20 s` or `1 h 05 min`. */
export function sayDuration(seconds: number): string {
  const whole = Math.round(seconds);
  if (whole < 60) return `${roundTo(seconds, 1)} s`;
  const minutes = Math.floor(whole / 60);
  if (minutes < 60) return `${minutes} min ${String(whole % 60).padStart(2, '0')} s`;
  return `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`;
}

/** Rows of a table of facts. */
export function renderRows(lines: readonly (readonly [head: string, cell: string])[]): string {
  return lines
    .map(([head, cell]) => `<tr><th scope="row">${escapeHtml(head)}</th><td>${escapeHtml(cell)}</td></tr>`)
    .join('');
}

/** Cautions as a list, each with the short name of its source. */
export function renderCautions(cautions: readonly { readonly text: string; readonly source: string }[]): string {
  const lines = cautions.map(
    ({ text, source }) => `<li>${escapeHtml(text)} <span class="soft">[${escapeHtml(nameSource(source))}]</span></li>`,
  );
  return `<ul class="cautions">${lines.join('')}</ul>`;
}

/** What the shop has put to rest, in one quiet line; nothing where nothing is. */
export function renderAtRest({ atRest = [] }: { readonly atRest?: readonly KnownNotice[] }): string {
  return atRest.length === 0
    ? ''
    : `<p class="soft at-rest">Put to rest by the shop: ${escapeHtml(sayAtRest(atRest))}.</p>`;
}

/** What is done to the piece before and after the burn; nothing where nothing is known. */
export function renderHandling(
  handling:
    | {
        readonly before: readonly { readonly text: string; readonly source: string }[];
        readonly after: readonly { readonly text: string; readonly source: string }[];
      }
    | undefined,
): string {
  if (!handling) return '';
  const part = (title: string, steps: (typeof handling)['before']) =>
    steps.length === 0 ? '' : `<div><h2>${title}</h2>${renderCautions(steps)}</div>`;
  return `<section class="handling">${part('Before the burn', handling.before)}${part('After the burn', handling.after)}</section>`;
}

/** Who says so: the first part of the reference. */
function nameSource(key: string): string {
  return key === 'commonPractice' ? 'common practice' : (lookUp<string>(SOURCES, key) ?? key).split(/[,:]/)[0]!;
}

/** The frame of every printed page: self-contained, of the paper's own size (A4 or Letter), nothing from elsewhere. */
export function wrapPage({ title, style, body }: { title: string; style: string; body: string }): string {
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>${escapeHtml(title)}</title>
<style>${BASE_STYLE}${style}</style>
</head>
<body>
${body}
</body>
</html>
`;
}

const BASE_STYLE = `
@page { size: portrait; margin: 8mm 12mm; }
* { box-sizing: border-box; }
:root { --ink: #1c2226; --soft: #59636a; --rule: #c9d0d4; --accent: #14556b; --loud: #8c2a10; }
body { font: 8.3pt/1.32 system-ui, "Segoe UI", Roboto, "Helvetica Neue", Arial, sans-serif; color: var(--ink); background: #fff; margin: 0 auto; max-width: 186mm; padding: 0; }
h1 { font-size: 15pt; margin: 0; line-height: 1.15; overflow-wrap: anywhere; }
h2 { font-size: 8.3pt; margin: 0 0 .8mm; color: var(--accent); font-weight: 650; }
p { margin: 0 0 1.5mm; }
table { border-collapse: collapse; width: 100%; }
th { text-align: left; font-weight: 400; color: var(--soft); padding: .3mm 3mm .3mm 0; vertical-align: top; white-space: nowrap; }
td { padding: .3mm 0; vertical-align: top; font-variant-numeric: tabular-nums; overflow-wrap: anywhere; }
ul { margin: 0; padding-left: 4mm; }
li { margin: 0 0 .6mm; }
.settings b { font-weight: 650; font-size: 10.5pt; line-height: 1.15; }
.settings small { color: var(--soft); font-size: 7.4pt; }
.settings span { font-weight: 600; }
.handling { display: grid; grid-template-columns: 1fr 1fr; gap: 6mm; }
.handling .cautions { columns: 1; }
svg { display: block; width: 100%; height: auto; }
svg text { font: 8px system-ui, "Segoe UI", Roboto, Arial, sans-serif; fill: var(--soft); }
img { display: block; max-width: 100%; }
.soft { color: var(--soft); }
@media screen { body { padding: 6mm 0; } }
@media screen and (max-width: 720px) { .handling { grid-template-columns: 1fr; } body { padding: 4mm; font-size: 11pt; } .scroll { overflow-x: auto; } }
`;
