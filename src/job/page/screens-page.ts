import { createPlane, encodeColour, ONE } from '../../plane/index.ts';
import { applyScreen, SCREEN_NAMES, SCREENS, type ScreenName } from '../../screens/index.ts';
import { escapeHtml, wrapPage } from './html.ts';

/**
 * Dots of a screen's picture, screen pixels of one dot, and mm between dots. Counts and mm. Assumed: a ramp long enough
 * for all tones, dots that are seen one by one, a usual spacing.
 */
const RAMP = { width: 224, height: 48, enlarged: 3, pitchMm: 0.05 } as const;

/** A page with a picture of each screen: a ramp from bare to solid, its dots enlarged. */
export async function renderScreensPage(): Promise<string> {
  const rows: string[] = [];
  for (const name of SCREEN_NAMES) {
    const picture = await drawRamp(name);
    rows.push(
      `<section><h2>${name} <span class="soft">${escapeHtml(SCREENS[name].title)}</span></h2><p>Good for: ${escapeHtml(SCREENS[name].goodFor)}.</p><img src="${picture}" alt="A ramp from bare to solid through ${name}"></section>`,
    );
  }
  const body = `<header><h1>Screens</h1><p class="soft">How each makes dots of tones: a ramp from bare to solid, ${RAMP.width} dots wide and enlarged. auto chooses by the profile and the machine.</p></header>\n${rows.join('\n')}`;
  return wrapPage({
    title: 'Screens',
    style: 'section { break-inside: avoid; margin: 3mm 0; } img { width: 100%; image-rendering: pixelated; }',
    body,
  });
}

async function drawRamp(name: ScreenName): Promise<string> {
  const { width, height, enlarged, pitchMm } = RAMP;
  const plane = createPlane('coverage', width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = Math.round((ONE * (i % width)) / (width - 1));
  const grid = { pitchMm, lineSpacingMm: pitchMm };
  // Nothing is known of marks here: a search takes each dot for the same, as its record has it.
  const dots = applyScreen(plane, { name, grid });
  const wide = { width: width * enlarged, height: height * enlarged };
  const rgb = new Uint8Array(3 * wide.width * wide.height);
  for (let y = 0; y < wide.height; y++) {
    for (let x = 0; x < wide.width; x++) {
      const fires = dots.data[Math.floor(y / enlarged) * width + Math.floor(x / enlarged)]! > 0;
      rgb.fill(fires ? 0 : 255, 3 * (y * wide.width + x), 3 * (y * wide.width + x) + 3);
    }
  }
  const png = await encodeColour({ ...wide, rgb }, { format: 'png', compression: 9 });
  return `data:image/png;base64,${png.toString('base64')}`;
}
