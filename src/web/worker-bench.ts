import { basename, join } from 'node:path';
import type { Corners } from '../chart/index.ts';
import type { ChartRequest } from '../job/index.ts';
import {
  type ChartRecord,
  type CheckRecord,
  callSimulated,
  captureFile,
  drawChart,
  judgeLearned,
  type LearnedRecord,
  listKnown,
  readChart as readBurnedChart,
  releaseMemory,
  sampleCurve,
  sayExpectedError,
  sayLevelRoad,
  saySpacing,
  tellMarkDiametersUm,
} from '../tasks/index.ts';
import { toDriftPoint } from './calibration/drift-point.ts';
import type { ChartMade, NumberFact, Reading, ReadingRequest } from './protocol.ts';
import { viewNotice } from './server-notices.ts';
import { answering, openContext } from './worker-facts.ts';

/** Charts and what is learned from them: the same functions as the commands `chart`, `learn` and `check`. */

export const makeChartFiles = answering(async (chart: ChartRequest): Promise<ChartMade> => {
  // The same layout has the same hash and the same bytes, so that writing it again changes nothing.
  const { files, layout, cost, expectedError, typed, speaking } = await drawChart(
    { chart, force: true },
    openContext(),
  );
  const { hash, kind, material, machine, direction, widthMm, heightMm, settings, patches } = layout;
  return {
    hash,
    ...(layout.field ? { hasField: true } : {}),
    ...(layout.seen ? { seen: layout.seen } : {}),
    kind,
    material,
    machine,
    direction,
    widthMm,
    heightMm,
    files: files.map((path) => basename(path)),
    seconds: cost.seconds,
    ...(cost.programSeconds === undefined ? {} : { programSeconds: cost.programSeconds }),
    areaCm2: cost.areaCm2,
    patches: patches.length,
    settings,
    typed,
    notices: speaking.map(viewNotice),
    expected: expectedError ? sayExpectedError(expectedError) : null,
  };
});

export interface VirtualCaptureInput {
  readonly bitmap: string;
  /** Hash of its layout. */
  readonly chart: string;
  readonly seed: number;
  /** A .png. */
  readonly out: string;
}

/** Scan of a chart that the virtual engraver burns, on white paper. Assumed: office paper, L* 93. */
export const captureVirtually = answering(async ({ bitmap, chart, seed, out }: VirtualCaptureInput): Promise<void> => {
  await captureFile({ path: bitmap, chart, seed, camera: 'flatbed-600', paperL: 93, out }, openContext());
  await releaseMemory();
});

export interface ReadInput {
  readonly id: string;
  readonly ask: ReadingRequest;
  readonly captures: readonly { readonly path: string; readonly name: string }[];
  /** No laser has burned the piece. */
  readonly isVirtual: boolean;
  /** Folder for what the reading writes. */
  readonly out: string;
  readonly maxPixels: number;
  /** ISO date. */
  readonly date: string;
}

/** Reads captures, whatever chart they show. */
export const readChart = answering(async (input: ReadInput): Promise<Reading> => {
  const { ask, captures, out, maxPixels, date } = input;
  const { captures: _ids, corners, ...asked } = ask;
  const record = await readBurnedChart(
    {
      ...asked,
      captures,
      maxPixels,
      purpose: 'any',
      adjust: 'may',
      isVirtual: input.isVirtual,
      ...(corners ? { corners: corners as Corners } : {}),
      files: {
        profile: join(out, 'profile.json'),
        measured: join(out, 'measured.json'),
        page: join(out, 'report.html'),
        adjusted: join(out, 'adjusted.json'),
        found: out,
      },
      force: true,
    },
    openContext(date),
  );
  const profile = join(out, 'profile.json');
  if (input.isVirtual && record.kind === 'learned') await callSimulated(profile, openContext().shop);
  await releaseMemory();
  return viewOf(record, input);
});

function viewOf(record: ChartRecord, { id, ask, date, isVirtual }: ReadInput): Reading {
  const warnings = record.notices.map(({ text }) => text);
  const notices = record.notices.map(viewNotice);
  const base = { id, date, ask, warnings, notices, ...(isVirtual ? ({ isVirtual } as { isVirtual: true }) : {}) };
  switch (record.kind) {
    case 'measured': {
      const { captures, reading } = record;
      const chart = captures[0]!.located.layout.hash;
      return { ...base, chart, found: captures.length, kind: 'measured', sentences: reading.notes };
    }
    case 'learned':
      return { ...base, ...viewLearned(record) };
    case 'checked':
      return { ...base, ...viewChecked(record) };
  }
}

function viewLearned(record: LearnedRecord) {
  const { learned, captures } = record;
  const { profile, report, layout } = learned;
  return {
    chart: layout.hash,
    found: captures.length,
    kind: 'learned',
    name: profile.name,
    title: profile.title,
    material: profile.material,
    machine: profile.machine,
    points: sampleCurve(profile.points),
    band: report.curve.map(({ coverage, lightness, low, high }) => ({ coverage, lightness, low, high })),
    patches: report.rows.map(({ group, role, coverage, lightness, spread, predicted }) => ({
      group,
      role,
      coverage,
      lightness,
      spread,
      predicted,
    })),
    facts: listFacts(record),
    verdict: judgeLearned(learned),
    saved: { state: 'no' },
  } as const;
}

function viewChecked({ check, profile, history, ofPrint, adjustment, notAdjusted }: CheckRecord) {
  return {
    chart: check.chart.hash,
    found: 1,
    kind: 'checked',
    profile: profile.name,
    title: profile.title,
    verdict: check.verdict,
    ofPrint,
    sentences: check.sentences,
    patches: check.patches.map(({ ids, role, coverage, expected, lightness, delta }) => ({
      label: role === 'tone' ? ids.join(' ') : role,
      coverage,
      expected,
      lightness,
      delta,
    })),
    points: sampleCurve(profile.points),
    unit: check.unit,
    ...(adjustment
      ? {
          adjustment: {
            name: adjustment.profile.name,
            title: adjustment.profile.title,
            machine: adjustment.profile.machine,
            sentences: adjustment.sentences,
            saved: { state: 'no' } as const,
          },
        }
      : {}),
    ...(notAdjusted === undefined ? {} : { notAdjusted }),
    history: (history?.entries ?? []).map(toDriftPoint),
  } as const;
}

function listFacts({ learned, span }: LearnedRecord): NumberFact[] {
  const { profile, report } = learned;
  const marks = tellMarkDiametersUm(profile);
  const width = (um: number, { low, high }: LearnedRecord['learned']['report']['markX']) =>
    `${um.toFixed(1)} µm (95 %: ${low.toFixed(1)} … ${high.toFixed(1)})`;
  return [
    { label: 'Lightness, bare to marked', value: `L* ${profile.bare[0].toFixed(1)} to ${profile.full[0].toFixed(1)}` },
    { label: 'Equal patches differ by', value: `± ${report.repeatability.toFixed(2)} L*` },
    { label: 'A tone left out is missed by', value: `${report.leaveOneOut.toFixed(2)} L*` },
    { label: 'Tones that can be told apart', value: String(span.tones) },
    ...listKnown(profile),
    ...(profile.levels ? [{ label: 'Power per dot', value: sayLevelRoad(profile)! }] : []),
    { label: 'Mark width along the scan', value: width(marks.xUm, report.markX) },
    { label: 'Mark width across the scan', value: width(marks.yUm, report.markY) },
    { label: 'Line spacing recommended', value: saySpacing(learned) },
    { label: 'Model against all patches', value: `${report.modelRms.toFixed(2)} L*` },
  ];
}
