import { describe, expect, test } from 'vitest';
import { prepareJob, resolveChart, resolveJob } from '../../src/job/index.ts';
import { openShop, type Shop } from '../../src/material/index.ts';
import { readPhoto } from '../../src/plane/index.ts';

const shop = openShop({ builtIn: ['shared/shop', 'shared'] });

/** The built-in shop with fields of its machines or profiles changed. */
function shopWith(changes: { machines?: object; profiles?: object }): Shop {
  return {
    ...shop,
    read: (kind, name) => {
      const found = shop.read(kind, name);
      const changed = kind === 'machines' || kind === 'profiles' ? changes[kind] : undefined;
      return changed ? { ...found, json: { ...(found.json as object), ...changed } } : found;
    },
  };
}

const resolve = (request: Partial<Parameters<typeof resolveJob>[0]>, from = shop) =>
  resolveJob({ size: '20x14', ...request }, { shop: from, refused: [] });

function prepare(spec: ReturnType<typeof resolveJob>) {
  const known = { name: 'cat', photoFile: 'cat.png', version: 'test', only: 'everything' } as const;
  return prepareJob(() => readPhoto('images/photos/cat.png'), { spec, ...known });
}

describe('--screen auto', () => {
  test('counts the marks of a profile, and says why on the ticket and its page', async () => {
    const spec = resolve({ profile: 'anodised-black', screen: 'auto' });
    expect(spec.screen).toMatchObject({
      name: 'ostromoukhov',
      options: { scan: 'serpentine', errorOf: 'marks' },
    });
    const { ticket, files } = await prepare(spec);
    expect(ticket!.screen.reason).toContain('what dots leave');
    expect(String(files.at(-1)!.bytes)).toContain('Why this screen');
    expect(ticket!.prediction.meanDeltaL).toBeLessThan(0.6);
  });

  test('puts dots together where a profile scatters, and lets values by hand go over it', () => {
    const uneven = shopWith({ profiles: { repeatability: 5 } });
    expect(resolve({ profile: 'slate-coaster', screen: 'auto' }, uneven).screen).toMatchObject({
      name: 'green-noise',
      options: { cluster: 7 },
    });
    const byHand = resolve({ profile: 'slate-coaster', screen: 'auto', screenOptions: { cluster: 2 } }, uneven);
    expect(byHand.screen.options).toMatchObject({ cluster: 2 });
  });

  test('without a profile takes a screen that needs to know nothing', () => {
    expect(resolve({ material: 'slate', machine: 'gantry-450', screen: 'auto' }).screen.name).toBe('ostromoukhov');
  });
});

describe('a machine that is slow at switching', () => {
  const slow = shopWith({ machines: { switchingUs: 80 } });

  test('gets runs that its beam can follow, with their worth on the ticket', async () => {
    const spec = resolve({ profile: 'anodised-black' }, slow);
    expect(spec.settings.speedMmPerS).toBe(1000);
    expect(spec.screen.options).toMatchObject({ run: 4 });
    const { ticket, files } = await prepare(spec);
    const [none, kept] = ticket!.screen.runs!;
    expect([none!.run, kept!.run]).toEqual([1, 4]);
    expect(none!.speedMmPerS).toBeCloseTo(250, 6);
    expect(kept!.speedMmPerS).toBeCloseTo(1000, 6);
    expect(kept!.seconds).toBeLessThan(0.6 * none!.seconds);
    expect(kept!.meanDeltaL).toBeGreaterThan(none!.meanDeltaL);
    expect(String(files.at(-1)!.bytes)).toContain('runs of 4 dots let the beam follow up to 1000 mm/s instead of 250');
  });

  test('warns of a screen that cannot, and of shorter runs by hand', () => {
    const words = (request: Parameters<typeof resolve>[0]) =>
      resolve(request, slow)
        .warnings.map(({ text }) => text)
        .join(' ');
    expect(words({ profile: 'anodised-black', screen: 'blue-noise' })).toContain('needs 4 dots for on or off');
    expect(words({ profile: 'anodised-black', screenOptions: { run: 2 } })).toContain('ask for runs of 4 dots');
    expect(words({ profile: 'anodised-black' })).not.toContain('for on or off');
  });
});

