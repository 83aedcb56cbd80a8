import { describe, expect, test } from 'vitest';
import { brushSurface, shadeFinger } from '../../benchmarks/common/chart-scenes.ts';
import { drawOnce, EXAMPLE, LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import {
  type CameraOptions,
  growInk,
  type Ink,
  inkOf,
  type Simulated,
  simulateCapture,
} from '../../benchmarks/common/simulate-capture.ts';
import {
  type CaptureImage,
  type ChartLayout,
  layoutChart,
  locateChart,
  overlayFindings,
  type ReadOptions,
  readPatches,
} from '../../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { AppError } from '../../src/errors.ts';

const SCAN: CameraOptions = { width: 1060, height: 700, pxPerMm: 11.81, bare: 0.6, solid: 0.06, blurPx: 0.7, noise: 1 };
const PHOTO: CameraOptions = {
  width: 1100,
  height: 825,
  pxPerMm: 8,
  bare: 0.5,
  solid: 0.05,
  blurPx: 1,
  noise: 3,
  turnDeg: 14,
};

const take = (layout: ChartLayout, camera: CameraOptions): Simulated =>
  simulateCapture(inkOf(drawOnce(layout), layout), layout, camera);
const read = (capture: CaptureImage, layout: ChartLayout, options?: ReadOptions) =>
  readPatches(capture, locateChart(capture, [layout]), options);
/** All layouts are drawn for darker marks: where the piece marks lighter, a person has to say so. */
const marksOf = ({ bare, solid }: CameraOptions) => ({ direction: solid > bare ? 'lighter' : 'darker' }) as const;

function refusal(capture: CaptureImage, layout: ChartLayout, options?: ReadOptions): AppError {
  try {
    read(capture, layout, options);
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  throw new Error('the capture was read');
}

/** A chart whose patches have whole tones, not dots: each patch of one ink share. */
function flatInk(layout: ChartLayout, shareOf: (id: string) => number): Ink {
  const dots = drawOnce(layout);
  const data = Float64Array.from(dots.data);
  for (const { id, xDots, yDots, widthDots, heightDots } of layout.patches) {
    for (let y = yDots; y < yDots + heightDots; y++)
      data.fill(shareOf(id), y * dots.width + xDots, y * dots.width + xDots + widthDots);
  }
  return { ...inkOf(dots, layout), data };
}

/** Largest error of a reading, L*, against the dots that were drawn. */
function worstTone(readings: ReturnType<typeof read>, layout: ChartLayout, { bare, solid }: CameraOptions): number {
  const dots = drawOnce(layout);
  return Math.max(
    ...readings.readings.map(({ id, mean }) => {
      const { xDots, yDots, widthDots, heightDots } = layout.patches.find((patch) => patch.id === id)!;
      let fired = 0;
      for (let y = yDots; y < yDots + heightDots; y++) {
        for (let x = xDots; x < xDots + widthDots; x++) fired += dots.data[y * dots.width + x]!;
      }
      const truth = bare + ((solid - bare) * fired) / (widthDots * heightDots);
      return Math.abs(lightnessOfReflectance(bare * mean) - lightnessOfReflectance(truth));
    }),
  );
}

describe('a step tablet', () => {
  // 21 steps of 0.15 density, half a stop each, as common tablets have them (source: 'commonPractice').
  const steps = Array.from({ length: 21 }, (_, step) => step * 0.15);
  const solid = 10 ** -3;
  const layout = layoutChart('verify', {
    ...EXAMPLE,
    tones: steps.map((density) => ({ coverage: Math.round(1e4 * ((1 - 10 ** -density) / (1 - solid))) / 1e4 })),
    replicates: 2,
  });
  const coverages = [
    ...new Set(layout.patches.filter(({ role }) => role === 'step').map(({ coverage }) => coverage)),
  ].sort((a, b) => a - b);
  const ink = flatInk(layout, (id) => {
    const patch = layout.patches.find((one) => one.id === id)!;
    const step = coverages.indexOf(patch.coverage);
    return patch.role === 'step' ? (1 - 10 ** -steps[step]!) / (1 - solid) : patch.coverage;
  });
  const camera: CameraOptions = { ...SCAN, bare: 0.9, solid: 0.9 * solid, bits: 16, noise: 0.02, turnDeg: 2 };

  test.each([
    ['in even light', camera, 0.01],
    ['in unequal light', { ...camera, lightX: 0.2, lightY: -0.1, exposure: 0.8 }, 0.01],
  ] as const)('comes back with its densities %s', (_name, options, tolerance) => {
    const { readings } = read(simulateCapture(ink, layout, options).capture, layout);
    const tablet = readings.filter(({ role }) => role === 'step');
    expect(tablet.length).toBe(42);
    for (const { coverage, mean } of tablet) {
      const density = -Math.log10(mean);
      expect(Math.abs(density - steps[coverages.indexOf(coverage)]!)).toBeLessThan(tolerance);
    }
  });
});

describe('patches are read', () => {
  test.each([
    ['in a scan', 'tone', SCAN, 1.2],
    ['in a photo under unequal light', 'tone', { ...PHOTO, lightX: 0.4, lightY: 0.2, vignetting: 0.3, tiltX: 0.1 }, 1],
    ['where marks are lighter', 'tone', { ...PHOTO, bare: 0.04, solid: 0.4, lightX: 0.3 }, 1.2],
    ['on a strip under unequal light', 'check', { ...PHOTO, pxPerMm: 13, lightX: 0.4, turnDeg: 0 }, 1],
    [
      'with 8 L* between bare and solid',
      'verify',
      { ...PHOTO, bare: reflectanceOfLightness(50), solid: reflectanceOfLightness(42) },
      0.4,
    ],
  ] as const)('%s', (_name, kind, camera, tolerance) => {
    const layout = LAYOUTS[kind];
    const readings = read(take(layout, camera).capture, layout, marksOf(camera));
    expect(readings.readings.length).toBe(layout.patches.length);
    expect(readings.direction).toBe(camera.solid > camera.bare ? 'lighter' : 'darker');
    expect(worstTone(readings, layout, camera)).toBeLessThan(tolerance);
    expect(readings.solidRatio / (camera.solid / camera.bare)).toBeCloseTo(1, 1);
  });

  test.each([
    ['across', { widthMm: 60, heightMm: 15 }],
    ['upright', { widthMm: 15, heightMm: 60 }],
  ] as const)('on a strip of two rows, %s: what lies between two patches is no bare margin', (_name, size) => {
    const layout = layoutChart('check', { ...EXAMPLE, ...size });
    expect(new Set(layout.patches.map(({ xMm, yMm }) => (_name === 'across' ? yMm : xMm))).size).toBe(2);
    const camera = { ...PHOTO, width: 1300, height: 1300, pxPerMm: 13, lightX: 0.03 };
    const { readings, rejected } = read(take(layout, camera).capture, layout, marksOf(camera));
    expect([readings.length, rejected]).toEqual([layout.patches.length, []]);
    expect(worstTone(read(take(layout, camera).capture, layout), layout, camera)).toBeLessThan(1);
  });

  test('with the colour of bare and solid', () => {
    const camera = { ...SCAN, bare: 0.5, solid: 0.1, tint: [1.2, 1, 0.6] as const };
    const { bare, solid } = read(take(LAYOUTS.tone, camera).capture, LAYOUTS.tone);
    // Linear sRGB 0.6, 0.5, 0.3 and a fifth of it; L* of Y = 0.50682 and 0.101364 by the formula.
    expect(bare[0]).toBeCloseTo(76.5, 0);
    expect(solid[0]).toBeCloseTo(38.1, 0);
    expect(bare[2]).toBeGreaterThan(10);
  });

  test('and say so when the mark goes the other way than the chart was drawn for', () => {
    const other = { ...SCAN, bare: 0.05, solid: 0.5 };
    const { direction, warnings } = read(take(LAYOUTS.tone, other).capture, LAYOUTS.tone, marksOf(other));
    expect(direction).toBe('lighter');
    expect(warnings.map(({ code }) => code)).toContain('direction-read');
  });
});

describe('what spoils a patch', () => {
  /** Paints a stroke over the picture. */
  const scratch = ({ capture, place }: Simulated, from: readonly [number, number], to: readonly [number, number]) => {
    for (let i = 0; i <= 4000; i++) {
      const t = i / 4000;
      const [px, py] = place(from[0] + (to[0] - from[0]) * t, from[1] + (to[1] - from[1]) * t);
      for (let dy = -2; dy <= 2; dy++) {
        for (let dx = -2; dx <= 2; dx++) {
          capture.rgb.fill(
            255,
            ((Math.floor(py) + dy) * capture.width + Math.floor(px) + dx) * 3,
            ((Math.floor(py) + dy) * capture.width + Math.floor(px) + dx) * 3 + 3,
          );
        }
      }
    }
  };

  test('a scratch is left out, and the rest of the patch read', () => {
    const simulated = take(LAYOUTS.tone, SCAN);
    const patch = LAYOUTS.tone.patches.find(({ role }) => role === 'solid')!;
    const { xMm, yMm, widthMm, heightMm } = patch;
    scratch(simulated, [xMm + widthMm * 0.4, yMm], [xMm + widthMm * 0.4, yMm + heightMm]);
    const { readings, rejected } = read(simulated.capture, LAYOUTS.tone);
    const reading = readings.find(({ id }) => id === patch.id)!;
    expect(rejected.map(({ id }) => id)).not.toContain(patch.id);
    expect(reading.rejectedShare).toBeGreaterThan(0.1);
    expect(reading.mean).toBeCloseTo(0.1, 2);
  });

  test('a patch that is white with scratches is left out', () => {
    const simulated = take(LAYOUTS.tone, SCAN);
    const patch = LAYOUTS.tone.patches.find(({ role }) => role === 'solid')!;
    const { xMm, yMm, widthMm, heightMm } = patch;
    for (const at of [0.2, 0.35, 0.5, 0.65, 0.8]) {
      scratch(simulated, [xMm + widthMm * at, yMm], [xMm + widthMm * (1 - at), yMm + heightMm]);
    }
    const { readings, rejected } = read(simulated.capture, LAYOUTS.tone);
    expect(readings.map(({ id }) => id)).not.toContain(patch.id);
    expect(rejected.find(({ id }) => id === patch.id)?.reason).toBe('clipped');
  });

  test('a shadow over a third of a strip spoils it: too few bare fields are left to level the light by', () => {
    const layout = LAYOUTS.check;
    const [start, end] = [0, layout.widthMm].map((at) => (xMm: number) => Math.abs(xMm - at) < 0.3 * layout.widthMm);
    const camera = { ...PHOTO, width: 1300, height: 700, pxPerMm: 16, turnDeg: 5, solid: 0.1 };
    for (const shaded of [start!, end!]) {
      const { capture } = take(layout, { ...camera, shadeAt: (xMm) => (shaded(xMm) ? 0.5 : 1) });
      expect(refusal(capture, layout).code).toBe('capture-uneven');
    }
  });

  test('a reflection takes out the patches under it, and the others stay right', () => {
    const camera = { ...PHOTO, glare: { x: 0.55, y: 0.45, radius: 0.05, strength: 0.7 } };
    const { capture } = take(LAYOUTS.tone, camera);
    const located = locateChart(capture, [LAYOUTS.tone]);
    const readings = readPatches(capture, located);
    expect(readings.rejected.filter(({ reason }) => reason === 'glare' || reason === 'clipped').length).toBeGreaterThan(
      5,
    );
    expect(readings.rejected.length).toBeLessThan(40);
    expect(worstTone(readings, LAYOUTS.tone, camera)).toBeLessThan(2.5);
    const picture = overlayFindings(capture, located, readings);
    expect([picture.width, picture.height]).toEqual([capture.width, capture.height]);
    expect(countColour(picture.rgb, [255, 40, 40])).toBeGreaterThan(1000);
  });
});

function countColour(rgb: Uint8Array, [r, g, b]: readonly [number, number, number]): number {
  let count = 0;
  for (let i = 0; i < rgb.length; i += 3) if (rgb[i] === r && rgb[i + 1] === g && rgb[i + 2] === b) count++;
  return count;
}

describe('a capture is refused', () => {
  test('when its highlights are cut off', () => {
    const error = refusal(take(LAYOUTS.tone, { ...SCAN, exposure: 2.2 }).capture, LAYOUTS.tone);
    expect(error.code).toBe('capture-clipped');
    expect(error.message).toContain('expose less');
  });

  test('when its shadows are cut off', () => {
    const encode = (linear: number) => Math.max(0, linear * 1.2 - 0.12);
    const error = refusal(take(LAYOUTS.tone, { ...SCAN, noise: 0, encode }).capture, LAYOUTS.tone);
    expect(error.code).toBe('capture-clipped');
    expect(error.message).toContain('bottom');
  });

  test('when a reflection lies over many references', () => {
    const glare = { x: 0.5, y: 0.5, radius: 0.16, strength: 0.9 };
    expect(['capture-glare', 'capture-clipped']).toContain(
      refusal(take(LAYOUTS.tone, { ...PHOTO, glare }).capture, LAYOUTS.tone).code,
    );
  });

  test('a reflection over dark stock, where the rest of the piece looks as if it lay in the shade', () => {
    const glare = { x: 0.36, y: 0.4, radius: 0.14, strength: 0.5 };
    const dark = { ...PHOTO, bare: 0.02, solid: 0.25, glare };
    expect(refusal(take(LAYOUTS.tone, dark).capture, LAYOUTS.tone, marksOf(dark)).code).toBe('capture-glare');
  });

  test('when references disagree at random', () => {
    const layout = LAYOUTS.tone;
    const ink = flatInk(layout, (id) => {
      const { role, coverage, order } = layout.patches.find((patch) => patch.id === id)!;
      return role === 'bare' ? 0.08 * (order % 5) : coverage;
    });
    const { code } = refusal(simulateCapture(ink, layout, { ...SCAN, pxPerMm: 11 }).capture, layout);
    expect(['capture-uneven', 'capture-glare']).toContain(code);
  });

  test('when the piece is so curved that patches lie elsewhere, though its tags agree', () => {
    const { capture } = take(LAYOUTS.tone, { ...SCAN, turnDeg: 0 });
    // Seen from far away, a cylinder of 60 mm radius shows x as R·sin(x/R).
    const radius = 60 * SCAN.pxPerMm;
    const { width, height } = capture;
    const rgb = new Uint8Array(capture.rgb.length).fill(30);
    for (let x = 0; x < width; x++) {
      const sine = (x + 0.5 - width / 2) / radius;
      const from = Math.floor(width / 2 + radius * Math.asin(sine));
      if (!(from >= 0 && from < width)) continue;
      for (let y = 0; y < height; y++) {
        for (let c = 0; c < 3; c++) rgb[(y * width + x) * 3 + c] = capture.rgb[(y * width + from) * 3 + c]!;
      }
    }
    expect(refusal({ width, height, rgb, bits: 8 }, LAYOUTS.tone).code).toBe('chart-wrong');
  });

  test('when there is too little contrast to learn from', () => {
    const camera = { ...SCAN, bare: reflectanceOfLightness(60), solid: reflectanceOfLightness(57.5), noise: 0.5 };
    const error = refusal(take(LAYOUTS.tone, camera).capture, LAYOUTS.tone);
    expect(error.code).toBe('contrast-too-low');
    expect(error.message).toMatch(/found 2\.\d L\*/);
  });

  test('when patches have too few pixels, and read as long as they have enough', () => {
    const small = (pxPerMm: number) =>
      take(LAYOUTS.tone, { ...SCAN, width: 100 * pxPerMm, height: 67 * pxPerMm, pxPerMm, blurPx: 0.4 }).capture;
    expect(worstTone(read(small(5.2), LAYOUTS.tone), LAYOUTS.tone, SCAN)).toBeLessThan(1.5);
    expect(refusal(small(2), LAYOUTS.tone).code).toMatch(/^(capture-blurred|chart-not-found|chart-corner-missing)$/);
  });

  test('when it is a negative: its tags stand out the other way than the chart was drawn for', () => {
    const { capture } = take(LAYOUTS.tone, SCAN);
    const negative = { ...capture, rgb: capture.rgb.map((code) => 255 - code) };
    const error = refusal(negative, LAYOUTS.tone);
    expect(error.code).toBe('capture-negative');
    expect(error.message).toMatch(/found tags lighter.*needed darker/);
  });

  test('when neither the chart nor anything else in it is light', () => {
    const error = refusal(take(LAYOUTS.tone, { ...SCAN, exposure: 0.05 }).capture, LAYOUTS.tone);
    expect(error.code).toBe('capture-dark');
    expect(error.message).toMatch(/L\* 20 .* expose more/);
  });

  test('and not where dark stock lies on a light table, nor where a picture is somewhat dark, which is said', () => {
    const stock = { ...PHOTO, bare: 0.05, solid: 0.008, noise: 1, table: 0.7, rimMm: 3 };
    expect(read(take(LAYOUTS.tone, stock).capture, LAYOUTS.tone).warnings).toEqual([]);
    const dusk = take(LAYOUTS.tone, { ...SCAN, exposure: 0.15 });
    expect(read(dusk.capture, LAYOUTS.tone).warnings.map(({ code }) => code)).toContain('capture-darkish');
  });
});

describe('a camera with a curve of its own', () => {
  const layout = LAYOUTS.tone;
  const ink = growInk(drawOnce(layout), layout, { growth: 0.4, fine: 5 });
  const encode = (linear: number) => {
    const coded = linear <= 0.0031308 ? 12.92 * linear : 1.055 * Math.min(1, linear) ** (1 / 2.4) - 0.055;
    return coded + 0.5 * (coded * coded * (3 - 2 * coded) - coded);
  };
  const camera = { ...PHOTO, bare: 0.6, solid: 0.06, lightX: 0.3, vignetting: 0.2 };

  test('is undone from the chart alone, better than by taking it for sRGB', () => {
    const { capture } = simulateCapture(ink, layout, { ...camera, encode });
    const located = locateChart(capture, [layout]);
    const taken = readPatches(capture, located);
    const estimated = readPatches(capture, located, { camera: 'unknown' });
    const miss = (ratio: number) => Math.abs(lightnessOfReflectance(0.6 * ratio) - lightnessOfReflectance(0.06));
    expect(miss(estimated.solidRatio)).toBeLessThan(0.35 * miss(taken.solidRatio));
    expect(estimated.camera.kind).toBe('estimated');
    expect(estimated.camera.contrast).toBeGreaterThan(1.1);
    expect(miss(estimated.solidRatio)).toBeLessThan(3 * estimated.camera.errorLightness + 1);
    // The same curve can be handed in for another capture of the camera.
    expect(readPatches(capture, located, { camera: estimated.camera }).solidRatio).toBeCloseTo(estimated.solidRatio, 9);
  });

  test('is left alone when it is sRGB', () => {
    const { capture } = simulateCapture(ink, layout, camera);
    const { camera: curve } = readPatches(capture, locateChart(capture, [layout]), { camera: 'unknown' });
    expect(Math.abs(Math.log(curve.contrast))).toBeLessThan(0.06);
    expect(Math.abs(Math.log(curve.gamma))).toBeLessThan(0.08);
    for (let code = 0; code < 1; code += 0.05)
      expect(curve.linearOf(code + 0.05)).toBeGreaterThan(curve.linearOf(code));
  });

  test('cannot be found on a chart without coarse clusters, which is said', () => {
    const { capture } = take(LAYOUTS.verify, SCAN);
    const { camera: curve, warnings } = read(capture, LAYOUTS.verify, { camera: 'unknown' });
    expect(curve.kind).toBe('srgb');
    expect(warnings.map(({ code }) => code)).toContain('clusters-missing');
  });
});

describe('a picture that the camera sharpened', () => {
  const layout = LAYOUTS.tone;
  const camera: CameraOptions = { ...PHOTO, width: 1300, height: 950, pxPerMm: 11.5, blurPx: 0.8, noise: 1 };
  const warned = ({ warnings }: ReturnType<typeof read>) => warnings.some(({ code }) => code === 'camera-sharpened');

  test.each([
    [1, 0.8, 1.4],
    [2, 0.3, 1.4],
    [2, 0.8, 1.6],
  ] as const)('over %f pixels by %f is told, and its tones come back', (radiusPx, amount, tolerance) => {
    const sharp = { ...camera, sharpen: { radiusPx, amount } };
    const { capture } = take(layout, sharp);
    const readings = read(capture, layout);
    expect(warned(readings)).toBe(true);
    expect(worstTone(readings, layout, sharp)).toBeLessThan(tolerance);
  });

  test.each([
    ['not sharpened', camera],
    ['blurred', { ...camera, blurPx: 2 }],
    ['of little contrast', { ...camera, bare: 0.3, solid: 0.22 }],
    ['with lighter marks', { ...camera, bare: 0.05, solid: 0.5 }],
    ['of a brushed surface', { ...camera, grainAt: brushSurface(3, { strength: 0.12, angleDeg: 30 }) }],
    ['with lines within marks', { ...camera, lines: 0.2 }],
  ] as const)('is not suspected when it is %s', (_name, options) => {
    expect(warned(read(take(layout, options).capture, layout, marksOf(options)))).toBe(false);
  });
});

describe('an unknown camera curve', () => {
  const layout = LAYOUTS.tone;
  const camera: CameraOptions = { ...PHOTO, width: 1300, height: 950, pxPerMm: 11.5, bare: 0.05, solid: 0.55 };

  test('is not bent by a reflection, which is left out before', () => {
    const shiny = { ...camera, glare: { x: 0.5, y: 0.5, radius: 0.06, strength: 0.06 } };
    const readings = read(take(layout, shiny).capture, layout, { camera: 'unknown', ...marksOf(shiny) });
    expect(readings.rejected.filter(({ reason }) => reason === 'glare').length).toBeGreaterThan(3);
    // Taken into the estimate, the reflection moves tones by 19 L*; what is left of it is covered by what is said of
    // the curve.
    expect(worstTone(readings, layout, shiny)).toBeLessThan(Math.min(10, 1 + 2 * readings.camera.errorLightness));
    expect(readings.warnings.map(({ code }) => code)).toContain('curve-under-disturbance');
  });

  test('that nothing explains is not believed, and that is said', () => {
    // No camera makes the lightest half of its codes one code.
    const odd = {
      ...camera,
      encode: (linear: number) => (linear < 0.12 ? 2 * linear : 0.24 + 0.9 * (linear - 0.12) ** 3),
    };
    const readings = read(take(layout, odd).capture, layout, { camera: 'unknown', ...marksOf(odd) });
    expect(readings.camera.kind).toBe('srgb');
    expect(readings.warnings.map(({ code }) => code)).toContain('clusters-unexplained');
  });
});

describe('the shadow of a finger', () => {
  const camera: CameraOptions = { ...PHOTO, width: 1300, height: 950, pxPerMm: 11.5, turnDeg: 8, noise: 2 };
  const capturesOf = ([x, y, angleDeg]: readonly [number, number, number]) => {
    const layout = LAYOUTS.dose;
    const tip = [x * layout.widthMm, y * layout.heightMm] as const;
    const shaded = { ...camera, shadeAt: shadeFinger(tip, { angleDeg, depth: 0.4, widthMm: 9 }) };
    return { layout, shaded, capture: take(layout, shaded).capture };
  };

  test.each([
    [0.5, 0.75, 100],
    [0.6, 0.7, 70],
    [0.3, 0.8, 160],
  ] as const)('over cells of a dose chart at %f, %f takes out those that it lies on', (...place) => {
    const { layout, shaded, capture } = capturesOf(place);
    const readings = read(capture, layout);
    expect(readings.rejected.some(({ reason }) => reason === 'shadow')).toBe(true);
    expect(worstTone(readings, layout, shaded)).toBeLessThan(2.5);
  });

  test('over most references of a dose chart spoils it', () => {
    const { layout, capture } = capturesOf([0.35, 0.4, 20]);
    expect(refusal(capture, layout).code).toBe('capture-uneven');
  });

  test('is told from smoke, which darkens the ways around the strongest cells of a dose chart and stays', () => {
    const layout = LAYOUTS.dose;
    const smoking = layout.patches.filter(
      ({ settings }) => settings && settings.powerW / settings.speedMmPerS >= 20 / 400,
    );
    const smokeAt = (xMm: number, yMm: number) =>
      smoking.reduce((left, { xMm: x, yMm: y, widthMm, heightMm }) => {
        const dx = Math.max(x - xMm, 0, xMm - x - widthMm);
        const dy = Math.max(y - yMm, 0, yMm - y - heightMm);
        const away = Math.hypot(dx, dy);
        return away > 0 ? left * (1 - 0.2 * Math.exp(-away / 0.6)) : left;
      }, 1);
    const { readings, rejected, warnings } = read(take(layout, { ...camera, grainAt: smokeAt }).capture, layout);
    const strongest = [...smoking].sort(
      (a, b) => b.settings!.powerW / b.settings!.speedMmPerS - a.settings!.powerW / a.settings!.speedMmPerS,
    )[0]!;
    expect(rejected.map(({ id }) => id)).not.toContain(strongest.id);
    expect(readings.map(({ id }) => id)).toContain(strongest.id);
    expect(warnings.map(({ code }) => code)).toContain('smoke-taken');
  });
});
