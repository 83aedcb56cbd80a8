import { existsSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { type Browser, type BrowserContext, chromium, type Page } from 'playwright-core';

/** Without the window of a browser: for tests, at half of its cost. */
const WINDOWLESS = 'chromium-headless-shell';
const NAMES = ['chromium', 'chromium-browser', 'google-chrome-stable', 'google-chrome', 'chrome', 'msedge'];
const PLACES = [
  '/Applications/Chromium.app/Contents/MacOS/Chromium',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
  'C:\\Program Files\\Google\\Chrome\\Application\\chrome.exe',
  'C:\\Program Files (x86)\\Microsoft\\Edge\\Application\\msedge.exe',
];

/**
 * A browser of this system, `whole` or where there is one without the window round it. These tests look at the page as
 * a person does; without one they fail and say what is missing.
 */
export function findChromium({ whole = false } = {}): string {
  const named = process.env.TONEWRIGHT_CHROMIUM;
  const names = whole ? NAMES : [WINDOWLESS, ...NAMES];
  const folders = (process.env.PATH ?? '').split(delimiter);
  const onPath = names.flatMap((name) => folders.map((folder) => join(folder, name)));
  const found = [...(named ? [named] : []), ...onPath, ...PLACES].find((path) => existsSync(path));
  if (found) return found;
  throw new Error(
    'no Chromium was found: install it (Debian: apt-get install chromium), or set TONEWRIGHT_CHROMIUM to its path',
  );
}

export interface Opened {
  readonly browser: Browser;
  readonly context: BrowserContext;
  readonly page: Page;
  /** What the page complained of on its console. */
  readonly complaints: string[];
}

export interface View {
  readonly width?: number;
  readonly height?: number;
  readonly scheme?: 'light' | 'dark';
}

export function launch(which: Parameters<typeof findChromium>[0] = {}): Promise<Browser> {
  return chromium.launch({
    executablePath: findChromium(which),
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
      '--font-render-hinting=none',
      '--disable-lcd-text',
      '--force-color-profile=srgb',
    ],
  });
}

export async function openPage(
  browser: Browser,
  url: string,
  { width = 1280, height = 900, scheme = 'light' }: View = {},
): Promise<Opened> {
  const context = await browser.newContext({
    viewport: { width, height },
    colorScheme: scheme,
    reducedMotion: 'reduce',
    locale: 'en-GB',
    acceptDownloads: true,
  });
  context.setDefaultTimeout(60_000);
  const page = await context.newPage();
  const complaints: string[] = [];
  page.on('console', (message) => {
    // The browser notes every refused request; the page tells of those in words.
    if (message.type() === 'error' && !/Failed to load resource/.test(message.text())) complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(error.message));
  await page.goto(url);
  return { browser, context, page, complaints };
}
