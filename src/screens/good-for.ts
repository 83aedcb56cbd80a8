import type { ScreenName } from './types.ts';

/** What each screen is good for, in a shop's words. Common practice and the families' known properties, no source. */
export const GOOD_FOR: Readonly<Record<ScreenName, string>> = {
  'floyd-steinberg': 'fine detail; smooth skies may show arcs and worms',
  'jarvis-judice-ninke': 'crisp edges on large pieces; light and dark ends are rough',
  stucki: 'crisp edges on large pieces, a little cleaner',
  burkes: 'detail in less time than Stucki’s, slightly rougher',
  sierra: 'even mid-tones on large pieces',
  'sierra-two-row': 'much like Sierra’s three rows, coarser',
  'sierra-lite': 'quick trials',
  atkinson: 'contrasty line-like pictures: light tones go bare and dark ones solid',
  ostromoukhov: 'faces and skies: the most even grain at every tone, what auto takes',
  'zhou-fang': 'faces and skies, with a little more grain than Ostromoukhov’s',
  bayer: 'patterns and trials; its crosses are seen in faces',
  'blue-noise': 'soft pictures without worms; grain is the same everywhere',
  'green-noise': 'wood, slate and leather, which do not hold single dots',
  'clustered-dot': 'coarse material and large pieces seen from afar',
  line: 'machines that are slow at switching; strokes instead of dots',
  'direct-search': 'portraits: the least grain, in several times the time',
};
