import { estimateTime } from '../machine/index.ts';
import { coverageTable, invertProfile } from '../material/index.ts';
import { adjustTone, framePhoto, maskCoverage, placeOnPiece } from '../photo/index.ts';
import { encodeDots, type Photo, resampleAlpha, resampleLuminance, sha256 } from '../plane/index.ts';
import { applyScreen } from '../screens/index.ts';
import { chooseFocus, chooseToneValues, markable } from './choices.ts';
import { predictPoints } from './predict.ts';
import { makeProof } from './proof.ts';
import type { JobSpec } from './spec.ts';
import { type Ticket, writeTicket } from './ticket.ts';
import { renderTicketPage } from './ticket-page.ts';

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
  readonly ticket: Ticket;
  /** In the order in which they are to be written; the ticket's page, which says "done", last. */
  readonly files: readonly JobFile[];
}

/** The road of a photo: from its pixels to the dots that burn, and everything that is said about them. */
export async function prepareJob(photo: Photo, options: PrepareOptions): Promise<Job> {
  const { spec, name, only, progress = () => undefined } = options;
  const { grid } = spec;

  progress('framing');
  const focus = await chooseFocus(photo, spec);
  const frame = framePhoto(photo, { ...spec, ...spec.size, focus: { x: focus.x, y: focus.y } });
  const placed = {
    crop: frame.crop,
    width: frame.place.width,
    height: frame.place.height,
    ...(spec.weights ? { weights: spec.weights } : {}),
  };
  const light = resampleLuminance(photo, placed);
  const opaque = resampleAlpha(photo, placed);

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

  progress('proofing');
  const known = { ...options, photo, focus, frame, tone, toned, table, points, mask, coverage, dots, time };
  const proof = only === 'bitmap' ? undefined : await makeProof(known);
  const prediction = proof ? { prediction: proof.prediction } : {};
  const ticket = writeTicket({ ...known, ...prediction, bitmapFile: bitmap.name, bitmapSha256: sha256(bitmap.bytes) });
  if (!proof) return { ticket, files: [bitmap] };
  return {
    ticket,
    files: [
      bitmap,
      { name: `${name}.proof.png`, bytes: proof.png },
      { name: `${name}.ticket.json`, bytes: `${JSON.stringify(ticket, null, 2)}\n` },
      { name: `${name}.ticket.html`, bytes: renderTicketPage(ticket, proof.pictures) },
    ],
  };
}
