import { existsSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import {
  type Job,
  type JobRequest,
  type KeptRequest,
  type NotRemade,
  prepareJob,
  type RemadePiece,
  type RemadePlace,
  resolveJob,
} from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import { decodeDotsBytes, readInput, readPhoto, sha256 } from '../plane/index.ts';
import { parseRecord } from '../schema.ts';
import type { TaskContext } from './context.ts';
import { type PhotoRequest, type PreparedRecord, preparePhoto } from './prepare-photo.ts';
import { listBurned } from './record-burn.ts';

/** What making a job again takes of its ticket. */
const TICKET = v.object({
  schema: v.literal('tonewright-ticket/1', '"tonewright-ticket/1"'),
  version: v.string(),
  name: v.string(),
  photo: v.object({ file: v.pipe(v.string(), v.regex(/^[^/\\]+$/)), sha256: v.string() }),
  bitmap: v.object({ sha256: v.string() }),
  profile: v.object({ name: v.string(), sha256: v.string() }),
  machine: v.object({ name: v.string() }),
  request: v.optional(v.looseObject({ size: v.string() })),
});
type AgainTicket = v.InferOutput<typeof TICKET>;

export interface PrepareAgainRequest extends Pick<PhotoRequest, 'out' | 'only' | 'name'> {
  /** Path of a ticket, the name of a job that the shop has burned, or of one entry in its record of them. */
  readonly again: string;
  /** Path of the photo; looked for beside the ticket and where the program runs when absent. */
  readonly photo?: string;
  /** Folder from which paths go. */
  readonly folder: string;
  /** Makes it as things stand now, even where it comes out otherwise; and replaces what is there. */
  readonly force?: boolean;
  /** Replaces what is there, but makes nothing that comes out otherwise. */
  readonly replace?: boolean;
  readonly prices?: string;
}

/**
 * Makes a job again as its ticket has it: the same bitmap, byte for byte, or the reason why it would be another one.
 * @throws AppError job-changed naming what has changed; path-missing for the photo; those of `preparePhoto`
 */
export async function prepareAgain(request: PrepareAgainRequest, context: TaskContext): Promise<PreparedRecord> {
  const { force = false, replace = false, out, only, prices } = request;
  const { ticket, photos, burned } = findTicket(request, context.shop);
  const job = requestOf(ticket, request.again);
  const photo = await findPhoto(ticket, { ...request, photos });
  const spec = resolveJob(job, { shop: context.shop, refused: context.refused() });
  const changes = [
    ...(burned === undefined || burned === ticket.bitmap.sha256
      ? []
      : ['the job (its files were made anew since it was burned)']),
    ...(photo.sha256 === ticket.photo.sha256 ? [] : [`the photo (${photo.path} is not the one of then)`]),
    ...(sha256(JSON.stringify(spec.profile)) === ticket.profile.sha256 ? [] : [`the profile ${ticket.profile.name}`]),
    ...(context.version === ticket.version ? [] : [`the program (${ticket.version} then, ${context.version} now)`]),
  ];
  return preparePhoto(
    {
      photo: { path: photo.path, file: ticket.photo.file },
      out,
      name: request.name ?? ticket.name,
      ...(only ? { only } : {}),
      force: force || replace,
      ...(prices === undefined ? {} : { prices }),
      job,
      accept: (made) =>
        acceptSame(made, { ticket, wanted: burned ?? ticket.bitmap.sha256, changes, force, warn: context.warn }),
    },
    context,
  );
}

/**
 * The dots of a job for another place in the machine's field, or why they cannot be made: its photo is neither in the
 * folder that is given nor, without one, beside its ticket, or its ticket does not keep all that was asked.
 * @throws AppError place-unusable and others of `resolveJob`
 */
export async function remakeAt(
  path: string,
  { xMm, yMm, turned }: RemadePlace,
  { folder, context }: { readonly folder: string | undefined; readonly context: TaskContext },
): Promise<RemadePiece | NotRemade> {
  const { shop, refused, version } = context;
  const ticket = readTicket(path);
  const photo = join(folder ?? dirname(path), ticket.photo.file);
  const lost = findLost(ticket);
  if (lost !== undefined) return { why: `its ticket has ${lost}` };
  if (!existsSync(photo)) {
    return { why: `its photo ${ticket.photo.file} is not where photos were looked for (say where it lies)` };
  }
  if (sha256(await readInput(photo, { kind: 'picture', needed: 'the photo of the ticket' })) !== ticket.photo.sha256) {
    return { why: `its photo ${ticket.photo.file} is not the one of then` };
  }
  const { strip: _, ...alone } = requestOf(ticket, path);
  const rotateDeg = (((alone.rotateDeg ?? 0) + (turned ? 90 : 0)) % 360) as 0 | 90 | 180 | 270;
  const spec = resolveJob({ ...alone, format: 'png', rotateDeg, at: `${xMm},${yMm}` }, { shop, refused: refused() });
  const job = await prepareJob(() => readPhoto(photo), {
    spec,
    name: ticket.name,
    photoFile: ticket.photo.file,
    version,
    only: 'everything',
  });
  const { dots } = await decodeDotsBytes(job.files[0]!.bytes as Buffer, path);
  return { dots, movedDots: spec.twoWay?.movedDots ?? 0, note: job.ticket!.evenness!.note };
}

function acceptSame(
  { files }: Job,
  {
    ticket,
    wanted,
    changes,
    force,
    warn,
  }: {
    readonly ticket: AgainTicket;
    /** SHA-256 of the bitmap that was burned. */
    readonly wanted: string;
    readonly changes: readonly string[];
    readonly force: boolean;
    readonly warn: (text: string) => void;
  },
): void {
  // The bitmap comes first.
  if (sha256(files[0]!.bytes) === wanted) return;
  const why =
    changes.length > 0 ? changes.join(', ') : `the record of the machine ${ticket.machine.name}, or of a drawing`;
  const said = `${ticket.name}: found another bitmap than then; changed has ${why}`;
  if (!force) throw new AppError('job-changed', said, { changes });
  warn(`${said}.`);
}

/** Where the photo of a ticket may lie. */
interface PhotoPlaces {
  /** As the record of what was burned has it. */
  readonly known: string | undefined;
  readonly beside: string;
}

function findTicket(
  { again, folder }: PrepareAgainRequest,
  shop: Shop,
): { readonly ticket: AgainTicket; readonly photos: PhotoPlaces; readonly burned?: string } {
  const isPath = /[\\/]|\.json$/i.test(again) || existsSync(resolve(folder, again));
  const path = isPath ? resolve(folder, again) : undefined;
  const besideOf = (at: string, ticket: AgainTicket) => join(dirname(at), ticket.photo.file);
  if (path !== undefined) {
    const ticket = readTicket(path);
    return { ticket, photos: { known: undefined, beside: besideOf(path, ticket) } };
  }
  const burned = listBurned(shop).entries.filter(({ id, name }) => id === again || name === again);
  const last = burned.at(-1);
  if (!last) {
    const names = [...new Set(listBurned(shop).entries.map(({ name }) => name))];
    throw new AppError(
      'name-unknown',
      `again: found no burned job "${again}"; there are ${names.join(', ') || 'none'}; needed one of them, or the path of a ticket`,
      { asked: again, names },
    );
  }
  const ticket = readTicket(last.ticket.path);
  const photos = { known: last.photo.path, beside: besideOf(last.ticket.path, ticket) };
  return { ticket, photos, burned: last.bitmapSha256 };
}

const readTicket = (path: string) => parseRecord(TICKET, { json: readJson(path), what: `ticket ${path}` });

/** What a ticket does not keep, of what making its job again takes: nothing where it keeps all. */
function findLost({ request }: AgainTicket): string | undefined {
  if (!request) return 'no request in it';
  const { subject } = request as unknown as KeptRequest;
  if (typeof subject !== 'object' || !('maskSha256' in subject)) return undefined;
  return 'a job whose subject was given as a picture, which a ticket does not keep';
}

/** @throws AppError file-invalid for tickets of before requests were kept, or with a picture of the subject */
function requestOf(ticket: AgainTicket, path: string): JobRequest {
  const lost = findLost(ticket);
  if (lost === undefined) return ticket.request as unknown as JobRequest;
  throw new AppError(
    'file-invalid',
    `ticket ${path}: found ${lost}, needed a ticket that keeps all that was asked; prepare the photo once more by its options`,
  );
}

/** The photo by the path that is given or kept; of files that only have its name, the one that has its bytes. */
async function findPhoto(
  { photo }: AgainTicket,
  { photo: given, folder, photos }: { readonly photo?: string; readonly folder: string; readonly photos: PhotoPlaces },
): Promise<{ readonly path: string; readonly sha256: string }> {
  const hash = async (path: string) => ({
    path,
    sha256: sha256(await readInput(path, { kind: 'picture', needed: 'the photo of the ticket' })),
  });
  const known = given === undefined ? photos.known : resolve(folder, given);
  if (known !== undefined && existsSync(known)) return hash(known);
  const places = given === undefined ? [...new Set([photos.beside, join(folder, photo.file)])] : [];
  for (const path of places.filter((place) => existsSync(place))) {
    const found = await hash(path);
    if (found.sha256 === photo.sha256) return found;
  }
  throw new AppError(
    'path-missing',
    given === undefined
      ? `found ${photo.file} as it was then neither beside the ticket nor in ${folder}, needed the path of the photo`
      : `found nothing at ${given}, needed the path of the photo`,
    { file: photo.file },
  );
}
