import { estimateTime } from '../machine/index.ts';
import { coverageTable, invertProfile } from '../material/index.ts';
import { adjustTone, maskCoverage, placeOnPiece, resolutionWarning } from '../photo/index.ts';
import { encodeDots, type Photo, releaseMemory, sha256 } from '../plane/index.ts';
import { applyScreen } from '../screens/index.ts';
import { chooseToneValues, markable } from './choices.ts';
import { takePicture } from './picture.ts';
import { predictPoints } from './predict.ts';
import { makeProof } from './proof.ts';
import type { JobSpec } from './spec.ts';
import { type Ticket, writeTicket } from './ticket.ts';
import { renderTicketPage } from './ticket-page.ts';

/** From this size on it pays to give a photo's memory back at once. */
const LARGE_PIXELS = 8e6;

export interface PrepareOptions {
  readonly spec: JobSpec;
  /** Name of the job and of its files, without ending. */
  readonly name: string;
  /** Name of the photo's file, for the ticket. */
  readonly photoFile: string;
  /** Version of the program, for the ticket. */
  readonly version: string;
  /** `bitmap` leaves out proof and ticket files. */
  readonly only: 'everything' | 'bitmap';
  /** Told what is being done. */
  readonly progress?: (stage: string) => void;
}

export interface JobFile {
  readonly name: string;
  readonly bytes: Uint8Array | string;
}

export interface Job {
  /** In the order in which they are to be written; the ticket's page, which says "done", last. */
  readonly files: readonly JobFile[];
  readonly width: number;
  readonly height: number;
  readonly seconds: number;
  readonly warnings: readonly string[];
  /** Absent when only the bitmap was asked for. */
  readonly ticket?: Ticket;
}

/** The road of a photo: from its pixels to the dots that burn, and everything that is said about them. */
export async function prepareJob(load: () => Promise<Photo>, options: PrepareOptions): Promise<Job> {
  const { spec, name, only, progress = () => undefined } = options;
  const { grid } = spec;

  progress('reading the photo');
  const picture = await takePicture(load, { spec, withThumbnail: only === 'everything' });
  const { frame, light, opaque } = picture;
  if (picture.width * picture.height > LARGE_PIXELS) await releaseMemory();

  progress('setting the tone');
  const tone = chooseToneValues(light, { spec, ...(opaque ? { mask: opaque } : {}) });
  const toned = adjustTone(light, tone, { grid });
  const points = spec.curve === 'predicted' ? predictPoints(spec) : spec.profile.points;
  const table = coverageTable({ points }, spec);
  const wanted = placeOnPiece(invertProfile(toned, { table }), frame);
  const mask = markable(frame, opaque);
  const coverage = mask ? maskCoverage(wanted, mask) : wanted;

  progress('screening');
  const dots = applyScreen(coverage, { ...spec.screen.options, name: spec.screen.name, levels: spec.levels, grid });
  const bitmap = { name: `${name}.${spec.format}`, bytes: encodeDots(dots, grid, { format: spec.format }) };
  const time = estimateTime(dots, { motion: spec.machine.motion, settings: spec.settings, grid });

  const soft = resolutionWarning(frame);
  const warnings = [...spec.warnings, ...(soft ? [soft] : [])];
  const made = { width: dots.width, height: dots.height, seconds: time.seconds };
  if (only === 'bitmap') return { ...made, files: [bitmap], warnings };

  progress('proofing');
  const known = { ...options, picture, frame, tone, toned, table, points, mask, coverage, dots, time, warnings };
  const proof = await makeProof(known);
  const { prediction } = proof;
  const ticket = writeTicket({ ...known, prediction, bitmapFile: bitmap.name, bitmapSha256: sha256(bitmap.bytes) });
  const files = [
    bitmap,
    { name: `${name}.proof.png`, bytes: proof.png },
    { name: `${name}.ticket.json`, bytes: `${JSON.stringify(ticket, null, 2)}\n` },
    { name: `${name}.ticket.html`, bytes: renderTicketPage(ticket, proof.pictures) },
  ];
  return { ...made, files, warnings: ticket.warnings, ticket };
}