test('an option that the screen does not read is not passed over in silence', () => {
  const { warnings } = resolve({ profile: 'anodised-black', screen: 'bayer', screenOptions: { errorOf: 'marks' } });
  expect(warnings.map(({ text }) => text)).toContain(
    'The screen bayer does not read: what the error passed on is of. Leave that out, or take a screen that does.',
  );
  const read = resolve({ profile: 'anodised-black', screenOptions: { errorOf: 'marks' } });
  expect(read.warnings.map(({ text }) => text).join()).not.toContain('does not read');
});

test('a machine that states nothing gets no runs, and a ticket without them', async () => {
  const spec = resolve({ profile: 'anodised-black', screen: 'floyd-steinberg' });
  expect(spec.screen.options).toEqual({ scan: 'serpentine' });
  expect((await prepare(spec)).ticket!.screen).toEqual({ name: 'floyd-steinberg', options: { scan: 'serpentine' } });
});

test('the predicted error of a model-based screen is no larger than that of the same screen through its curve', async () => {
  const plain = await prepare(resolve({ profile: 'stainless-card', screen: 'ostromoukhov' }));
  const marks = await prepare(resolve({ profile: 'stainless-card' }));
  expect(plain.ticket!.screen.options).toEqual({ scan: 'serpentine' });
  expect(marks.ticket!.screen.options).toEqual({ scan: 'serpentine', errorOf: 'marks' });
  expect(marks.ticket!.profile.curve).toBe('predicted');
  expect(marks.ticket!.prediction.meanDeltaL).toBeLessThan(1.05 * plain.ticket!.prediction.meanDeltaL);
});

describe('without --screen', () => {
  const own = { name: 'ostromoukhov', options: { scan: 'serpentine' } };
  const learnedOtherwise = shopWith({ profiles: { screen: { ...own, name: 'floyd-steinberg' } } });
  const words = ({ warnings }: ReturnType<typeof resolve>) => warnings.map(({ text }) => text).join(' ');

  test('a profile learned with the automatic screen counts its marks, and nothing is said of another screen', () => {
    const spec = resolve({ profile: 'anodised-black' });
    expect(spec.screen).toMatchObject({ name: 'ostromoukhov', options: { scan: 'serpentine', errorOf: 'marks' } });
    expect(spec.curve).toBe('predicted');
    expect(words(spec)).not.toMatch(/screen|predicted/);
    expect(words(resolve({ profile: 'anodised-black', screen: 'stucki' }))).toMatch(/another screen.*predicted/);
  });

  test('a profile learned with another screen keeps it, and its measured curve', () => {
    const spec = resolve({ profile: 'anodised-black' }, learnedOtherwise);
    expect([spec.screen.name, spec.curve]).toEqual(['floyd-steinberg', 'measured']);
    expect(words(spec)).not.toMatch(/another screen|predicted/);
  });

  test('a first chart is drawn with the automatic screen, and with runs on a slow beam', () => {
    const request = { kind: 'tone', machine: 'galvo-355-f210', material: 'anodised-black' } as const;
    expect(resolveChart(request, { shop, refused: [] }).options.screen).toEqual(own);
    const slow = shopWith({ machines: { switchingUs: 80 } });
    const { screen } = resolveChart(request, { shop: slow, refused: [] }).options;
    expect(screen).toMatchObject({ name: 'floyd-steinberg', options: { run: expect.any(Number) } });
  });

  test('a chart of a profile is drawn with its own screen, whose curve was measured', () => {
    const request = { kind: 'verify', profile: 'anodised-black' } as const;
    expect(resolveChart(request, { shop, refused: [] }).options.screen).toMatchObject(own);
  });
});
